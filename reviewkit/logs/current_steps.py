"""Steps of the current, and the jumps of the voltage that answer them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from reviewkit.logs import Log, decimation

Array = npt.NDArray[np.float64]
Rows = npt.NDArray[np.intp]

MOST_CHANGES = 120
"""So many steps or jumps, the largest, are looked at. Chosen."""

LONGEST_PERIOD_S, LONGEST_ROWS, FEWEST_PULSES = 40.0, 10, 5
"""So many changes that follow each other within so long, or so many rows, are a train of pulses. Chosen:
chargers pulse within half a minute; what stops and starts more slowly is told step by step."""

_SHARE_OF_RANGE = 0.04
"""A change of less than this share of the current's range is no step. Chosen: a folding charger's steps."""

_SLOWEST_RAMP_S = 250.0
"""A soft start takes at most so long from none to all of the current, and is one step. Chosen: a taper is
slower."""

_BEFORE, _AFTER = 0.02, 0.25
"""A neighbouring change that takes more than this share of a jump may hold part of it: a meter that averages.
After it, the cell's own slow answer takes up to a fifth, which is no part of the moment. Chosen."""

_GAP = 4.0
_BLOCK = 60


@dataclass(frozen=True)
class Samples:
    """A log as arrays, rows without a reading left out.

    Parameters
    ----------
    stamp_step_s : float [s]
        Stamps are cut to this step: a row is up to so much later than its stamp.
    resolution : float
        Smallest step of the readings.
    noise : float
        Standard deviation of one reading where the quantity stands still, its display step included.
    """

    time_s: Array
    value: Array
    stamp_step_s: float
    resolution: float
    noise: float

    def usual_s(self, row: Rows) -> Array:
        """Return the usual time between rows around some rows [s]: a log may change its rate."""
        steps = np.diff(self.time_s)
        near = np.clip(row[:, None] + np.arange(-6, 7)[None, :], 0, len(steps) - 1)
        return np.asarray(np.median(steps[near], axis=1))


@dataclass(frozen=True)
class Changes:
    """Sudden changes of a quantity, one per element.

    Parameters
    ----------
    earliest_s, latest_s : array of float [s]
        Between these two moments of the log's own clock the change happened.
    size : array of float
        By how much, with sign.
    trains : array of float, shape (n, 2) [s]
        Stretches in which the quantity goes up and down all the time; of the changes in them only the first
        and the last are kept.
    """

    earliest_s: Array
    latest_s: Array
    size: Array
    trains: Array

    def __len__(self) -> int:
        return len(self.size)

    @property
    def middle_s(self) -> Array:
        """Middle of the interval in which each change happened [s]."""
        return (self.earliest_s + self.latest_s) / 2

    def only(self, which: Rows | npt.NDArray[np.bool_]) -> Changes:
        """Return a choice of them."""
        return Changes(self.earliest_s[which], self.latest_s[which], self.size[which], self.trains)

    def largest(self, most: int) -> Changes:
        """Return the largest of them, in their order."""
        return self.only(np.sort(np.argsort(-np.abs(self.size), kind="stable")[:most]))


def samples(log: Log) -> Samples:
    """Return a log's readings as arrays."""
    time_s, value = log.time_s, log.series.to_numpy(dtype=float)
    known = ~np.isnan(value)
    if not known.all():
        time_s, value = time_s[known], value[known]
    resolution = log.resolution or 0.0
    return Samples(time_s, value, 2 * log.report.stamp_lag_s, resolution, _noise(value, resolution))


