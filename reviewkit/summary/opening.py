"""What the bench found, in one paragraph for a reader with one minute: only findings speak.

In this order: whether the charge ends by itself, what can go wrong with no one there, whether the cell is
kept inside its limits, how long a charge takes, how far the readout is off, how long it lasts on the shelf.
Numbers are rounded as one would say them, without their uncertainty; each leads to its finding, which has it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import Any

from markupsafe import Markup

from reviewkit.findings import Finding, sentences
from reviewkit.metrology import formatting, units
from reviewkit.summary.record import Part, Record, html

NAMED = 3
"""Most findings that are named one by one; the table has them all. Chosen: a paragraph is no table."""
TABLE, MISSING = "findings", "not-tested"
"""Where the page's own headings are, for what no single finding says."""
_LASTING_D = 730.0
"""Days beyond which a drain's own figure says nothing: the cell loses itself by then. Chosen: two years."""

say = sentences.of("summary")
_LINK = re.compile(r"\[\[(?:([^|\]]+)\|)?(.+?)\]\]")


def paragraph(record: Record) -> Part:
    """Return the paragraph that a reader with one minute reads.

    Examples
    --------
    >>> "ends its charge by itself" in paragraph(record).html
    True
    """
    said = [line for make in _SENTENCES for line in make(record)]
    text = Markup(" ").join(said) if said else html("{}", say("nothing"))
    return Part(html('<p class="lead">{}</p>', text), "opening")


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
    return f"[[{item.key}|{rounded(value, item.unit, up=up)}]]"


def rounded(value: float, unit: str, *, up: bool = False) -> str:
    """Return a value with two significant digits, a cell's voltage with three; times as one says them.

    Parameters
    ----------
    value : float [unit]
    up : bool
        Never downwards: for "at most".
    """
    if unit == "s":
        return _time(value)
    if not value:
        return formatting.quantity(0.0, None, unit)
    scale, sign = units.for_people(abs(value), unit)
    shown = abs(value) / scale
    decimals = (3 if unit == "V" and abs(value) >= 1 else 2) - 1 - math.floor(math.log10(shown))
    whole = shown * 10.0**decimals
    # A bound that is a round number stays it, whatever its last binary digit.
    steps = math.ceil(whole - 1e-9) if up else round(whole)
    text = formatting.number(math.copysign(steps / 10.0**decimals, value), max(0, decimals))
    return f"{text}{formatting.THIN if sign == '%' else formatting.NO_BREAK}{sign}" if sign else text


def _time(seconds: float) -> str:
    """Return "4¼ h", "35 min": to a quarter of an hour, of a short time to five minutes."""
    if seconds < 3600:
        return f"{max(5, 5 * round(seconds / 300))}{formatting.NO_BREAK}min"
    whole, quarters = divmod(round(seconds / 900), 4)
    return f"{whole}{('', '¼', '½', '¾')[quarters]}{formatting.NO_BREAK}h"


_ANSWERS: dict[object, str] = {True: "yes", False: "no"}


def _ends(record: Record) -> Iterator[Markup]:
    found = record.each("charge", "terminates")
    if found:
        verdicts = {_ANSWERS.get(item.value, "open") for item in found if not isinstance(item.value, list)}
        yield _linked(say("ends", name=_safe(record.name), verdicts=sorted(verdicts)), found[0].key)


def _wrong(record: Record) -> Iterator[Markup]:
    """Give every hazard, in the words of what one sees and with what prevents it."""
    item = record.findings.get("ui.hazards")
    if item is None:
        return
    if item.verdict == "not tested" or not isinstance(item.value, list):
        text = say("wrong_untold")
    elif item.value:
        named = dict.fromkeys(str(one.get("hazard")) for one in item.value if isinstance(one, dict))
        note = item.note or f"{formatting.listed(named)}."
        text = say("wrong", note=_safe(note), ways=len(item.value))
    else:
        untested = record.findings.get("ui.untested")
        left = untested.value if untested and isinstance(untested.value, list) else []
        text = say("nothing_wrong", open=len(left))
    yield _linked(text, item.key)


def _inside(record: Record) -> Iterator[Markup]:
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
        outside=[_against(item) for item in outside[:NAMED]],
        unsure=[_against(item) for item in unsure[:NAMED]],
        more={"outside": max(0, len(outside) - NAMED), "unsure": max(0, len(unsure) - NAMED)},
    )
    yield _linked(text, TABLE)


def _against(item: Finding) -> str:
    limit = formatting.declared(item.limit.low, item.limit.high, item.unit) if item.limit else ""
    value = item.value
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    shown = _number(item, float(value)) if is_number else f"[[{item.key}|{item.text}]]"  # type: ignore[arg-type]
    return say("against", label=_safe(item.label), value=shown, limit=limit)


def _takes(record: Record) -> Iterator[Markup]:
    """Give how long a charge took that nothing interrupted: another's time is not the charger's."""
    found = record.each("charge", "termination_time")
    times = [item for item in found if isinstance(item.value, int | float)]
    ended = [item for item in times if _beside(record, item, "terminates", otherwise=True) is True]
    whole = [item for item in ended if not _beside(record, item, "interruptions")]
    if whole:
        runs = [
            {
                "time": _number(item, float(item.value)),  # type: ignore[arg-type]
                "start": _start(record, item),
                "source": _safe(item.key.split(".")[1].replace("_", " ")),
            }
            for item in whole
        ]
        yield _linked(say("takes", runs=runs), whole[0].key)
    elif ended:
        cut = ended[0].key.replace("termination_time", "interruptions")
        yield _linked(say("interrupted"), cut)


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
    yield _linked(say("readout", most=most, claimed=claimed), item.key)


def _shelf(record: Record) -> Iterator[Markup]:
    """Give what it draws when no one uses it, and how long a full cell lasts with its own loss."""
    means = [item for item in record.each("drain", "mean") if _is_known(item)]
    first = [item for item in means if item.key.split(".")[1] == "standby"] or means[:1]
    locked = [item for item in means if "lock" in item.key.split(".")[1] and item not in first]
    states = [
        {
            "name": _safe(item.label.rpartition(":")[0] or item.key.split(".")[1].replace("_", " ")),
            "mean": _number(item, float(item.value)),  # type: ignore[arg-type]
            "lasts": _lasts(record, item),
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
        if days is not None and (with_loss or days < _LASTING_D):
            return f"[[{item.key}|{_days(float(days))}]]"
    return ""


def _days(days: float) -> str:
    """Return days as one says them: "50 days", "8 months", "2.3 years"."""
    if days < 90:
        return f"{days:.2g}{formatting.NO_BREAK}days"
    if days < _LASTING_D:
        return f"{days / 30.44:.0f}{formatting.NO_BREAK}months"
    return f"{days / 365.25:.2g}{formatting.NO_BREAK}years"


def _missing(record: Record) -> Iterator[Markup]:
    if count := len(record.missing):
        yield _linked(say("missing", count=count), MISSING)


_SENTENCES = (_ends, _wrong, _inside, _takes, _readout, _shelf, _missing)
