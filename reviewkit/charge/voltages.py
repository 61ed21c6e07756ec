"""Voltages at the cell: at the start, at the knee, held, at the peak, settled."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from reviewkit.charge import ending
from reviewkit.charge.record import ChargeRecord, FloatArray
from reviewkit.charge.regimes import Phases
from reviewkit.charge.statistics import (
    across_gaps,
    averaged,
    line,
    of_some_size,
    scatter,
    weighted_median,
    weights,
)
from reviewkit.metrology import Component, Measured

_BEFORE_S = 60.0
_KNEE_S = 10.0
_PEAK_ROWS = 5
_SETTLED_S = 30.0
_LEAST_SHARE = 0.25
"""A relaxation is extrapolated only if at least this share of it was logged."""

_MOST_ROWS = 500
"""Rows fitted to a relaxation; more of them are averaged."""

_LAGS_S = (20.0, 60.0, 200.0, 600.0, 2000.0, 6000.0)


def start(record: ChargeRecord, phases: Phases | None) -> Measured:
    """Return the cell's voltage before the charge, else the first one of the log [V]."""
    time, volts = _voltage_rows(record)
    until = phases.start.value if phases else float(time[-1])
    if record.clock_is_declared and record.clock_offset:
        # The start is the current log's: the voltage may have risen so much sooner.
        until -= record.clock_offset.expanded
    inside = (time < until - record.voltage_interval_s / 2) & (time > until - _BEFORE_S)
    if phases is None or not inside.any():
        inside = np.arange(len(time)) < 1
    return _median(record, time[inside], volts[inside], "start voltage")


def at_knee(record: ChargeRecord, phases: Phases) -> Measured | None:
    """Return the cell's voltage at the knee [V]."""
    if phases.knee is None:
        return None
    time, volts = _voltage_rows(record)
    moment = phases.knee.value
    reach = max(_KNEE_S, 3 * record.voltage_interval_s)
    inside = (np.abs(time - moment) <= reach) & (time >= phases.first_sample_s)
    before = (time <= moment + record.voltage_interval_s) & (time > moment - 10 * reach)
    found = (
        _median(record, time[inside], volts[inside], "knee voltage")
        if inside.sum() >= 2
        else _between_rows(record, phases, moment)
    )
    if found is None:
        return None
    slope = abs(line(time[before], volts[before]).slope) if before.sum() > 2 else 0.0
    timing = tuple(
        part.scaled(slope) for part in (*phases.knee.components, *record.clock_components()) if slope
    )
    return found.plus(*timing)


def _between_rows(record: ChargeRecord, phases: Phases, moment: float) -> Measured | None:
    """Return the cell's voltage between two readings far apart [V]: it rises from one to the other."""
    time, volts = _voltage_rows(record)
    right = int(np.searchsorted(time, moment))
    if not 0 < right < len(time) or time[right - 1] < phases.first_sample_s or time[right] > phases.end_s:
        return None
    low, high = sorted(volts[right - 1 : right + 1].tolist())
    value = (low + high) / 2
    part = Component("knee voltage: between two readings", (high - low) / 2, "V", "rectangular")
    return Measured(value, "V", (record.voltmeter.component(value), *((part,) if high > low else ())))


def hold(record: ChargeRecord, phases: Phases) -> Measured | None:
    """Return the time-weighted median over the last half of the constant-voltage phase [V].

    In pulses that of the on-times.
    """
    if phases.knee is None or not phases.named("constant voltage"):
        return None
    value = _held(record, phases, 0.0)
    if value is None:
        return None
    median, hidden, time, volts = value
    parts = [
        record.voltmeter.component(median),
        *scatter("hold voltage", time, volts, record.voltmeter, median=median),
    ]
    parts += (
        [Component("hold voltage: what gaps in the log hide", hidden, "V", "rectangular")] if hidden else []
    )
    parts += _moved_hold(record, phases, median)
    return Measured(median, "V", tuple(parts))


