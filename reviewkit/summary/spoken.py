"""Numbers as one would say them: two or three digits, times in quarters of an hour, no uncertainty."""

from __future__ import annotations

import math

from reviewkit.findings import Finding
from reviewkit.metrology import formatting, units

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
