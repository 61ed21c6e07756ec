"""What the bench found, in two paragraphs for a reader with one minute: only findings speak.

In this order: whether the charge ends by itself, what can go wrong with no one there, whether the cell is
kept inside its limits, how long a charge takes, how far the readout is off, how long it lasts on the shelf.
Numbers are rounded as one would say them, without their uncertainty; each leads to its finding, which has it.
Then the cautions: those that a finding of this device calls for, and the usual ones.
"""

from __future__ import annotations

import fnmatch
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

from markupsafe import Markup

from reviewkit.findings import Finding, limit_text, sentences
from reviewkit.findings.sentences import CAUTIONS, SCOPE
from reviewkit.metrology import formatting
from reviewkit.summary import spoken
from reviewkit.summary.record import Part, Record, bullets, html, joined

NAMED = 3
"""Most findings that are named one by one; the table has them all. Chosen: a paragraph is no table."""
TABLE, MISSING = "findings", "not-tested"
"""Where the page's own headings are, for what no single finding says."""
say = sentences.of("summary")
_LINK = re.compile(r"\[\[(?:([^|\]]+)\|)?(.+?)\]\]")


def paragraph(record: Record) -> Part:
    """Return what a reader with one minute reads: is it safe to leave alone, and what may be expected of it.

    Examples
    --------
    >>> "ends its charge by itself" in paragraph(record).html
    True
    """
    said = [[line for make in sentences for line in make(record)] for sentences in _PARAGRAPHS]
    told = [Markup(" ").join(lines) for lines in said if lines] or [html("{}", say("nothing"))]
    return Part(joined(html('<p class="lead">{}</p>', text) for text in told), "opening")


def _linked(text: str, about: str) -> Markup:
    """Return a sentence in which each number leads to its finding, the rest to what it is about."""
    pieces, last = [], 0
    for found in _LINK.finditer(text):
        pieces.append(html("{}", text[last : found.start()]))
        pieces.append(html('<a class="number" href="#{}">{}</a>', found[1] or about, found[2]))
        last = found.end()
    return Markup("").join([*pieces, html("{}", text[last:])])


def _safe(text: str) -> str:
    """Return a reviewer's text without what would be read as a link."""
    return text.replace("[[", "[ [").replace("]]", "] ]")


def _number(item: Finding, value: float, *, up: bool = False) -> str:
    """Return a value as one would say it, with the way to its finding."""
    return f"[[{item.key}|{spoken.rounded(value, item.unit, up=up)}]]"


_ANSWERS: dict[object, str] = {True: "yes", False: "no"}


def _ends(record: Record) -> Iterator[Markup]:
    found = record.each("charge", "terminates")
    if found:
        verdicts = {_ANSWERS.get(item.value, "open") for item in found if not isinstance(item.value, list)}
        again = next((item.key for item in record.each("charge", "top_ups") if item.value), "")
        text = say("ends", name=_safe(record.name), verdicts=sorted(verdicts), again=again)
        yield _linked(text, found[0].key)


def _wrong(record: Record) -> Iterator[Markup]:
    """Give every hazard, in the words of what one sees and with what prevents it."""
    item = record.findings.get("ui.hazards")
    if item is None:
        return
    if item.verdict == "not tested" or not isinstance(item.value, list):
        text = say("wrong_untold")
    elif item.value:
        named = dict.fromkeys(str(one.get("hazard")) for one in item.value if isinstance(one, dict))
        text = say("wrong", note=_safe(item.note or f"{formatting.listed(named)}."))
    else:
        untested = record.findings.get("ui.untested")
        left = untested.value if untested and isinstance(untested.value, list) else []
        text = say("nothing_wrong", open=len(left))
    yield _linked(text, item.key)


def _inside(record: Record) -> Iterator[Markup]:
    """Give how many of the judged are inside their limits; what isn't, in the words of what one sees."""
    judged = record.judged
    if not judged:
        return
    outside = [item for item in judged if item.verdict == "fail"]
    unsure = [item for item in judged if item.verdict == "inconclusive"]
    text = say(
        "inside",
        name=_safe(record.name) if not record.each("charge", "terminates") else "It",
        within=len(judged) - len(outside) - len(unsure),
        judged=len(judged),
        outside=_named(outside),
        unsure=_named(unsure),
    )
    yield _linked(text, TABLE)


def _named(items: list[Finding]) -> dict[str, Any]:
    """Return what is to be named, the same on several sources once, and how many more there are.

    Of what has a sentence of its own in the opening only the number counts here.
    """
    groups: dict[str, list[Finding]] = {}
    for item in items:
        if item.key not in _SAID_ANYWAY and not item.key.endswith(".terminates"):
            is_of_run = item.key.startswith("charge.")
            groups.setdefault(item.key.rpartition(".")[2] if is_of_run else item.key, []).append(item)
    told = [_group(name, group) for name, group in groups.items()]
    return {"told": told[:NAMED], "more": sum(len(group) for group in list(groups.values())[NAMED:])}


def _group(name: str, items: list[Finding]) -> dict[str, Any]:
    item = items[0]
    source = spoken.source_of(item.key)
    values = {spoken.apart(one): one.key for one in reversed(items)}
    return {
        "name": name,
        "label": _safe(item.label.removesuffix(f", {source}")),
        "value": formatting.listed(f"[[{key}|{text}]]" for text, key in reversed(values.items())),
        "limit": _span(item),
        "on": [_safe(text) for one in items if (text := spoken.source_of(one.key))],
        "negative": isinstance(item.value, int | float) and item.value < 0,
    }


