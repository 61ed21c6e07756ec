"""Findings of two reviews side by side: the difference, its uncertainty, and whether it is resolved.

Findings that rest on the same range of the same meter share that range's unknown calibration error: it
cancels in the difference as far as both depend on it alike. Findings from different meters don't.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from html import escape
from typing import Any

from reviewkit import findings
from reviewkit.findings import Finding, Findings
from reviewkit.metrology import Component, Measured, difference, formatting


@dataclass(frozen=True)
class Row:
    """One finding of both reviews.

    Parameters
    ----------
    key, label, unit : str
    first, second : Finding or None
        None where that review does not have it.
    difference : Measured or None
        Second − first, where both are numbers with a budget.
    resolved : bool or None
        Whether the two certainly differ; None where there is nothing to compare.
    words : str
        The verdict for a reader.
    """

    key: str
    label: str
    unit: str
    first: Finding | None
    second: Finding | None
    difference: Measured | None
    resolved: bool | None
    words: str


@dataclass(frozen=True)
class Comparison:
    """Every finding of two reviews.

    Parameters
    ----------
    names : tuple of (str, str)
    rows : tuple of Row
        In the order of the first review; what only the second has comes last.
    """

    names: tuple[str, str]
    rows: tuple[Row, ...]

    def __iter__(self) -> Iterator[Row]:
        return iter(self.rows)

    def get(self, key: str) -> Row | None:
        """Return the row of a key, or None."""
        return next((row for row in self.rows if row.key == key), None)

    @property
    def resolved(self) -> tuple[Row, ...]:
        """Rows in which the two certainly differ."""
        return tuple(row for row in self.rows if row.resolved)

    def sentence(self) -> str:
        """Return how many findings differ, in one sentence."""
        compared = [row for row in self.rows if row.resolved is not None]
        if not compared:
            return "The two reviews have no finding in common."
        return (
            f"{len(self.resolved)} of {len(compared)} findings that both reviews have differ by more than "
            "the bench can be wrong; for the others the meters can’t tell."
        )

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        first, second = (escape(name) for name in self.names)
        heads = "".join(
            f'<th scope="col" role="columnheader">{head}</th>'
            for head in ("Finding", first, second, "Difference")
        )
        body = "".join(
            f'<tr role="row"><th scope="row" role="rowheader">{escape(row.label)}</th>'
            f'<td class="value" role="cell" data-label="{first}:">{_shown(row.first)}</td>'
            f'<td class="value" role="cell" data-label="{second}:">{_shown(row.second)}</td>'
            f'<td role="cell">{escape(row.words)}</td></tr>'
            for row in self.rows
        )
        return {
            "text/html": f'<table class="comparison stacked" role="table"><thead><tr role="row">{heads}</tr>'
            f"</thead><tbody>{body}</tbody></table>",
            "text/plain": "\n".join(f"{row.label}: {row.words}" for row in self.rows),
        }


def _shown(item: Finding | None) -> str:
    return "—" if item is None else escape(item.text)


def pair(first: Iterable[Finding], second: Iterable[Finding], *, names: tuple[str, str]) -> Comparison:
    """Return the findings of two reviews side by side.

    Parameters
    ----------
    first, second : iterable of Finding
    names : tuple of (str, str)
        What the reader calls them: two devices, or one device's two editions.

    Returns
    -------
    Comparison
    """
    ours, theirs = ({item.key: item for item in side} for side in (first, second))
    keys = [*ours, *(key for key in theirs if key not in ours)]
    return Comparison(names, tuple(_row(key, ours.get(key), theirs.get(key), names) for key in keys))


def _row(key: str, first: Finding | None, second: Finding | None, names: tuple[str, str]) -> Row:
    known = first or second
    assert known is not None
    change, resolved, words = _compared(first, second, names)
    return Row(key, known.label, known.unit, first, second, change, resolved, words)


def _compared(
    first: Finding | None, second: Finding | None, names: tuple[str, str]
) -> tuple[Measured | None, bool | None, str]:
    for item, name in ((first, names[0]), (second, names[1])):
        if item is None or item.value is None:
            return None, None, f"not tested on {name}"
    assert first is not None
    assert second is not None
    if first.unit != second.unit:
        return None, None, "in different units"
    if _is_number(first) and _is_number(second):
        return _numbers(first, second, names)
    return _words(first, second)


def _is_number(item: Finding) -> bool:
    return isinstance(item.value, int | float) and not isinstance(item.value, bool)


def _numbers(
    first: Finding, second: Finding, names: tuple[str, str]
) -> tuple[Measured | None, bool | None, str]:
    a, b = as_measured(first), as_measured(second)
    if a is None or b is None:
        return None, *_intervals(first, second)
    change = difference(b, a)
    resolved = abs(change.value) > change.expanded
    span = formatting.quantity(abs(change.value), change.expanded, change.unit)
    if not resolved:
        return change, False, f"the meters can’t tell them apart ({span})"
    return change, True, f"{names[1]} {'higher' if change.value > 0 else 'lower'} by {span}"


def as_measured(item: Finding) -> Measured | None:
    """Return a finding as a quantity with its budget, or None if it has no uncertainty."""
    if not isinstance(item.value, int | float) or item.uncertainty is None:
        return None
    budget = item.budget or (Component(f"{item.label}: as stated", item.uncertainty / 2, item.unit),)
    return Measured(float(item.value), item.unit, budget)


def _intervals(first: Finding, second: Finding) -> tuple[bool, str]:
    """Compare what has an interval only, or a bare count."""
    low_a, high_a = _ends(first)
    low_b, high_b = _ends(second)
    counted = low_a == high_a and low_b == high_b
    if high_a < low_b or high_b < low_a:
        words = f"{first.text} against {second.text}" if counted else "they differ: no overlap"
        return True, words
    if counted:
        return False, "the same"
    return False, "the meters can’t tell them apart: their intervals overlap"


def _ends(item: Finding) -> tuple[float, float]:
    """Return a number's interval; a missing end is open, and a number without any is exact."""
    if item.low is None and item.high is None and isinstance(item.value, int | float):
        return float(item.value), float(item.value)
    return (
        float("-inf") if item.low is None else item.low,
        float("inf") if item.high is None else item.high,
    )


def _words(first: Finding, second: Finding) -> tuple[Measured | None, bool | None, str]:
    same = first.value == second.value
    if isinstance(first.value, list) and not same:
        return None, True, "not the same: see each review’s own page"
    return None, not same, "the same" if same else f"{first.text} against {second.text}"


def from_file(data: dict[str, Any]) -> Findings:
    """Return the findings of a parsed ``findings.json``.

    Raises
    ------
    KeyError
        If it is no such object.
    """
    return Findings(tuple(findings.Finding.from_dict(item) for item in data["findings"]))
