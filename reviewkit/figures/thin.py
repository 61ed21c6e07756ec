"""Fewer points than a long log has, without losing a peak that a reader would see."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def thinned(x: Floats, y: Floats, *, most: int = 1000) -> tuple[Floats, Floats]:
    """Return the points that draw the same curve: first, last, lowest and highest of each stretch.

    Parameters
    ----------
    x, y : array, shape (n,)
        `y` may hold NaN, which breaks the line; each break is kept.
    most : int
        About how many points to keep.

    Returns
    -------
    tuple of (array, array), shape (m,)
        Points of the input, in their order; the input itself if it is short enough.
    """
    if len(y) <= most:
        return x, y
    edges = np.unique(np.linspace(0, len(y), max(2, most // 4) + 1).astype(int))
    kept = {0, len(y) - 1}
    for start, end in pairwise(edges):
        part = y[start:end]
        known = np.flatnonzero(np.isfinite(part))
        kept.update((start, end - 1))
        if len(known):
            kept.update((start + known[np.argmin(part[known])], start + known[np.argmax(part[known])]))
    kept.update(int(place) for place in np.flatnonzero(~np.isfinite(y[1:]) & np.isfinite(y[:-1])) + 1)
    order = np.array(sorted(kept), dtype=int)
    return x[order], y[order]
