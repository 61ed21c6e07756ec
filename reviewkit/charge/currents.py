"""Currents of a charge: precharge, plateau and its droop, termination, afterwards."""

from __future__ import annotations

import math

import numpy as np

from reviewkit.charge.last_rows import carried_on
from reviewkit.charge.phases import PhaseName, Phases
from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.series import FloatArray
from reviewkit.charge.statistics import line, scatter, weighted_median, weights
from reviewkit.metrology import Component, Measured, shaken_left

TERMINATION_S = 30.0
TERMINATION_ROWS = 5
"""The current before the cut-off is read from this much of the log, whichever is longer."""

_SETTLE_S = 30.0
_LEAST_ROWS = 5


def level(record: ChargeRecord, phases: Phases, phase: PhaseName, name: str) -> Measured | None:
    """Return the time-weighted median of the current in a phase [A], or None without that phase.

    Parameters
    ----------
    record : ChargeRecord
    phases : Phases
    phase : str
    name : str
        Of the finding, for the budget.
    """
    time, current = _inside(record, phases, phase)
    if len(time) < 3:
        return None
    value = weighted_median(current, weights(time, 3 * record.interval_s), record.ammeter.resolution)
    parts = (record.ammeter.component(value), *scatter(name, time, current, record.ammeter, median=value))
    return Measured(value, "A", parts)


def droop(record: ChargeRecord, phases: Phases) -> Measured | None:
    """Return by how much a straight line over the constant-current phase changes [%]; negative: it falls."""
    time, current = _inside(record, phases, "constant current")
    if len(time) < _LEAST_ROWS:
        return None
    fitted = line(time, current, _stands(record, time))
    length = float(time[-1] - time[0])
    start = fitted.at(float(time[0]))
    if length <= 0 or start <= 0:
        return None
    per_slope = 100 * length / start
    # What a line leaves of a current that steps or bends is no noise: the readings' own scatter is.
    shaped = fitted.residual > 3 * record.noise_A
    noise, thin = (record.noise_A, 1.0) if shaped else (fitted.residual, fitted.thin)
    slope_doubt = max(noise, record.ammeter.resolution / math.sqrt(12)) * math.sqrt(thin / fitted.spread_s2)
    dof = math.inf if shaped else fitted.dof
    parts = [Component("droop: scatter of the readings", per_slope * slope_doubt, "%", dof=dof)]
    value = per_slope * fitted.slope
    counts = record.ammeter.half_width(0.0)
    if counts > 0:
        # The percent of the statement drops out of a relative change; its counts do not.
        label = record.ammeter.label
        name = f"{label}: accuracy (counts)"
        parts.append(Component(name, counts, "A", "rectangular", -value / start, shared=label))
    if shaped or np.ptp(current) < 2 * record.ammeter.resolution:
        # A display that stands still says only that the ends lie within one step of each other.
        left = shaken_left(current, record.ammeter.resolution)
        step = Component("droop: display step", left, "A", "rectangular")
        parts += [step.scaled(100 / start), step.scaled(-100 / start)]
    if shaped:
        parts += _ends_of_plateau(record, phases, time, current, value)
    return Measured(value, "%", tuple(part for part in parts if part.contribution > 0))


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
            other = line(time[kept], current[kept], _stands(record, time[kept]))
            length, start = float(np.ptp(time[kept])), other.at(float(time[kept][0]))
            shift = abs(100 * length * other.slope / start - value)
        parts.append(Component(f"droop: {name} of the plateau", shift, "%", "rectangular"))
    return parts


def _stands(record: ChargeRecord, time: FloatArray) -> FloatArray:
    """Return how long each of some rows stands [s]: across a gap of the log, never across a pause."""
    longest = weights(record.time_s, math.inf)
    return np.asarray(longest[np.searchsorted(record.time_s, time)], dtype=np.float64)


def termination(record: ChargeRecord, phases: Phases) -> Measured | None:
    """Return the current just before it is cut off [A], extrapolated to the cut-off."""
    segment = phases.main.charging[-1]
    last = segment.last
    window = (record.time_s <= segment.last_s) & (record.time_s >= segment.last_s - TERMINATION_S)
    first = max(segment.first, min(int(np.flatnonzero(window)[0]), last - TERMINATION_ROWS + 1))
    time, current = record.time_s[first : last + 1], record.current[first : last + 1]
    if len(time) < TERMINATION_ROWS or not phases.terminated:
        return None
    time, current = _without_edge(time, current, record.noise_A)
    end = carried_on(time, current, phases.end.value, record.ammeter.resolution / math.sqrt(12))
    half_s = (segment.after_s - segment.last_s) / 2
    parts = (
        record.ammeter.component(end.value),
        Component(
            "termination current: scatter about the last half minute’s line", end.standard, "A", dof=end.dof
        ),
        Component("termination current: moment of the cut-off", half_s, "s", "rectangular", abs(end.slope)),
    )
    return Measured(end.value, "A", tuple(part for part in parts if part.contribution > 0))


def _without_edge(time: FloatArray, current: FloatArray, noise_A: float) -> tuple[FloatArray, FloatArray]:
    """Leave out a last row that averages over the cut-off: it lies far under the line of those before."""
    if len(time) < TERMINATION_ROWS:
        return time, current
    fitted = line(time[:-1], current[:-1])
    expected = fitted.at(float(time[-1]))
    short = expected - current[-1] > max(6 * fitted.standard_at(float(time[-1]), noise_A), 0.1 * expected)
    return (time[:-1], current[:-1]) if short else (time, current)


def after(record: ChargeRecord, phases: Phases) -> Measured | None:
    """Return the current between the cut-off and the cable's being pulled (or a top-up) [A]."""
    if not phases.terminated:
        return None
    end = min(
        [float(record.time_s[-1])]
        + [phase.start_s for phase in phases.named("top-up")]
        + ([record.cable_out_s] if record.cable_out_s is not None else [])
    )
    begin = phases.main.charging[-1].after_s
    begin = begin + _SETTLE_S if end - begin > 3 * _SETTLE_S else begin
    inside = (record.time_s >= begin) & (record.time_s < end)
    time, current = record.time_s[inside], record.current[inside]
    if len(time) < 3:
        return None
    value = weighted_median(current, weights(time, 3 * record.interval_s), record.ammeter.resolution)
    noise = scatter("current afterwards", time, current, record.ammeter, median=value)
    parts = (record.ammeter.component(value), *noise)
    return Measured(value, "A", parts)


def _inside(record: ChargeRecord, phases: Phases, phase: PhaseName) -> tuple[FloatArray, FloatArray]:
    """Return times and currents of a phase, its edge rows left out: they may average over a step."""
    inside = phases.mask(record.time_s, phase)
    if phase in ("constant current", "precharge"):
        inside &= record.current > phases.threshold_A / 2
    if phase == "constant current" and phases.knee:
        # The current may have begun to fall anywhere within the knee's own doubt.
        inside &= record.time_s < phases.knee.low
    rows = np.flatnonzero(inside)
    rows = rows[1:-1] if len(rows) > 4 else rows
    return record.time_s[rows], record.current[rows]