def _span(item: Finding) -> str:
    """Return what a limit allows; one that is the same either way as an amount."""
    if item.limit is None:
        return ""
    low, high = item.limit.low, item.limit.high
    is_amount = low is not None and high is not None and low == -high
    return formatting.declared(None if is_amount else low, high, item.unit)


_SAID_ANYWAY = ("readout.largest_error",)
"""Judged findings whose verdict a sentence of their own says."""


def _takes(record: Record) -> Iterator[Markup]:
    """Give how long a charge took that nothing interrupted: another's time is not the charger's."""
    found = record.each("charge", "termination_time")
    times = [item for item in found if isinstance(item.value, int | float)]
    ended = [item for item in times if _beside(record, item, "terminates", otherwise=True) is True]
    whole = [item for item in ended if not record.is_interrupted(item)]
    if whole:
        runs = [
            {
                "time": _number(item, float(item.value)),  # type: ignore[arg-type]
                "start": _start(record, item),
                "source": _safe(spoken.source_of(item.key)),
            }
            for item in whole
        ]
        yield _linked(say("takes", runs=runs), whole[0].key)
    elif ended:
        cut = ended[0].key.replace("termination_time", "interruptions")
        on_purpose = _safe(record.cut_on_purpose(spoken.source_of(ended[0].key)))
        yield _linked(say("interrupted", on_purpose=on_purpose), cut)


def _beside(record: Record, item: Finding, name: str, *, otherwise: Any = None) -> Any:
    """Return the value of another finding of the same run; `otherwise` where the run has no such finding."""
    other = record.findings.get(f"{item.key.rpartition('.')[0]}.{name}")
    return other.value if other else otherwise


def _start(record: Record, item: Finding) -> str:
    start = record.findings.get(f"{item.key.rpartition('.')[0]}.start_voltage")
    has = start is not None and isinstance(start.value, int | float)
    return _number(start, float(start.value)) if has else ""  # type: ignore[arg-type, union-attr]


def _readout(record: Record) -> Iterator[Markup]:
    item = record.findings.get("readout.largest_error")
    if item is None or not isinstance(item.value, int | float):
        return
    most = _number(item, item.value if item.high is None else item.high, up=True)
    limit = item.limit.high if item.limit else None
    claimed = "" if limit is None else formatting.declared(None, limit, item.unit).removeprefix("at most ")
    yield _linked(say("readout", most=most, claimed=claimed, verdict=item.verdict or ""), item.key)


def _shelf(record: Record) -> Iterator[Markup]:
    """Give what it draws when no one uses it, and how long a full cell lasts with its own loss."""
    means = [item for item in record.each("drain", "mean") if _is_known(item)]
    first = [item for item in means if item.key.split(".")[1] == "standby"] or means[:1]
    locked = [item for item in means if "lock" in item.key.split(".")[1] and item not in first]
    states = [
        {
            "name": _safe(item.label.rpartition(":")[0] or item.key.split(".")[1].replace("_", " ")),
            "mean": _number(item, float(item.value)),  # type: ignore[arg-type]
            "lasts": (lasts := _lasts(record, item)),
            "own_loss": "shelf" in lasts,
        }
        for item in (*first, *locked[:1])
    ]
    if states:
        yield _linked(say("shelf", states=states), first[0].key)


def _is_known(item: Finding) -> bool:
    return isinstance(item.value, int | float) and item.verdict != "inconclusive"


def _lasts(record: Record, mean: Finding) -> str:
    """Return how long a full cell lasts: with its own loss where that was worked out, else if soon."""
    state = mean.key.rpartition(".")[0]
    found = [item for item in record.findings if item.key.startswith(f"{state}.") and item.unit == "d"]
    with_loss = [item for item in found if "shelf" in item.key]
    for item in with_loss or [item for item in found if item.key.endswith("days_to_empty")]:
        days = item.value if isinstance(item.value, int | float) else None
        if days is not None and (with_loss or days < spoken.LASTING_D):
            return f"[[{item.key}|{spoken.days_said(item)}]]"
    return ""


def _missing(record: Record) -> Iterator[Markup]:
    if count := len(record.missing):
        yield _linked(say("missing", count=count), MISSING)


_PARAGRAPHS = ((_ends, _wrong, _inside), (_takes, _readout, _shelf, _missing))

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
    value, limit = _as_number(item.value), item.limit
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
    value = _as_number(item.value)
    return _fails(item) and value is not None and value > 0


def _draws_on(item: Finding) -> bool:
    value = _as_number(item.value)
    return _fails(item) and value is not None and value < 0


def _as_number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _days(item: Finding) -> tuple[float | None, float | None]:
    """Return the fewest and the most days that the bench leaves open; None: open."""
    if item.low is None and item.high is None:
        value = _as_number(item.value)
        return value, value
    return item.low, item.high


def _soon(item: Finding) -> bool:
    """Whether it may be empty soon: where only "at most" is known, it may be sooner."""
    fewest, most = _days(item)
    return fewest < EMPTY_SOON_D if fewest is not None else most is not None


def _surely_soon(item: Finding) -> bool:
    most = _days(item)[1]
    return most is not None and most < EMPTY_SOON_D


def _flashes_fast(item: Finding) -> bool:
    """Whether more than three flashes in a second are not ruled out (WCAG 2.2, 2.3.1)."""
    most = item.high if item.high is not None else _as_number(item.value)
    return most is not None and most > MOST_FLASHES_HZ


MOST_FLASHES_HZ = 3.0
"""WCAG 2.2, success criterion 2.3.1."""

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
    Rule("ui.*.flash_rate", _flashes_fast, "flashes"),
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
        "flashes": {"label": item.label, "text": text},
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
