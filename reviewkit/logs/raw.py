"""Columns of a log as they stand in the file, before anyone knows what they mean."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.logs.fixed import Moments


@dataclass(frozen=True)
class Marks:
    """Cells of a column of numbers that are none.

    Parameters
    ----------
    codes : array of int
        For each row which of `words` its cell says.
    words : tuple of str
        The first one is of all the rows that hold a number.
    """

    codes: npt.NDArray[np.integer]
    words: tuple[str, ...]


@dataclass(frozen=True)
class Columns:
    """Some columns of a log, as they stand in the file.

    Parameters
    ----------
    frame : DataFrame
        Numbers where every cell is one, else text; column labels are positions.
    unreadable : int
        Rows of the wrong width, left out.
    cut_off : int
        1 where the last row was cut in its middle and left out.
    clocks : frozenset of int
        Columns that hold times of day as spans since midnight.
    marks : mapping of int to Marks
        What stands in a column of numbers beside numbers, where it is read so; NaN in the frame.
    moments : mapping of int to Moments
        Columns of moments that are split already; not in the frame.
    """

    frame: pd.DataFrame
    unreadable: int = 0
    cut_off: int = 0
    clocks: frozenset[int] = frozenset()
    marks: Mapping[int, Marks] = field(default_factory=dict)
    moments: Mapping[int, Moments] = field(default_factory=dict)

    def only(self, rows: npt.NDArray[np.bool_]) -> Columns:
        """Return a choice of rows."""
        marks = {at: Marks(one.codes[rows], one.words) for at, one in self.marks.items()}
        moments = {at: one.only(rows) for at, one in self.moments.items()}
        return replace(self, frame=self.frame[rows], marks=marks, moments=moments)