def _noise(value: Array, resolution: float) -> float:
    """Return the noise of the log's calm parts: most of it may be anything but calm."""
    bent = np.diff(value, n=2) / np.sqrt(6)
    count = max(len(bent) // _BLOCK, 1)
    blocks = np.array_split(np.abs(bent), min(count, 400)) if len(bent) else []
    scatter = [1.2533 * float(np.mean(block)) for block in blocks]
    # A log of two levels seems to have a resolution as large as its steps: that says nothing.
    low, high = np.quantile(value, [0.005, 0.995]) if len(value) else (0.0, 0.0)
    floor = min(resolution, 0.1 * float(high - low)) / np.sqrt(12)
    return float(max(np.quantile(scatter, 0.15) if scatter else 0.0, floor, 1e-9))


def steps(current: Samples) -> Changes:
    """Return the steps of a charge current; of a current that pulses, where the pulsing begins and ends.

    A step is a change from row to row beyond the noise and beyond a twenty-fifth of the current's range;
    rows in a row that change the same way are one step.
    """
    if len(current.value) < 3:
        return _none()
    change = np.diff(current.value)
    low, high = np.quantile(current.value[decimation.rows(len(current.value))], [0.005, 0.995])
    span = float(high - low)
    least = max(8 * current.noise, min(3 * current.resolution, 0.3 * span), _SHARE_OF_RANGE * span, 1e-9)
    ramp = np.maximum(span * np.diff(current.time_s) / _SLOWEST_RAMP_S, 4 * current.noise)
    at = np.flatnonzero(np.abs(change) >= np.minimum(ramp, least))
    if not len(at):
        return _none()
    new = np.r_[True, (np.diff(at) > 1) | (np.diff(np.sign(change[at])) != 0)]
    first, last = at[new], at[np.r_[new[1:], True]]
    size = current.value[last + 1] - current.value[first]
    clear = np.abs(size) >= least
    first, last, size = first[clear], last[clear], size[clear]
    earlier = np.where(first > 0, change[first - 1], 0.0) / size
    later = np.where(last < len(change) - 1, change[np.minimum(last + 1, len(change) - 1)], 0.0) / size
    share = np.maximum(0.02, 3 * current.noise / np.abs(size))
    first, last = first - ((earlier > share) & (first > 0)), last + (later > share)
    return _as_trains(current, _changes(current, first, np.minimum(last, len(change) - 1), size))


def jumps(voltage: Samples) -> Changes:
    """Return the jumps of the cell's voltage: changes from row to row beyond noise and resolution.

    The slow rise around a row is taken off; a jump shared between two neighbouring intervals lies
    somewhere in both. What happens across a gap is no jump.
    """
    if len(voltage.value) < 3:
        return _none()
    change, every = np.diff(voltage.value), np.diff(voltage.time_s)
    size = np.abs(change)
    counts = min(1.8 * voltage.resolution, 0.6 * float(size.max()))
    least = max(5 * np.sqrt(2) * voltage.noise, counts, 1e-6)
    end = len(size) - 1
    at = np.flatnonzero(size >= least)
    at = at[(size[at] >= size[at - 1]) | (at == 0)]
    at = at[size[at] >= size[np.minimum(at + 1, end)]]
    at = at[every[at] <= np.maximum(_GAP * voltage.usual_s(at), 2.0)] if len(at) else at
    rise = _rise(change, every, at)
    keep = np.abs(change[at] - rise * every[at]) >= least + np.abs(rise) * every[at]
    at, rise = at[keep], rise[keep]
    own = change[at] - rise * every[at]
    share = np.maximum(_BEFORE, 2 * np.sqrt(2) * voltage.noise / np.abs(own))
    ahead, behind = np.maximum(at - 1, 0), np.minimum(at + 1, end)
    before = np.where(at > 0, change[ahead] - rise * every[ahead], 0.0) / own
    after = np.where(at < end, change[behind] - rise * every[behind], 0.0) / own
    first, last = at - (before > share), at + (after > np.maximum(share, _AFTER))
    whole = voltage.value[last + 1] - voltage.value[first]
    whole = whole - rise * (voltage.time_s[last + 1] - voltage.time_s[first])
    found = _changes(voltage, first, last, whole)
    # What is too little to be told from noise may still have been a part of the jump.
    found.earliest_s[first == at] -= (share * every[ahead])[first == at]
    return _as_trains(voltage, found)


def _changes(log: Samples, first: Rows, last: Rows, size: Array) -> Changes:
    earliest, latest = log.time_s[first], log.time_s[last + 1] + log.stamp_step_s
    # A pause within one row that is a mean ends in that row, though it shows up to the next.
    back = 1 + np.flatnonzero((first[1:] == last[:-1] + 1) & (np.sign(size[1:]) != np.sign(size[:-1])))
    earliest[back] = log.time_s[first[back - 1]]
    return Changes(earliest, latest, size, np.empty((0, 2)))


def _none() -> Changes:
    return Changes(*(np.empty(0),) * 3, np.empty((0, 2)))


def _rise(change: Array, every: Array, at: Rows) -> Array:
    """Return the usual rise around some rows, per second: the median of ten before and ten after each."""
    around = np.clip(at[:, None] + np.arange(-10, 11)[None, :], 0, len(change) - 1)
    return np.asarray(np.median(change[around] / np.maximum(every[around], 1e-9), axis=1))


def _as_trains(log: Samples, found: Changes) -> Changes:
    """Return the changes, those of a train as its two edges, each within a period of where it shows."""
    rows = np.searchsorted(log.time_s, found.earliest_s)
    period = np.maximum(LONGEST_PERIOD_S, LONGEST_ROWS * log.usual_s(rows)) if len(rows) else np.empty(0)
    near = np.r_[False, np.diff(found.middle_s) <= period[1:], False]
    begins, ends = np.flatnonzero(near[1:] & ~near[:-1]), np.flatnonzero(near[:-1] & ~near[1:])
    long = ends - begins + 1 >= FEWEST_PULSES
    begins, ends = begins[long], ends[long]
    earliest, latest = found.earliest_s.copy(), found.latest_s.copy()
    kept = np.ones(len(found), dtype=bool)
    for begin, end in zip(begins, ends, strict=True):
        spread = 2 * float(np.median(np.diff(found.middle_s[begin : end + 1])))
        earliest[begin] -= spread
        latest[end] += spread
        kept[begin + 1 : end] = False
    trains = np.column_stack([earliest[begins], latest[ends]])
    return Changes(earliest[kept], latest[kept], found.size[kept], trains).largest(MOST_CHANGES)
