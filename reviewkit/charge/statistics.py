"""Medians, lines and their scatter, for readings on a display.

References
----------
GUM F.2.2.1: a digital display of step δ has δ/√12, and readings that are all alike do not make it less.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from reviewkit.charge.record import GAP_INTERVALS, FloatArray, local_intervals, usual_interval
from reviewkit.charge.series_resistance import correlation_length
from reviewkit.logs.log import Gap
from reviewkit.metrology import Component, left_of_step
from reviewkit.metrology.meter import Meter

_MEDIAN_FACTOR = math.sqrt(math.pi / 2)
"""The standard error of a median over that of a mean, for normal scatter."""


def weights(time_s: FloatArray) -> FloatArray:
    """Return how long each reading stands [s]: half-way to its neighbours, no longer than is usual there.

    Parameters
    ----------
    time_s : array, shape (n,) [s]
        A reading before a gap does not stand for the gap.
    """
    if len(time_s) < 2:
        return np.ones(len(time_s))
    usual = local_intervals(time_s, usual_interval(time_s))
    steps = np.minimum(np.diff(time_s), GAP_INTERVALS * usual)
    return standing(steps)


def standing(steps_s: FloatArray) -> FloatArray:
    """Return how long each row stands [s]: half way to its neighbours, from the steps between the rows."""
    before, after = np.append(steps_s[:1], steps_s), np.append(steps_s, steps_s[-1:])
    return np.asarray((before + after) / 2, dtype=np.float64)


def averaged(time_s: FloatArray, values: FloatArray, most: int) -> tuple[FloatArray, FloatArray]:
    """Return means over as many neighbours each as leave at least `most` rows of many; few are left alone.

    Parameters
    ----------
    time_s, values : array, shape (n,)
    most : int
        Of less than twice as many rows each stays by itself.

    Returns
    -------
    tuple of array
        Mean times and mean values; rows at the end that fill no group are left out.
    """
    size = max(len(time_s) // most, 1)
    shape = (len(time_s) // size, size)
    means = [one[: shape[0] * size].reshape(shape).mean(axis=1) for one in (time_s, values)]
    return means[0], means[1]


def weighted_median(values: FloatArray, weight: FloatArray, step: float) -> float:
    """Return the time-weighted median of readings shown in steps.

    Parameters
    ----------
    step : float
        The display's step; each reading stands for values within half a step of it.

    Notes
    -----
    The median of grouped data: within the step that holds the middle, the place is where half of the time
    lies below. Readings that are all alike give that reading. Where half of the time lies in the steps up to
    one, and half in those from another, it is halfway between the two.
    """
    _, where = np.unique(np.round(values / step).astype(np.int64), return_inverse=True)
    share = np.bincount(where, weight) / weight.sum()
    below = np.concatenate([[0.0], np.cumsum(share)])
    middle = (
        np.array([np.searchsorted(below, 0.5, side="left"), np.searchsorted(below, 0.5, side="right")]) - 1
    )
    exact = np.bincount(where, weight * values)[middle] / np.bincount(where, weight)[middle]
    inside = (0.5 - below[middle]) / share[middle] - 0.5
    return float(np.mean(exact + inside * step))


def across_gaps(
    time_s: FloatArray, values: FloatArray, gaps: Sequence[Gap], interval_s: float, step: float
) -> tuple[float, float]:
    """Return a time-weighted median with the readings carried on a line across gaps, and what those may hide.

    Parameters
    ----------
    gaps : sequence of Gap
        Of the log; those between two of the readings count.
    interval_s, step : float
        Usual time between two readings; step of the display.

    Returns
    -------
    tuple of (float, float)
        The median, and half the distance between the medians with all gaps at the lower and at the upper end.
    """
    times, low, middle, high = [time_s], [values], [values], [values]
    for gap in gaps:
        right = int(np.searchsorted(time_s, gap.end_s))
        if not 0 < right < len(time_s) or time_s[right - 1] < gap.start_s - interval_s:
            continue
        missing = np.linspace(time_s[right - 1], time_s[right], int(min(gap.length_s / interval_s, 400)) + 2)[
            1:-1
        ]
        ends = np.array([np.median(values[max(0, right - 5) : right]), np.median(values[right : right + 5])])
        times.append(missing)
        low.append(np.full(len(missing), ends.min()))
        high.append(np.full(len(missing), ends.max()))
        middle.append(np.interp(missing, time_s[[right - 1, right]], ends))
    if len(times) == 1:
        return weighted_median(values, weights(time_s), step), 0.0
    time = np.concatenate(times)
    order = np.argsort(time, kind="stable")
    weight = weights(time[order])
    least, value, most = (
        weighted_median(np.concatenate(one)[order], weight, step) for one in (low, middle, high)
    )
    return value, abs(most - least) / 2


ROUNDING = 1e-12
"""Scatter below this share of the readings is that of 64-bit arithmetic; no meter shows twelve digits."""

NEAR_SHARE = 0.03
"""Readings within this share of a median are its own."""


@dataclass(frozen=True)
class Line:
    """A straight line through readings: ``value(t) = middle + slope·(t − centre_s)``.

    Parameters
    ----------
    residual : float
        Standard deviation of the readings about it.
    spread_s2 : float [s²]
        Sum of squared distances from the centre.
    thin : float
        How many successive readings carry the information of one.
    """

    centre_s: float
    middle: float
    slope: float
    residual: float
    rows: int
    spread_s2: float
    thin: float

    def at(self, moment_s: float) -> float:
        """Return the line's value at a moment."""
        return self.middle + self.slope * (moment_s - self.centre_s)

    def standard_at(self, moment_s: float, floor: float) -> float:
        """Return the standard uncertainty of that value; scatter at least `floor`."""
        far = (moment_s - self.centre_s) ** 2 / self.spread_s2 if self.spread_s2 > 0 else 0.0
        return max(self.residual, floor) * math.sqrt(self.thin * (1 / self.rows + far))

    @property
    def dof(self) -> float:
        """Degrees of freedom of the scatter."""
        return max(1.0, self.rows / self.thin - 2)


