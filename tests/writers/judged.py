"""What becomes of a file that the kit reads: right, right after a line was pasted, refused, or wrong."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import yaml

from reviewkit import logs
from reviewkit.errors import InputError

from .pieces import Truth

LINE = re.compile(r"\{path: .*?\}(?=\.(?:\s|$))")
_MOST_PASTES = 4
UNITS = {"V": "V", "A": "A", "T": "degC"}


@dataclass(frozen=True)
class Outcome:
    """How a file was read.

    Parameters
    ----------
    what : {"bare", "pasted", "refused", "wrong"}
    said : tuple of str
        Messages on the way, then the notes of the log.
    """

    what: Literal["bare", "pasted", "refused", "wrong"]
    said: tuple[str, ...]


def judge(
    place: Path, quantity: str, t: Truth, *, step_s: float, told: dict[str, str] | None = None
) -> Outcome:
    """Read one quantity as a reviewer would: the path alone, then each line that is proposed."""
    entry: object = {"path": place.name, **told} if told else place.name
    said: list[str] = []
    for attempt in range(_MOST_PASTES):
        try:
            log = logs.read(entry, UNITS[quantity], folder=place.parent)  # type: ignore[arg-type]
        except InputError as fault:
            if fault.message in said:
                return Outcome(
                    "wrong", (*said, "the same refusal again: the line that was proposed changes nothing")
                )
            said.append(fault.message)
            line = LINE.search(fault.message)
            if line is None:
                return Outcome("refused", tuple(said))
            entry = yaml.safe_load(line[0])
            continue
        said += log.report.sentences()
        amiss = wrong(log, t, UNITS[quantity], step_s)
        if amiss:
            return Outcome("wrong", (*said, amiss))
        return Outcome("pasted" if attempt else "bare", tuple(said))
    return Outcome("refused", tuple(said))


def wrong(log: logs.Log, t: Truth, quantity: str, step_s: float) -> str:
    """Say how a log differs from the truth beyond what its writing rounds; "" if it does not."""
    values = log.series.to_numpy(dtype=float)
    true = t.of(quantity)
    if len(values) != len(true):
        return f"{len(values)} rows, not {len(true)}"
    slack = {"V": 6e-4, "A": 6e-4, "degC": 0.06}[quantity]
    if not np.allclose(values, true, atol=slack, rtol=0):
        return f"readings up to {np.abs(values - true).max():g} away"
    time_s = log.time_s - log.time_s[0]
    if not np.allclose(time_s, t.time_s - t.time_s[0], atol=1.01 * step_s + 1e-6, rtol=1e-9):
        return f"times up to {np.abs(time_s - t.time_s).max():g} s away"
    return ""
