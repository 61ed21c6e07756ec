"""Charge, energy, times and voltages of one charge, value and uncertainty against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from test_charge_budgets import STOP_S, charged, parts
from test_charge_numbers import AMMETER, VOLTMETER

from reviewkit import charge
from reviewkit.charge import delivered, sentences, voltages
from reviewkit.charge.analysis import ChargeResult
from reviewkit.metrology import Component, Measured

TOTAL_AH = 1 + 1200 * 0.95 / 3600
"""1 A for an hour, then exp(−t/1200 s) down to 0.05 A."""


def half_width(found: Measured | None, name: str) -> float:
    """What a rectangular part of the budget moves the value by at most."""
    (part,) = (one for key, one in parts(found).items() if name in key)
    return abs(part.contribution) * math.sqrt(3)


def test_a_charge_is_open_by_its_first_and_last_interval() -> None:
    """Rows of 4 s: 1 A may have flowed 2 s longer, or shorter, and 0.05 A too."""
    found = charged().get("delivered")
    assert found is not None
    assert found.value == pytest.approx(TOTAL_AH, abs=1e-3)
    assert half_width(found, "charge start between") == pytest.approx(2 * 1.0 / 3600, rel=0.01)
    assert half_width(found, "end of charge between") == pytest.approx(2 * 0.05 / 3600, rel=0.02)


def test_energy_carries_both_meters() -> None:
    """By hand: the integral of V·I; the voltmeter's 0.05 % + 2 mV count over the whole charge."""
    found = charged().get("delivered_energy")
    plateau_Wh = 1.0 * (4.2 - 0.3)
    assert found is not None
    assert found.value == pytest.approx(plateau_Wh + 4.2 * (TOTAL_AH - 1), abs=4e-3)
    mean_V = found.value / TOTAL_AH
    by_volts = [part for part in found.components if part.name.startswith(VOLTMETER.label)]
    assert sum(abs(part.contribution) for part in by_volts) * math.sqrt(3) == pytest.approx(
        (0.0005 * mean_V + 0.002) * TOTAL_AH, rel=0.02
    )
    by_amps = [part for part in found.components if part.name.startswith(AMMETER.label)]
    assert sum(abs(part.contribution) for part in by_amps) * math.sqrt(3) == pytest.approx(
        mean_V * (0.005 * TOTAL_AH + 0.003 * STOP_S / 3600), rel=0.02
    )
    assert half_width(found, "charge start between") == pytest.approx(mean_V * 2 / 3600, rel=0.02)


def test_a_zero_error_moves_the_time_to_80_percent() -> None:
    """Closed form: 0.8 of the charge is reached where 1 − exp(−t/1200) has grown to 0.05333·3600/1200."""
    found = charged().get("time_to_80")
    late_s = -1200 * math.log(1 - (0.8 * TOTAL_AH - 1) * 3)
    assert found is not None
    assert found.value == pytest.approx(3600 + late_s, abs=6)
    current = math.exp(-late_s / 1200)
    moved_s = 3600 * (0.8 * STOP_S - (3600 + late_s)) / 3600 / current * 0.003
    assert half_width(found, "(counts)") == pytest.approx(abs(moved_s), rel=0.05)


@pytest.mark.parametrize("size", [1.0, 0.5])
def test_a_zero_error_moves_the_share_before_the_knee(size: float) -> None:
    """With i more on every row, (1 + i·1 h) / (total + i·T): its slope, by hand; the share is any cell's."""
    found = charged(size=size).get("delivered_before_knee")
    assert found is not None
    assert found.value == pytest.approx(100 / TOTAL_AH, abs=0.3)
    slope = 100 * (1 / TOTAL_AH - STOP_S / 3600 / TOTAL_AH**2)
    assert half_width(found, "(counts)") == pytest.approx(abs(slope) * 0.003 / size, rel=0.05)


def test_the_cells_voltages_are_those_of_the_log() -> None:
    """3.55 V before, 4.2 V held and at the peak, 4.19 V after ten minutes, and after an hour still."""
    result = charged()
    for name, volts in {
        "start_voltage": 3.55,
        "knee_voltage": 4.2,
        "hold_voltage": 4.2,
        "peak_voltage": 4.2,
        "settled_voltage_10min": 4.19,
        "settled_voltage_60min": 4.19,
    }.items():
        found = result.get(name)
        assert found is not None, name
        assert found.value == pytest.approx(volts, abs=1.5e-3), name


