"""How a quantity is written for people: GUM 7.2.6 digits, real signs, one unbreakable piece."""

from __future__ import annotations

import math
from collections.abc import Iterable

from reviewkit.metrology import units

MINUS = "\u2212"
NO_BREAK = "\u00a0"
THIN = "\u202f"
"""Narrow no-break space."""


def number(value: float, decimals: int) -> str:
    """Return `value` with that many decimals, groups of three set apart and a real minus sign.

    A negative number of decimals rounds to tens, hundreds and so on.
    """
    if not math.isfinite(value):
        return "∞" if value > 0 else f"{MINUS}∞" if value < 0 else "?"
    rounded = round(value, decimals) + 0.0
    text = f"{abs(rounded):.{max(decimals, 0)}f}"
    whole, _, fraction = text.partition(".")
    if len(whole) > 4:
        head = len(whole) % 3
        groups = [whole[:head]] if head else []
        whole = THIN.join(groups + [whole[start : start + 3] for start in range(head, len(whole), 3)])
    sign = MINUS if rounded < 0 else ""
    return f"{sign}{whole}.{fraction}" if fraction else f"{sign}{whole}"


def decimals_for(uncertainty: float, digits: int = 2) -> int:
    """Return the decimals that show an uncertainty to two significant digits (GUM 7.2.6)."""
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return 3
    decimals = digits - 1 - math.floor(math.log10(uncertainty))
    # 0.0996 rounds up to 0.10: one decimal fewer shows the same two digits.
    if round(uncertainty, decimals) >= 10.0 ** (digits - decimals):
        decimals -= 1
    return decimals


def quantity(value: float, uncertainty: float | None, unit: str) -> str:
    """Return "0.497 A ± 0.006 A" as one piece that never breaks across lines.

    Parameters
    ----------
    value : float [unit]
    uncertainty : float or None [unit]
        Expanded uncertainty; decides the digits of both. None: four significant digits, no "±".
    unit : str
        A finding's unit; readers see Ω, µA, Ah, min or h where those read better.
    """
    if unit == "s":
        return _duration(value, uncertainty)
    scale, sign = units.for_people(_size(value, uncertainty), unit)
    behind = (NO_BREAK if sign != "%" else THIN) + sign if sign else ""
    shown = value / scale
    if uncertainty is None or not math.isfinite(uncertainty) or uncertainty <= 0:
        return f"{number(shown, _plain_decimals(shown))}{behind}"
    doubt = uncertainty / scale
    decimals = decimals_for(doubt)
    return f"{number(shown, decimals)}{behind}{NO_BREAK}±{NO_BREAK}{number(doubt, decimals)}{behind}"


def _size(value: float, uncertainty: float | None) -> float:
    """Return what picks the prefix: the value, or its doubt where that is the larger."""
    return max(abs(value), uncertainty or 0.0) if math.isfinite(uncertainty or 0.0) else value


def _plain_decimals(value: float) -> int:
    """Decimals that show four significant digits, none for whole numbers."""
    if not math.isfinite(value) or (value == int(value) and abs(value) < 1e6):
        return 0
    return max(0, 3 - math.floor(math.log10(abs(value)))) if value else 0


def _duration(seconds: float, uncertainty: float | None) -> str:
    """Return a time span: seconds under two minutes, h:mm above, the doubt in its own unit."""
    size = abs(seconds)
    if size < 120:
        doubt = "" if not uncertainty else f"{NO_BREAK}±{NO_BREAK}{_seconds(uncertainty, uncertainty)}"
        return _seconds(seconds, uncertainty) + doubt
    text = clock(seconds, with_seconds=bool(uncertainty and uncertainty < 60))
    if not uncertainty:
        return text
    doubt = _seconds(uncertainty, uncertainty) if uncertainty < 60 else _minutes(uncertainty)
    return f"{text}{NO_BREAK}±{NO_BREAK}{doubt}"


def _seconds(value: float, uncertainty: float | None) -> str:
    decimals = decimals_for(uncertainty) if uncertainty else _plain_decimals(value)
    return f"{number(value, decimals)}{NO_BREAK}s"


