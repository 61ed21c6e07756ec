"""Numbers as one would say them, without uncertainty; and the ones that a buyer chooses by."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from reviewkit.findings import PART_MIME, Finding, sentences
from reviewkit.metrology import formatting, units
from reviewkit.summary.record import Record

LASTING_D = 730.0
"""Days beyond which a drain's own figure says nothing: the cell loses itself by then. Chosen: two years."""


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


def apart(item: Finding) -> str:
    """Return a judged value, its amount with enough digits to stand apart from the limits that judge it.

    Which way a current flows is for the words to say.
    """
    value = item.value
    if not isinstance(value, int | float) or isinstance(value, bool):
        return item.text
    if item.unit == "d":
        return days_said(item)
    if item.key.endswith("current_after"):
        return rounded(abs(value), item.unit)
    ends = [end for end in (item.limit.low, item.limit.high) if end is not None] if item.limit else []
    for digits in range(4):
        shown = rounded(value, item.unit, more=digits)
        if all(end == value or rounded(end, item.unit, more=digits) != shown for end in ends):
            return shown
    return item.text


def source_of(key: str) -> str:
    """Return the source of a charge's finding, "wall adapter"; nothing where its key names none."""
    parts = key.split(".")
    return parts[1].replace("_", " ") if parts[0] == "charge" and len(parts) == 3 else ""


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


_SPANS = ((LASTING_D, 365.25, "years"), (90.0, 30.44, "months"), (0.0, 1.0, "days"))
"""From how many days on a time is said in which unit, and its length [d]. Chosen: as one says them."""
_NARROW = 0.2
"""Part of a time up to which the width of its interval is no news: two digits hold it. Chosen."""


def _in_halves(count: float) -> str:
    whole, half = divmod(round(2 * count), 2)
    return f"{whole or ''}{'½' if half else ''}" or "0"


NAME = "key-figures"
"""The part's name: the list of all reviews reads it from the published summary."""

say = sentences.of("summary")


@dataclass(frozen=True)
class KeyFigure:
    """One answer of one review.

    Parameters
    ----------
    name : str
        Its column: "ends", "inside", "wrong", "full_in", "shelf", "readout".
    head : str
        What the column is called.
    text : str
    order : float or None
        What it is sorted by; None where it was not had.
    has : str
        What the list can be narrowed down to by it; empty for nothing.
    unit : str
        Of a number that the list draws over all devices; empty for none.
    interval : tuple of (float, float) or None [unit]
        Of that number.
    """

    name: str
    head: str
    text: str
    order: float | None
    has: str = ""
    unit: str = ""
    interval: tuple[float, float] | None = None


@dataclass(frozen=True)
class KeyFigures:
    """The answers of one review; the list of all reviews shows them, the review's own page does not.

    Parameters
    ----------
    items : tuple of KeyFigure
    """

    items: tuple[KeyFigure, ...]

    def _repr_mimebundle_(self, **_: Any) -> Mapping[str, Any]:
        return {
            PART_MIME: {"name": NAME, "figures": [vars(item) for item in self.items]},
            "text/plain": "; ".join(f"{item.head}: {item.text}" for item in self.items),
        }


def key_figures(record: Record) -> KeyFigures:
    """Return what a buyer chooses by.

    Examples
    --------
    >>> print(*(item.text for item in key_figures(record).items[:2]), sep=", ")
    yes, 17 of 21
    """
    made = (make(record) for make in (_ends, _inside, _wrong, _full_in, _shelf, _readout))
    return KeyFigures(tuple(item for item in made if item is not None))


def _figure(name: str, text: str, order: float | None, has: str = "") -> KeyFigure:
    return KeyFigure(name, say("key_head", name=name), text, order, has)


def _drawn(name: str, text: str, item: Finding) -> KeyFigure:
    """Return a number that the list draws beside all other devices', with its interval."""
    value = float(item.value)  # type: ignore[arg-type]
    low, high = (value if end is None else end for end in (item.low, item.high))
    return replace(_figure(name, text, value), unit=item.unit, interval=(low, high))


def _ends(record: Record) -> KeyFigure | None:
    found = record.each("charge", "terminates")
    if not found:
        return None
    values = [item.value for item in found]
    word = "no" if False in values else "yes" if all(value is True for value in values) else "open"
    order = float(("yes", "open", "no").index(word))
    return _figure("ends", say("key_ends", word=word), order, "ends" if word == "yes" else "")


def _inside(record: Record) -> KeyFigure | None:
    judged = record.judged
    within = sum(item.verdict == "pass" for item in judged)
    if not judged:
        return None
    return _figure("inside", say("key_inside", within=within, judged=len(judged)), within / len(judged))


def _wrong(record: Record) -> KeyFigure | None:
    item = record.findings.get("ui.hazards")
    if item is None:
        return None
    if item.verdict == "not tested" or not isinstance(item.value, list):
        return _figure("wrong", say("key_wrong", kinds=[], tested=False), None)
    kinds = dict.fromkeys(str(one["hazard"]) for one in item.value if isinstance(one, Mapping))
    text = say("key_wrong", kinds=list(kinds), tested=True)
    return _figure("wrong", text, float(len(kinds)), "" if kinds else "sound")


def _full_in(record: Record) -> KeyFigure | None:
    times = [item for item in record.each("charge", "termination_time") if _is_number(item)]
    if not times:
        return None
    whole = [item for item in times if not record.is_interrupted(item)]
    if not whole:
        return _figure("full_in", say("key_interrupted"), None)
    first = whole[0]
    source = source_of(first.key) if len(times) > 1 else ""
    time = rounded(float(first.value), "s")  # type: ignore[arg-type]
    return _drawn("full_in", say("key_full_in", time=time, source=source), first)


def _shelf(record: Record) -> KeyFigure | None:
    known = [item for item in record.each("drain", "mean") if _is_number(item)]
    known = [item for item in known if item.verdict != "inconclusive"]
    first = _first(known, "drain.standby.mean")
    if first is None:
        return None
    days = record.findings.get(f"{first.key.rpartition('.')[0]}.days_on_shelf")
    lasts = days_said(days) if days is not None and _is_number(days) else ""
    mean = rounded(float(first.value), first.unit)  # type: ignore[arg-type]
    return _drawn("shelf", say("key_shelf", mean=mean, lasts=lasts), first)


def _readout(record: Record) -> KeyFigure | None:
    item = record.findings.get("readout.largest_error")
    if item is None or not _is_number(item):
        return None
    most = float(item.value if item.high is None else item.high)  # type: ignore[arg-type]
    return replace(_drawn("readout", rounded(most, item.unit, up=True), item), order=most)


def _is_number(item: Finding) -> bool:
    return isinstance(item.value, int | float) and not isinstance(item.value, bool)


def _first(items: Sequence[Finding], key: str) -> Finding | None:
    own: Iterator[Finding] = (item for item in items if item.key == key)
    return next(own, items[0] if items else None)
