"""Gaps: where the time between two rows departs from the log's own rate there."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from reviewkit.logs import decimation
from reviewkit.logs.durations import Seconds
from reviewkit.logs.report import Gap

GAP_INTERVALS = 2.5
"""A gap is more than this many intervals, as they are just there, without a row (chosen: one row may be late
and one lost before a reader is told)."""
_MISSING_INTERVALS = 1.5
_NEIGHBOURS = 8
"""Intervals on either side by which the rate is known (chosen: more than a burst of three lost rows can sway,
fewer than the rows that a logger takes around a step)."""
_MOST_GAPS = 0.1
"""Where more than a tenth of all intervals were gaps, uneven intervals are the logger's habit."""


def find(seconds: Seconds) -> tuple[float, int, tuple[Gap, ...]]:
    """Return usual interval [s], number of rows missing, and gaps of a rising time axis.

    Parameters
    ----------
    seconds : array of float [s]
    """
    if len(seconds) < 2:
        return 0.0, 0, ()
    steps = np.diff(seconds)
    some = steps[decimation.rows(len(steps))]
    usual = float(np.median(some))
    least = float(np.quantile(some, 0.05))
    long = np.flatnonzero(steps > _MISSING_INTERVALS * min(least, usual))
    local = _local(steps, long)
    wide = steps[long] > GAP_INTERVALS * local
    if wide.sum() > max(1, _MOST_GAPS * len(steps)):
        local = np.maximum(local, float(np.quantile(some, 0.9)))
        wide = steps[long] > GAP_INTERVALS * local
    late = steps[long] > _MISSING_INTERVALS * local
    missing = int(np.sum(np.round(steps[long][late] / local[late]) - 1))
    return usual, missing, tuple(Gap(float(seconds[at]), float(seconds[at + 1])) for at in long[wide])


def _local(steps: Seconds, places: npt.NDArray[np.intp]) -> Seconds:
    """Return for some intervals the larger of the medians of those just before and just after [s]."""
    around = np.arange(1, _NEIGHBOURS + 1)
    local = np.zeros(len(places))
    for side in (-around, around):
        at = places[:, None] + side[None, :]
        inside = (at >= 0) & (at < len(steps))
        known = np.where(inside, steps[np.clip(at, 0, len(steps) - 1)], np.nan)
        enough = inside.sum(axis=1) >= 2
        if enough.any():
            local[enough] = np.maximum(local[enough], np.nanmedian(known[enough], axis=1))
    return np.where(local > 0, local, float(np.median(steps)))
