"""The mean drain, by integration over whole cycles, and what bounds it where the meter looks away."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reviewkit.drain.rows import FloatArray, Rows
from reviewkit.drain.seen import Seen
from reviewkit.drain.train import Train
from reviewkit.metrology import Component, Measured
from reviewkit.metrology.meter import Meter

_MOST_STRETCHES = 10


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
        What the bounds rest on.
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


def over_cycles(one: Rows, train: Train, meter: Meter) -> Mean:
    """Return the mean over as many whole cycles as the log holds.

    Notes
    -----
    The integral is cut midway between pulses, where a wrong period costs least: n cycles of a period known
    to ±a give the mean to (mean − base)·a/period. All rows' own mean would hold a part of a cycle too
    many or too few.
    """
    begin = one.time_s[0] - one.width_s[0] / 2
    end = one.time_s[-1] + one.width_s[-1] / 2
    turns = np.ceil((begin - train.first_s) / train.period_s - 0.5 - 1e-9)
    start = train.first_s + (turns + 0.5) * train.period_s
    cycles = int(np.floor((end - start) / train.period_s + 1e-9))
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
        _scatter(means, "stretch to stretch"),
        *_gaps(one, value - low),
        *_step(meter),
    )
    return Mean(Measured(value, "A", parts), one.mean_A, cycles=cycles)


def over_rows(one: Rows, what: Seen, meter: Meter) -> Mean:
    """Return the mean of all rows: for a level without pulses, or with pulses that are no regular train."""
    value = one.mean_A
    stretches = np.array_split(one.current_A, min(_MOST_STRETCHES, max(2, len(one) // 5)))
    parts: tuple[Component, ...] = (meter.component(value), *_step(meter))
    if what.pulses:
        parts += (_counting(one, what),)
    else:
        parts += (_scatter(np.array([part.mean() for part in stretches]), "stretch to stretch"),)
    return Mean(Measured(value, "A", (*parts, *_gaps(one, value))), one.mean_A)


def with_gaps(one: Rows, what: Seen, meter: Meter, aperture_s: float) -> Mean:
    """Return what rows prove whose meter looks for `aperture_s` of each row only.

    Notes
    -----
    What the windows saw is counted for the time they looked. In the rest of the time the current was at
    least the base, and at most the highest level seen. Without a pulse in sight there is no upper
    bound: pulses in step with the rows may hide between the windows.
    """
    looked = min(aperture_s / one.interval_s, 1.0)
    base = float(np.quantile(one.current_A, 0.1))
    rows_mean = one.mean_A
    low = looked * rows_mean + (1 - looked) * min(base, rows_mean)
    low -= meter.half_width(low)
    why = f"the meter looks for {aperture_s:.3g} s of each {one.interval_s:.3g} s row"
    if aperture_s == 0:
        why = f"how long the meter looks for each {one.interval_s:.3g} s row is not known"
    if not what.pulses:
        return Mean(None, rows_mean, low=low, why=f"{why}: pulses between its windows would not show")
    high = looked * rows_mean + (1 - looked) * float(one.current_A.max())
    high += meter.half_width(high)
    why += ": in the rest of the time the current may have been anything from the base to the highest reading"
    return Mean(None, rows_mean, low=low, high=high, why=why)


def with_overloads(one: Rows, mean: Mean, meter: Meter) -> Mean:
    """Return the mean as a lower bound: overloaded rows hold at least the range's full scale."""
    most = meter.full_scale if meter.full_scale is not None else float(one.current_A.max())
    counted = one.current_A @ one.width_s + most * one.overload_s
    low = float(counted / (one.covered_s + one.overload_s))
    low -= meter.half_width(low)
    rows_word = "row" if one.overloads == 1 else "rows"
    why = f"{one.overloads} overloaded {rows_word} in the settled part hide charge; each counts as full scale"
    return Mean(None, mean.rows_mean_A, low=low, why=why)


def _running(one: Rows, edges: FloatArray) -> tuple[FloatArray, FloatArray]:
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


def _scatter(means: FloatArray, name: str) -> Component:
    if len(means) < 2:
        return Component(f"scatter from {name}", 0.0, "A")
    deviation = float(means.std(ddof=1) / np.sqrt(len(means)))
    return Component(f"scatter from {name}", deviation, "A", dof=len(means) - 1)


def _counting(one: Rows, what: Seen) -> Component:
    """Return the doubt of a few pulses, or of pulses at random: one more or one fewer, and their number."""
    high = what.above_A > what.threshold_A / 2
    number = np.cumsum(np.concatenate(([0], (high[1:] & ~high[:-1]).astype(int))))
    charges = np.bincount(number[high], (what.above_A * one.width_s)[high])
    charges = charges[charges > 0]
    if len(charges) <= 3:
        size = float(charges.max(initial=0.0)) / one.covered_s
        return Component("one pulse more or fewer in the log", size, "A", "triangular")
    deviation = float(np.sqrt(np.sum(charges**2))) / one.covered_s
    return Component("number of pulses in the log", deviation, "A", dof=len(charges) - 1)


def _gaps(one: Rows, swing_A: float) -> tuple[Component, ...]:
    """Return the doubt from time without rows: the mean there is taken as elsewhere."""
    missing = max(0.0, 1 - one.covered_s / one.span_s)
    if missing < 1e-3:
        return ()
    return (Component("time without rows", missing, "1", "rectangular", abs(swing_A)),)


def _step(meter: Meter) -> tuple[Component, ...]:
    # A statement without counts leaves the display's resolution out.
    return () if meter.states_counts else (meter.step_component(),)
