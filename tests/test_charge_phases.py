"""Phases and events of a charge: each kind planted in a simulated charge and found again."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
from simulate.cell import Cell as SimulatedCell
from simulate.charger import Charger, Fold, Pause, Pulses
from simulate.scenario import Run, Scenario

from reviewkit import charge
from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.findings import ChargeResults
from reviewkit.metrology import meter
from reviewkit.schema.blocks import Cell

VOLTMETER = meter.meter({"accuracy": "±(0.05 % + 2)", "resolution": "1 mV"}, "V")
AMMETER = meter.meter({"accuracy": "±(0.5 % + 3)", "resolution": "1 mA"}, "A")
SMALL = Scenario(cell=SimulatedCell(capacity_Ah=0.8), before_s=60.0, plugged_s=9000.0, after_s=900.0)


def result_of(run: Run, **more: object) -> ChargeResult:
    shift = run.clock_offset_from_first_rows_s
    current = run.current_A.set_axis(run.current_A.index + shift)
    record = charge.on_one_clock(run.voltage_V, current, voltmeter=VOLTMETER, ammeter=AMMETER)
    cell = Cell(rated_capacity_Ah=run.scenario.cell.capacity_Ah)
    return charge.analyse_one(replace(record, **more), cell=cell)


@cache
def done(scenario: Scenario) -> tuple[Run, ChargeResult]:
    run = scenario.run()
    return run, result_of(run)


def names(result: ChargeResult) -> list[str]:
    return [span.name for span in result.phases.spans]


def agree(run: Run, result: ChargeResult, *wanted: str) -> None:
    known = run.known()
    for name in wanted:
        found = result.get(name)
        assert found is not None, name
        assert found.low <= known[name] <= found.high, (name, found.value, known[name], found.expanded)


def test_a_deeply_discharged_cell_is_charged_cautiously_first():
    run, result = done(replace(SMALL, charge_state=-0.004, charger=Charger(precharge_A=0.08, stop_A=0.08)))
    assert names(result) == ["before", "precharge", "constant current", "constant voltage", "terminated"]
    agree(run, result, "precharge_current", "precharge_end", "plateau_current", "knee_time", "delivered")
    finding = ChargeResults((result,)).findings().get("charge.precharge_current")
    assert finding.verdict == "inconclusive"  # a tenth of the capacity is the limit, and just what it gets


def test_current_that_folds_back_is_no_knee():
    charger = Charger(stop_A=0.08, folds=(Fold(900.0, 0.75), Fold(1500.0, 0.5)))
    run, result = done(replace(SMALL, charger=charger))
    agree(run, result, "knee_time", "hold_voltage", "termination_current", "termination_time")
    known = run.known()
    assert result.adherence.share == pytest.approx(known["limit_adherence"], abs=0.5)
    assert [one.shape for one in result.adherence.stretches] == ["steps"]
    assert result.get("plateau_droop").value == pytest.approx(known["plateau_droop"], rel=0.01)


def test_an_interruption_is_a_phase_and_the_charge_goes_on():
    charger = Charger(stop_A=0.08, pauses=(Pause(1000.0, 300.0),))
    run, result = done(replace(SMALL, charger=charger))
    assert names(result)[1:5] == ["constant current", "interrupted", "constant current", "constant voltage"]
    assert result.phases.interruptions == 1
    agree(run, result, "plateau_current", "delivered", "termination_time")
    assert result.phases.named("interrupted")[0].length_s == pytest.approx(300, abs=3)


def test_top_ups_are_counted_and_are_not_the_main_charge():
    charger = Charger(set_V=4.17, stop_A=0.1, idle_A=0.04, recharge_below_V=4.12)
    run, result = done(replace(SMALL, charger=charger, plugged_s=20000.0))
    assert run.truth.top_ups > 1
    assert len(result.phases.top_ups) == run.truth.top_ups
    agree(run, result, "delivered", "termination_time", "current_after")
    assert result.get("current_after").high < 0


def trickling(leak_A: float, **more: object) -> ChargeResult:
    """A charge whose current goes on for ever at what the cell leaks: the simulated taper and that added."""
    charger = Charger(stop_A=None)
    run, _ = done(replace(SMALL, charger=charger, plugged_s=30000.0, after_s=0.0))
    current = run.current_A.set_axis(run.current_A.index + run.clock_offset_from_first_rows_s)
    current = current + leak_A * (current.index > run.scenario.before_s + run.truth.knee_time)
    record = charge.on_one_clock(run.voltage_V, current, voltmeter=VOLTMETER, ammeter=AMMETER)
    return charge.analyse_one(replace(record, **more), cell=Cell(rated_capacity_Ah=0.8))


def test_a_charge_that_never_terminates_is_said_to():
    result = trickling(0.02)
    assert result.phases.ending == "never"
    found = ChargeResults((result,)).findings()
    assert found.get("charge.terminates").value is False
    assert found.get("charge.terminates").verdict == "fail"
    assert found.get("charge.termination_current").verdict == "not tested"


def test_a_trickle_until_the_cable_is_pulled_never_ended_either():
    result = trickling(0.02, cable_out_s=25000.0)
    cut = replace(
        result.record,
        current_A=result.record.current_A.where(result.record.current_A.index < 25000.0, 0.0),
    )
    pulled = charge.analyse_one(cut)
    assert pulled.phases.ending == "never"
    undeclared = charge.analyse_one(replace(cut, cable_out_s=None))
    assert undeclared.phases.ending == "undecided"
    finding = ChargeResults((undeclared,)).findings().get("charge.terminates")
    assert finding.verdict == "not tested"
    assert "cable_out_s" in finding.note


def test_a_current_that_fades_below_what_the_meter_can_tell_accuses_nobody():
    """±(0.5 % + 3) on 1 mA: 3 mA may be none."""
    result = trickling(0.0)
    assert result.phases.ending == "faded"
    found = ChargeResults((result,)).findings().get("charge.terminates")
    assert found.verdict == "not tested"
    assert "faded" in found.note


def test_a_log_that_ends_early_does_not_accuse_the_charger():
    run = SMALL.run()
    early = run.current_A[run.current_A.index < 2500]
    record = charge.on_one_clock(run.voltage_V, early, voltmeter=VOLTMETER, ammeter=AMMETER)
    result = charge.analyse_one(record)
    assert result.phases.ending == "log ended"
    terminates = ChargeResults((result,)).findings().get("charge.terminates")
    assert terminates.verdict == "not tested"
    assert "log ended" in terminates.note


def test_a_trickle_after_termination_fails():
    """No current into a full lithium-ion cell: common practice, no source."""
    run = replace(SMALL, after_s=0.0).run()
    current = run.current_A.copy()
    end = run.scenario.before_s + run.truth.termination_time
    current[current.index > end + 2] += 0.02
    shift = run.clock_offset_from_first_rows_s
    record = charge.on_one_clock(
        run.voltage_V, current.set_axis(current.index + shift), voltmeter=VOLTMETER, ammeter=AMMETER
    )
    result = charge.analyse_one(record, cell=Cell(rated_capacity_Ah=0.8))
    agree(run, result, "termination_time", "termination_current")
    after = ChargeResults((result,)).findings().get("charge.current_after")
    assert after.value == pytest.approx(0.02, abs=0.004)
    assert after.verdict == "fail"


def test_a_nearly_full_cell_sees_no_plateau():
    run, result = done(replace(SMALL, charge_state=0.97))
    assert result.get("knee_time").value == 0
    found = ChargeResults((result,)).findings()
    for name in ("plateau_current", "plateau_droop"):
        assert found.get(f"charge.{name}").verdict == "not tested"
        assert "shows no plateau" in found.get(f"charge.{name}").note
    agree(run, result, "hold_voltage", "delivered", "termination_current")


def test_pulsed_charging_is_one_charge_and_is_named():
    charger = Charger(stop_A=0.08, pulses=Pulses(20.0, 0.8))
    run, result = done(replace(SMALL, charger=charger, plugged_s=12000.0))
    assert result.phases.interruptions == 0
    assert result.adherence.share > 99
    assert {one.shape for one in result.phases.regimes if one.name == "constant current"} == {"pulses"}
    agree(run, result, "plateau_current", "knee_time", "delivered", "termination_time")
    adherence = ChargeResults((result,)).findings().get("charge.limit_adherence")
    assert "switched on and off" in adherence.note


def test_no_current_means_nothing_tested_and_says_why():
    time = np.arange(0.0, 600.0)
    record = charge.on_one_clock(
        pd.Series(np.full(600, 2.2), time),
        pd.Series(np.zeros(600), time),
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
    )
    found = ChargeResults((charge.analyse_one(record),)).findings()
    assert found.get("charge.plateau_current").note == "No charge current flows in this log."
    refused = found.get("charge.precharge_current")
    assert refused.verdict == "pass"
    assert "refused" in refused.note


def test_a_cold_start_with_full_current_fails():
    """Below 2.5 V a cautious precharge or a refusal: common practice, no source."""
    run = replace(SMALL, charge_state=-0.018, charger=Charger(stop_A=0.08)).run()
    assert run.truth.start_voltage < 2.5
    found = ChargeResults((result_of(run),)).findings()
    assert found.get("charge.precharge_current").verdict == "fail"


def test_the_cable_pulled_while_charging_is_no_termination():
    run = replace(SMALL, plugged_s=2000.0).run()
    result = result_of(run, cable_out_s=2060.0)
    assert result.phases.ending == "cable pulled"
    found = ChargeResults((result,)).findings()
    assert found.get("charge.terminates").verdict == "not tested"
    agree(run, result, "plateau_current", "delivered")


def test_settled_voltage_is_fitted_where_the_log_ends_early():
    whole = replace(SMALL, after_s=3700.0).run()
    cable_out = SMALL.before_s + SMALL.plugged_s
    voltage = whole.voltage_V[whole.voltage_V.index < cable_out + 1500]
    shift = whole.clock_offset_from_first_rows_s
    record = charge.on_one_clock(
        voltage,
        whole.current_A.set_axis(whole.current_A.index + shift),
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
    )
    result = charge.analyse_one(replace(record, cable_out_s=cable_out))
    assert "settled_voltage_60min" in result.extrapolated
    agree(whole, result, "settled_voltage_10min", "settled_voltage_60min")


def test_a_limit_far_below_the_meters_doubt_is_failed_by_nobody():
    """±(0.5 % + 3) on 10 mA: 30 mA may be none, and C/1000 is under 1 mA."""
    coarse = meter.meter({"accuracy": "±(0.5 % + 3)", "resolution": "10 mA"}, "A")
    run, _ = done(SMALL)
    current = run.current_A.set_axis(run.current_A.index + run.clock_offset_from_first_rows_s)
    shown = (current / 0.01).round() * 0.01 - 0.03
    record = charge.on_one_clock(run.voltage_V, shown, voltmeter=VOLTMETER, ammeter=coarse)
    result = charge.analyse_one(record, cell=Cell(rated_capacity_Ah=0.8))
    found = ChargeResults((result,)).findings().get("charge.current_after")
    assert found.value == pytest.approx(-0.03, abs=0.005)
    assert found.verdict == "inconclusive"


def test_a_draw_from_the_full_cell_fails_and_is_a_finding_of_its_own():
    run, _ = done(replace(SMALL, charger=Charger(stop_A=0.08, idle_A=0.011)))
    result = result_of(run, cable_out_s=SMALL.before_s + SMALL.plugged_s)
    findings = ChargeResults((result,)).findings()
    after, drawn = findings.get("charge.current_after"), findings.get("charge.drawn_after")
    assert after.verdict == "fail"
    assert drawn.value == pytest.approx(0.011, abs=1e-3)
    assert "discharge the cell" in drawn.note


def test_a_cut_off_within_a_gap_has_bounds_and_no_value():
    run, whole = done(SMALL)
    end_s = whole.phases.end_s
    current = run.current_A.set_axis(run.current_A.index + run.clock_offset_from_first_rows_s)
    seen = current[(current.index < end_s - 200) | (current.index > end_s + 200)]
    record = charge.on_one_clock(run.voltage_V, seen, voltmeter=VOLTMETER, ammeter=AMMETER)
    out = replace(record, cable_out_s=SMALL.before_s + SMALL.plugged_s)
    findings = ChargeResults((charge.analyse_one(out, cell=Cell(rated_capacity_Ah=0.8)),)).findings()
    assert findings.get("charge.terminates").value is True
    for name in ("termination_time", "termination_current"):
        found = findings.get(f"charge.{name}")
        assert found.value is None
        assert found.low <= run.known()[name] <= found.high
