"""The mean drain, by integration over whole cycles, and what bounds it where the meter looks away."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reviewkit.drain.pattern import Pattern
from reviewkit.drain.pulse_train import Train
from reviewkit.drain.samples import Detection, FloatArray, Samples
from reviewkit.metrology import Component, Measured
from reviewkit.metrology.meter import Meter

_MOST_STRETCHES = 10
"""Stretches of a log whose means tell the scatter of the whole (chosen: slow wander counts, and the t
distribution is still near the normal one)."""


@dataclass(frozen=True)
class Mean:
    """A state's mean drain.

    Parameters
    ----------
    value : Measured or None [A]
        None where only bounds are known.
    low, high : float or None [A]
        Bounds beyond the uncertainty of `value`, where the rows don't hold all of the charge.
    why : str
        What the bounds rest on: "gaps", "unknown gaps" or "overload".
    rows_mean_A : float [A]
        The plain mean of the rows.
    cycles : int
        Whole cycles that `value` was integrated over; 0 for all rows.
    """

    value: Measured | None
    rows_mean_A: float
    low: float | None = None
    high: float | None = None
    why: str = ""
    cycles: int = 0

    @property
    def bounds(self) -> tuple[float | None, float | None]:
        """The least and the most that the mean may be [A]; None: open."""
        return (self.low, self.high) if self.value is None else (self.value.low, self.value.high)

    @property
    def level_A(self) -> float:
        """The mean, else the rows' own [A]."""
        return self.rows_mean_A if self.value is None else self.value.value


def over_cycles(one: Samples, train: Train, meter: Meter) -> Mean:
    """Return the mean over as many whole cycles as the log holds.

    Notes
    -----
    The integral is cut midway between pulses, where a wrong period costs least: n cycles of a period known
    to ±a give the mean to (mean − base)·a/period. All rows' own mean would hold a part of a cycle too
    many or too few.
    """
    turns = np.ceil((one.begin_s - train.first_s) / train.period_s - 0.5 - 1e-9)
    start = train.first_s + (turns + 0.5) * train.period_s
    cycles = int(np.floor((one.end_s - start) / train.period_s + 1e-9))
    edges = start + train.period_s * np.arange(cycles + 1)
    charge, covered = _running(one, edges)
    # Neighbouring stretches share their cut: a few long ones tell the scatter of the whole.
    cuts = np.unique(np.linspace(0, cycles, min(_MOST_STRETCHES, cycles) + 1).astype(np.int64))
    means = np.diff(charge[cuts]) / np.maximum(np.diff(covered[cuts]), 1e-12)
    value = float((charge[-1] - charge[0]) / (covered[-1] - covered[0]))
    low = float(np.quantile(one.current_A, 0.05))
    shift = train.period_half_width_s
    if train.folded:
        shift += one.interval_s / (2 * cycles)
    parts = (
        meter.component(value),
        Component("period", shift, "s", "rectangular", (value - low) / train.period_s),
        _scatter(means),
        *_gaps(one, value - low),
        *_step(meter),
    )
    return Mean(Measured(value, "A", parts), one.mean_A, cycles=cycles)