def _held(
    record: ChargeRecord, phases: Phases, moved_s: float, *, knee_s: float | None = None
) -> tuple[float, float, FloatArray, FloatArray] | None:
    """Return the median, what gaps hide of it, and the readings, with the current's clock moved."""
    assert phases.knee is not None
    time, volts = _voltage_rows(record)
    block = phases.main[-1]
    knee_s = phases.knee.value if knee_s is None else knee_s
    middle = (knee_s + phases.end_s) / 2
    inside = phases.mask(time - moved_s, "constant voltage") & (time - moved_s >= middle)
    last = max(block.last_s, phases.end_s) if phases.ending in ("never", "faded") else block.last_s
    last -= record.interval_s if ending.whole_rows(record, block) < block.last else 0.0
    inside &= time - moved_s <= last - record.voltage_interval_s
    if phases.pulsed:
        inside &= _on_times(record, phases, time - moved_s)
    if inside.sum() < 3:
        return None
    gaps = record.voltage_gaps
    value, hidden = across_gaps(
        time[inside], volts[inside], gaps, record.voltage_interval_s, record.voltmeter.resolution
    )
    return value, hidden, time[inside], volts[inside]


def _on_times(record: ChargeRecord, phases: Phases, time: FloatArray) -> np.ndarray:
    """Return which moments lie between two rows within an on-time, or outside all pulses."""
    right = np.clip(np.searchsorted(phases.profile.time_s, time), 1, len(phases.profile.time_s) - 1)
    on, pulsing = phases.profile.on, phases.profile.pulsing
    return np.asarray((on[right] & on[right - 1]) | ~(pulsing[right] | pulsing[right - 1]))


def _moved_hold(record: ChargeRecord, phases: Phases, value: float) -> list[Component]:
    """Return what the doubt about the clocks and about the knee does to the hold voltage."""
    assert phases.knee is not None
    parts = []
    clock = record.clock_offset.expanded if record.clock_offset else 0.0
    moved = [_held(record, phases, sign * clock) for sign in (-1.0, 1.0)] if clock else []
    shift = max((abs(one[0] - value) for one in moved if one), default=0.0)
    if shift:
        parts.append(Component("hold voltage: clocks of the two logs", shift, "V", "rectangular"))
    knees = [phases.knee.low, phases.knee.high, *(early for early, _ in phases.other_knees)]
    other = [_held(record, phases, 0.0, knee_s=one) for one in knees]
    shift = max((abs(one[0] - value) for one in other if one), default=0.0)
    if shift:
        parts.append(Component("hold voltage: moment of the knee", shift, "V", "rectangular"))
    return parts


def peak(record: ChargeRecord, phases: Phases) -> Measured:
    """Return the highest voltage at the cell while connected [V]; lone readings do not count."""
    time, volts = _voltage_rows(record)
    last = record.cable_out_s if record.cable_out_s is not None else float(time[-1])
    inside = (time >= phases.first_sample_s) & (time <= last)
    shown = volts[inside] if inside.any() else volts
    steady = pd.Series(shown).rolling(_PEAK_ROWS, center=True, min_periods=1).median().to_numpy()
    value = float(steady.max())
    noise = Component("peak voltage: noise of a reading", record.noise_V, "V")
    hidden = _peak_hidden(record, phases, value, last)
    parts = (
        (Component("peak voltage: what gaps in the log hide", hidden, "V", "rectangular"),) if hidden else ()
    )
    return Measured(value, "V", (record.voltmeter.component(value), noise, *parts))


def _peak_hidden(record: ChargeRecord, phases: Phases, value: float, last_s: float) -> float:
    """Return by how much the voltage may have gone on rising within a gap of its log [V]."""
    time, volts = _voltage_rows(record)
    hidden = 0.0
    for gap in record.voltage_gaps:
        before = (time <= gap.start_s) & (time > gap.start_s - max(_BEFORE_S, 8 * record.voltage_interval_s))
        if (
            gap.start_s < phases.first_sample_s - 1
            or gap.start_s > min(phases.end_s, last_s)
            or before.sum() < 4
        ):
            continue
        fitted = line(time[before], volts[before])
        until = min(gap.end_s, phases.end_s, last_s)
        highest = max(fitted.slope, 0.0) * (until - gap.start_s) + fitted.at(gap.start_s)
        held = phases.set_V if phases.set_V is not None else math.inf
        hidden = max(hidden, min(highest, held) - value)
    return hidden


