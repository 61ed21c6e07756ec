"""One charge, told apart: what the charger did, what the bench did, and what another cell would see."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from reviewkit.charge import burden_free, series_resistance
from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.burden_free import Charge, OtherCell, RigEffect
from reviewkit.charge.cell_model import Limits
from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.regimes import Phases
from reviewkit.charge.segmentation import HELD
from reviewkit.charge.series import FloatArray
from reviewkit.charge.series_resistance import Regulation
from reviewkit.metrology import Component, Measured, difference

DECLARED_SHARE = 0.2
"""Half-width of a declared burden or lead resistance, as a share of it; common practice, no source."""

WORST_FIT_V = 0.008
"""A cell model that misses the log by more than this, beyond the display's step, predicts nothing."""

FALLEN_TO = 0.35
"""A charge that stops above this share of its plateau was not ended by its current: chosen."""

PULSED_SHARE = 0.5
"""With more than this share of the phase pulsing, the pulses' on-times are regressed: chosen."""

_RELAXED_S = 3600.0
_NEAR_KNEE_S = 600.0
_CLEAR_OF_PLATEAU = 0.97


@dataclass(frozen=True)
class Separation:
    """What is the charger's and what is the bench's in one charge.

    Parameters
    ----------
    regulation : Regulation or None
    readings : tuple of (array, array)
        Current [A] and voltage [V] of the readings behind it.
    device_ohm : Measured or None [ohm]
        Series resistance less the declared rig.
    rig_ohm : float [ohm]
        Declared burden and leads; 0 if not declared.
    effect : RigEffect or None
        The charge predicted without the rig.
    others : tuple of OtherCell
    reasons : dict of str to str
        Why something could not be had: keys "regulation", "device", "effect", "others".
    """

    regulation: Regulation | None
    readings: tuple[FloatArray, FloatArray]
    device_ohm: Measured | None
    rig_ohm: float
    effect: RigEffect | None
    others: tuple[OtherCell, ...]
    reasons: dict[str, str]


def separate(run: ChargeResult, *, capacities_Ah: Sequence[float] = ()) -> Separation:
    """Return what is the charger's and what is the bench's in a charge.

    Parameters
    ----------
    run : ChargeResult
    capacities_Ah : sequence of float [A.h]
        Cells to predict the charge for.
    """
    current, voltage = _taper(run)
    meters = {"voltmeter": run.record.voltmeter, "ammeter": run.record.ammeter}
    regulation = series_resistance.regress(voltage, current, **meters) if len(current) else None
    regulation = _timed(run, regulation)
    declared = run.record.ammeter.series_ohm
    reasons: dict[str, str] = {}
    if regulation is None:
        reasons["regulation"] = (
            "The constant-voltage phase is too short, or its current changes too little, to show a slope."
            if run.phases and run.phases.knee
            else "The charge shows no constant-voltage phase."
        )
    effect, charge = _effect(run, regulation, declared, reasons)
    return Separation(
        regulation=regulation,
        readings=(current, voltage),
        device_ohm=_device(regulation, run.record, reasons),
        rig_ohm=declared,
        effect=effect,
        others=_others(run, effect, charge, declared, capacities_Ah, reasons),
        reasons=reasons,
    )


