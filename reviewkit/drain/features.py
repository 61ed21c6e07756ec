"""Base, height, width, period of pulses, and the mean: each resolved, or bounded, or not told."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reviewkit.drain.pattern import Pattern
from reviewkit.drain.pulse_train import Train
from reviewkit.drain.samples import Detection, FloatArray, Samples
from reviewkit.metrology import Component, Measured, left_of_step
from reviewkit.metrology.meter import Meter

LEAST_WIDTH_ROWS = 2.0
"""A pulse shorter than this many rows has no resolved width: no row need lie wholly on it, and one more than
that is to show that it does."""
CLOCK = 1e-4
"""Relative error of the meter's clock (rectangular half-width): common practice for a crystal, no source."""
EDGE_ROWS = 1 / 15
"""How well a row's mean shows where in it a pulse begins or ends, as a share of the row (chosen: an edge is a
slope, and a row of 0.1 s can't tell it to a millisecond; both edges give a width ± a tenth of a row)."""
_SHORT = "short"


@dataclass(frozen=True)
class Feature:
    """One property of the pulses: a value where the rows resolve it, else what they bound.

    Parameters
    ----------
    value : Measured or None
        None where it is not resolved.
    low, high : float or None
        What the rows prove where it is not resolved.
    why : str
        Why it is not resolved: a word that the section's sentences know.
    """

    value: Measured | None = None
    low: float | None = None
    high: float | None = None
    why: str = ""

    @property
    def resolved(self) -> bool:
        """Whether there is a value."""
        return self.value is not None


@dataclass(frozen=True)
class Features:
    """What the pulses look like.

    Parameters
    ----------
    base, height, width, period : Feature
        [A], above the base [A], [s], [s].
    charge_As : Measured or None [A·s]
        Charge of one pulse above the base, where pulses are alike.
    lowest, highest : Measured or None [A]
        The extremes of the rows, where the split describes them no further.
    """

    base: Feature
    height: Feature
    width: Feature
    period: Feature
    charge_As: Measured | None = None
    lowest: Measured | None = None
    highest: Measured | None = None


def features(one: Samples, what: Detection, pattern: Pattern, meter: Meter, *, hidden: str = "") -> Features:
    """Return base, height, width and period as far as the rows bear them out.

    Parameters
    ----------
    meter : Meter
        The range in use.
    hidden : str
        Why part of the pulses is not in the rows ("gaps", "overload"); empty: they hold all.
    """
    why = pattern.kind
    none = Feature(why=hidden or why)
    if why == "steady":
        lowest = _extremes(one, what, meter)[0] if what.dips else None
        return Features(_base(one, what, pattern, meter), none, none, none, lowest=lowest)
    if why == "image":
        return _image(one, what, pattern, meter)
    if why in ("wave", "irregular") and not (hidden and pattern.flat):
        lowest, highest = _extremes(one, what, meter)
        return Features(none, none, none, none, lowest=lowest, highest=highest)
    base = _base(one, what, pattern, meter)
    reason = "drift" if base.why == "drift" and not hidden else why
    top, none = _top(one, what, meter, hidden or reason), Feature(why=hidden or reason)
    if hidden or why not in ("fixed", "jittered", "decaying") or base.value is None:
        return Features(base, top, none, none if hidden else _period(pattern))
    if why == "decaying" or pattern.outline in ("decaying", "uneven"):
        none = Feature(why="outline")
        return Features(base, Feature(low=top.low, why="outline"), none, _period(pattern))
    charge = _charge(one, pattern, base.value, what, meter)
    height, width = _shape(one, pattern, base.value, charge, what, meter)
    return Features(base, height, width, _period(pattern), charge)


def _top(one: Samples, what: Detection, meter: Meter, why: str) -> Feature:
    """Return the least height that the highest row proves; none over a level that moves."""
    if moved(what, meter, abs(one.mean_A)):
        return Feature(why=why)
    highest = float(what.above_A.max()) - _most_of(len(one)) * what.noise_A - meter.resolution
    return Feature(low=_at_least(highest, meter), why=why)


def _extremes(one: Samples, what: Detection, meter: Meter) -> tuple[Measured, Measured]:
    """Return the least and greatest reading; noise has made them more extreme than they are."""
    off = Component("noise of one reading", _most_of(len(one)) * what.noise_A, "A", "rectangular")
    ends = float(one.current_A.min()), float(one.current_A.max())
    low, high = (Measured(end, "A", (meter.component(end), off)) for end in ends)
    return low, high


def _most_of(count: int) -> float:
    """Return by how many standard deviations the most extreme of many normal readings is off."""
    return float(np.sqrt(2 * np.log(max(count, 2))))


def _at_least(height_A: float, meter: Meter) -> float:
    """Return the least true height behind one that was seen: the meter's percent may have made it larger."""
    return max(height_A / (1 + meter.accuracy.percent / 100), 0.0)


def _image(one: Samples, what: Detection, pattern: Pattern, meter: Meter) -> Features:
    """Return nothing but bounds: a faster train would look the same in these rows."""
    train, why = pattern.train, "image" if pattern.train is not None else "dips"
    lowest = float(np.quantile(one.current_A, 0.02)) + what.noise_A
    swing = float(np.quantile(what.above_A, 0.98) - np.quantile(what.above_A, 0.02)) - 4 * what.noise_A
    if train is None:
        lowest = float(one.current_A.min()) + what.noise_A
        swing = float(-what.above_A.min()) - 2 * what.noise_A
    return Features(
        Feature(high=lowest + meter.half_width(lowest), why=why),
        Feature(low=_at_least(swing, meter), why=why),
        Feature(why=why),
        Feature(high=None if train is None else train.period_s * (1 + 1e-3), why=why),
    )