def relaxing(rest_s: float, lag_s: float = 600.0) -> ChargeResult:
    """A charge after which the cell relaxes by 30 mV with a time constant, logged for so long."""
    time = np.arange(-60.0, STOP_S + rest_s, 5.0)
    late, rest = np.maximum(time - 3600, 0), np.maximum(time - STOP_S, 0)
    current = np.where((time >= 0) & (time <= STOP_S), np.exp(-late / 1200), 0.0)
    volts = np.where(current > 0, 4.2 - 0.6 * np.maximum(3600 - time, 0) / 3600, 3.55)
    volts = np.where(time > STOP_S, 4.17 + 0.03 * np.exp(-rest / lag_s), volts)
    record = charge.on_one_clock(
        pd.Series(np.round(volts, 4), time),
        pd.Series(np.round(current, 3), time),
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
    )
    return charge.analyse_one(record)


def test_a_settled_voltage_is_read_at_its_minute_or_foretold() -> None:
    """Closed form: 4.17 + 0.03·exp(−t/600 s) V, read off at 10 min, at 60 min from the first 30."""
    result = relaxing(1800.0)
    assert result.phases is not None
    read, foretold = voltages.settled(result.record, result.phases, 10.0)
    assert read is not None
    assert not foretold
    assert read.value == pytest.approx(4.17 + 0.03 * math.exp(-1), abs=3e-4)
    later, foretold = voltages.settled(result.record, result.phases, 60.0)
    assert later is not None
    assert foretold
    assert later.value == pytest.approx(4.17 + 0.03 * math.exp(-6), abs=1.5e-3)
    assert later.low <= 4.1701 <= later.high
    # At least half of what the last readings still have to go is doubted.
    assert half_width(later, "still to come") >= 0.4 * 0.03 * math.exp(-3)


@pytest.mark.parametrize(("rest_s", "told"), [(960.0, True), (840.0, False)])
def test_a_quarter_of_a_relaxation_has_to_be_logged(rest_s: float, told: bool) -> None:
    result = relaxing(rest_s)
    assert result.phases is not None
    assert (voltages.settled(result.record, result.phases, 60.0)[0] is not None) is told


def test_a_gap_hides_what_could_have_flowed_in_it() -> None:
    """Where the voltage runs on, between its ends' currents; else from nothing to the larger one."""
    time = np.arange(0.0, 600.0)
    current = np.where(time < 250, 1.0, 0.6)
    missing = (time > 200) & (time < 300)

    def hidden(volts: np.ndarray, *, pulsing: bool = False) -> float:
        record = charge.on_one_clock(
            pd.Series(volts, time),
            pd.Series(current[~missing], time[~missing]),
            voltmeter=VOLTMETER,
            ammeter=AMMETER,
        )
        (gap,) = record.gaps
        return delivered.hidden(record, gap, pulsing=pulsing)

    rising = 3.7 + 1e-4 * time
    assert hidden(rising) == pytest.approx(0.2 * 100 / 3600, rel=1e-6)
    assert hidden(rising - 0.003 * (time == 250)) == pytest.approx(0.2 * 100 / 3600, rel=1e-6)
    assert hidden(rising - 0.006 * (time == 250)) == pytest.approx(1.0 * 100 / 3600, rel=1e-6)
    # One of the rows beside a gap among pulses may lie between two of them.
    current[195:201] = 0.0
    assert hidden(rising, pulsing=True) == pytest.approx(1.0 * 100 / 3600, rel=1e-6)


@pytest.mark.parametrize(("value", "side"), [(0.4, 1), (-0.4, -1), (0.05, 0), (-0.05, 0)])
def test_a_side_of_nothing_is_named_only_where_it_is_certain(value: float, side: int) -> None:
    """0.4 ± 0.1 mA flows into the cell, −0.4 ± 0.1 mA out of it; of ± 0.05 the meter can't tell."""
    assert sentences.sign(Measured(value, "mA", (Component("meter", 0.05, "mA"),))) == side


def test_readers_cells_are_those_that_one_can_buy() -> None:
    """From the memory of the trade, no source: lithium-ion cells for lamps have 1.5 to 5 A.h, in halves."""
    usual = charge.inputs().reader_capacities_Ah
    assert (usual[0], usual[-1]) == (1.5, 5.0)
    assert np.diff(usual) == pytest.approx(0.5)
