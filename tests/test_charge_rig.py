"""Charger or rig: resistance and set voltage recovered from physics-based charges."""

from __future__ import annotations

import numpy as np
import pytest
from pybamm_charges import charge, shown

from reviewkit.charge import burden_correction, series_resistance
from reviewkit.charge.cell_model import Limits
from reviewkit.metrology import meter

CELLS = {
    "Chen2020": {"scale": 0.52, "plateau_A": 0.8, "set_V": 4.2},
    "Ai2020": {"scale": 1.0, "plateau_A": 0.8, "set_V": 4.2},
    "Mohtat2020": {"scale": 0.5, "plateau_A": 0.8, "set_V": 4.2},
    # Lithium iron phosphate: fast enough that its short taper holds readings to regress.
    "Prada2013": {"scale": 1.0, "plateau_A": 2.0, "set_V": 3.6, "period_s": 1.0},
}


def meters(step_V: float, step_A: float) -> tuple[meter.Meter, meter.Meter]:
    return (
        meter.meter({"accuracy": "±(0.05 % + 1)", "resolution": step_V}, "V"),
        meter.meter({"accuracy": "±(0.5 % + 1)", "resolution": step_A}, "A"),
    )


def taper(truth, rng, step_V, step_A):
    """Return the readings of the constant-voltage phase."""
    inside = (
        (truth.current_A < 0.97 * truth.plateau_A)
        & (truth.time_s > truth.knee_s - 1)
        & (truth.time_s < truth.duration_s - 1)
    )
    return (
        shown(truth.cell_V[inside], step_V, rng),
        np.round(truth.current_A[inside] / step_A) * step_A,
    )


@pytest.mark.parametrize("series_ohm", [0.02, 0.05, 0.15])
@pytest.mark.parametrize("cell", CELLS)
@pytest.mark.parametrize(
    ("step_V", "step_A", "allow_ohm", "allow_V"), [(1e-3, 1e-3, 1e-3, 1e-3), (1e-2, 1e-2, 6e-3, 4e-3)]
)
def test_resistance_and_set_voltage_are_recovered(cell, series_ohm, step_V, step_A, allow_ohm, allow_V):
    """Against PyBaMM with a known contact resistance, 1 mV and 10 mV meters."""
    truth = charge(cell, series_ohm=series_ohm, **CELLS[cell])
    voltmeter, ammeter = meters(step_V, step_A)
    voltage, current = taper(truth, np.random.default_rng(3), step_V, step_A)
    found = series_resistance.regress(voltage, current, voltmeter=voltmeter, ammeter=ammeter)
    assert found is not None
    assert found.series_resistance.value == pytest.approx(series_ohm, rel=0.02, abs=allow_ohm)
    assert found.set_voltage.value == pytest.approx(truth.set_V, abs=allow_V)
    assert abs(found.series_resistance.value - series_ohm) <= found.series_resistance.expanded
    assert abs(found.set_voltage.value - truth.set_V) <= found.set_voltage.expanded


def test_a_phase_that_hardly_moves_says_nothing():
    voltmeter, ammeter = meters(1e-3, 1e-3)
    flat = np.full(100, 4.2)
    assert series_resistance.regress(flat, np.full(100, 0.5), voltmeter=voltmeter, ammeter=ammeter) is None
    assert (
        series_resistance.regress(flat[:10], np.linspace(0.5, 0.1, 10), voltmeter=voltmeter, ammeter=ammeter)
        is None
    )


def test_a_display_that_never_changes_bounds_the_resistance_instead_of_naming_it():
    """4.20 V on every reading of a 10 mV meter: the drop is somewhere within a step (GUM F.2.2.1)."""
    voltmeter, ammeter = meters(1e-2, 1e-3)
    current = np.linspace(0.8, 0.1, 400)
    found = series_resistance.regress(np.full(400, 4.20), current, voltmeter=voltmeter, ammeter=ammeter)
    assert found is not None
    assert found.series_resistance.low < 0 < 0.01 < found.series_resistance.high


def test_the_meters_gain_errors_move_the_resistance_by_their_share():
    """R = ΔV/ΔI: a relative error of either meter is a relative error of R."""
    voltmeter, ammeter = meters(1e-4, 1e-4)
    current = np.linspace(0.8, 0.1, 4000)
    voltage = np.round((4.2 - 0.1 * current) / 1e-4) * 1e-4
    found = series_resistance.regress(voltage, current, voltmeter=voltmeter, ammeter=ammeter)
    assert found is not None
    gains = [part for part in found.series_resistance.components if "accuracy" in part.name]
    assert {round(part.contribution / found.series_resistance.value * 3**0.5, 5) for part in gains} == {
        0.0005,
        0.005,
    }


@pytest.mark.parametrize(
    ("cell", "series_ohm"), [("Chen2020", 0.05), ("Ai2020", 0.02), ("Mohtat2020", 0.15), ("Prada2013", 0.05)]
)
@pytest.mark.parametrize("step_V", [1e-3, 1e-2])
def test_the_charge_without_the_rig_is_predicted(cell, series_ohm, step_V):
    """Against PyBaMM on the same cell without the resistance: within 2 %, and inside the stated interval."""
    truth = charge(cell, series_ohm=series_ohm, **CELLS[cell])
    bare = charge(cell, series_ohm=0.0, **CELLS[cell])
    rng = np.random.default_rng(5)
    measured = burden_correction.Charge(
        truth.time_s,
        shown(truth.cell_V, step_V, rng),
        np.round(truth.current_A / step_V) * step_V,
        truth.knee_s,
        truth.duration_s,
        Limits(truth.plateau_A, truth.set_V, series_ohm, truth.stop_A),
    )
    effect = burden_correction.predict(measured, series_ohm)
    assert effect.duration_s.value == pytest.approx(bare.duration_s, rel=0.02)
    assert effect.duration_s.low <= bare.duration_s <= effect.duration_s.high
    assert effect.knee_s.value == pytest.approx(bare.knee_s, abs=0.02 * bare.duration_s)


def test_a_larger_cell_of_the_same_kind_takes_as_long_as_physics_says():
    """Against PyBaMM with the electrode area scaled: the reader's cell."""
    truth = charge("Chen2020", **CELLS["Chen2020"])
    larger = charge("Chen2020", scale=0.8, plateau_A=0.8, set_V=4.2)
    measured = burden_correction.Charge(
        truth.time_s,
        truth.cell_V,
        truth.current_A,
        truth.knee_s,
        truth.duration_s,
        Limits(0.8, 4.2, 0.0, truth.stop_A),
    )
    effect = burden_correction.predict(measured, 0.0)
    (cell,) = burden_correction.other_cells(effect, measured, 0.0, 2.6, [4.0])
    assert cell.trusted
    assert cell.full_s.low <= larger.duration_s <= cell.full_s.high
    assert cell.full_s.value == pytest.approx(larger.duration_s, rel=0.05)
