"""Fewer points than a long log has, without losing a peak or a gap that a reader would see."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]

MOST = 500
"""Points of a curve: lowest and highest in each of 250 columns, under three pixels wide on a page."""


def kept(x: Floats, y: Floats, *, most: int = MOST) -> Places:
    """Return which points draw the same curve: the lowest and highest of each stretch of `x`.

    Parameters
    ----------
    x, y : array, shape (n,)
        NaN breaks the line. Where `x` does not rise, a stretch is a number of rows.
    most : int
        How many extremes to keep; ends and gaps come on top of them.

    Returns
    -------
    array of int, shape (m,)
        Rising. All points if they are few enough. Of the gaps the longest ``most // 4``, each with the
        points on either side.
    """
    if len(y) <= most:
        return np.arange(len(y))
    known = np.isfinite(x) & np.isfinite(y)
    good = np.flatnonzero(known)
    if not len(good):
        return good[:0]
    parts = [good[_extremes(x[good], y[good], most)], good[[0, -1]], _around_gaps(x, good, most // 4)]
    return np.unique(np.concatenate(parts))


def thinned(x: Floats, y: Floats, *, most: int = MOST) -> tuple[Floats, Floats]:
    """Return the points of `kept`, in their order."""
    rows = kept(x, y, most=most)
    return x[rows], y[rows]


def _extremes(x: Floats, y: Floats, most: int) -> Places:
    from tsdownsample import MinMaxDownsampler

    if len(y) <= most:
        return np.arange(len(y))
    count = most - most % 2
    rises = bool(np.all(np.diff(x) >= 0))
    least_most: Any = MinMaxDownsampler()  # type: ignore[no-untyped-call]
    found = least_most.downsample(*((x, y) if rises else (y,)), n_out=count)
    return np.asarray(found, dtype=np.intp)


def _around_gaps(x: Floats, good: Places, most: int) -> Places:
    """Return, for each of the longest gaps, the point before, one without a reading, and the point after."""
    before = np.flatnonzero(np.diff(good) > 1)
    if len(before) > most:
        lengths = np.abs(x[good[before + 1]] - x[good[before]])
        before = before[np.argsort(-lengths, kind="stable")[:most]]
    return np.concatenate([good[before], good[before] + 1, good[before + 1]])