def _base(one: Samples, what: Detection, pattern: Pattern, meter: Meter) -> Feature:
    values = one.current_A[pattern.quiet]
    if not pattern.flat or not len(values):
        return Feature(why="no level")
    if moved(what, meter, float(np.abs(values).mean())):
        low, high = float(what.level_A.min()), float(what.level_A.max())
        return Feature(low=low - meter.half_width(low), high=high + meter.half_width(high), why="drift")
    level = float(values.mean())
    return Feature(Measured(level, "A", (meter.component(level), _repeat("readings at the base", values))))


def moved(what: Detection, meter: Meter, level_A: float) -> bool:
    """Return whether the low level clearly moved during the log."""
    return abs(what.moved_A) > max(5 * meter.resolution, 4 * what.noise_A, 0.01 * level_A)


def _repeat(name: str, values: FloatArray) -> Component:
    """Return the scatter of a mean by the means of up to ten stretches: slow wander counts too."""
    parts = np.array_split(values, min(10, max(2, len(values) // 5))) if len(values) > 3 else [values]
    means = np.array([part.mean() for part in parts if len(part)])
    if len(means) < 2:
        return Component(f"scatter of the {name}", 0.0, "A")
    deviation = float(means.std(ddof=1) / np.sqrt(len(means)))
    return Component(f"scatter of the {name}", deviation, "A", dof=len(means) - 1)


def _period(pattern: Pattern) -> Feature:
    train = pattern.train
    if train is None:
        low, high = pattern.intervals_s or (None, None)
        return Feature(
            low=None if low is None else max(low, 0.0) * (1 - CLOCK),
            high=None if high is None else high * (1 + CLOCK),
            why=pattern.kind,
        )
    places = "place of each pulse within its rows"
    return Feature(
        Measured(
            train.period_s,
            "s",
            (
                Component(places, train.period_half_width_s, "s", "rectangular"),
                Component("meter's clock", CLOCK, "1", "rectangular", train.period_s),
            ),
        )
    )


def _charge(one: Samples, pattern: Pattern, base: Measured, what: Detection, meter: Meter) -> Measured:
    """Return the mean charge of a pulse: everything above the base, cycle by cycle."""
    sums, busy = pattern.charge_As, (~pattern.quiet).astype(np.int64)
    if pattern.train is not None:
        turns = np.round((one.time_s - pattern.train.first_s) / pattern.train.period_s).astype(np.int64)
        above = np.where(pattern.quiet, 0.0, one.current_A - base.value) * one.width_s
        cycles = np.bincount(turns - turns.min(), above).astype(np.float64)
        sums = pattern.train.charge_As
        if len(cycles) > 4:
            # The first and the last may be cut off.
            sums, busy = cycles[1:-1], np.bincount(turns - turns.min(), busy)[1:-1]
    value = float(sums.mean())
    rows_in_pulse = float(busy.sum()) / max(len(sums), 1)
    level = _repeat("readings at the base", one.current_A[pattern.quiet])
    scatter = float(sums.std(ddof=1) / np.sqrt(len(sums))) if len(sums) > 1 else 0.0
    under = "level of the base under the pulses"
    return Measured(
        value,
        "A·s",
        (
            Component("scatter from pulse to pulse", scatter, "A·s", dof=max(1, len(sums) - 1)),
            Component(under, level.size, "A", sensitivity=rows_in_pulse * one.interval_s),
            meter.gain_component(value),
        ),
    )


def _shape(
    one: Samples, pattern: Pattern, base: Measured, charge: Measured, what: Detection, meter: Meter
) -> tuple[Feature, Feature]:
    """Return height above the base and width."""
    away, row = np.abs(pattern.away_s(one.time_s)), one.interval_s
    highest = float(np.quantile(one.current_A[away < row], 0.9)) - base.value
    width = charge.value / highest if highest > 0 else 0.0
    core = away <= max((width - row) / 2 - 0.25 * row, 0.0)
    seen_height = highest - 2 * what.noise_A - meter.resolution
    most = charge.high / seen_height if seen_height > 0 else None
    bounds = Feature(low=_at_least(seen_height, meter), why=_SHORT), Feature(high=most, why=_SHORT)
    enough = core.sum() >= max(3, len(pattern.charge_As) // 2)
    if pattern.outline != "rectangular" or width < LEAST_WIDTH_ROWS * row or not enough:
        return bounds
    height = _height(one.current_A[core], one.current_A[pattern.quiet], base, meter)
    width_s = _width(charge, height, row)
    return (Feature(height), Feature(width_s)) if width_s.value >= LEAST_WIDTH_ROWS * row else bounds


def _height(top: FloatArray, low: FloatArray, base: Measured, meter: Meter) -> Measured:
    """Return top less base: the statement's counts drop out, and what noise has shaken of its step."""
    value = float(top.mean()) - base.value
    steps = (left_of_step(float(np.var(rows)), meter.resolution) for rows in (top, low))
    return Measured(
        value,
        "A",
        (
            meter.gain_component(value),
            *(Component(f"{meter.label}: resolution", left, "A", "rectangular") for left in steps),
            _repeat("readings on top of the pulses", top),
            *(part for part in base.components if not part.shared),
        ),
    )


def _width(charge: Measured, height: Measured, interval_s: float) -> Measured:
    """Return charge over height: the meter's percent cancels, and gapless rows lose nothing at an edge."""
    value = charge.value / height.value
    parts = [part.scaled(1 / height.value) for part in charge.components if not part.shared]
    parts += [part.scaled(-value / height.value) for part in height.components if not part.shared]
    edges = (
        Component(f"where in its row the pulse {word}", EDGE_ROWS * interval_s, "s", "rectangular")
        for word in ("begins", "ends")
    )
    return Measured(value, "s", (*parts, *edges))


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
