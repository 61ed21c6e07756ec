"""What the bench found, in two paragraphs for a reader with one minute: only findings speak.

In this order: whether the charge ends by itself, what can go wrong with no one there, whether the cell is
kept inside its limits, how long a charge takes, how far the readout is off, how long it lasts on the shelf.
Numbers are rounded as one would say them, without their uncertainty; each leads to its finding, which has it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from markupsafe import Markup

from reviewkit.findings import Finding, sentences
from reviewkit.metrology import formatting
from reviewkit.summary import spoken
from reviewkit.summary.record import Part, Record, html, joined

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
