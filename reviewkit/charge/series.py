"""What can be told from one column of a log: its usual interval, its gaps, its noise."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.logs import decimation
from reviewkit.logs.report import Gap

FloatArray = npt.NDArray[np.float64]

GAP_INTERVALS = 2.5
"""An interval longer than this many usual ones is a gap."""

LOCAL_STEPS = 7
"""Intervals whose median is usual where they lie: an odd few, so that one long one among them is a gap:
chosen.
"""

SWITCHING, SWITCHED = 0.1, 0.04
"""Steps beyond this share of the reading are switchings, where more than so many of all are: chosen."""


def usual_interval(time_s: FloatArray) -> float:
    """Return the median interval [s], doubled stamps not counted; 0 with fewer than two rows."""
    steps = _some_steps(time_s)
    steps = steps[steps > 0]
    return float(np.median(steps)) if len(steps) else 0.0


def _some_steps(values: FloatArray) -> FloatArray:
    """Return the steps from row to row, of a long log an even choice of them."""
    chosen = decimation.rows(len(values) - 1)
    if isinstance(chosen, slice):
        return np.diff(values)
    return np.asarray(values[chosen + 1] - values[chosen])


def local_intervals(time_s: FloatArray, interval_s: float) -> FloatArray:
    """Return what is usual about each interval between rows [s], shape (n - 1,): a log may change its rate.

    Parameters
    ----------
    time_s : array, shape (n,) [s]
    interval_s : float [s]
        Usual in the whole log.
    """
    steps = np.diff(time_s)
    if not len(steps) or steps.max() <= GAP_INTERVALS * interval_s:
        return np.full(len(steps), interval_s)
    return np.maximum(running_median(steps, LOCAL_STEPS), 1e-9)


def running_median(values: FloatArray, size: int) -> FloatArray:
    """Return the median of so many neighbours about each value."""
    from scipy import ndimage

    library: Any = ndimage
    return np.asarray(library.median_filter(values, size=size, mode="nearest"), dtype=np.float64)


def gaps_in(time_s: FloatArray, interval_s: float) -> tuple[Gap, ...]:
    """Return the stretches in which readings are missing: intervals much longer than is usual there."""
    if interval_s <= 0:
        return ()
    steps, usual = np.diff(time_s), np.maximum(local_intervals(time_s, interval_s), interval_s)
    where = np.flatnonzero(steps > GAP_INTERVALS * usual)
    return tuple(Gap(float(time_s[row]), float(time_s[row + 1])) for row in where)


def noise_of(values: FloatArray, resolution: float) -> float:
    """Return the standard deviation of one reading: from successive differences, at least δ/√12."""
    floor = resolution / math.sqrt(12)
    if len(values) < 3:
        return floor
    steps = _some_steps(values)
    # A current that is switched on and off all the time: its switchings are no noise.
    larger = np.maximum(np.abs(values[1:]), np.abs(values[:-1]))
    if len(steps) == len(larger):
        part = np.abs(steps) / np.maximum(larger, 1e-12)
        flows = larger > SWITCHED * float(np.quantile(np.abs(values), 0.995))
        if ((part > 0.5) & flows).mean() > SWITCHED and (flows & (part <= SWITCHING)).mean() > SWITCHED:
            steps = steps[flows & (part <= SWITCHING)]
    # The median alone is zero where the display mostly stands still; the trimmed mean square is not.
    limit = np.quantile(np.abs(steps), 0.95)
    scatter = float(np.sqrt(np.mean(np.minimum(np.abs(steps), limit) ** 2) / 2))
    return max(floor, scatter)


def clean(series: pd.Series) -> pd.Series:
    """Return a series without missing values, its index rising (doubled stamps keep their order)."""
    missing = series.isna().to_numpy()
    known = series[~missing] if missing.any() else series
    index = known.index.to_numpy(dtype=float)
    return known if bool(np.all(index[1:] >= index[:-1])) else known.sort_index(kind="stable")