def _taper(run: ChargeResult, moved_s: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Return current and voltage at the voltage readings of the constant-voltage phase.

    The current is interpolated, never across its gaps; a margin keeps the clocks' doubt away from both ends.
    Pulses are taken bin by bin, by their on-times: two clocks don't pair single pulses. `moved_s` moves the
    current log's clock, to see what its doubt does.
    """
    record, phases = run.record, run.phases
    nothing = np.array([])
    if phases is None or phases.knee is None or phases.unfit:
        return nothing, nothing
    held = phases.account.kinds(len(phases.bins)) == HELD
    if (phases.bins.pulsing & held).mean() > PULSED_SHARE * held.mean():
        return _pulsed_taper(phases, held)
    margin = max(record.interval_s, record.voltage_interval_s) + _clock(record)
    time = record.voltage_time_s
    inside = phases.mask(time, "constant voltage")
    inside &= (time > phases.knee.value + margin) & (time < phases.end_s - margin)
    for gap in record.gaps:
        inside &= (time < gap.start_s) | (time > gap.end_s)
    for pause in [(one.start_s, one.end_s) for one in phases.named("interrupted")] + list(
        phases.profile.pauses_s
    ):
        inside &= (time < pause[0] - margin) | (time > pause[1] + margin)
    current = np.interp(time[inside] - moved_s, record.time_s, record.current)
    voltage = record.voltage_shown[inside]
    below = (current < _CLEAR_OF_PLATEAU * phases.plateau_A) & (current > phases.threshold_A / 2)
    return current[below], voltage[below]


def _pulsed_taper(phases: Phases, held: np.ndarray) -> tuple[FloatArray, FloatArray]:
    inside = (
        held
        & np.isfinite(phases.bins.voltage_V)
        & (phases.bins.current_A < _CLEAR_OF_PLATEAU * phases.plateau_A)
    )
    return phases.bins.current_A[inside], phases.bins.voltage_V[inside]


def _clock(record: ChargeRecord) -> float:
    return record.clock_offset.expanded if record.clock_offset else 0.0


def _timed(run: ChargeResult, regulation: Regulation | None) -> Regulation | None:
    """Return the regulation point with what the doubt about the two logs' times does to it.

    A row may be a mean over its interval, stamped at its begin or its end: half an interval either way.
    """
    if regulation is None:
        return None
    record = run.record
    parts = [
        ("clocks of the two logs", _clock(record)),
        ("rows that may average over their interval", (record.interval_s + record.voltage_interval_s) / 2),
    ]
    ohm, volts = regulation.series_resistance, regulation.set_voltage
    for name, late_s in parts:
        lines = [_plain_line(*_taper(run, sign * late_s)) for sign in (-0.5, 0.5)] if late_s else []
        if len(lines) == 2 and all(np.isfinite(lines[0] + lines[1])):
            shift = abs(lines[1][0] - lines[0][0]), abs(lines[1][1] - lines[0][1])
            ohm = ohm.plus(Component(name, shift[0], "ohm", "rectangular"))
            volts = volts.plus(Component(name, shift[1], "V", "rectangular"))
    return replace(regulation, series_resistance=ohm, set_voltage=volts)


def _plain_line(current: FloatArray, voltage: FloatArray) -> tuple[float, float]:
    if len(current) < 3 or np.ptp(current) <= 0:
        return float("nan"), float("nan")
    slope, start = np.polyfit(current, voltage, 1)
    return float(-slope), float(start)


def _device(regulation: Regulation | None, record: ChargeRecord, reasons: dict[str, str]) -> Measured | None:
    declared = record.ammeter.series_ohm
    if regulation is None:
        reasons["device"] = reasons["regulation"]
        return None
    if not declared:
        reasons["device"] = (
            "The ammeter’s burden and the leads are not declared: give `burden_ohm` and `leads_ohm`."
        )
        return None
    return difference(regulation.series_resistance, Measured(declared, "ohm", (_burden(record),)))


def _effect(
    run: ChargeResult, regulation: Regulation | None, declared: float, reasons: dict[str, str]
) -> tuple[RigEffect | None, Charge | None]:
    """Return the prediction without the rig, where the log supports one."""
    why = _unfit(run, regulation)
    if why or regulation is None:
        reasons["effect"] = why or reasons["regulation"]
        return None, None
    charge, stop = _charge(run, regulation), run.get("termination_current")
    effect = burden_free.predict(charge, declared, stop_doubt_A=stop.expanded if stop else 0.0)
    effect = _rig_as_declared(effect, charge, run.record)
    if not all(math.isfinite(one.value + one.expanded) for one in (effect.duration_s, effect.knee_s)):
        reasons["effect"] = (
            "No circuit fitted to this cell’s charge runs it to its end, so none says how long."
        )
        return None, None
    left = effect.model.residual_V
    if left > WORST_FIT_V + run.record.voltmeter.resolution:
        reasons["effect"] = (
            f"The cell’s model misses the log by {1000 * left:.0f} mV: it supports no prediction."
        )
        return None, None
    if not declared:
        reasons["effect"] = "The ammeter’s burden and the leads are not declared: nothing to take away."
    return effect, charge


def _rig_as_declared(effect: RigEffect, charge: Charge, record: ChargeRecord) -> RigEffect:
    """Return the prediction with the doubt of the declared burden and leads in both its times."""
    if not record.ammeter.series_ohm:
        return effect
    known, rig = _burden(record), record.ammeter.series_ohm
    changes = (effect.duration_s.value - charge.termination_s, effect.knee_s.value - charge.knee_s)
    duration_s, knee_s = (
        time.plus(known.scaled(change / rig))
        for time, change in zip((effect.duration_s, effect.knee_s), changes, strict=True)
    )
    return replace(effect, duration_s=duration_s, knee_s=knee_s)


def _burden(record: ChargeRecord) -> Component:
    return Component(
        "declared burden and leads",
        DECLARED_SHARE * record.ammeter.series_ohm,
        "ohm",
        "rectangular",
        shared=f"{record.ammeter.label}: burden and leads",
    )


def _unfit(run: ChargeResult, regulation: Regulation | None) -> str:
    phases = run.phases
    if phases is None or phases.knee is None:
        return "The charge shows no constant-voltage phase."
    if not phases.terminated:
        return "The charge was not logged to its end."
    if phases.knee_at_start or not phases.sees_plateau:
        return "The charge never saw its plateau."
    if regulation is None:
        return ""
    if run.get("termination_current") is None:
        return "The current at the cut-off is not known."
    if stop_share(run) > FALLEN_TO:
        return "The current was cut off before it had fallen: another limit ended the charge."
    if phases.named("interrupted"):
        return "The charge was interrupted: its times are not the charger’s alone."
    return ""


def stop_share(run: ChargeResult) -> float:
    """Return the current at the cut-off as a share of the plateau's."""
    stop, level = run.get("termination_current"), run.get("plateau_current")
    return stop.value / level.value if stop and level else 0.0


def _charge(run: ChargeResult, regulation: Regulation) -> Charge:
    record, phases = run.record, run.phases
    assert phases is not None
    assert phases.knee is not None
    time, voltage, current = _with_relaxation(record, phases)
    zero = phases.start.value
    last = (record.time_s > phases.knee.value - _NEAR_KNEE_S) & (record.time_s < phases.knee.value)
    last &= record.time_s > phases.plateau_start_s
    stop = run.get("termination_current")
    assert stop is not None
    level = float(np.median(record.current[last])) if last.any() else phases.plateau_A
    return Charge(
        time - zero,
        voltage,
        current,
        phases.knee.value - zero,
        phases.end_s - zero,
        Limits(
            level,
            regulation.set_voltage.value,
            regulation.series_resistance.value,
            max(stop.value, 1e-3 * level),
        ),
    )


def _with_relaxation(record: ChargeRecord, phases: Phases) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return time, voltage and current up to an hour after the end, before any top-up.

    Where the current log ends with the charge, the voltage log goes on with no current.
    """
    last = phases.end_s + _RELAXED_S
    for again in phases.named("top-up"):
        last = min(last, again.start_s)
    first = phases.first_sample_s - 600.0
    known = np.isfinite(record.voltage) & (record.time_s >= first) & (record.time_s <= last)
    time, voltage, current = record.time_s[known], record.voltage[known], record.current[known]
    later = record.voltage_V.index.to_numpy(dtype=float)
    beyond = (later > max(float(record.time_s[-1]), phases.end_s)) & (later <= last)
    return (
        np.concatenate([time, later[beyond]]),
        np.concatenate([voltage, record.voltage_V.to_numpy(dtype=float)[beyond]]),
        np.concatenate([current, np.zeros(int(beyond.sum()))]),
    )


def _others(
    run: ChargeResult,
    effect: RigEffect | None,
    charge: Charge | None,
    declared: float,
    capacities_Ah: Sequence[float],
    reasons: dict[str, str],
) -> tuple[OtherCell, ...]:
    if effect is None or charge is None:
        reasons["others"] = reasons["effect"]
        return ()
    if not run.cell.rated_capacity_Ah:
        reasons["others"] = "The rated capacity of the cell is not given: `cell: {rated_capacity_Ah: …}`."
        return ()
    return burden_free.other_cells(effect, charge, declared, run.cell.rated_capacity_Ah, capacities_Ah)