def _minutes(seconds: float) -> str:
    minutes = seconds / 60
    return f"{number(minutes, 1 if minutes < 10 else 0)}{NO_BREAK}min"


def clock(seconds: float, *, with_seconds: bool = False) -> str:
    """Return a time span as "3 h 05 min" or, `with_seconds`, "3 h 05 min 07 s"."""
    sign = MINUS if seconds < 0 else ""
    whole = round(abs(seconds)) if with_seconds else round(abs(seconds) / 60) * 60
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    parts = [f"{hours}{NO_BREAK}h", f"{minutes:02d}{NO_BREAK}min"] if hours else [f"{minutes}{NO_BREAK}min"]
    if with_seconds:
        parts.append(f"{left:02d}{NO_BREAK}s")
    return sign + NO_BREAK.join(parts)


def rough(value: float, unit: str) -> str:
    """Return a quantity that carries no uncertainty with three digits: "600 µA"."""
    scale, sign = units.for_people(value, unit)
    shown = value / scale
    decimals = max(0, 2 - math.floor(math.log10(abs(shown)))) if shown else 0
    text = number(shown, decimals)
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text}{NO_BREAK}{sign}"


def interval(low: float | None, high: float | None, unit: str) -> str:
    """Return "4.15 V to 4.25 V", "at most 4.25 V" or "at least 4.15 V"."""
    if low is None and high is None:
        return ""
    if low is None:
        return f"at most {quantity(float(high or 0.0), None, unit)}"
    if high is None:
        return f"at least {quantity(low, None, unit)}"
    return f"{quantity(low, None, unit)} to {quantity(high, None, unit)}"


def bounded(value: float, low: float, high: float, unit: str) -> str:
    """Return "0.050 V (0.043 V to 0.056 V)": a value between bounds that are not symmetric about it.

    Parameters
    ----------
    value, low, high : float [unit]
        The bounds are rounded outwards, to the digits that half their distance deserves (GUM 7.2.6).
    """
    half = (high - low) / 2
    if unit == "s" or half <= 0 or not math.isfinite(half):
        return f"{quantity(value, None, unit)} ({interval(low, high, unit)})"
    scale, sign = units.for_people(max(abs(value), abs(low), abs(high)), unit)
    behind = (NO_BREAK if sign != "%" else THIN) + sign if sign else ""
    decimals = decimals_for(half / scale)
    power = 10.0**decimals
    # A bound that is a round number already stays where it is, whatever its last binary digit.
    down = math.floor(low / scale * power + 1e-6) / power
    up = math.ceil(high / scale * power - 1e-6) / power
    middle, bottom, top = (number(item, decimals) + behind for item in (value / scale, down, up))
    return f"{middle} ({bottom} to {top})"


def declared(low: float | None, high: float | None, unit: str) -> str:
    """Return a limit as it is declared, with no more digits than it has: "4.15 V to 4.25 V"."""
    ends = [end for end in (low, high) if end is not None]
    if not ends:
        return ""
    scale, sign = units.for_people(max(ends, key=abs), unit)
    behind = (NO_BREAK if sign != "%" else THIN) + sign if sign else ""
    texts = [f"{number(end / scale, _needed_decimals(end / scale))}{behind}" for end in ends]
    if unit == "s":
        texts = [_duration(end, None) for end in ends]
    if len(texts) == 2:
        return f"{texts[0]} to {texts[1]}"
    return f"at most {texts[0]}" if low is None else f"at least {texts[0]}"


_MOST_TYPED = 5
"""Digits that a person types of a limit at most; one with more was worked out and gets three. Chosen."""


def _needed_decimals(value: float) -> int:
    """Decimals that show a typed number whole; three digits of one that was worked out."""
    front = math.floor(math.log10(abs(value))) + 1 if value else 1
    most = max(0, _MOST_TYPED - front)
    whole = (places for places in range(most + 1) if abs(round(value, places) - value) < 1e-9)
    return next(whole, max(0, 3 - front))


def listed(words: Iterable[str], last: str = "and") -> str:
    """Return "a", "a and b", "a, b and c"."""
    parts = list(words)
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} {last} {parts[-1]}"
