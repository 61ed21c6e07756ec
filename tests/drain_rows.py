"""Small logs of a drain, made by hand: gapless rows, and rows that average upright pulses."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.drain.samples import Samples, samples

Array = npt.NDArray[np.float64]


def rows(values: Sequence[float] | Array, interval_s: float = 1.0) -> Samples:
    """Return gapless rows; the first one's interval begins at 0."""
    values = np.asarray(values, dtype=float)
    return samples(pd.Series(values, (np.arange(len(values)) + 1) * interval_s))


def upright(centres: Array, count: int, heights: Array | float = 100.0, wide: Array | float = 1.0) -> Array:
    """Return rows of 1 s, each the mean of rectangular pulses with these middles."""
    edges = np.arange(count)[:, None]
    half = np.asarray(wide) / 2
    inside = np.minimum(edges + 1, centres + half) - np.maximum(edges, centres - half)
    return np.asarray(np.sum(np.maximum(inside, 0.0) * heights, axis=1))
