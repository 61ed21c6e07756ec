"""Long columns of moments that are all spelled alike, read digit by digit at once."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.logs.spans import Seconds

Digits = npt.NDArray[np.uint8]
_SPELLING = re.compile(
    r"(?P<day>\d{1,4}[./\-]\d{1,2}[./\-]\d{1,4})(?:,?\s+|T)"
    r"(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2})(?:[.,](?P<part>\d{1,9}))?)?"
    r"(?P<half>\s?[AP]M)?"
)


@dataclass(frozen=True)
class Moments:
    """Moments split at their blank.

    Parameters
    ----------
    codes : array of int
        For each row which of `days` it is.
    days : list of str
        Different dates, as spelled.
    seconds : array of float [s]
        Time of day.
    half_day : bool
        Whether the hours are of a twelve-hour clock.
    """

    codes: npt.NDArray[np.intp]
    days: list[str]
    seconds: Seconds
    half_day: bool

    def only(self, rows: npt.NDArray[np.bool_]) -> Moments:
        """Return a choice of rows."""
        return Moments(self.codes[rows], self.days, self.seconds[rows], self.half_day)


def moments(text: pd.Series) -> Moments | None:
    """Return a column of moments, None where one row is spelled in another way than the first.

    Parameters
    ----------
    text : Series of str
    """
    first = str(text.iloc[0])
    spelled = _SPELLING.fullmatch(first)
    if spelled is None:
        return None
    digits = _alike(text, first, free=len(first) - 2 if spelled["half"] else None)
    if digits is None:
        return None
    seconds = _time_of_day(digits, spelled)
    if seconds is None:
        return None
    start, end = spelled.span("day")
    numbers = _number(digits, [at for at in range(start, end) if first[at].isdigit()])
    codes, different = pd.factorize(numbers)
    # Codes are given in order of appearance: the first row of each is where the highest so far grows.
    where = np.searchsorted(np.maximum.accumulate(codes), np.arange(len(different)))
    days = [str(text.iloc[at])[start:end] for at in where]
    return Moments(codes, days, seconds, spelled["half"] is not None)


def _alike(text: pd.Series, first: str, *, free: int | None) -> Digits | None:
    """Return the cells' characters, a row per place, if digits and marks stand where the first has them."""
    width = len(first)
    if not bool((text.str.len() == width).all()):
        return None
    try:
        data = "".join(text.to_numpy(dtype=object)).encode("ascii")
    except UnicodeEncodeError:
        return None
    places = np.ascontiguousarray(np.frombuffer(data, dtype=np.uint8).reshape(-1, width).T)
    for at, mark in enumerate(first):
        if at == free:
            continue
        if mark.isdigit():
            places[at] -= ord("0")
            if places[at].max() > 9:
                return None
        elif (places[at] != ord(mark)).any():
            return None
    return places


def _number(places: Digits, at: list[int]) -> npt.NDArray[np.int64]:
    """Return the whole numbers that stand in some places."""
    number = np.zeros(places.shape[1], dtype=np.int64)
    for place in at:
        number = number * 10 + places[place]
    return number


def _time_of_day(places: Digits, spelled: re.Match[str]) -> Seconds | None:
    """Return times of day [s], None where one is past the end of its hour or day."""
    hour, minute, second, part = (
        _number(places, list(range(*spelled.span(name)))) for name in ("hour", "minute", "second", "part")
    )
    if spelled["half"]:
        half = places[spelled.end("half") - 2]
        if not np.isin(half, (ord("A"), ord("P"))).all() or hour.min() < 1 or hour.max() > 12:
            return None
        hour = hour % 12 + 12 * (half == ord("P"))
    if hour.max() > 23 or minute.max() > 59 or second.max() > 59:
        return None
    digits = len(spelled["part"] or "")
    whole = (hour * 60 + minute) * 60 + second
    return np.asarray((whole * 10**digits + part) / 10**digits)
