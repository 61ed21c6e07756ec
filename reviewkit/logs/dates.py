"""Dates in any spelling, the order of day and month left open, in seconds since the first one."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.tables import headers

_MONTHS = (
    "jan january januar janvier janv enero ene jän jänner",
    "feb february februar fevrier fevr febrero",
    "mar march marz mrz mars marzo",
    "apr april avril avr abril abr",
    "may mai mayo",
    "jun june juni juin junio",
    "jul july juli juillet juil julio",
    "aug august aout agosto ago",
    "sep sept september septembre septiembre",
    "oct october oktober okt octobre octubre",
    "nov november novembre noviembre",
    "dec december dezember dez decembre diciembre dic",
)
_MONTH_OF = {headers.fold(name): month for month, names in enumerate(_MONTHS, 1) for name in names.split()}
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
