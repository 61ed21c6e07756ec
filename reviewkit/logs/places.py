"""What a cell of a line that is spelled like others holds, read in all those lines at once."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
Kind = Literal["number", "iso", "moment", "clock", "day", "words"]
Places = tuple[int, ...]

_ROOM = {4: np.uint16, 9: np.uint32, 19: np.uint64}
"""How many digits each kind of whole number has room for."""

_MOST_DIGITS = 15
"""A double holds whole numbers of so many digits, and one division by a power of ten rounds correctly."""

_NUMBER = re.compile(r"(?P<sign>[+-]?)(?P<whole>\d*)(?:(?P<mark>[.,])(?P<part>\d*))?", re.ASCII)
_DIGIT = re.compile(r"\d", re.ASCII)
_PART = r"(?:[.,](?P<part>\d{1,6}))?"
_STAMPS: dict[Kind, re.Pattern[str]] = {
    "iso": re.compile(
        rf"(?P<day>\d{{4}}-\d\d-\d\d)[ T](?P<hour>\d\d):(?P<minute>\d\d)(?::(?P<second>\d\d){_PART})?",
        re.ASCII,
    ),
    "moment": re.compile(
        r"(?!\d{4}-)(?P<day>\d{1,4}([./\-])\d{1,2}\2\d{1,4})(?:,?\s+|T)"
        rf"(?P<hour>\d{{1,2}}):(?P<minute>\d\d)(?::(?P<second>\d\d){_PART})?(?:\s?(?P<half>[AP])M)?",
        re.ASCII,
    ),
    "clock": re.compile(rf"(?P<hour>\d{{1,2}}):(?P<minute>\d\d):(?P<second>\d\d){_PART}", re.ASCII),
    "day": re.compile(r"(?P<day>\d{1,4}([./\-])\d{1,2}\2\d{1,4})", re.ASCII),
}


@dataclass(frozen=True)
class Number:
    """A cell that holds a number: which characters are its digits."""

    digits: Places
    decimals: int
    negative: bool
    mark: str

    def read(self, rows: Bytes) -> npt.NDArray[np.float64]:
        """Return the numbers, each the double nearest to what is written."""
        found = whole(rows, self.digits) / 10.0**self.decimals
        return np.negative(found, out=found) if self.negative else found


@dataclass(frozen=True)
class Stamp:
    """A cell that holds a moment, a time of day or a date: which characters are the digits of what."""

    day: Places
    day_span: tuple[int, int]
    hour: Places
    minute: Places
    second: Places
    part: Places
    half: str

    def microseconds(self, rows: Bytes) -> npt.NDArray[np.int64] | None:
        """Return times of day, None where one is past the end of its hour or day."""
        hour, minute, second = (whole(rows, at) for at in (self.hour, self.minute, self.second))
        if self.half:
            if hour.min() < 1 or hour.max() > 12:
                return None
            hour = hour % 12 + (12 if self.half == "P" else 0)
        if hour.max() > 23 or minute.max() > 59 or second.max() > 59:
            return None
        found = (hour.astype(np.uint32) * 60 + minute) * 60 + second
        found = found.astype(np.int64) * 1_000_000
        if self.part:
            found += whole(rows, self.part).astype(np.int64) * 10 ** (6 - len(self.part))
        return np.asarray(found)

    def days(self, rows: Bytes) -> tuple[npt.NDArray[np.intp], list[str]]:
        """Return first row and text of each stretch of rows that have one date."""
        number = whole(rows, self.day)
        first = np.r_[0, np.flatnonzero(number[1:] != number[:-1]) + 1]
        return first, [rows[at, slice(*self.day_span)].tobytes().decode("ascii") for at in first]


@dataclass(frozen=True)
class Words:
    """A cell that says the same in every such line."""

    text: str


Cell = Number | Stamp | Words


def whole(rows: Bytes, places: Places) -> npt.NDArray[np.unsignedinteger]:
    """Return the whole numbers that stand in some places of each row; 0 for no place.

    Parameters
    ----------
    rows : array of uint8, shape (n, width)
        Characters.
    places : tuple of int
    """
    # Unsigned numbers wrap: what the digits are above their values may be taken off at the end.
    kind = next(kind for most, kind in _ROOM.items() if len(places) <= most)
    number: npt.NDArray[np.unsignedinteger] = np.zeros(len(rows), kind)
    for place in places:
        np.multiply(number, 10, out=number)
        np.add(number, rows[:, place], out=number)
    above = ord("0") * int("1" * len(places) or "0") % (int(np.iinfo(number.dtype).max) + 1)
    return np.asarray(np.subtract(number, number.dtype.type(above), out=number))


def of_text(text: str, start: int, kind: Kind) -> Cell | None:
    """Return what a cell holds, None where that takes the thorough reader to say.

    Parameters
    ----------
    text : str
        Without the blanks around it.
    start : int
        Where in its line it begins.
    kind : str
        What the column holds.
    """
    if not text.isascii():
        return None
    if kind == "words" or not text:
        return Words(text)
    found = _number(text, start) if kind == "number" else _stamp(text, start, kind)
    # Words may stand for a number, such as an overload; another spelling of one is left to others.
    return found or (None if _DIGIT.search(text) else Words(text if kind == "number" else ""))


def _number(text: str, start: int) -> Number | None:
    found = _NUMBER.fullmatch(text)
    if found is None:
        return None
    digits = tuple(start + at for name in ("whole", "part") if found[name] for at in range(*found.span(name)))
    if not 0 < len(digits) <= _MOST_DIGITS:
        return None
    return Number(digits, len(found["part"] or ""), found["sign"] == "-", found["mark"] or "")


def _stamp(text: str, start: int, kind: Kind) -> Stamp | None:
    found = _STAMPS[kind].fullmatch(text)
    if found is None:
        return None
    named = found.groupdict()
    places: dict[str, Places] = {}
    for name in ("day", "hour", "minute", "second", "part"):
        inner = range(*found.span(name)) if named.get(name) else range(0)
        places[name] = tuple(start + at for at in inner if found.string[at].isdigit())
    first, last = found.span("day") if named.get("day") else (0, 0)
    return Stamp(**places, day_span=(start + first, start + last), half=named.get("half") or "")


def kind_of(cells: Sequence[str], sort: str) -> Kind | None:
    """Return how a column may be read, by its first cells and what most of them are; None: not this way."""
    if sort not in ("moment", "clock", "day"):
        return "number" if sort == "number" else "words"
    timed = [cell for cell in cells if _DIGIT.search(cell)]
    return next((kind for kind, one in _STAMPS.items() if all(map(one.fullmatch, timed))), None)
