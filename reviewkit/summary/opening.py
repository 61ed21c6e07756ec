"""What the bench found, in two paragraphs for a reader with one minute: only findings speak.

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
from reviewkit.summary.record import Part, Record, html, joined

NAMED = 3
"""Most findings that are named one by one; the table has them all. Chosen: a paragraph is no table."""
TABLE, MISSING = "findings", "not-tested"
"""Where the page's own headings are, for what no single finding says."""
_LASTING_D = 730.0
"""Days beyond which a drain's own figure says nothing: the cell loses itself by then. Chosen: two years."""

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
    return f"[[{item.key}|{rounded(value, item.unit, up=up)}]]"


def rounded(value: float, unit: str, *, up: bool = False, more: int = 0) -> str:
    """Return a value with two significant digits, a cell's voltage with three; times as one says them.

    Parameters
    ----------
    value : float [unit]
    up : bool
        Never downwards: for "at most".
    more : int
        Digits beyond those.
    """
    if unit == "s":
        return _time(value)
    if not value:
        return formatting.quantity(0.0, None, unit)
    scale, sign = units.for_people(abs(value), unit)
    shown = abs(value) / scale
    decimals = (3 if unit == "V" and abs(value) >= 1 else 2) + more - 1 - math.floor(math.log10(shown))
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
    source = source_of(item.key)
    values = {text.partition("|")[2]: text for one in reversed(items) if (text := _against_limit(one))}
    return {
        "name": name,
        "label": _safe(item.label.removesuffix(f", {source}")),
        "value": formatting.listed(reversed(values.values())),
        "limit": formatting.declared(item.limit.low, item.limit.high, item.unit) if item.limit else "",
        "on": [_safe(text) for one in items if (text := source_of(one.key))],
        "negative": isinstance(item.value, int | float) and item.value < 0,
    }


def source_of(key: str) -> str:
    """Return the source of a charge's finding, "wall adapter"; nothing where its key names none."""
    parts = key.split(".")
    return parts[1].replace("_", " ") if parts[0] == "charge" and len(parts) == 3 else ""


def _against_limit(item: Finding) -> str:
    """Return a judged value, its digits enough to stand apart from the limit that it is held against."""
    value = item.value
    if not isinstance(value, int | float) or isinstance(value, bool):
        return f"[[{item.key}|{item.text}]]"
    shown = _apart(float(value), item)
    if item.key.endswith("current_after"):
        shown = shown.removeprefix(formatting.MINUS)  # its words say which way it flows
    return f"[[{item.key}|{shown}]]"


def _apart(value: float, item: Finding) -> str:
    ends = [end for end in (item.limit.low, item.limit.high) if end is not None] if item.limit else []
    for digits in range(4):
        shown = rounded(value, item.unit, more=digits)
        if all(end == value or rounded(end, item.unit, more=digits) != shown for end in ends):
            return shown
    return item.text


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
                "source": _safe(source_of(item.key)),
            }
            for item in whole
        ]
        yield _linked(say("takes", runs=runs), whole[0].key)
    elif ended:
        cut = ended[0].key.replace("termination_time", "interruptions")
        on_purpose = _safe(record.cut_on_purpose(source_of(ended[0].key)))
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
        if days is not None and (with_loss or days < _LASTING_D):
            return f"[[{item.key}|{days_said(item)}]]"
    return ""


def days_said(item: Finding) -> str:
    """Return days as one says them, no closer than they are known: "50 days", "8 months", "2 to 4 years".

    Parameters
    ----------
    item : Finding
        In days, its value a number.
    """
    assert isinstance(item.value, int | float)
    low, high = (float(item.value if end is None else end) for end in (item.low, item.high))
    size, name = next((size, name) for above, size, name in _SPANS if item.value >= above)
    ends = [_in_halves(end / size) if name == "years" else f"{end / size:.0f}" for end in (low, high)]
    if high - low <= _NARROW * item.value or ends[0] == ends[1]:
        return f"{float(item.value) / size:.2g}{formatting.NO_BREAK}{name}"
    return f"{ends[0]} to {ends[1]}{formatting.NO_BREAK}{name}"


_SPANS = ((_LASTING_D, 365.25, "years"), (90.0, 30.44, "months"), (0.0, 1.0, "days"))
"""From how many days on a time is said in which unit, and its length [d]. Chosen: as one says them."""
_NARROW = 0.2
"""Part of a time up to which the width of its interval is no news: two digits hold it. Chosen."""


def _in_halves(count: float) -> str:
    whole, half = divmod(round(2 * count), 2)
    return f"{whole or ''}{'½' if half else ''}" or "0"


def _missing(record: Record) -> Iterator[Markup]:
    if count := len(record.missing):
        yield _linked(say("missing", count=count), MISSING)


_PARAGRAPHS = ((_ends, _wrong, _inside), (_takes, _readout, _shelf, _missing))
