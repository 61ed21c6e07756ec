"""What a single cell of a meter's log can be: a number, a moment, an overload mark, a unit, or words."""

from __future__ import annotations

import re
from functools import lru_cache

from reviewkit.tables import headers

_SIGN = r"[+\-\u2212]?"
_DIGITS = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+\-]?\d+)?"
NUMBER = re.compile(rf"{_SIGN}\s?{_DIGITS}")
NUMBER_WITH_UNIT = re.compile(
    rf"({_SIGN}\s?{_DIGITS})\s*([µμumkMn]?[VAΩΩ]\s?(?:[AD]C|[ad]c)?|[°º]\s?[CFK]|℃|℉)"
)
_OVERLOAD = re.compile(
    rf"{_SIGN}(?:\s?\.?[o0]\.?l\.?|over[\s-]?(?:load|flow|range)?(?:ed)?|ov(?:l|ld|fl|rng|er)?|inf(?:inity)?|∞|1e\+?999)"
    r"|[-\u2013\u2014\u2212]{2,}(?:[.,][-\u2013\u2014\u2212]+)?|[-\u2212]{1,}[.,][-\u2212]+",
    re.IGNORECASE,
)
_EMPTY = re.compile(r"|nan|n/?a|null|none|-|\?", re.IGNORECASE)
_FRACTION = r"(?::\d{1,2}(?:[.,]\d+)?)?"
_HALF = r"(?:\s*[AaPp]\.?[Mm]\.?)?"
_ZONE = r"(?:\s?(?:Z|UTC|[+\-]\d{2}:?(?:\d{2})?))?"
_DATE = r"(?:\d{4}([./\-])\d{1,2}\1\d{1,2}|\d{1,2}([./\-])\d{1,2}\2(?:\d{4}|\d{2}))"
_MOMENT = re.compile(rf"{_DATE}(?:,?\s+|T)\d{{1,2}}:\d{{2}}{_FRACTION}{_HALF}{_ZONE}")
_DAY = re.compile(_DATE)
_CLOCK = re.compile(rf"(?:\d+\s*d(?:ays?)?,?\s*)?\d{{1,4}}:\d{{2}}{_FRACTION}{_HALF}")

LARGEST = 9e36
"""Instruments send 9.9E37 for a reading beyond their range."""


def is_overload(text: str) -> bool:
    """Whether a cell is a meter's mark for a reading beyond its range, with or without a unit."""
    bare = text.strip()
    if _OVERLOAD.fullmatch(bare):
        return True
    head, _, unit = bare.rpartition(" ")
    return bool(head) and bool(_OVERLOAD.fullmatch(head)) and headers.is_unit(unit)


def is_empty(text: str) -> bool:
    """Whether a cell says that there is nothing in it."""
    return bool(_EMPTY.fullmatch(text.strip()))


@lru_cache(maxsize=8192)
def sort(text: str) -> str:
    """Return what a cell is.

    Returns
    -------
    {"number", "moment", "day", "clock", "overload", "empty", "words"}
        A moment has date and time, a clock time or a span only the time.
    """
    bare = text.strip()
    for name, pattern in (("number", NUMBER), ("moment", _MOMENT), ("clock", _CLOCK), ("day", _DAY)):
        if pattern.fullmatch(bare):
            return name
    if is_empty(bare):
        return "empty"
    if NUMBER_WITH_UNIT.fullmatch(bare):
        return "number"
    return "overload" if is_overload(bare) else "words"
