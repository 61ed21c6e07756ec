"""Currents of a charge: precharge, plateau and its droop, termination, afterwards."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from reviewkit.charge import ending
from reviewkit.charge.record import LOCAL_STEPS, ChargeRecord, FloatArray
from reviewkit.charge.regimes import PhaseName, Phases
from reviewkit.charge.statistics import across_gaps, line, scatter, standing, weighted_median, weights
from reviewkit.logs.log import Gap
from reviewkit.metrology import Component, Measured, shaken_left

TERMINATION_S = 30.0
TERMINATION_ROWS = 5
"""The current before the cut-off is read from this much of the log, whichever is longer (METHODS'
definition).
"""

METER_DRIFT = 0.1
"""Over one charge a meter's error may wander by this share of its statement: chosen, no source."""

AFTER_S = 900.0
"""Where nobody says when the cable was pulled, it is taken to have been in for so long after the end:
chosen.
"""

_SETTLE_S = 30.0
_LEAST_ROWS = 5
_CLEAR = 3.0
"""A bend of the last rows counts from so many of its standard deviations on."""
_BENT = 3
"""Numbers that a parabola has."""


def level(record: ChargeRecord, phases: Phases, phase: PhaseName, name: str) -> Measured | None:
    """Return the time-weighted median of the current in a phase [A], or None without that phase.

    Parameters
    ----------
    name : str
        Of the finding, for the budget.
    """
    time, current = _inside(record, phases, phase)
    if len(time) < 3 or phases.unresolved:
        return None
    value, hidden = across_gaps(time, current, record.gaps, record.interval_s, record.ammeter.resolution)
    parts = [record.ammeter.component(value), *scatter(name, time, current, record.ammeter, median=value)]
    parts += [Component(f"{name}: what gaps in the log hide", hidden, "A", "rectangular")] if hidden else []
    parts += _boundaries(record, phases, phase, name, time, current, value)
    return Measured(value, "A", tuple(parts))


def _boundaries(
    record: ChargeRecord,
    phases: Phases,
    phase: PhaseName,
    name: str,
    time: FloatArray,
    current: FloatArray,
    value: float,
) -> list[Component]:
    """Return what another place of the knee would make of the median, where the log allows several."""
    if phase != "constant current" or not phases.other_knees:
        return []
    until = min(early for early, _ in phases.other_knees)
    kept = time < until
    if kept.sum() < 3 or kept.all():
        return []
    other, _ = across_gaps(
        time[kept], current[kept], record.gaps, record.interval_s, record.ammeter.resolution
    )
    shift = abs(other - value)
    return [Component(f"{name}: another reading of the log", shift, "A", "rectangular")] if shift else []


def droop(record: ChargeRecord, phases: Phases) -> Measured | None:
    """Return by how much a straight line over the constant-current phase changes [%]; negative: it falls."""
    time, current = _inside(record, phases, "constant current")
    for soft in (one for one in phases.regimes if one.shape == "soft start"):
        # Where the ramp meets the level is known to a part of its length.
        kept = time > soft.end_s + 0.25 * soft.length_s + 2 * record.interval_s
        time, current = time[kept], current[kept]
    if len(time) < _LEAST_ROWS or phases.unresolved:
        return None
    fitted = line(time, current, _stands(record, phases, time))
    length = float(time[-1] - time[0])
    first = fitted.at(float(time[0]))
    if length <= 0 or first <= 0:
        return None
    per_slope = 100 * length / first
    value = per_slope * fitted.slope
    # What a line leaves of a current that steps or bends is no noise: the readings' own scatter is.
    shaped = fitted.residual > 3 * record.noise_A
    noise, thin = (record.noise_A, 1.0) if shaped else (fitted.residual, fitted.thin)
    shown = record.ammeter.resolution / math.sqrt(12)
    slope_sd = max(noise, shown) * math.sqrt(thin / fitted.spread_s2)
    # The display's own scatter is known from its step, however few readings count as independent.
    dof = math.inf if shaped or noise <= shown else fitted.dof
    parts = [Component("droop: scatter of the readings", per_slope * slope_sd, "%", dof=dof)]
    parts += _droop_display(record, current, first, value, shaped=shaped)
    if shaped:
        parts += _ends_of_plateau(record, phases, time, current, value)
    parts += _droop_gaps(record, time, current)
    wander = METER_DRIFT * 100 * record.ammeter.half_width(first) / first
    parts.append(Component("droop: the ammeter’s own drift over the charge", wander, "%", "rectangular"))
    return Measured(value, "%", tuple(part for part in parts if part.contribution > 0))


