"""The readings of a current log as stretches of time, and the pulses that stand out of their low level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

FloatArray = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Indices = npt.NDArray[np.intp]

_LONGEST_ROW = 1.5
"""A row stands for at most this many usual row intervals; what is beyond is a gap (chosen: rows may be late
by half an interval)."""
_BLOCKS = 12
"""Parts of a log whose low level is looked at by itself (chosen: enough to tell a bend from a line)."""
_ROWS_A_BLOCK = 10
_LOW_QUANTILE = 0.2
"""The low level is this quantile: pulses that fill less than four fifths of the time don't move it."""
_CLEAR_TREND = 6.0
"""A change of the low level counts from this many times the scatter of its blocks (chosen)."""


@dataclass(frozen=True)
class Samples:
    """Consecutive readings of one state.

    Parameters
    ----------
    time_s : array, shape (n,) [s]
        Middle of each row's interval.
    current_A : array, shape (n,) [A]
        Finite readings only.
    width_s : array, shape (n,) [s]
        The time each row stands for.
    interval_s : float [s]
        The usual time from row to row.
    overloads : int
        Rows left out because they hold no number.
    overload_s : float [s]
        The time those rows stand for.
    """

    time_s: FloatArray
    current_A: FloatArray
    width_s: FloatArray
    interval_s: float
    overloads: int = 0
    overload_s: float = 0.0

    def __len__(self) -> int:
        return len(self.current_A)

    @property
    def begin_s(self) -> float:
        """When the first row's interval begins [s]."""
        return float(self.time_s[0] - self.width_s[0] / 2)

    @property
    def end_s(self) -> float:
        """When the last row's interval ends [s]."""
        return float(self.time_s[-1] + self.width_s[-1] / 2)

    @property
    def covered_s(self) -> float:
        """Time that the readings stand for [s]."""
        return float(self.width_s.sum())

    @property
    def span_s(self) -> float:
        """Time from the first row's start to the last row's end [s]."""
        return self.end_s - self.begin_s

    @property
    def mean_A(self) -> float:
        """Time-weighted mean [A]."""
        return float(np.average(self.current_A, weights=self.width_s))


def samples(current_A: pd.Series[float], *, from_s: float = -np.inf) -> Samples:
    """Return the readings of a log, each with the time it stands for.

    Parameters
    ----------
    current_A : pandas.Series [A]
        Index: elapsed seconds, increasing. NaN marks overload or a missing value.
    from_s : float [s]
        Rows that begin earlier are left out.

    Raises
    ------
    ValueError
        If the log has fewer than two rows or its times don't increase.
    """
    time = np.asarray(current_A.index, dtype=np.float64)
    values: FloatArray = np.asarray(current_A.to_numpy(), dtype=np.float64)
    if len(time) < 2:
        raise ValueError("the log has fewer than two rows")
    steps = np.diff(time)
    if np.any(steps <= 0):
        raise ValueError("the log's times don't increase from row to row")
    interval = float(np.median(steps))
    width: FloatArray = np.minimum(np.concatenate(([interval], steps)), _LONGEST_ROW * interval)
    # A row is stamped when its window ends.
    middle = time - width / 2
    keep = middle - width / 2 >= from_s - 1e-9
    good = keep & np.isfinite(values)
    lost = keep & ~np.isfinite(values)
    return Samples(
        middle[good], values[good], width[good], interval, int(lost.sum()), float(width[lost].sum())
    )


def scatter(values: FloatArray, resolution: float) -> float:
    """Return the noise of one reading as a standard deviation, blind to pulses.

    Parameters
    ----------
    values : array, shape (n,)
    resolution : float
        One display step: the noise is taken to be at least δ/√12 (GUM F.2.2.1).

    Notes
    -----
    The smallest of three estimates, each blind to something else: the median difference of neighbours
    (disturbed where pulses fill many rows), its lowest tenth (disturbed where hardly two neighbours are
    alike), and the shortest stretch of levels that holds 15 % of the rows (disturbed by drift). The last
    two are widened by what the display's step can hide. The divisors are those quantiles of a normal
    distribution of standard deviation 1.
    """
    floor = resolution / np.sqrt(12)
    if len(values) < 8:
        return float(floor)
    steps = np.abs(np.diff(values))
    by_median = np.median(steps) / 0.6745 / np.sqrt(2)
    by_lowest = 1.3 * (np.quantile(steps, 0.1) + resolution / 2) / 0.1257 / np.sqrt(2)
    ordered = np.sort(values)
    held = max(2, int(0.15 * len(values)))
    by_level = 1.3 * (np.min(ordered[held:] - ordered[:-held]) + resolution) / 0.378
    return float(max(floor, min(by_median, by_lowest, by_level)))


