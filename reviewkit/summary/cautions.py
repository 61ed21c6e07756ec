"""Cautions: first those that a finding of this device calls for, then the usual ones."""

from __future__ import annotations

import fnmatch
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from reviewkit.findings import Finding, limit_text
from reviewkit.findings.cautions import CAUTIONS, SCOPE
from reviewkit.summary.part import Part, bullets, html
from reviewkit.summary.record import Record

EMPTY_SOON_D = 90.0
"""Days to empty under which storage needs a caution."""


@dataclass(frozen=True)
class Rule:
    """When a finding calls for a caution, and which.

    Parameters
    ----------
    keys : str
        A pattern for the finding's key.
    holds : callable
        Whether the caution is due.
    says : str
        With {text} and {limit} of the finding.
    """

    keys: str
    holds: Callable[[Finding], bool]
    says: str


def _fails(item: Finding) -> bool:
    return item.verdict == "fail"


def _unsure(item: Finding) -> bool:
    return item.verdict == "inconclusive"


def _never(item: Finding) -> bool:
    return item.value is False


def _any(item: Finding) -> bool:
    return bool(item.value)


def _soon(item: Finding) -> bool:
    return isinstance(item.value, int | float) and item.value < EMPTY_SOON_D


RULES = (
    Rule(
        "charge.*peak_voltage",
        _fails,
        "It takes the cell to {text}, beyond {limit}. Do not charge this cell in it.",
    ),
    Rule(
        "charge.*peak_voltage",
        _unsure,
        "It takes the cell to {text}; whether that keeps {limit} the meter can’t tell. Do not leave it "
        "charging alone.",
    ),
    Rule(
        "charge.*hold_voltage",
        _fails,
        "It holds the cell at {text}, outside {limit}.",
    ),
    Rule(
        "charge.*terminates",
        _never,
        "It did not end the charge while the bench was watching. Pull the cable yourself when the cell "
        "is full.",
    ),
    Rule(
        "charge.*current_after",
        _fails,
        "It keeps sending current into a full cell: {text}. Pull the cable when the charge is done.",
    ),
    Rule("charge.*", _fails, "{label}: {text}, outside {limit}."),
    Rule("ui.hazards", _any, "{note}"),
    Rule("ui.precautions", _any, "{note}"),
    Rule(
        "drain.*days_to_empty",
        _soon,
        "{label}: a full cell is empty in {text}, and may then be drawn below its floor. Lock the "
        "device out or take "
        "the cell out before you store it.",
    ),
    Rule("*", _fails, "{label}: {text}, outside {limit}."),
)
"""The first rule that holds for a finding speaks for it; the most urgent stand first."""


def own(record: Record) -> list[str]:
    """Return the cautions that this device's findings call for, and those the author adds."""
    due = sorted((found for item in record.distinct() if (found := _due(item))), key=lambda found: found[0])
    said = [text for _, text in due] + [str(text) for text in record.review.get("cautions") or ()]
    return list(dict.fromkeys(said))


def _due(item: Finding) -> tuple[int, str] | None:
    """Return the rank and the words of the rule that speaks for a finding, if one does."""
    for rank, rule in enumerate(RULES):
        if fnmatch.fnmatchcase(item.key, rule.keys) and rule.holds(item):
            return rank, rule.says.format(
                text=item.text,
                limit=limit_text(item) or "its limit",
                note=item.note,
                label=item.label[:1].upper() + item.label[1:],
            )
    return None


def cautions(record: Record) -> Part:
    """Return the cautions, this device's first."""
    found = own(record)
    none = "Nothing that the bench found on this device calls for a caution beyond the usual ones."
    first = bullets(found) if found else html("<p>{}</p>", none)
    return Part(html("{}<h3>With every lithium-ion cell</h3>{}", first, bullets(_usual(record))))


def _usual(record: Record) -> Iterator[str]:
    yield from CAUTIONS
    yield SCOPE
    floor = record.cell.get("floor_V")
    if floor:
        yield f"The floor of the cell used here: {floor if isinstance(floor, str) else f'{floor} V'}."