def _droop_display(
    record: ChargeRecord, current: FloatArray, first: float, value: float, *, shaped: bool
) -> list[Component]:
    parts = []
    counts = record.ammeter.half_width(0.0)
    if counts > 0:
        # The percent of the statement drops out of a relative change; its counts do not.
        label = record.ammeter.label
        name = f"{label}: accuracy (counts)"
        parts.append(Component(name, counts, "A", "rectangular", -value / first, shared=label))
    if shaped or np.ptp(current) < 2 * record.ammeter.resolution:
        # A display that stands still says only that the ends lie within one step of each other.
        left = shaken_left(current, record.ammeter.resolution)
        step = Component("droop: display step", left, "A", "rectangular")
        parts += [step.scaled(100 / first), step.scaled(-100 / first)]
    return parts


def _ends_of_plateau(
    record: ChargeRecord, phases: Phases, time: FloatArray, current: FloatArray, value: float
) -> list[Component]:
    """Return what the plateau's ends, not known exactly, do to the droop of a current that steps."""
    parts = []
    soon_s, late_s = 2 * record.interval_s, 2 * phases.knee.expanded if phases.knee else 0.0
    for name, kept in (
        ("begin", time >= time[0] + soon_s),
        ("end", time <= time[-1] - max(soon_s, late_s)),
    ):
        shift = abs(value) / 2
        if kept.sum() >= _LEAST_ROWS:
            away = time[kept] - time[kept][0]
            also = _sums(away, current[kept], weights(time[kept]))
            shift = abs(_droop_of(also, float(away[-1])) - value)
        parts.append(Component(f"droop: {name} of the plateau", shift, "%", "rectangular"))
    return parts


def _droop_gaps(record: ChargeRecord, time: FloatArray, current: FloatArray) -> list[Component]:
    """Return what gaps hide of the line: their rows at either end's level instead of on a line across."""
    gaps = [gap for gap in record.gaps if time[0] < gap.start_s < time[-1]]
    if not gaps:
        return []
    stands, length = weights(time), float(np.ptp(time))
    all_of = _sums(time - time[0], current, stands)
    shift = 0.0
    for gap in gaps:
        row = int(np.searchsorted(time, gap.start_s))
        near = slice(max(0, row - LOCAL_STEPS), row + LOCAL_STEPS)
        rest = all_of - _sums(time[near] - time[0], current[near], stands[near])
        filled = [rest + one for one in _filled(gap, record.interval_s, time, current, near, time[0])]
        shift += abs(_droop_of(filled[0], length) - _droop_of(filled[1], length)) / 2
    return [Component("droop: what gaps in the log hide", shift, "%", "rectangular")] if shift else []


