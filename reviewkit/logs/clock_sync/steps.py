"""Steps of the current, and the jumps of the voltage that answer them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from reviewkit.logs import Log, decimation

Array = npt.NDArray[np.float64]
MOST_STEPS = 40
MOST_JUMPS = 300
_SHARE_OF_RANGE = 0.05
_NEIGHBOUR = 0.25
"""A neighbour that takes more than this share of a change may hold part of it: a meter that averages."""


@dataclass(frozen=True)
class Samples:
    """A log as arrays, rows without a reading left out.

    Parameters
    ----------
    time_s, value : array
    interval_s : float [s]
        Usual time between rows.
    stamp_step_s : float [s]
        Stamps are cut to this step: a row is up to so much later than its stamp.
    resolution : float
        Smallest step of the readings.
    """

    time_s: Array
    value: Array
    interval_s: float
    stamp_step_s: float
    resolution: float


@dataclass(frozen=True)
class Changes:
    """Sudden changes of a quantity, one per element.

    Parameters
    ----------
    earliest_s, latest_s : array of float [s]
        Between these two moments of the log's own clock the change happened.
    size : array of float
        By how much, with sign.
    """

    earliest_s: Array
    latest_s: Array
    size: Array

    def __len__(self) -> int:
        return len(self.size)

    @property
    def middle_s(self) -> Array:
        """Middle of the interval in which each change happened [s]."""
        return (self.earliest_s + self.latest_s) / 2

    def only(self, which: npt.NDArray[np.intp] | npt.NDArray[np.bool_]) -> Changes:
        """Return a choice of them."""
        return Changes(self.earliest_s[which], self.latest_s[which], self.size[which])


def samples(log: Log) -> Samples:
    """Return a log's readings as arrays."""
    time_s, value = log.time_s, log.series.to_numpy(dtype=float)
    known = ~np.isnan(value)
    if not known.all():
        time_s, value = time_s[known], value[known]
    return Samples(
        time_s,
        value,
        log.report.interval_s,
        2 * log.report.stamp_lag_s,
        log.resolution or 0.0,
    )


def steps(current: Samples) -> Changes:
    """Return the steps of a charge current, the largest ones where there are many.

    A step is a change from row to row beyond the noise and beyond a twentieth of the current's range;
    rows in a row that change the same way are one step.
    """
    if len(current.value) < 3:
        return Changes(*(np.empty(0),) * 3)
    change = np.diff(current.value)
    low, high = np.quantile(current.value[decimation.rows(len(current.value))], [0.005, 0.995])
    span = float(high - low)
    # A log of two levels seems to have a resolution as large as its steps: that says nothing.
    counts = min(3 * current.resolution, 0.3 * span)
    least = max(8 * _noise(change), counts, _SHARE_OF_RANGE * span, 1e-9)
    return _largest(_joined(current, change, np.flatnonzero(np.abs(change) >= least)), MOST_STEPS)


def jumps(voltage: Samples) -> Changes:
    """Return the jumps of the cell's voltage: changes from row to row beyond noise and resolution.

    The slow rise around a row is taken off; a jump shared between two neighbouring intervals lies
    somewhere in both.
    """
    if len(voltage.value) < 3:
        return Changes(*(np.empty(0),) * 3)
    change = np.diff(voltage.value)
    size = np.abs(change)
    counts = min(1.8 * voltage.resolution, 0.6 * float(size.max()))
    least = max(5 * _noise(change), counts, 1e-6)
    end = len(size) - 1
    at = np.flatnonzero(size >= least)
    at = at[(size[at] >= size[at - 1]) | (at == 0)]
    at = at[(size[at] >= size[np.minimum(at + 1, end)])]
    at = at[np.argsort(-size[at])[: 2 * MOST_JUMPS]]
    slope = _trend(change, at)
    at, slope = at[np.abs(change[at] - slope) >= least], slope[np.abs(change[at] - slope) >= least]
    own = change[at] - slope
    before = np.where(at > 0, change[at - 1] - slope, 0.0) / own
    after = np.where(at < end, change[np.minimum(at + 1, end)] - slope, 0.0) / own
    first, last = at - (before > _NEIGHBOUR), at + (after > _NEIGHBOUR)
    whole = voltage.value[last + 1] - voltage.value[first] - slope * (last + 1 - first)
    found = Changes(voltage.time_s[first], voltage.time_s[last + 1] + voltage.stamp_step_s, whole)
    return _largest(found, MOST_JUMPS)


def _noise(change: Array) -> float:
    """Return the usual size of a change that means nothing, as a standard deviation."""
    some = change[decimation.rows(len(change))]
    return float(np.median(np.abs(some - np.median(some)))) * 1.4826


def _trend(change: Array, at: npt.NDArray[np.intp]) -> Array:
    """Return the usual change around some rows: the median of ten before and ten after each."""
    around = np.clip(at[:, None] + np.arange(-10, 11)[None, :], 0, len(change) - 1)
    return np.asarray(np.median(change[around], axis=1))


def _joined(current: Samples, change: Array, at: npt.NDArray[np.intp]) -> Changes:
    """Join neighbouring changes of one sign to one step."""
    if not len(at):
        return Changes(*(np.empty(0),) * 3)
    new = np.r_[True, (np.diff(at) > 1) | (np.diff(np.sign(change[at])) != 0)]
    first = at[new]
    last = at[np.r_[new[1:], True]]
    first, last = _with_neighbours(change, first, last)
    return Changes(
        current.time_s[first],
        current.time_s[last + 1] + current.stamp_step_s,
        current.value[last + 1] - current.value[first],
    )


def _with_neighbours(
    change: Array, first: npt.NDArray[np.intp], last: npt.NDArray[np.intp]
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Take in a row that already shows part of a step, as a meter that averages gives it."""
    whole = np.array([change[a : b + 1].sum() for a, b in zip(first, last, strict=True)])
    before = np.where(first > 0, change[first - 1], 0.0) / whole
    after = np.where(last < len(change) - 1, change[np.minimum(last + 1, len(change) - 1)], 0.0) / whole
    return first - ((before > 0.02) & (first > 0)), last + ((after > 0.02) & (last < len(change) - 1))


def _largest(found: Changes, most: int) -> Changes:
    if len(found) <= most:
        return found
    return found.only(np.sort(np.argsort(-np.abs(found.size))[:most]))
