"""How often the kit's intervals held the truth of simulated reviews, as a study stored it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit.findings.text_and_table import Answer
from reviewkit.metrology import formatting
from worked.check import values

COLUMNS = (
    "finding",
    "kind",
    "given, of",
    "held the truth",
    "95 % interval of that share",
    "only bounds: held, of",
    "width ÷ floor: median, 90 %",
    "what forces the floor",
)


@dataclass(frozen=True)
class Intervals:
    """Finding by finding, how often an interval held the truth and how wide it was.

    Parameters
    ----------
    reviews, seed : int
        How many were simulated, and the first one's seed.
    command : str
        What makes the table again.
    rows : tuple of mapping
    """

    reviews: int
    seed: int
    command: str
    rows: tuple[Mapping[str, Any], ...]

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        told = (
            f"{formatting.number(self.reviews, 0)} simulated reviews, first seed {self.seed}. "
            f"Made again by: {self.command}",
        )
        return Answer(told, COLUMNS, tuple(_cells(row) for row in self.rows))._repr_mimebundle_()


def honest_intervals(folder: str | Path) -> Intervals:
    """Return the stored study of the kit's own intervals.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values; `tests/benchmarks/honest_intervals.py --write` stores the study there.
    """
    known = values(folder, "honest_intervals")
    return Intervals(known["reviews"], known["seed"], known["command"], tuple(known["rows"]))


def _cells(row: Mapping[str, Any]) -> tuple[str, ...]:
    held = "" if row["held_percent"] is None else _percent(row["held_percent"])
    between = f"{_percent(row['low_percent'])} to {_percent(row['high_percent'])}" if row["given"] else ""
    loose = f"{row['bounds_held']} of {row['only_bounds']}" if row["only_bounds"] else ""
    width = "" if row["width"] is None else f"{row['width']:.2f}, {row['width_90']:.2f}"
    given = f"{row['given']} of {row['true']}"
    return row["finding"], row["kind"], given, held, between, loose, width, row["floor"]


def _percent(share: float) -> str:
    return f"{formatting.number(share, 1)}{formatting.NO_BREAK}%"
