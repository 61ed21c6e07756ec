"""Charger, rig and source told apart in whole simulated charges, whose truth is known."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pandas as pd
import pytest
from simulate import charge as lamps
from simulate.scenario import Run

from reviewkit import charge
from reviewkit.charge import burden_correction, corrected_runs, sources
from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.burden_correction import Separation, separate
from reviewkit.charge.corrected_runs import Separations
from reviewkit.charge.findings import ChargeResults
from reviewkit.charge.inputs import ChargeInputs
from reviewkit.errors import Faults
from reviewkit.metrology import Component, Measured, meter
from reviewkit.schema.blocks import Cell

VOLTMETER = meter.meter({"accuracy": "±(0.05 % + 2)", "resolution": 0.001}, "V")
AMMETER = meter.meter(
    {"accuracy": "±(0.5 % + 3)", "resolution": 0.001, "burden_ohm": 0.03, "leads_ohm": 0.02}, "A"
)


@cache
def ran(lamp: str) -> Run:
    return {"alder": lamps.alder, "laptop": lamps.birch_laptop, "wall": lamps.birch_wall}[lamp]().run()


@cache
def analysed(lamp: str, ammeter: meter.Meter = AMMETER) -> ChargeResult:
    run = ran(lamp)
    offset = Measured(run.clock_offset_s, "s", (Component("clocks", 1.0, "s"),))
    record = charge.on_one_clock(
        run.voltage_V,
        run.current_A,
        voltmeter=VOLTMETER,
        ammeter=ammeter,
        clock_offset=offset,
        source=lamp,
        label=lamp,
    )
    return charge.analyse_one(record, cell=Cell(rated_capacity_Ah=run.scenario.cell.capacity_Ah))


@cache
def told_apart(lamp: str) -> Separation:
    return separate(analysed(lamp), capacities_Ah=(1.0, 2.0, 3.0, 8.0))


@pytest.mark.parametrize("lamp", ["alder", "laptop", "wall"])
def test_the_charger_is_told_from_the_rig(lamp):
    """Against the simulator's own resistances, and its charge run again without the rig."""
    run, apart = ran(lamp), told_apart(lamp)
    assert apart.regulation is not None
    assert apart.effect is not None
    for found, true in (
        (apart.regulation.set_voltage, run.truth.set_voltage),
        (apart.regulation.series_resistance, run.truth.series_resistance),
        (apart.device_ohm, run.truth.series_resistance - AMMETER.series_ohm),
        (apart.effect.duration_s, run.time_without_rig_s),
    ):
        assert found.low <= true <= found.high
    assert apart.effect.duration_s.value == pytest.approx(run.time_without_rig_s, rel=0.02)


def test_capacities_far_from_the_one_measured_are_marked_as_not_to_be_trusted():
    assert [(one.capacity_Ah, one.trusted) for one in told_apart("alder").others] == [
        (1.0, False),
        (2.0, True),
        (3.0, True),
        (8.0, False),
    ]


def test_the_same_capacity_takes_as_long_as_the_charge_without_the_rig():
    apart = told_apart("alder")
    same = next(one for one in apart.others if one.capacity_Ah == 3.0)
    assert apart.effect is not None
    assert same.full_s.low <= apart.effect.duration_s.value <= same.full_s.high


def test_a_rig_that_is_not_declared_is_asked_for():
    bare = replace(AMMETER, burden_ohm=0.0, leads_ohm=0.0)
    apart = separate(analysed("alder", bare))
    assert apart.regulation is not None
    assert apart.device_ohm is None
    assert "burden_ohm" in apart.reasons["device"]
    found = {
        item.key: item for item in corrected_runs.of_run(analysed("alder", bare), apart, sources.PortMeters())
    }
    assert found["charge.device_resistance"].verdict == "not tested"
    assert "burden_ohm" in found["charge.device_resistance"].note
    assert found["charge.time_without_rig"].value is None
    assert found["charge.series_resistance"].value is not None


def test_a_log_that_ends_early_supports_no_prediction():
    run = ran("alder")
    end = run.truth.knee_time + run.scenario.before_s + 3000
    record = analysed("alder").record
    cut = replace(record, voltage_V=record.voltage_V[:end], current_A=record.current_A[:end])
    apart = separate(charge.analyse_one(cut, cell=Cell(rated_capacity_Ah=3.0)))
    assert apart.effect is None
    assert apart.reasons["effect"] == "The charge was not logged to its end."