def _filled(
    gap: Gap, interval_s: float, time: FloatArray, current: FloatArray, near: slice, origin_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return what the rows about a gap add to a line: those missing at its first level, and at its last."""
    missing = np.arange(gap.start_s, gap.end_s, max(interval_s, gap.length_s / 200))
    # A reading's own weight hangs on its neighbours alone: a few more of them than are kept.
    wide = slice(max(0, near.start - LOCAL_STEPS), near.stop + LOCAL_STEPS)
    joined = np.concatenate([time[wide], missing])
    order = np.argsort(joined, kind="stable")
    joined = joined[order]
    kept = (joined >= time[near][0]) & (joined <= time[near][-1])
    stands = weights(joined)[kept]
    first, last = (
        _sums(joined[kept] - origin_s, values[order][kept], stands)
        for level in np.interp([gap.start_s, gap.end_s], time, current)
        for values in [np.concatenate([current[wide], np.full(len(missing), level)])]
    )
    return first, last


def _sums(away: FloatArray, values: FloatArray, weight: FloatArray) -> FloatArray:
    """Return what a weighted least-squares line is made of: sums of 1, t, t², y and t·y."""
    powers = np.array([np.ones(len(away)), away, away**2, values, away * values])
    return np.asarray(powers @ weight)


def _droop_of(sums: FloatArray, length: float) -> float:
    """Return a line's change over a length [%], of its value at the moment that times are counted from."""
    total, t, tt, y, ty = sums
    slope = (ty - t * y / total) / (tt - t * t / total)
    return float(100 * length * slope * total / (y - slope * t))


def _stands(record: ChargeRecord, phases: Phases, time: FloatArray) -> FloatArray:
    """Return how long each of some rows stands [s]: across a gap of the log, never across a pause."""
    if phases.pulsed:
        return np.ones(len(time))
    return standing(np.diff(record.time_s))[np.searchsorted(record.time_s, time)]


def termination(record: ChargeRecord, phases: Phases) -> Measured | None:
    """Return the current just before it is cut off [A], extrapolated to the cut-off; None within a gap."""
    if not phases.terminated or phases.end_in_gap:
        return None
    block = phases.main[-1]
    last = ending.whole_rows(record, block)
    window = np.flatnonzero(record.time_s >= record.time_s[last] - TERMINATION_S)
    first = max(block.first, min(int(window[0]), last - TERMINATION_ROWS + 1))
    rows = np.arange(first, last + 1)
    rows = rows[phases.profile.on[rows] | ~phases.profile.pulsing[rows]]
    time, current = record.time_s[rows], record.current[rows]
    if len(time) < TERMINATION_ROWS:
        return None
    end = carried_on(time, current, phases.end.value, record.ammeter.resolution / math.sqrt(12))
    half_s = phases.end.expanded
    parts = (
        record.ammeter.component(end.value),
        Component(
            "termination current: scatter about the last half minute’s line", end.standard, "A", dof=end.dof
        ),
        Component("termination current: moment of the cut-off", half_s, "s", "rectangular", abs(end.slope)),
    )
    return Measured(end.value, "A", tuple(part for part in parts if part.contribution > 0))


def termination_bounds(record: ChargeRecord, phases: Phases) -> tuple[float, float] | None:
    """Return between which currents a cut-off that lies in a gap happened [A]; None where there is none.

    A taper falls ever slower: a straight line through the last rows, carried on, lies below it.
    """
    if not phases.terminated or not phases.end_in_gap:
        return None
    block = phases.main[-1]
    first = max(block.first, int(np.searchsorted(record.time_s, block.last_s - 120.0)))
    time, current = record.time_s[first : block.last + 1], record.current[first : block.last + 1]
    if len(time) < 3:
        return None
    fitted = line(time, current)
    doubt = record.ammeter.half_width(fitted.middle) + 2 * record.noise_A
    high = fitted.at(block.last_s) + doubt
    return max(0.0, fitted.at(block.after_s) - doubt), high


@dataclass(frozen=True)
class End:
    """Readings carried on to a moment just after them.

    Parameters
    ----------
    value, standard : float
        Value there, and its standard uncertainty from the readings' scatter.
    slope : float
        Per second, there.
    """

    value: float
    standard: float
    slope: float
    dof: float


def carried_on(time_s: FloatArray, values: FloatArray, moment_s: float, floor: float) -> End:
    """Return readings carried on to a moment: by a straight line, or a parabola where they clearly bend.

    Parameters
    ----------
    floor : float
        The scatter of one reading is taken to be at least this.
    """
    straight = line(time_s, values)
    plain = End(straight.at(moment_s), straight.standard_at(moment_s, floor), straight.slope, straight.dof)
    rows = len(values)
    if rows < 2 * _BENT:
        return plain
    away, ahead = time_s - straight.centre_s, moment_s - straight.centre_s
    design = np.vander(away, _BENT, increasing=True)
    inverse = np.linalg.inv(design.T @ design)
    fitted = inverse @ design.T @ values
    left = values - design @ fitted
    scatter_of_one = max(floor, math.sqrt(float(left @ left) / (rows - _BENT)))
    if abs(fitted[2]) < _CLEAR * scatter_of_one * math.sqrt(inverse[2, 2]):
        return plain
    there = np.array([1.0, ahead, ahead**2])
    standard = scatter_of_one * math.sqrt(float(there @ inverse @ there))
    return End(float(there @ fitted), standard, float(fitted[1] + 2 * fitted[2] * ahead), rows - _BENT)


@dataclass(frozen=True)
class State:
    """One level of the current after the charge has ended.

    Parameters
    ----------
    start_s, end_s : float [s]
        On the record's clock.
    cable_in : bool or None
        None where nobody says when the cable was pulled.
    """

    level: Measured
    start_s: float
    end_s: float
    cable_in: bool | None


def states_after(record: ChargeRecord, phases: Phases) -> tuple[State, ...]:
    """Return the current’s levels between the end of the charge and a top-up, each a state of its own."""
    if not phases.terminated:
        return ()
    begin = phases.main[-1].after_s
    last = min([float(record.time_s[-1]), *(one.before_s for one in phases.top_ups)])
    out = record.cable_out_s
    margin = max(ending.BY_HAND_S, 2 * record.interval_s)
    if out is None:
        cuts: list[tuple[float, float, bool | None]] = [(begin, last, None)]
    else:
        cuts = [(begin, min(last, out - margin), True), (max(begin, out + margin), last, False)]
    found = []
    for first, end, cable_in in cuts:
        for one in _levels(record, first, end):
            found.append(State(one[0], one[1], one[2], cable_in))
    return tuple(found)


def _levels(record: ChargeRecord, first_s: float, last_s: float) -> list[tuple[Measured, float, float]]:
    """Return the levels in a stretch of rows: one, or two where the readings clearly change once."""
    first_s = first_s + _SETTLE_S if last_s - first_s > 3 * _SETTLE_S else first_s
    inside = (record.time_s >= first_s) & (record.time_s <= last_s)
    time, current = record.time_s[inside], record.current[inside]
    if len(time) < 3:
        return []
    cut = _change(current, record.noise_A)
    pieces = [slice(0, cut), slice(cut, None)] if cut else [slice(None)]
    return [
        (_state(record, time[one], current[one]), float(time[one][0]), float(time[one][-1]))
        for one in pieces
        if len(time[one]) >= 3
    ]


def _change(current: FloatArray, noise: float) -> int:
    """Return the row at which the current's level changes once, 0 where it doesn't."""
    if len(current) < 2 * _LEAST_ROWS:
        return 0
    grown = np.cumsum(current)
    size = np.arange(1, len(current) + 1)
    before = grown[:-1] / size[:-1]
    after = (grown[-1] - grown[:-1]) / (len(current) - size[:-1])
    gain = (before - after) ** 2 * size[:-1] * (len(current) - size[:-1]) / len(current) / noise**2
    inner = gain[_LEAST_ROWS - 1 : -_LEAST_ROWS + 1]
    best = int(np.argmax(inner)) + _LEAST_ROWS
    # Thirty: a change by chance anywhere in thousands of rows is rarer than one in a thousand.
    return best if inner.max() > 30.0 else 0


def _state(record: ChargeRecord, time: FloatArray, current: FloatArray) -> Measured:
    value = weighted_median(current, weights(time), record.ammeter.resolution)
    noise = scatter("current afterwards", time, current, record.ammeter, median=value)
    return Measured(value, "A", (record.ammeter.component(value), *noise))


def after(record: ChargeRecord, phases: Phases) -> Measured | None:
    """Return the current after the end with the cable in [A]: the first level that the log shows there."""
    states = states_after(record, phases)
    if not states or states[0].cable_in is False:
        return None
    first = states[0]
    if first.cable_in is None and first.end_s - first.start_s > AFTER_S:
        found = _levels(record, phases.main[-1].after_s, first.start_s + AFTER_S)
        return found[0][0] if found else None
    return first.level


def _inside(record: ChargeRecord, phases: Phases, phase: PhaseName) -> tuple[FloatArray, FloatArray]:
    """Return times and currents of a phase: on-times only, without rows that may average over a step."""
    inside = phases.mask(record.time_s, phase)
    if phase in ("constant current", "precharge"):
        inside &= (record.current > phases.threshold_A / 2) & phases.profile.on_at(record.time_s)
        inside &= record.time_s < phases.end_s
    if phase == "constant current" and phases.knee:
        # The current may have begun to fall anywhere within the knee's own doubt.
        inside &= record.time_s < phases.knee.low
    rows = np.flatnonzero(inside)
    rows = rows[1:-1] if len(rows) > 4 else rows
    return record.time_s[rows], record.current[rows]