def low_level(one: Samples) -> FloatArray:
    """Return the slow course of the low level under the pulses [A], one value per row.

    Notes
    -----
    A line through the low levels of up to twelve blocks, or their own bent course where it only rises or
    only falls and no line describes it. A level that merely jumps about from block to block is no drift.
    """
    if len(one) < _ROWS_A_BLOCK * _BLOCKS:
        return np.full(len(one), np.quantile(one.current_A, _LOW_QUANTILE))
    parts = np.array_split(np.arange(len(one)), _BLOCKS)
    levels = np.array([np.quantile(one.current_A[part], _LOW_QUANTILE) for part in parts])
    centres = np.array([one.time_s[part].mean() for part in parts])
    steps = np.diff(levels)
    if _one_way(steps):
        # Beyond the outer blocks' middles the course goes on as it came.
        ends = levels[[0, -1]] + np.array([-steps[0], steps[-1]]) / 2
        knots = np.concatenate(([one.begin_s], centres, [one.end_s]))
        return np.asarray(np.interp(one.time_s, knots, np.concatenate((ends[:1], levels, ends[1:]))))
    slope, start = np.polyfit(centres - centres.mean(), levels, 1)
    left = levels - start - slope * (centres - centres.mean())
    if abs(slope) * np.ptp(centres) < _CLEAR_TREND * left.std():
        return np.full(len(one), np.quantile(one.current_A, _LOW_QUANTILE))
    return np.asarray(start + slope * (one.time_s - centres.mean()), dtype=float)


def _one_way(steps: FloatArray) -> bool:
    """Return whether a course only rises or only falls, but for a twentieth of its whole change."""
    whole = abs(steps.sum())
    against = steps[steps * np.sign(steps.sum()) < 0]
    return bool(whole > 0 and np.abs(against).sum() < 0.05 * whole and (steps != 0).sum() > _BLOCKS // 2)


_VISIBLE = 6.0
"""A pulse stands out of the noise by this many standard deviations, and by four display steps (chosen: of a
million normal readings none does)."""
_DISPLAY_STEPS = 4


@dataclass(frozen=True)
class Detection:
    """What stands out of the low level.

    Parameters
    ----------
    noise_A : float [A]
        Standard deviation of one reading at the low level.
    level_A : array, shape (n,) [A]
        Slow course of the low level.
    above_A : array, shape (n,) [A]
        Readings above the low level.
    threshold_A : float [A]
        From here on a row belongs to a pulse.
    first, last : array, shape (pulses,)
        First and last row that each pulse touches.
    dips : int
        Separate stretches of rows as far below the low level.
    """

    noise_A: float
    level_A: FloatArray
    above_A: FloatArray
    threshold_A: float
    first: Indices
    last: Indices
    dips: int = 0

    @property
    def pulses(self) -> int:
        """How many pulses stand out."""
        return len(self.first)

    @property
    def moved_A(self) -> float:
        """How far the low level moved during the log [A]."""
        return float(self.level_A[-1] - self.level_A[0])

    def whole(self, count: int) -> Flags:
        """Return which pulses neither began before the log nor end after it; `count`: its rows."""
        return np.asarray((self.first > 0) & (self.last < count - 1))


def detection(one: Samples, *, resolution_A: float) -> Detection:
    """Return what stands out of the samples' low level."""
    low = low_level(one)
    noise = scatter(one.current_A - low, resolution_A)
    near = np.abs(one.current_A - low) < 3 * noise
    low = low + (np.median((one.current_A - low)[near]) if near.any() else 0.0)
    above = one.current_A - low
    threshold = max(_VISIBLE * noise, _DISPLAY_STEPS * resolution_A)
    first, last = _stretches(one, above > threshold / 2)
    tops = np.array([above[begin : end + 1].max() for begin, end in zip(first, last, strict=True)])
    real = tops > threshold
    dips = len(_stretches(one, above < -threshold)[0])
    return Detection(noise, low, above, threshold, first[real], last[real], dips)


def _stretches(one: Samples, inside: Flags) -> tuple[Indices, Indices]:
    """Return the first and last row of each stretch; a gap in the log ends one."""
    if not inside.any():
        return np.empty(0, dtype=np.intp), np.empty(0, dtype=np.intp)
    rows = np.flatnonzero(inside)
    apart = np.diff(one.time_s[rows]) > 1.6 * one.interval_s
    return rows[np.concatenate(([True], apart))], rows[np.concatenate((apart, [True]))]


def charges(one: Samples, what: Detection) -> FloatArray:
    """Return the charge of each pulse above the low level [A·s], the rows at its sides included."""
    running = np.concatenate(([0.0], np.cumsum(what.above_A * one.width_s)))
    end = np.minimum(what.last + 1, np.concatenate((what.first[1:] - 1, [len(one) - 1])))
    # A row between two pulses is no part of both.
    begin = np.maximum(what.first - 1, np.concatenate(([0], end[:-1] + 1)))
    return np.asarray(running[np.maximum(end, what.last) + 1] - running[np.minimum(begin, what.first)])