def test_two_sources_are_compared_quantity_by_quantity():
    """The laptop's port gives less current; the charger ends both charges alike."""
    runs = [analysed("wall"), analysed("laptop")]
    rows = {row.quantity: row for row in corrected_runs.compare(runs)}
    assert not rows["plateau current"].same
    assert rows["termination current"].same
    (together,) = corrected_runs.across(runs)
    assert together.value is False
    assert "plateau current" in together.note


def port_log(run: Run, *, stays: bool) -> tuple[pd.Series, pd.Series]:
    """A source of 5 V that gives the cell's current plus 10 mA."""
    known = run.current_A.dropna()
    time = known.index.to_numpy() + run.clock_offset_s
    flows = known.to_numpy() > 0.02
    volts = pd.Series(
        5.0 if stays else [5.0 if on else 0.0 for on in flows], index=time, name="source_voltage_V"
    )
    return volts, pd.Series(known.to_numpy() + 0.01 * flows, index=time, name="source_current_A")


@pytest.mark.parametrize(("stays", "expected"), [(True, True), (False, False)])
def test_a_log_of_the_source_shows_whether_its_voltage_stood(stays, expected):
    volts, amps = port_log(ran("alder"), stays=stays)
    result = analysed("alder")
    watched = replace(result, record=replace(result.record, source_voltage_V=volts, source_current_A=amps))
    assert sources.source_stays(watched) is expected
    assert sources.source_stays(result) is None


def test_efficiency_is_energy_into_the_cell_over_energy_drawn():
    """By hand: the cell's energy over 5 V times (its charge + 10 mA for as long as it flows)."""
    volts, amps = port_log(ran("alder"), stays=True)
    result = analysed("alder")
    watched = replace(result, record=replace(result.record, source_voltage_V=volts, source_current_A=amps))
    meters = sources.PortMeters(replace(VOLTMETER, name="port volts"), replace(AMMETER, name="port amps"))
    found = sources.efficiency(watched, meters)
    into, hours = result.get("delivered_energy"), result.get("termination_time").value / 3600
    drawn = 5.0 * (result.get("delivered").value + 0.01 * hours)
    assert found is not None
    assert found.value == pytest.approx(100 * into.value / drawn, rel=2e-3)
    assert found.expanded > into.expanded / into.value * found.value
    highest = sources.drawn(watched, meters)
    assert highest is not None
    assert highest.value == pytest.approx(result.get("plateau_current").value + 0.01, abs=2e-3)


def test_an_unknown_kind_of_source_is_refused_by_name():
    run = {"source": "port", "source_kind": "usb 9", "voltage": "v.csv", "current": "i.csv"}
    with pytest.raises(Faults, match=r"charge_runs\[1\].source_kind: 'usb 9' is no known kind of source"):
        charge.inputs(charge_runs=[run])


def test_nothing_logged_leaves_every_finding_not_tested():
    findings = charge.separate_all(charge.analyse([]), ChargeInputs()).findings()
    assert {item.verdict for item in findings} == {"not tested"}
    assert all(item.note for item in findings)


def test_every_finding_of_a_run_leads_back_to_its_logs():
    result = analysed("alder")
    logged = replace(result, record=replace(result.record, inputs=("v.csv", "i.csv")))
    apart = Separations(ChargeResults((logged,)), (told_apart("alder"),))
    found = {item.key: item.inputs for item in apart.findings() if item.value is not None}
    assert found["charge.ended_by"] == ("v.csv", "i.csv")
    assert set(found.values()) == {("v.csv", "i.csv")}


@pytest.mark.parametrize("lamp", ["alder", "laptop"])
def test_the_taper_begins_where_the_current_is_clear_of_the_plateau(lamp: str) -> None:
    """By a few per cent of it, in which the plateau's own noise lies; and nothing more is left out."""
    run = analysed(lamp)
    assert run.phases is not None
    current, _ = burden_correction._taper(run)
    assert 0.95 < float(current.max()) / run.phases.plateau_A < 0.97
