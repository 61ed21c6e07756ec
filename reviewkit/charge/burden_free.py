"""The same charge without the bench in the way, and with another cell in the device."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from reviewkit.charge import cell_model
from reviewkit.charge.cell_model import Limits, Run
from reviewkit.charge.circuit import CellModel, State
from reviewkit.metrology import Component, Measured

FloatArray = npt.NDArray[np.float64]

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
    knee_s, termination_s : float [s]
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
    model : CellModel
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
    charge : Charge
    rig_ohm : float [ohm]
        Declared burden and leads; the rest of the series resistance stays.
    model : CellModel or None
        Fitted to the charge if not given.
    stop_doubt_A : float [A]
        How well the current at the stop is known, as a half-width.

    Returns
    -------
    RigEffect

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
    return (part,) if part.size > 0 else ()


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
    capacity_Ah : float [A.h]
    full_s, to_80_s : Measured [s]
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
    effect : RigEffect
    charge : Charge
    rig_ohm : float [ohm]
    measured_Ah : float [A.h]
        Rated capacity of the cell on the bench.
    capacities_Ah : sequence of float [A.h]

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
