"""Voltages at the cell: at the start, at the knee, held, at the peak, settled."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from reviewkit.charge.phases import Phases
from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.series import FloatArray
from reviewkit.charge.statistics import line, scatter, weighted_median, weights
from reviewkit.metrology import Component, Measured

_BEFORE_S = 60.0
_KNEE_S = 10.0
_PEAK_ROWS = 5
_SETTLED_S = 30.0
_LEAST_SHARE = 0.25
"""A relaxation is extrapolated only if at least this share of it was logged."""

_LAGS_S = (20.0, 60.0, 200.0, 600.0, 2000.0, 6000.0)


def start(record: ChargeRecord, phases: Phases | None) -> Measured:
    """Return the cell's voltage before the charge, else the first one of the log [V]."""
    time, volts = _voltage_rows(record)
    until = phases.start.value if phases else float(time[-1])
    if record.clock_is_told and record.clock_offset:
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
    if inside.sum() < 2:
        return None
    found = _median(record, time[inside], volts[inside], "knee voltage")
    slope = abs(line(time[before], volts[before]).slope) if before.sum() > 2 else 0.0
    timing = tuple(
        part.scaled(slope) for part in (*phases.knee.components, *record.clock_components()) if slope
    )
    return found.plus(*timing)


def hold(record: ChargeRecord, phases: Phases) -> Measured | None:
    """Return the time-weighted median over the last half of the constant-voltage phase [V]."""
    spans = phases.named("constant voltage")
    if phases.knee is None or not spans:
        return None
    time, volts = _voltage_rows(record)
    middle = (phases.knee.value + phases.end_s) / 2
    inside = phases.mask(time, "constant voltage") & (time >= middle)
    inside &= time <= phases.main.charging[-1].last_s - record.voltage_interval_s
    if inside.sum() < 3:
        return None
    return _median(record, time[inside], volts[inside], "hold voltage")


def peak(record: ChargeRecord, phases: Phases) -> Measured:
    """Return the highest voltage at the cell while connected [V]; lone readings do not count."""
    time, volts = _voltage_rows(record)
    last = record.cable_out_s if record.cable_out_s is not None else float(time[-1])
    inside = (time >= phases.first_sample_s) & (time <= last)
    shown = volts[inside] if inside.any() else volts
    steady = pd.Series(shown).rolling(_PEAK_ROWS, center=True, min_periods=1).median().to_numpy()
    value = float(steady.max())
    noise = Component("peak voltage: noise of a reading", record.noise_V, "V")
    return Measured(value, "V", (record.voltmeter.component(value), noise))


def settle_from(record: ChargeRecord, phases: Phases) -> float:
    """Return when the cell was left alone [s]: cable pulled as declared, else end of the last charging."""
    last = phases.main.top_ups[-1] if phases.main.top_ups else phases.main.charging[-1]
    return max(record.cable_out_s or 0.0, last.last_s)


def settled(record: ChargeRecord, phases: Phases, minutes: float) -> tuple[Measured | None, bool]:
    """Return the cell's voltage some minutes after it was left alone [V], and whether it was extrapolated.

    Parameters
    ----------
    record : ChargeRecord
    phases : Phases
    minutes : float [min]

    Returns
    -------
    tuple of (Measured or None, bool)
        None if the log ends while charging or much too early.
    """
    origin = settle_from(record, phases)
    open_end = phases.ending in ("log ended", "never")
    time, volts = _voltage_rows(record)
    moment = origin + 60 * minutes
    logged = float(time[-1]) - origin
    if open_end or logged < _LEAST_SHARE * 60 * minutes:
        return None, False
    if logged >= 60 * minutes:
        reach = min(_SETTLED_S, 0.1 * 60 * minutes)
        reach = max(reach, 2 * record.voltage_interval_s)
        inside = np.abs(time - moment) <= reach
        if inside.sum() >= 2:
            return _median(record, time[inside], volts[inside], f"settled voltage, {minutes:g} min"), False
    after = time > origin + max(2 * record.voltage_interval_s, 5.0)
    if after.sum() < 10:
        return None, False
    return _extrapolated(record, time[after] - origin, volts[after], 60 * minutes), True


def _extrapolated(record: ChargeRecord, time: FloatArray, volts: FloatArray, moment: float) -> Measured:
    """Return a relaxation's voltage at a moment after its log has ended."""
    time, volts = _averaged(time, volts)
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
    return Measured(value, "V", tuple(part for part in parts if part.size > 0))


def _relaxed(time: FloatArray, volts: FloatArray, lags: list[float], moment: float) -> float:
    """Return the value at `moment` of a sum of decaying exponentials fitted to a relaxation."""
    from scipy import optimize

    library: Any = optimize

    design = np.column_stack([np.exp(-time / lag) for lag in lags] + [np.ones_like(time)])
    weightings, _ = library.nnls(design, volts)
    later = np.array([math.exp(-moment / lag) for lag in lags] + [1.0])
    return float(later @ weightings)


def _averaged(time: FloatArray, volts: FloatArray, most: int = 500) -> tuple[FloatArray, FloatArray]:
    group = max(1, len(time) // most)
    kept = len(time) // group * group
    return time[:kept].reshape(-1, group).mean(axis=1), volts[:kept].reshape(-1, group).mean(axis=1)


def _voltage_rows(record: ChargeRecord) -> tuple[FloatArray, FloatArray]:
    series = record.voltage_V
    return series.index.to_numpy(dtype=float), series.to_numpy(dtype=float)


def _median(record: ChargeRecord, time: FloatArray, volts: FloatArray, name: str) -> Measured:
    value = weighted_median(volts, weights(time, 3 * record.voltage_interval_s), record.voltmeter.resolution)
    extra = scatter(name, time, volts, record.voltmeter, median=value) if len(time) >= 3 else ()
    return Measured(value, "V", (record.voltmeter.component(value), *extra))