def line(time_s: FloatArray, values: FloatArray, weight: FloatArray | None = None) -> Line:
    """Return the least-squares line through readings.

    Parameters
    ----------
    time_s, values : array, shape (n,)
        At least two rows.
    weight : array, shape (n,), or None
        How long each reading stands, where rows are missing here and there; None: all alike.
    """
    share = np.ones(len(time_s)) if weight is None else weight * len(weight) / weight.sum()
    centre, middle = float((share * time_s).mean()), float((share * values).mean())
    away = time_s - centre
    spread = float((share * away**2).sum())
    slope = float((share * away * (values - middle)).sum()) / spread if spread > 0 else 0.0
    left = values - middle - slope * away
    rows = len(values)
    residual = math.sqrt(float((left**2).sum()) / max(1, rows - 2))
    if residual < ROUNDING * float(np.abs(values).max()):
        # What arithmetic leaves of readings that are all alike is no scatter, and differs between machines.
        residual = 0.0
    thin = correlation_length(left) if rows > 20 and residual > 0 else 1.0
    return Line(centre, middle, slope, residual, rows, spread, thin)


def of_some_size(parts: Iterable[Component]) -> tuple[Component, ...]:
    """Return the components of a doubt that there is something of."""
    return tuple(part for part in parts if part.size > 0)


def scatter(
    name: str, time_s: FloatArray, values: FloatArray, meter: Meter, *, median: float
) -> tuple[Component, ...]:
    """Return what noise and display add to the doubt of a median.

    Parameters
    ----------
    name : str
        Of the finding.
    median : float
        Only readings near it count: a current that stood elsewhere for a while is no noise.

    Returns
    -------
    tuple of Component
        The scatter of the readings, averaged down by their number; and, where the statement of accuracy has
        no counts, what is left of the display's step after the noise has shaken it.
    """
    near = np.abs(values - median) <= max(NEAR_SHARE * abs(median), 3 * meter.resolution)
    if near.sum() >= 3:
        time_s, values = time_s[near], values[near]
    fitted = line(time_s, values)
    parts = [
        Component(
            f"{name}: scatter of the readings",
            _MEDIAN_FACTOR * fitted.residual * math.sqrt(fitted.thin / fitted.rows),
            meter.unit,
            dof=fitted.dof,
        )
    ]
    if not meter.states_counts:
        left = left_of_step(float(np.var(values)), meter.resolution)
        parts.append(Component(f"{name}: display step", left, meter.unit, "rectangular"))
    return of_some_size(parts)
