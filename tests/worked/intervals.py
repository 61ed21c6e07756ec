"""How often the kit's intervals held the truth of simulated reviews, as a study stored it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Any

from reviewkit.findings.displays import Answer
from reviewkit.metrology import formatting
from reviewkit.metrology.conformity import clopper_pearson
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


KINDS_COLUMNS = (
    "finding, or kind of charger",
    "given, of",
    "held the truth",
    "95 % interval of that share",
    "width ÷ floor: median",
    "silent though the log tells, of",
    "a limit two half-widths off judged wrongly",
)


@dataclass(frozen=True)
class Kinds:
    """Finding by finding, then kind by kind, how often an interval held the truth of a simulated charge.

    Parameters
    ----------
    charges, seed : int
        How many were simulated, and the first one's seed of each kind.
    command : str
        What makes the table again.
    counts : mapping of str to int
        Charges with a false statement, a false verdict, a contradiction; refused; silent on their end.
    rows : tuple of mapping
        One for each kind and finding; the kind "all" holds each finding over all kinds.
    """

    charges: int
    seed: int
    command: str
    counts: Mapping[str, int]
    rows: tuple[Mapping[str, Any], ...]

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        counts, kinds = self.counts, dict.fromkeys(row["kind"] for row in self.rows if row["kind"] != "all")
        told = (
            f"{formatting.number(self.charges, 0)} simulated charges of {len(kinds)} kinds. With a false "
            f"statement on ending, pausing or topping up: {counts['false']}; with a false verdict: "
            f"{counts['verdicts']}; with findings that contradict each other: {counts['broken']}; silent on "
            f"the end though the log tells: {counts['silent']}; refused: {counts['refused']}. "
            f"Made again by: {self.command}",
        )
        cells = [_kind_cells(row["finding"], [row]) for row in self.rows if row["kind"] == "all"]
        cells += [_kind_cells(kind, [row for row in self.rows if row["kind"] == kind]) for kind in kinds]
        return Answer(told, KINDS_COLUMNS, tuple(cells))._repr_mimebundle_()


def charge_kinds(folder: str | Path) -> Kinds:
    """Return the stored study of chargers of every kind.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values; `tests/benchmarks/charge_kinds.py --write` stores the study there.
    """
    known = values(folder, "charge_kinds")
    return Kinds(known["charges"], known["seed"], known["command"], known["counts"], tuple(known["rows"]))


@dataclass(frozen=True)
class Sections:
    """What studies of readout, drain, comparison, budgets and sentences found, beside what it was before.

    Parameters
    ----------
    studies : mapping of str to mapping
        Of each its command and its rows.
    """

    studies: Mapping[str, Mapping[str, Any]]

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        told = tuple(
            f"{name.capitalize()}, made again by: {one['command']}" for name, one in self.studies.items()
        )
        cells = tuple(
            (f"{name}: {row['what']}", row["wanted"], row["before"], row["now"])
            for name, one in self.studies.items()
            for row in one["rows"]
        )
        return Answer(told, ("what", "wanted", "before", "now"), cells)._repr_mimebundle_()


def honest_sections(folder: str | Path) -> Sections:
    """Return the stored studies of readout, drain, comparison, budgets and sentences.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values; each study stores its own there with `--write`.
    """
    return Sections(values(folder, "honest_sections"))


def _kind_cells(name: str, rows: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    total = {
        key: sum(row[key] for row in rows)
        for key in ("true", "given", "held", "told", "silent", "wrongly_judged")
    }
    low, high = clopper_pearson(total["held"], total["given"]) if total["given"] else (0.0, 1.0)
    held = _percent(100 * total["held"] / total["given"]) if total["given"] else ""
    widths = [row["width"] for row in rows if row["width"] is not None]
    return (
        name.replace("_", " "),
        f"{total['given']} of {total['true']}",
        held,
        f"{_percent(100 * low)} to {_percent(100 * high)}",
        f"{median(widths):.2f}" if widths else "",
        f"{total['silent']} of {total['told']}",
        str(total["wrongly_judged"]),
    )


def _cells(row: Mapping[str, Any]) -> tuple[str, ...]:
    held = "" if row["held_percent"] is None else _percent(row["held_percent"])
    between = f"{_percent(row['low_percent'])} to {_percent(row['high_percent'])}" if row["given"] else ""
    loose = f"{row['bounds_held']} of {row['only_bounds']}" if row["only_bounds"] else ""
    width = "" if row["width"] is None else f"{row['width']:.2f}, {row['width_90']:.2f}"
    given = f"{row['given']} of {row['true']}"
    return row["finding"], row["kind"], given, held, between, loose, width, row["floor"]


def _percent(share: float) -> str:
    return f"{formatting.number(share, 1)}{formatting.NO_BREAK}%"
