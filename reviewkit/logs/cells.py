"""What a single cell of a meter's log can be: a number, a moment, an overload mark, a unit, or words."""

from __future__ import annotations

import re
from functools import lru_cache

from reviewkit.tables import headers

_SIGN = r"[+\-\u2212]?"
_DIGITS = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+\-]?\d+)?"
_GROUPED = r"\d{1,3}(?:(?:[ '’]\d{3})+(?:[.,]\d*)?|(?:,\d{3})+(?:\.\d+)?|(?:\.\d{3})+(?:,\d+)?)"
NUMBER = re.compile(rf"{_SIGN}\s?(?:{_DIGITS}|{_GROUPED})")
NUMBER_WITH_UNIT = re.compile(
    rf"({_SIGN}\s?{_DIGITS})\s*([µμumkMn]?[VAΩΩ]\s?(?:[AD]C|[ad]c)?|[°º]\s?[CFK]|℃|℉|[µμumk]?s|min|h)"
)
_OVERLOAD = re.compile(
    rf"{_SIGN}(?:\s?\.?[o0]\.?l\.?d?|over[\s-]?(?:load|flow|range)?(?:ed)?|ov(?:l|ld|fl|rng|er)?|inf(?:inity)?|∞|1e\+?999)"
    r"|[-\u2013\u2014\u2212]{2,}(?:[.,][-\u2013\u2014\u2212]+)?|[-\u2212]{1,}[.,][-\u2212]+",
    re.IGNORECASE,
)
_EMPTY = re.compile(r"|nan|n/?a|null|none|-|\?|#n/?a", re.IGNORECASE)
HALF = r"(?:[AaPp]\.?\s?[Mm]\.?|上午|下午)"
ZONE = r"(?:Z|UTC|GMT|[+\-]\d{2}:?(?:\d{2})?)"
_TIME = rf"\d{{1,2}}:\d{{2}}(?::\d{{2}}(?:[.,:]\d+)?)?(?:\s*{HALF})?(?:\s?{ZONE})?"
_MONTH = r"[^\W\d_]{3,10}\.?"


def _date(first: int) -> str:
    """Return the pattern of a date; `first` is the number of its first group."""
    return (
        rf"(?:\d{{4}}([./\-])\d{{1,2}}\{first}\d{{1,2}}"
        rf"|\d{{1,2}}([./\-])\d{{1,2}}\{first + 1}(?:\d{{4}}|\d{{2}})"
        rf"|\d{{4}}年\s?\d{{1,2}}月\s?\d{{1,2}}日|\d{{1,2}}\.?[ \-./]{_MONTH}[ \-./,]\s?\d{{2,4}}"
        rf"|{_MONTH}\s+\d{{1,2}},?\s+\d{{4}}|\d{{4}}[ \-./]{_MONTH}[ \-./]\d{{1,2}})"
    )


_COMPACT = r"(?:19|20)\d{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])"
_MOMENT = re.compile(
    rf"(?:[^\W\d_]{{2,10}}[.,]?\s+)?{_date(1)}(?:,?\s+|T|_|;\s?)(?:{HALF}\s?)?{_TIME}"
    rf"|{_TIME}[ ,]\s*{_date(3)}"
    r"|[^\W\d_]{3}\s+[^\W\d_]{3}\s+\d{1,2}\s+\d{2}:\d{2}:\d{2}\s+\d{4}"
    rf"|{_COMPACT}[T _\-]?\d{{6}}(?:[.,]\d+)?Z?"
)
_DAY = re.compile(rf"{_date(1)}|{_COMPACT}")
_DAYS = r"(?:\d+\s*(?:d(?:ays?)?|t(?:age?)?|j(?:ours?)?|d[ií]as?|天)\.?,?\s*)?"
_CLOCK = re.compile(
    rf"-?{_DAYS}(?:{HALF}\s?)?"
    rf"\d{{1,4}}:(?:\d{{2}}(?::\d{{2}}(?:[.,:]\d+)?|[.,]\d+)?|\d{{1,2}}:\d{{1,2}}(?:[.,]\d+)?)(?:\s*{HALF})?"
    rf"|\d+:\d{{2}}:\d{{2}}:\d{{2}}(?:[.,]\d+)?|{_DAYS}"
    r"\d{1,3}\s?h\s?\d{1,2}\s?m(?:in)?\s?(?:\d{1,2}(?:[.,]\d+)?\s?s?)?"
    r"|\d{1,2}\s?m(?:in)?\s?\d{1,2}(?:[.,]\d+)?\s?s"
    r"|PT(?:\d+H)?(?:\d+M)?(?:\d+(?:\.\d+)?S)?"
)

COMPACT_CLOCK = re.compile(r"([01]\d|2[0-3])([0-5]\d)([0-5]\d)((?:[.,]\d+)?)")
"""The time of day as six digits."""
_STAMP = re.compile(rf"{_COMPACT}\d{{6}}(?:[.,]\d+)?")
ZONE_NAME = r"\s\(?(?:[ECMP][SD]T|CES?T|MES?Z|WES?T|EES?T|BST|JST|AE[SD]T)\)?$"
"""Behind a time of day: which clock was read. Such a clock is a local one."""
_MULTIPLE = re.compile(r"[x×*]?\s*(\d+(?:[.,]\d+)?)\s*([^\d\s].*)")

LARGEST = 9e36
"""Instruments send 9.9E37 for a reading beyond their range."""


def multiple(unit: str) -> tuple[float, str]:
    """Return how much of which unit a count is: "x10mV" → (10, "mV"), "0.1 s" → (0.1, "s")."""
    found = _MULTIPLE.fullmatch(unit.strip())
    return (float(found[1].replace(",", ".")), found[2].strip()) if found else (1.0, unit)


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
    bare = re.sub(ZONE_NAME, "", text.strip().strip("[]"))
    if len(bare) > 60:
        return "words"
    if _STAMP.fullmatch(bare):
        return "moment"
    for name, pattern in (("day", _DAY), ("number", NUMBER), ("moment", _MOMENT), ("clock", _CLOCK)):
        if pattern.fullmatch(bare) and bare != "PT":
            return name
    if is_empty(bare):
        return "empty"
    if NUMBER_WITH_UNIT.fullmatch(bare):
        return "number"
    return "overload" if is_overload(bare) else "words"
