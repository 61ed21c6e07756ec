"""Dates in the order of day and month that a log leaves open."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime

import numpy as np
import numpy.typing as npt
import pandas as pd


def days_passed(
    days: pd.Series, *, month_first: bool
) -> tuple[npt.NDArray[np.float64], datetime, tuple[str, ...]]:
    """Return seconds since the first date, that date, and how it was read where it could be two.

    Where day and month may be swapped, the reading under which the log is shorter.
    """
    codes, kinds = pd.factorize(days)
    return days_of_kinds(codes, [str(kind) for kind in kinds], month_first=month_first)


def days_of_kinds(
    codes: npt.NDArray[np.intp], kinds: Sequence[str], *, month_first: bool
) -> tuple[npt.NDArray[np.float64], datetime, tuple[str, ...]]:
    """Return the same for dates of which each row has one; a code of −1 is a missing date."""
    spelled = pd.Series([kind.strip() for kind in kinds] + [""], dtype=object)
    read_as = [
        pd.Series(pd.to_datetime(spelled, format=order, errors="coerce"))
        for order in _orders(spelled.to_list(), month_first=month_first)
    ]
    most = max(int(dates.notna().sum()) for dates in read_as)
    if not most:
        raise ValueError(f"'{spelled.iloc[0]}' is no date: expected such as 2025-03-01 or 01.03.2025")
    possible = [dates for dates in read_as if int(dates.notna().sum()) == most]
    lengths = [(dates.max() - dates.min()).total_seconds() for dates in possible]
    best = possible[lengths.index(min(lengths))]
    unclear = len(possible) > 1 and lengths.count(min(lengths)) > 1 and not possible[0].equals(possible[1])
    first = pd.Timestamp(best.dropna().iloc[0])
    notes = (f"The date '{spelled.iloc[0]}' was read as {first:%Y-%m-%d}.",) if unclear else ()
    since_s = np.asarray((best - first).dt.total_seconds(), dtype=np.float64)
    return since_s[codes], first.to_pydatetime(), notes


def _orders(kinds: list[str], *, month_first: bool) -> list[str]:
    """Return the date formats that the dates may be in, the likelier first."""
    first = next((kind for kind in kinds if re.search(r"\d", kind)), "")
    mark = next((sign for sign in "./-" if sign in first), "-")
    year = "%Y" if re.search(r"\d{4}", first) else "%y"
    if re.match(r"\d{4}", first):
        return [mark.join(("%Y", "%m", "%d"))]
    orders = [mark.join(("%d", "%m", year)), mark.join(("%m", "%d", year))]
    if mark == ".":
        return orders[:1]
    return orders[::-1] if month_first else orders
