"""The charge curve against physics: charges that PyBaMM simulates, read as two meters would read them."""

from __future__ import annotations

import functools

import numpy as np
import pandas as pd
import pytest
from pybamm_charges import PhysicsCharge, charge, shown

from reviewkit import charge as charging
from reviewkit import logs
from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.record import ChargeRecord
from reviewkit.logs import clock_sync
from reviewkit.metrology import meter
from reviewkit.schema.blocks import Cell

OFFSET_S = -37.4
"""What the current log's clock must be moved by."""

CELLS = {
    "Chen2020": {"scale": 0.52, "plateau_A": 0.8, "set_V": 4.2, "series_ohm": 0.05},
    "Mohtat2020": {"scale": 0.5, "plateau_A": 0.8, "set_V": 4.2, "series_ohm": 0.0},
    # Lithium iron phosphate: hardly any constant-voltage phase.
    "Prada2013": {"scale": 1.0, "plateau_A": 2.0, "set_V": 3.6, "period_s": 1.0, "series_ohm": 0.05},
}


def sampled(truth: PhysicsCharge, moments_s: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Return a quantity at other moments; the current's edges stay steps."""
    read = np.interp(moments_s, truth.time_s, values)
    if values is truth.current_A:
        read[moments_s < 0] = 0.0
        read[(moments_s >= 0) & (moments_s < truth.knee_s)] = truth.plateau_A
        read[moments_s > truth.duration_s] = 0.0
    return read


@functools.cache
def measured(cell: str) -> tuple[PhysicsCharge, ChargeResult]:
    truth = charge(cell, **CELLS[cell])
    rng = np.random.default_rng(5)
    last = float(truth.time_s[-1]) - 5
    of_voltage, of_current = np.arange(-150.3, last, 2.0), np.arange(-149.1, last, 1.0)
    voltage = pd.Series(shown(sampled(truth, of_voltage, truth.cell_V), 1e-3, rng), of_voltage + 200)
    current = pd.Series(
        shown(sampled(truth, of_current, truth.current_A), 1e-3, rng), of_current + 200 - OFFSET_S
    )
    alignment = clock_sync.align(logs.of_series(voltage, "V"), logs.of_series(current, "A"))
    record = ChargeRecord(
        voltage,
        current.set_axis(alignment.on_voltage_clock(current.index)),
        meter.meter({"accuracy": "±(0.05 % + 1)", "resolution": "1 mV"}, "V"),
        meter.meter({"accuracy": "±(0.5 % + 1)", "resolution": "1 mA"}, "A"),
        clock_offset=alignment.offset,
    )
    return truth, charging.analyse_one(record, cell=Cell(rated_capacity_Ah=2.5))


def main_charge(truth: PhysicsCharge) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    inside = (truth.time_s > 0) & (truth.time_s <= truth.duration_s)
    time, current, volts = truth.time_s[inside], truth.current_A[inside], truth.cell_V[inside]
    return np.append(0.0, time), np.append(truth.plateau_A, current), np.append(volts[0], volts)


@pytest.mark.parametrize("cell", CELLS)
class TestPhysics:
    """PyBaMM (SPMe, its published parameter sets) knows the truth; sampling at 1 s and 2 s, 1 mA and 1 mV."""

    def close(self, cell: str, name: str, true: float, allowed: float) -> None:
        found = measured(cell)[1].get(name)
        assert found is not None
        assert found.value == pytest.approx(true, abs=allowed)
        # One draw of each meter: the interval may miss by a little in one case of twenty.
        assert abs(found.value - true) <= 1.2 * found.expanded

    def test_plateau_within_half_a_percent(self, cell):
        true = measured(cell)[0].plateau_A
        self.close(cell, "plateau_current", true, 0.005 * true)

    def test_hold_voltage_within_2_mV(self, cell):
        truth = measured(cell)[0]
        half = (truth.time_s > (truth.knee_s + truth.duration_s) / 2) & (truth.time_s < truth.duration_s)
        held = float(
            np.interp((truth.knee_s + 3 * truth.duration_s) / 4, truth.time_s[half], truth.cell_V[half])
        )
        self.close(cell, "hold_voltage", held, 2e-3)

    def test_delivered_charge_within_a_fifth_of_a_percent(self, cell):
        time, current, _ = main_charge(measured(cell)[0])
        true = float(np.trapezoid(current, time)) / 3600
        self.close(cell, "delivered", true, 0.002 * true)

    def test_delivered_energy(self, cell):
        time, current, volts = main_charge(measured(cell)[0])
        true = float(np.trapezoid(current * volts, time)) / 3600
        self.close(cell, "delivered_energy", true, 0.003 * true)

    def test_knee_within_one_percent_of_the_duration(self, cell):
        truth = measured(cell)[0]
        found = measured(cell)[1].get("knee_time")
        assert found.value == pytest.approx(truth.knee_s, abs=0.001 * truth.duration_s)

    def test_termination_current_within_three_percent(self, cell):
        true = measured(cell)[0].stop_A
        self.close(cell, "termination_current", true, 0.03 * true)

    def test_termination_time(self, cell):
        self.close(cell, "termination_time", measured(cell)[0].duration_s, 2.0)

    def test_time_to_80(self, cell):
        time, current, _ = main_charge(measured(cell)[0])
        grown = np.concatenate([[0], np.cumsum(np.diff(time) * (current[1:] + current[:-1]) / 2)])
        self.close(cell, "time_to_80", float(np.interp(0.8 * grown[-1], grown, time)), 5.0)

    def test_clock_offset_within_one_sample(self, cell):
        self.close(cell, "clock_offset", OFFSET_S, 2.0)

    def test_it_ends_by_itself_and_stays_at_its_limits(self, cell):
        result = measured(cell)[1]
        assert result.phases.terminated
        assert result.adherence.share > 99
        names = [span.name for span in result.phases.spans]
        assert names == ["before", "constant current", "constant voltage", "terminated"]

    @pytest.mark.parametrize("minutes", [10, 60])
    def test_settled_voltage(self, cell, minutes):
        truth = measured(cell)[0]
        true = float(np.interp(truth.duration_s + 60 * minutes, truth.time_s, truth.cell_V))
        self.close(cell, f"settled_voltage_{minutes}min", true, 2e-3)
