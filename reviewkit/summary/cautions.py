"""Cautions: first those that a finding of this device calls for, then the usual ones."""

from __future__ import annotations

import fnmatch
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

from reviewkit.findings import Finding, limit_text, sentences
from reviewkit.findings.sentences import CAUTIONS, SCOPE
from reviewkit.metrology import formatting
from reviewkit.summary import spoken
from reviewkit.summary.record import Part, Record, bullets, html

EMPTY_SOON_D = 90.0
"""Days to empty under which storage needs a caution. Chosen: a lamp may lie for a season."""

say = sentences.of("summary")


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
        The sentence's name in ``templates/words/summary.j2``.
    """

    keys: str
    holds: Callable[[Finding], bool]
    says: str


def _fails(item: Finding) -> bool:
    return item.verdict == "fail"


def _endangers(item: Finding) -> bool:
    """Whether it lies outside its limit and that is a danger: at which current a charge stops is a habit."""
    return _fails(item) and not item.key.endswith(".termination_current")


def _stops(item: Finding, *, late: bool) -> bool:
    """Whether the current at which it stops lies below its range, the charge stopping late, or above it."""
    value, limit = _number(item.value), item.limit
    if not _fails(item) or value is None or limit is None:
        return False
    return (limit.low is not None and value < limit.low) == late


def _unsure(item: Finding) -> bool:
    return item.verdict == "inconclusive"


def _never(item: Finding) -> bool:
    return item.value is False


def _any(item: Finding) -> bool:
    return isinstance(item.value, list) and bool(item.value)


def _not_shown(item: Finding) -> bool:
    return item.key == "ui.precautions" and "Not shown" in item.note


def _charges_on(item: Finding) -> bool:
    return _fails(item) and (_number(item.value) or 0.0) > 0


def _draws_on(item: Finding) -> bool:
    return _fails(item) and (_number(item.value) or 0.0) < 0


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _days(item: Finding) -> tuple[float | None, float | None]:
    """Return the fewest and the most days that the bench leaves open; None: open."""
    if item.low is None and item.high is None:
        value = _number(item.value)
        return value, value
    return item.low, item.high


def _soon(item: Finding) -> bool:
    """Whether it may be empty soon: where only "at most" is known, it may be sooner."""
    fewest, most = _days(item)
    return fewest < EMPTY_SOON_D if fewest is not None else most is not None


def _surely_soon(item: Finding) -> bool:
    most = _days(item)[1]
    return most is not None and most < EMPTY_SOON_D


RULES = (
    Rule("charge.*peak_voltage", _fails, "peak_outside"),
    Rule("charge.*peak_voltage", _unsure, "peak_unsure"),
    Rule("charge.*hold_voltage", _fails, "hold_outside"),
    Rule("charge.*terminates", _never, "never_ends"),
    Rule("charge.*current_after*", _charges_on, "charges_on"),
    Rule("ui.hazards", _any, "note"),
    Rule("charge.*current_after*", _draws_on, "draws_on"),
    Rule("charge.*", _endangers, "outside"),
    Rule("ui.precautions", _any, "note"),
    Rule("ui.precautions", _not_shown, "note"),
    Rule("drain.*days_to_empty", _soon, "empty_soon"),
    Rule("*", _endangers, "outside"),
    Rule("charge.*termination_current", partial(_stops, late=True), "stops_late"),
    Rule("charge.*termination_current", partial(_stops, late=False), "stops_early"),
)
"""The first rule that holds for a finding speaks for it; the most urgent stand first."""


def own(record: Record) -> list[str]:
    """Return the cautions that this device's findings call for, and those the author adds.

    The same on several sources is said once.
    """
    due: dict[tuple[int, str, str], list[Finding]] = {}
    for item in record.distinct():
        if rule := _due(item):
            name = item.key.rpartition(".")[2] if item.key.startswith("charge.") else item.key
            due.setdefault((*rule, name), []).append(item)
    said = [_said(says, items) for (_, says, _), items in sorted(due.items(), key=lambda found: found[0][0])]
    said += [str(text) for text in record.review.get("cautions") or ()]
    return list(dict.fromkeys(said))


def _due(item: Finding) -> tuple[int, str] | None:
    """Return the rank and the words of the rule that speaks for a finding, if one does."""
    for rank, rule in enumerate(RULES):
        if fnmatch.fnmatchcase(item.key, rule.keys) and rule.holds(item):
            return rank, rule.says
    return None


def _said(name: str, items: list[Finding]) -> str:
    item, limit = items[0], limit_text(items[0]) or "its limit"
    text = formatting.listed(dict.fromkeys(spoken.apart(one) for one in items))
    label = item.label.removesuffix(f", {spoken.source_of(item.key)}")
    values: dict[str, dict[str, object]] = {
        "peak_outside": {"text": text, "limit": limit},
        "peak_unsure": {"text": text, "limit": limit},
        "hold_outside": {"text": text, "limit": limit},
        "never_ends": {},
        "charges_on": {"text": text},
        "draws_on": {"text": text},
        "stops_late": {"text": text, "limit": limit},
        "stops_early": {"text": text, "limit": limit},
        "outside": {"label": label, "text": text, "limit": limit},
        "note": {"note": item.note},
        "empty_soon": {
            "label": item.label,
            "text": text,
            "surely": _surely_soon(item),
            "days": f"{EMPTY_SOON_D:.0f}",
        },
    }
    return say(name, **values[name])


def cautions(record: Record) -> Part:
    """Return the cautions, this device's first.

    Examples
    --------
    >>> "Pull the cable when the charge is done." in cautions(record).html
    True
    """
    found = own(record)
    first = bullets(found) if found else html("<p>{}</p>", say("usual_only"))
    return Part(html("{}<h3>With every lithium-ion cell</h3>{}", first, bullets(_usual(record))))


def _usual(record: Record) -> Iterator[str]:
    yield from CAUTIONS
    yield SCOPE
    floor = record.cell.get("floor_V")
    if floor:
        yield say("floor", floor=floor if isinstance(floor, str) else f"{floor} V")
