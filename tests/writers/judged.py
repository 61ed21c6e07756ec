"""What becomes of a file that the kit reads: right, right after a line was pasted, refused, or wrong."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

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
    what : {"bare", "pasted", "answered", "refused", "wrong"}
        Answered: a proposed line began with an "if" that was not so, and what is so was written in its place.
    said : tuple of str
        Messages on the way, then the notes of the log.
    amiss : str
        How the log differs from the truth.
    """

    what: Literal["bare", "pasted", "answered", "refused", "wrong"]
    said: tuple[str, ...]
    amiss: str = ""


def judge(
    place: Path,
    quantity: str,
    t: Truth,
    *,
    step_s: float,
    told: Mapping[str, str] | None = None,
    known: Mapping[str, Sequence[str]] | None = None,
) -> Outcome:
    """Read one quantity as a reviewer would: the path alone, then each line that is proposed.

    Parameters
    ----------
    place : Path
    quantity : {"V", "A", "T"}
    t : Truth
    step_s : float [s]
    told : dict
        What is declared before anything else.
    known : dict of str to sequence of str
        What is true of a key that a line may propose, in every spelling; without it each "if" is taken as so.
    """
    entry: dict[str, Any] = {"path": place.name, **(told or {})}
    said: list[str] = []
    how: Literal["bare", "pasted", "answered"] = "bare"
    for _ in range(_MOST_PASTES):
        try:
            log = logs.read(entry if len(entry) > 1 else place.name, UNITS[quantity], folder=place.parent)  # type: ignore[arg-type]
        except InputError as fault:
            if fault.message in said:
                again = "the same refusal again: the line that was proposed changes nothing"
                return Outcome("wrong", (*said, again), again)
            said.append(fault.message)
            line = LINE.search(fault.message)
            if line is None:
                return Outcome("refused", tuple(said))
            proposed = yaml.safe_load(line[0])
            true = _as_it_is(proposed, entry, known or {})
            how = "answered" if how == "answered" or true != proposed else "pasted"
            entry = true
            continue
        said += log.report.sentences()
        amiss = wrong(log, t, UNITS[quantity], step_s)
        return Outcome("wrong" if amiss else how, (*said, amiss) if amiss else tuple(said), amiss)
    return Outcome("refused", tuple(said))


def _as_it_is(
    proposed: Mapping[str, Any], before: Mapping[str, Any], known: Mapping[str, Sequence[str]]
) -> dict[str, Any]:
    """Return a proposed entry with what is so in place of what only "if" is."""
    return {
        key: known[key][0] if key in known and key not in before and str(value) not in known[key] else value
        for key, value in proposed.items()
    }


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
        true_s = t.time_s - t.time_s[0]
        factor = time_s[-1] / true_s[-1]
        if np.allclose(time_s, factor * true_s, atol=1.01 * step_s * max(factor, 1.0), rtol=1e-6):
            return f"times by a factor of {factor:.4g} away"
        return f"times up to {np.abs(time_s - true_s).max():g} s away"
    return ""
