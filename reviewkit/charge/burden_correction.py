"""One charge, told apart: what the charger did, what the bench did, and what another cell would see."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from reviewkit.charge import cell_model, series_resistance
from reviewkit.charge.analysis import ChargeResult, say
from reviewkit.charge.cell_model import CellModel, Limits, Run, State
from reviewkit.charge.record import ChargeRecord, FloatArray
from reviewkit.charge.regimes import Phases
from reviewkit.charge.segmentation import HELD
from reviewkit.charge.series_resistance import Regulation
from reviewkit.charge.statistics import of_some_size
from reviewkit.metrology import Component, Distribution, Measured, difference

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
    readings : tuple of (array, array)
        Current [A] and voltage [V] of the readings behind it.
    device_ohm : Measured or None [ohm]
        Series resistance less the declared rig.
    rig_ohm : float [ohm]
        Declared burden and leads; 0 if not declared.
    effect : RigEffect or None
        The charge predicted without the rig.
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
        phases = run.phases
        resolved = phases is None or not phases.unresolved
        reasons["regulation"] = (
            say("no_slope", knee=bool(phases and phases.knee)) if resolved else say("unresolved")
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
    if phases is None or phases.knee is None or phases.unfit or phases.unresolved:
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
    clock_s = record.clock_offset.standard if record.clock_offset else 0.0
    parts: list[tuple[str, float, Distribution]] = [
        ("clocks of the two logs", clock_s, "normal"),
        ("rows that may average over their interval", record.interval_s / 2, "rectangular"),
        ("voltage rows that may average over theirs", record.voltage_interval_s / 2, "rectangular"),
    ]
    ohm, volts = regulation.series_resistance, regulation.set_voltage
    for name, late_s, shape in parts:
        lines = [_plain_line(*_taper(run, sign * late_s)) for sign in (-0.5, 0.5)] if late_s else []
        if len(lines) == 2 and all(np.isfinite(lines[0] + lines[1])):
            shift = abs(lines[1][0] - lines[0][0]), abs(lines[1][1] - lines[0][1])
            ohm = ohm.plus(Component(name, shift[0], "ohm", shape))
            volts = volts.plus(Component(name, shift[1], "V", shape))
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
        reasons["device"] = say("no_burden")
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
    assert stop is not None
    effect = predict(charge, declared, stop_doubt_A=stop.expanded)
    effect = _rig_as_declared(effect, charge, run.record)
    if not all(math.isfinite(one.value + one.expanded) for one in (effect.duration_s, effect.knee_s)):
        reasons["effect"] = say("no_prediction", why="endless")
        return None, None
    left = effect.model.residual_V
    if left > WORST_FIT_V + run.record.voltmeter.resolution:
        reasons["effect"] = say("no_prediction", why="misfit", left_mV=1000 * left)
        return None, None
    if not declared:
        reasons["effect"] = say("no_prediction", why="no burden")
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
    phases, why = run.phases, ""
    if phases is None or phases.knee is None:
        why = "no voltage limit"
    elif not phases.terminated:
        why = "no end"
    elif phases.knee_at_start or not phases.sees_plateau:
        why = "no plateau"
    elif regulation is None:
        return ""
    elif run.get("termination_current") is None:
        why = "no current at the end"
    elif stop_share(run) > FALLEN_TO:
        why = "not fallen"
    elif phases.named("interrupted"):
        why = "interrupted"
    return say("no_prediction", why=why) if why else ""


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
        reasons["others"] = say("no_capacity")
        return ()
    return other_cells(effect, charge, declared, run.cell.rated_capacity_Ah, capacities_Ah)


MODEL_SHARE = 0.25
"""Half-width of the prediction's doubt, as a share of the change it predicts."""

MODEL_FLOOR = 0.006
"""The same where the change is small, as a share of the time itself.

Both from simulated charges of five cells under 20 to 150 mΩ (`tests/benchmarks/without_rig.py`).
"""

LEAD_S = 60.0
"""The replay starts this long before the knee, so that its memory terms have settled on the log."""

TRUST = (0.5, 2.0)
"""Other cells are predicted for C-rates within these multiples of the measured one."""


@dataclass(frozen=True)
class Charge:
    """What a prediction needs of a measured charge; time counts from charge start.

    Parameters
    ----------
    time_s, voltage_V, current_A : array, shape (n,)
        Cell voltage and charge current at the same instants, relaxation included, no missing values.
    limits : Limits
        As measured: current before the knee, set voltage, total series resistance, current at the stop.
    """

    time_s: FloatArray
    voltage_V: FloatArray
    current_A: FloatArray
    knee_s: float
    termination_s: float
    limits: Limits


@dataclass(frozen=True)
class RigEffect:
    """What the bench's own resistance did to the charge.

    Parameters
    ----------
    duration_s, knee_s : Measured [s]
        Predicted without the rig, from charge start.
    with_rig, without_rig : Run
        Both from the model, to draw over the measured curve.
    """

    duration_s: Measured
    knee_s: Measured
    with_rig: Run
    without_rig: Run
    model: CellModel


