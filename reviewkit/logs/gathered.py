"""The wanted columns of a long log, filled stretch by stretch."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import numpy.typing as npt

from reviewkit.logs.places import Bytes, Cell, Kind, Number, Stamp

Rows = npt.NDArray[np.intp] | slice
_MOST_WORDS = 100
_SPARE = 1.02


class Unlike(Exception):
    """The file has something that takes the thorough reader."""


class Gathered:
    """Columns laid out once for the whole file: room that is never written to takes no memory.

    Parameters
    ----------
    columns : iterable of int
        Positions of the wanted columns.
    """

    def __init__(self, columns: Iterable[int]) -> None:
        self.rows = 0
        self.wide = 0
        self.words: dict[int, list[str]] = {at: [""] for at in columns}
        self._columns: dict[tuple[str, int], npt.NDArray[Any]] = {}
        self._start = 0
        self._expected = 0

    def make_room(self, rows: int, *, share: float) -> None:
        """Make room for the rows of the next stretch, with which so much of the file is read."""
        self._start, self.rows = self.rows, self.rows + rows
        if self.rows > self._expected:
            self._expected = round(self.rows / share * _SPARE)
            for key, column in self._columns.items():
                self._columns[key] = np.zeros(self._expected, column.dtype)
                self._columns[key][: self._start] = column[: self._start]

    def numbers(self, at: int) -> npt.NDArray[np.float64]:
        """Return a column of numbers, NaN where a cell holds none."""
        return self._column("numbers", at, np.float64)[: self.rows]

    def times_us(self, at: int) -> npt.NDArray[np.int64]:
        """Return a column of times of day [µs], −1 where a cell holds none."""
        return self._column("times_us", at, np.int64)[: self.rows]

    def said(self, at: int) -> npt.NDArray[np.int16]:
        """Return for each row which of the column's words its cell says, dates among them; 0: none."""
        return self._column("said", at, np.int16)[: self.rows]

    def left_out(self) -> npt.NDArray[np.bool_] | None:
        """Return which lines have nothing in them, or too much; None if none has."""
        return (
            self._column("left out", 0, np.bool_)[: self.rows] if ("left out", 0) in self._columns else None
        )

    def leave_out(self, which: Rows, *, wide: int) -> None:
        """Enter lines without anything in them, or with more cells than columns."""
        self._column("left out", 0, np.bool_)[self._start : self.rows][which] = True
        self.wide += wide

    def put(self, at: int, cell: Cell, text: Bytes, which: Rows, *, kind: Kind) -> None:
        """Enter what a cell says in some rows of the stretch.

        Parameters
        ----------
        at : int
            Position of the column.
        cell : Cell
        text : array of uint8
            The lines.
        which : array of int or slice
            Their places in the stretch.
        kind : str
            What the column holds.
        """
        here = slice(self._start, self.rows)
        if isinstance(cell, Number):
            self.numbers(at)[here][which] = cell.read(text)
        elif isinstance(cell, Stamp):
            self._put_stamp(at, cell, text, which)
        elif kind in ("iso", "moment", "clock"):
            self.times_us(at)[here][which] = -1
        else:
            if kind == "number":
                self.numbers(at)[here][which] = np.nan
            if cell.text:
                self.said(at)[here][which] = self._code(at, cell.text)

    def _put_stamp(self, at: int, cell: Stamp, text: Bytes, which: Rows) -> None:
        here = slice(self._start, self.rows)
        if cell.hour:
            found = cell.microseconds(text)
            if found is None:
                raise Unlike
            self.times_us(at)[here][which] = found
        if cell.day:
            first, dates = cell.days(text)
            codes = np.array([self._code(at, date) for date in dates], dtype=np.int16)
            self.said(at)[here][which] = np.repeat(codes, np.diff(np.r_[first, len(text)]))

    def _code(self, at: int, text: str) -> int:
        words = self.words[at]
        if text not in words:
            if len(words) > _MOST_WORDS:
                raise Unlike
            words.append(text)
        return words.index(text)

    def _column(self, name: str, at: int, kind: type[np.generic]) -> npt.NDArray[Any]:
        if (name, at) not in self._columns:
            self._columns[name, at] = np.zeros(self._expected, kind)
        return self._columns[name, at]
