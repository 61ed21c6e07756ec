"""What a single cell of a meter's log can be: a number, a date or time, an overload mark, a unit, words."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from reviewkit.schema.dates import MONTHS
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


_MONTH_OF = {headers.fold(name): month for month, names in enumerate(MONTHS, 1) for name in names.split()}
_LOGGERS_SINCE = 2010
"""Of two readings of a date the one before this year is not meant (chosen: reviewed devices are in use)."""
_WORD = re.compile(r"[^\W\d_]+")


def days_passed(
    codes: npt.NDArray[np.integer], kinds: Sequence[str], *, month_first: bool
) -> tuple[npt.NDArray[np.float64], datetime, tuple[str, ...]]:
    """Return seconds since the first date, that date, and how it was read where it could be two.

    Parameters
    ----------
    codes : array of int
        For each row which of `kinds` its date is; −1: none.
    kinds : sequence of str
        The different dates, as spelled.
    month_first : bool
        Whether the log is of a country that writes the month first.

    Raises
    ------
    ValueError
        If they are no dates.

    Notes
    -----
    Where day and month may be swapped, the reading under which the log is shorter.
    """
    spelled = pd.Series([_in_numbers(kind.strip()) for kind in kinds] + [""], dtype=object)
    read_as = [
        pd.Series(pd.to_datetime(spelled, format=order, errors="coerce"))
        for order in _orders(spelled.to_list(), month_first=month_first)
    ]
    most = max(int(dates.notna().sum()) for dates in read_as)
    if not most:
        raise ValueError(f"'{kinds[0]}' is no date: expected such as 2025-03-01 or 01.03.2025")
    possible = [dates for dates in read_as if int(dates.notna().sum()) == most]
    possible = [dates for dates in possible if dates.dt.year.min() >= _LOGGERS_SINCE] or possible
    lengths = [(dates.max() - dates.min()).total_seconds() for dates in possible]
    best = possible[lengths.index(min(lengths))]
    shortest = [dates for dates, length in zip(possible, lengths, strict=True) if length == min(lengths)]
    unclear = any(not dates.equals(best) for dates in shortest)
    first = pd.Timestamp(best.dropna().iloc[0])
    notes = (f"The date '{kinds[0]}' was read as {first:%Y-%m-%d}.",) if unclear else ()
    since_s = np.asarray((best - first).dt.total_seconds(), dtype=np.float64)
    return since_s[codes], first.to_pydatetime(), notes


def _in_numbers(text: str) -> str:
    """Return a date with its month as a number: "1 Mar 2025" → "01-03-2025", "Mar 1, 2025" likewise."""
    if "年" in text:
        return "-".join(re.findall(r"\d+", text))
    words = [headers.fold(word) for word in _WORD.findall(text)]
    months = [_MONTH_OF[word] for word in words if word in _MONTH_OF]
    numbers = re.findall(r"\d+", text)
    if not months or len(numbers) != 2:
        return re.sub(r"^[^\W\d_]+[.,]?\s+", "", text)
    first, second = numbers
    if len(first) == 4:
        return f"{first}-{months[0]:02d}-{int(second):02d}"
    return (
        f"{int(first):02d}-{months[0]:02d}-{second}"
        if len(second) == 4
        else f"{int(first):02d}.{months[0]:02d}.{second}"
    )


def _orders(kinds: list[str], *, month_first: bool) -> list[str]:
    """Return the date formats that the dates may be in, the likelier first."""
    first = next((kind for kind in kinds if re.search(r"\d", kind)), "")
    if re.fullmatch(r"\d{8}", first):
        return ["%Y%m%d"]
    mark = next((sign for sign in "./-" if sign in first), "-")
    year = "%Y" if re.search(r"\d{4}", first) else "%y"
    if re.match(r"\d{4}", first):
        return [mark.join(("%Y", "%m", "%d"))]
    orders = [mark.join(("%d", "%m", year)), mark.join(("%m", "%d", year))]
    if mark == ".":
        return orders[:1]
    orders = orders[::-1] if month_first else orders
    return [*orders, mark.join(("%y", "%m", "%d"))] if year == "%y" else orders


Seconds = npt.NDArray[np.float64]
DAY_S = 86_400.0
arrow: Any = pa
compute: Any = pc
_EVERY = (
    r"^(?P<before>.*?)(?P<sign>-?)(?:(?P<day>\d+)\s*(?:d|days?|t|tage?|j|jours?|d[ií]as?|天)\.?,?\s*)?(?P<days>)"
    r"(?P<hour>\d{1,4}):(?P<minute>\d{1,2})(?::(?P<second>\d{1,2})(?:[.,:](?P<part>\d{1,9}))?)?"
    r"\s*(?P<half>[AaPp]\.?\s?[Mm]\.?)?\s*(?P<zone>Z|UTC|GMT|[+\-]\d{2}:?(?:\d{2})?)?(?P<after>.*)$"
)
_MINUTES = (
    r"^(?P<before>)(?P<sign>-?)(?P<day>)(?P<days>)(?P<hour>)(?P<minute>\d{1,5}):(?P<second>\d{2})(?:[.,](?P<part>\d{1,9}))?"
    r"(?P<half>)(?P<zone>)(?P<after>)$"
)
_DAYS_FIRST = (
    r"^(?P<before>)(?P<sign>-?)(?P<day>)(?P<days>\d+):(?P<hour>\d{1,2}):(?P<minute>\d{2}):(?P<second>\d{2})"
    r"(?:[.,](?P<part>\d{1,9}))?(?P<half>)(?P<zone>)(?P<after>)$"
)
_LETTERS = (
    r"^(?P<before>)(?P<sign>)(?:(?P<day>\d+)\s*(?:d|days?)\s*)?(?P<days>)(?:PT)?(?:(?P<hour>\d+)\s?[hH]\s?)?(?:(?P<minute>\d+)\s?[mM](?:in)?\s?)?"
    r"(?:(?P<second>\d+)(?:[.,](?P<part>\d{1,9}))?\s?[sS]?)?(?P<half>)(?P<zone>)(?P<after>)$"
)
_TWO_PARTS = re.compile(r"\d+:\d{2}(?:[.,]\d+)?(?:\s*[AaPp]\.?\s?[Mm]\.?)?")
_FOUR_PARTS = re.compile(r"\d+:\d{2}:\d{2}:\d{2}(?:[.,]\d+)?")


@dataclass(frozen=True)
class Clock:
    """The times that some cells say.

    Parameters
    ----------
    seconds : array of float [s]
        NaN where there is none.
    around : pyarrow.Array of str
        What stands before and behind: most often a date.
    step_s : float [s]
        Step of the spelling: 60 where it has no seconds, else a power of ten.
    """

    seconds: Seconds
    around: Any
    zone: Any
    step_s: float


def plain(text: Any) -> tuple[Seconds, float] | None:
    """Return a column of nothing but "hh:mm:ss" and fractions in seconds and its step, else None."""
    first = text[0].as_py()
    if not re.fullmatch(r"\d{2}:\d{2}:\d{2}(?:\.\d{1,6})?", first):
        return None
    try:
        moments = compute.cast(
            compute.binary_join_element_wise("1970-01-01 ", text, ""), arrow.timestamp("us")
        )
    except arrow.ArrowInvalid:
        return None
    if moments.null_count:
        return None
    return moments.to_numpy(zero_copy_only=False).astype(np.int64) / 1e6, _step(len(first.partition(".")[2]))


def _step(digits: int) -> float:
    return float(10.0**-digits)


def read(text: Any, pattern: str = "") -> Clock:
    """Read times of day or spans, with or without a date around them.

    Parameters
    ----------
    text : pyarrow.Array of str
    pattern : str
        What the heading or the review file says of them: "mm:ss", "hh:mm", "hh:mm:ss"; "" for nothing.

    Raises
    ------
    ValueError
        If they may be hours and minutes or minutes and seconds.
    """
    sample = [cell for cell in text[:500].to_pylist() if sort(cell) in ("clock", "moment")]
    half_first = any(re.search("上午|下午", cell) for cell in sample)
    if half_first:
        text = compute.replace_substring_regex(text, r"(上午|下午)\s?(\d{1,2}:\d{2}(?::\d{2})?)", r"\2 \1")
        text = compute.replace_substring(compute.replace_substring(text, "上午", "AM"), "下午", "PM")
    every = _MINUTES if _minutes_first(sample, pattern) else _EVERY
    if sample and ":" not in sample[0]:
        every = _LETTERS
    if sample and all(_FOUR_PARTS.fullmatch(cell) for cell in sample):
        if not pattern.startswith("d"):
            raise ValueError(
                f"'{sample[0]}' may begin with days or end with hundredths: "
                "head the column 'Time (d:hh:mm:ss)'"
            )
        every = _DAYS_FIRST
    found = compute.extract_regex(text, every)
    field = {
        name: compute.struct_field(found, name)
        for name in (
            "before",
            "sign",
            "day",
            "days",
            "hour",
            "minute",
            "second",
            "part",
            "half",
            "zone",
            "after",
        )
    }
    seconds = _seconds(field, text)
    around = compute.utf8_trim(
        compute.binary_join_element_wise(field["before"], field["after"], " "), characters=" ,T_;[]"
    )
    digits = max((len(part) for part in field["part"][:200].to_pylist() if part), default=0)
    known = any(field["second"][:200].to_pylist())
    around = compute.fill_null(around, "")
    return Clock(seconds, around, field["zone"], _step(digits) if known else 60.0)


def _minutes_first(sample: list[str], pattern: str) -> bool:
    """Whether cells of two numbers are minutes and seconds."""
    if not sample or not all(_TWO_PARTS.fullmatch(cell) for cell in sample):
        return False
    if any(re.search(HALF, cell) for cell in sample) or pattern.startswith(("h", "d")):
        return False
    if pattern.startswith("m") or any(re.search(r"[.,]", cell) for cell in sample):
        return True
    raise ValueError(
        f"'{sample[0]}' may be hours and minutes or minutes and seconds: "
        "head the column 'Time (hh:mm)' or 'Time (mm:ss)'"
    )


def _seconds(field: dict[str, Any], text: Any) -> Seconds:
    parts = {name: _whole(field[name]) for name in ("day", "days", "hour", "minute", "second")}
    fraction = _fraction(field["part"])
    hour = parts["hour"]
    marks = compute.utf8_lower(compute.utf8_trim_whitespace(field["half"]))
    if (
        any(field["half"][:200].to_pylist())
        or compute.any(compute.greater(compute.binary_length(marks), 0)).as_py()
    ):
        after_noon = _numpy(compute.fill_null(compute.starts_with(marks, "p"), False))
        marked = _numpy(compute.fill_null(compute.greater(compute.binary_length(marks), 0), False))
        hour = np.where(marked, hour % 12 + 12 * after_noon, hour)
    seconds = (
        (((parts["day"] + parts["days"]) * 24 + hour) * 60 + parts["minute"]) * 60
        + parts["second"]
        + fraction
    )
    negative = _numpy(compute.fill_null(compute.equal(field["sign"], "-"), False))
    seconds = np.where(negative, -seconds, seconds)
    wrong = (parts["minute"] > 59) & (parts["hour"] > 0) | (parts["second"] > 59)
    missing = ~_numpy(compute.is_valid(field["before"])) | _numpy(compute.equal(text, ""))
    return np.where(wrong | missing, np.nan, seconds)


def _numpy(array: Any) -> npt.NDArray[Any]:
    return np.asarray(array.to_numpy(zero_copy_only=False))


def _whole(array: Any) -> Seconds:
    filled = compute.if_else(compute.equal(compute.fill_null(array, ""), ""), "0", array)
    return _numpy(compute.cast(filled, arrow.float64())).astype(float)


def _fraction(array: Any) -> Seconds:
    filled = compute.binary_join_element_wise("0.", compute.fill_null(array, "0"), "0", "")
    return _numpy(compute.cast(filled, arrow.float64())).astype(float)


def in_seconds(spans: Any) -> Seconds:
    """Return a Series of spans as numbers of seconds, NaN where there is none."""
    return np.asarray(spans.dt.total_seconds().to_numpy(dtype=float, na_value=np.nan))