def predict(
    charge: Charge, rig_ohm: float, *, model: CellModel | None = None, stop_doubt_A: float = 0.0
) -> RigEffect:
    """Return the charge as it would have run without `rig_ohm` between charger and cell.

    Parameters
    ----------
    rig_ohm : float [ohm]
        Declared burden and leads; the rest of the series resistance stays.
    model : CellModel or None
        Fitted to the charge if not given.
    stop_doubt_A : float [A]
        How well the current at the stop is known, as a half-width.

    Notes
    -----
    The model runs the charge twice from just before the knee, with and without the rig; only the difference
    is applied to what was measured, so what the model gets wrong in both runs drops out.
    """
    cell = model or cell_model.fit(charge.time_s, charge.voltage_V, charge.current_A)
    start = _before_knee(cell, charge)
    limits = charge.limits
    bare = Limits(limits.current_A, limits.set_V, max(0.0, limits.series_ohm - rig_ohm), limits.stop_A)
    with_rig = cell_model.run(cell, start, limits)
    without = cell_model.run(cell, start, bare)
    return RigEffect(
        duration_s=_corrected(
            charge.termination_s, with_rig.duration_s, without.duration_s, "time without the rig"
        ).plus(*_earlier_stop(with_rig, without, limits.stop_A + stop_doubt_A)),
        knee_s=_corrected(charge.knee_s, with_rig.knee_s, without.knee_s, "knee without the rig"),
        with_rig=with_rig,
        without_rig=without,
        model=cell,
    )


def _earlier_stop(with_rig: Run, without: Run, stop_A: float) -> tuple[Component, ...]:
    """Return what it does to the rig's share that the charge may stop at another current."""
    ends = [float(np.interp(-stop_A, -run.current_A, run.time_s)) for run in (with_rig, without)]
    change = (without.duration_s - with_rig.duration_s) - (ends[1] - ends[0])
    part = Component("time without the rig: current at the stop", abs(change), "s", "rectangular")
    return of_some_size([part])


def _before_knee(cell: CellModel, charge: Charge) -> State:
    since = charge.time_s >= 0
    moment = max(charge.knee_s - LEAD_S, charge.knee_s / 2)
    return cell_model.state_at(cell, charge.time_s[since], charge.current_A[since], moment)


def _corrected(measured: float, modelled: float, bare: float, name: str) -> Measured:
    change = bare - modelled
    return Measured(
        measured + change,
        "s",
        (
            Component(
                f"{name}: the cell's model",
                max(MODEL_SHARE * abs(change), MODEL_FLOOR * measured) if change else 0.0,
                "s",
                "rectangular",
            ),
            Component(f"{name}: model against log", abs(modelled - measured) / 2, "s", "rectangular"),
        ),
    )


@dataclass(frozen=True)
class OtherCell:
    """A reader's cell in the same device.

    Parameters
    ----------
    trusted : bool
        Whether its C-rate is near enough to the measured one for the scaling to hold.
    """

    capacity_Ah: float
    full_s: Measured
    to_80_s: Measured
    trusted: bool


def other_cells(
    effect: RigEffect, charge: Charge, rig_ohm: float, measured_Ah: float, capacities_Ah: Sequence[float]
) -> tuple[OtherCell, ...]:
    """Return how long the device takes for cells of other capacities, without the rig.

    Parameters
    ----------
    measured_Ah : float [A.h]
        Rated capacity of the cell on the bench.

    Returns
    -------
    tuple of OtherCell
        From the same depth of discharge as on the bench.
    """
    limits = charge.limits
    bare = Limits(limits.current_A, limits.set_V, max(0.0, limits.series_ohm - rig_ohm), limits.stop_A)
    reference = _from_empty(effect.model, bare)
    closure = abs(reference.duration_s - effect.duration_s.value) / reference.duration_s
    return tuple(
        _one(effect.model.scaled(capacity / measured_Ah), bare, capacity, measured_Ah, closure)
        for capacity in capacities_Ah
    )


def _from_empty(model: CellModel, limits: Limits) -> Run:
    empty = State(0.0, float(model.charge_Ah[0]), np.zeros_like(model.slow_ohm))
    return cell_model.run(model, empty, limits)


def _one(model: CellModel, limits: Limits, capacity: float, measured_Ah: float, closure: float) -> OtherCell:
    run = _from_empty(model, limits)
    wanted = run.charge_Ah[0] + 0.8 * (run.charge_Ah[-1] - run.charge_Ah[0])
    to_80 = float(np.interp(wanted, run.charge_Ah, run.time_s))
    # Scaling stretches the measured curve; the further from it, the less is known.
    stretch = abs(np.log(capacity / measured_Ah))
    doubt = closure + 0.02 + 0.05 * stretch
    trusted = TRUST[0] <= measured_Ah / capacity <= TRUST[1]
    return OtherCell(
        capacity,
        _scaled_time(run.duration_s, doubt),
        _scaled_time(to_80, doubt),
        bool(trusted),
    )


def _scaled_time(seconds: float, share: float) -> Measured:
    part = Component("scaling the measured curve to another capacity", share * seconds, "s", "rectangular")
    return Measured(seconds, "s", (part,))