def settle_from(record: ChargeRecord, phases: Phases) -> float:
    """Return when the cell was left alone [s]: cable pulled as declared, else end of the last charging."""
    last = phases.top_ups[-1] if phases.top_ups else phases.main[-1]
    return last.last_s if record.cable_out_s is None else max(record.cable_out_s, last.last_s)


def settled(record: ChargeRecord, phases: Phases, minutes: float) -> tuple[Measured | None, bool]:
    """Return the cell's voltage some minutes after it was left alone [V], and whether it was extrapolated.

    Returns
    -------
    tuple of (Measured or None, bool)
        None if the log ends while charging or much too early.
    """
    origin = settle_from(record, phases)
    # Whoever stopped a current that vanishes: from then on the cell is left alone.
    still_on = phases.ending in ("never", "faded") and record.cable_out_s is None
    open_end = still_on or phases.ending == "log ended"
    time, volts = _voltage_rows(record)
    moment = origin + 60 * minutes
    logged = float(time[-1]) - origin
    if open_end or logged < _LEAST_SHARE * 60 * minutes:
        return None, False
    if logged >= 60 * minutes:
        reach = max(_SETTLED_S, 2 * record.voltage_interval_s)
        inside = np.abs(time - moment) <= reach
        if inside.sum() >= 2:
            return _median(record, time[inside], volts[inside], f"settled voltage, {minutes:g} min"), False
    after = time > origin + max(2 * record.voltage_interval_s, 5.0)
    if after.sum() < 10:
        return None, False
    return _extrapolated(record, time[after] - origin, volts[after], 60 * minutes), True


def _extrapolated(record: ChargeRecord, time: FloatArray, volts: FloatArray, moment: float) -> Measured:
    """Return a relaxation's voltage at a moment after its log has ended."""
    time, volts = averaged(time, volts, _MOST_ROWS)
    slow = [lag for lag in _LAGS_S if lag < 3 * time[-1]]
    guesses = [
        _relaxed(time, volts, lags, moment) for lags in (slow, slow[:-1], [*slow, 3 * time[-1]]) if lags
    ]
    value = float(np.mean(guesses))
    left = abs(value - float(volts[-max(1, len(volts) // 20) :].mean()))
    doubt = max(float(np.ptp(guesses)), 0.5 * left)
    parts = (
        record.voltmeter.component(value),
        Component("settled voltage: relaxation still to come, fitted", doubt, "V", "rectangular"),
    )
    return Measured(value, "V", of_some_size(parts))


def _relaxed(time: FloatArray, volts: FloatArray, lags: list[float], moment: float) -> float:
    """Return the value at `moment` of a sum of decaying exponentials fitted to a relaxation."""
    from scipy import optimize

    library: Any = optimize

    design = np.column_stack([np.exp(-time / lag) for lag in lags] + [np.ones_like(time)])
    weightings, _ = library.nnls(design, volts)
    later = np.array([math.exp(-moment / lag) for lag in lags] + [1.0])
    return float(later @ weightings)


def _voltage_rows(record: ChargeRecord) -> tuple[FloatArray, FloatArray]:
    series = record.voltage_V
    return series.index.to_numpy(dtype=float), series.to_numpy(dtype=float)


def _median(record: ChargeRecord, time: FloatArray, volts: FloatArray, name: str) -> Measured:
    value = weighted_median(volts, weights(time), record.voltmeter.resolution)
    extra = scatter(name, time, volts, record.voltmeter, median=value) if len(time) >= 3 else ()
    return Measured(value, "V", (record.voltmeter.component(value), *extra))