def over_rows(one: Samples, what: Detection, pattern: Pattern, meter: Meter) -> Mean:
    """Return the mean of all rows: for a level without pulses, a swing, or pulses that are no fixed train."""
    value = one.mean_A
    parts: tuple[Component, ...] = (meter.component(value), *_step(meter))
    if pattern.kind in ("wave", "image", "steady"):
        stretches = np.array_split(one.current_A, min(_MOST_STRETCHES, max(2, len(one) // 5)))
        parts += (_scatter(np.array([part.mean() for part in stretches])),)
    if pattern.kind == "wave":
        swing = float(np.ptp(one.current_A)) / 2
        parts += (Component("part of a swing too many in the log", _part(one), "1", "rectangular", swing),)
    if pattern.kind not in ("wave", "image", "steady"):
        parts += tuple(_counting(one, what, pattern))
    return Mean(Measured(value, "A", (*parts, *_gaps(one, value))), one.mean_A)


def with_gaps(one: Samples, what: Detection, meter: Meter, aperture_s: float | None) -> Mean:
    """Return what rows prove whose meter looks for `aperture_s` of each row only; None: not known.

    Notes
    -----
    What the windows saw is counted for the time they looked. In the rest of the time the current was at
    least the base, and at most the highest level seen. Without a pulse in sight there is no upper
    bound: pulses in step with the rows may hide between the windows.
    """
    looked = min((aperture_s or 0.0) / one.interval_s, 1.0)
    rows_mean = one.mean_A
    floor = min(float(np.quantile(one.current_A, 0.1)), rows_mean)
    low = looked * rows_mean + (1 - looked) * floor
    low -= meter.half_width(low)
    high = None
    if what.pulses:
        high = looked * rows_mean + (1 - looked) * float(one.current_A.max())
        high += meter.half_width(high)
    return Mean(None, rows_mean, low=low, high=high, why="unknown gaps" if aperture_s is None else "gaps")


def with_overloads(one: Samples, mean: Mean, meter: Meter) -> Mean:
    """Return the mean as a lower bound: overloaded rows hold at least what the others hold at their lowest.

    Notes
    -----
    Not the range's full scale: a meter may give up a whole row for a peak of a moment.
    """
    counted = one.current_A @ one.width_s + float(np.quantile(one.current_A, 0.1)) * one.overload_s
    low = float(counted / (one.covered_s + one.overload_s))
    low = min(low, low if mean.low is None else mean.low)
    return Mean(None, mean.rows_mean_A, low=low - meter.half_width(low), why="overload")


def _running(one: Samples, edges: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return charge and covered time from the first row to each edge, rows cut in proportion."""
    starts, ends = one.time_s - one.width_s / 2, one.time_s + one.width_s / 2
    knots = np.empty(2 * len(one))
    knots[0::2], knots[1::2] = starts, ends
    knots = np.maximum.accumulate(knots)
    pieces = np.zeros(2 * len(one))
    pieces[1::2] = one.current_A * one.width_s
    charge = np.cumsum(pieces)
    pieces[1::2] = one.width_s
    covered = np.cumsum(pieces)
    return np.interp(edges, knots, charge), np.interp(edges, knots, covered)


def _part(one: Samples) -> float:
    """Return by what share of its swing a slow beat may move the mean of all rows.

    The rows cross their middle once or twice a beat: the log holds at most half a beat too many.
    """
    high = one.current_A > (one.current_A.max() + one.current_A.min()) / 2
    crossings = int(np.sum(high[1:] != high[:-1]))
    return float(2 / np.pi / max(crossings - 1, 1))


def _scatter(means: FloatArray) -> Component:
    name = "scatter from stretch to stretch"
    if len(means) < 2:
        return Component(name, 0.0, "A")
    deviation = float(means.std(ddof=1) / np.sqrt(len(means)))
    return Component(name, deviation, "A", dof=len(means) - 1)


def _counting(one: Samples, what: Detection, pattern: Pattern) -> tuple[Component, ...]:
    """Return the uncertainty of how many pulses a log holds: one more or fewer, and their jitter."""
    each = pattern.charge_As[pattern.charge_As > 0]
    span = one.covered_s
    size = float(each.max()) if len(each) else float(what.above_A.clip(0.0) @ one.width_s)
    if pattern.group is not None:
        size *= pattern.group[0]
    one_more = Component("one pulse more or fewer in the log", size / span, "A", "triangular")
    if len(each) <= 3 or pattern.kind in ("bursts", "two trains"):
        return (one_more,)
    if pattern.kind == "jittered":
        between = np.diff(pattern.centre_s)
        share = float(between.std(ddof=1) / between.mean() / np.sqrt(len(between)))
        jitter = Component(
            "jitter of the pulses", share * float(each.sum()) / span, "A", dof=len(between) - 1
        )
        return (one_more, jitter)
    deviation = float(np.sqrt(np.sum(each**2))) / span
    return (Component("number of pulses in the log", deviation, "A", dof=len(each) - 1),)


def _gaps(one: Samples, swing_A: float) -> tuple[Component, ...]:
    """Return the uncertainty from time without rows: the mean there is taken as elsewhere."""
    missing = max(0.0, 1 - one.covered_s / one.span_s)
    if missing < 1e-3:
        return ()
    return (Component("time without rows", missing, "1", "rectangular", abs(swing_A)),)


def _step(meter: Meter) -> tuple[Component, ...]:
    # A statement without counts leaves the display's resolution out.
    return () if meter.states_counts else (meter.step_component(),)
