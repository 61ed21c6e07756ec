"""Charges whose logs mislead: a clock offset told wrong, an ammeter that is off at zero, a coarse display."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from simulate import Charger, LoggingMeter, Pause, Run, Scenario, draw
from simulate.whole import draw_whole

from reviewkit import charge
from reviewkit.charge import sources
from reviewkit.charge.analysis import ChargeResult
from reviewkit.metrology import Component, Measured, meter


def analysed(run: Run, *, wrong_s: float = 0.0, told: bool = False) -> ChargeResult:
    """The charge with its clock offset given: as read off two displays, or as known exactly."""
    bench = run.scenario
    parts = (Component("clock offset as declared", 2.0, "s", "rectangular"),) if told else ()
    return charge.analyse_one(
        charge.on_one_clock(
            run.voltage_V,
            run.current_A,
            voltmeter=_meter(bench.voltmeter, "V"),
            ammeter=_meter(bench.ammeter, "A"),
            clock_offset=Measured(run.clock_offset_s + wrong_s, "s", parts),
            cable_out_s=bench.before_s + bench.plugged_s - bench.voltmeter.starts_s,
        )
    )


def _meter(one: LoggingMeter, unit: str) -> meter.Meter:
    return meter.meter({"accuracy": one.accuracy, "resolution": one.resolution}, unit)


@pytest.fixture(scope="module")
def usual() -> Run:
    return draw(np.random.default_rng(6)).run()


@pytest.mark.parametrize("wrong_s", [60.0, -60.0])
def test_an_offset_told_wrong_by_a_minute_is_pointed_out_and_moves_no_knee(
    usual: Run, wrong_s: float
) -> None:
    result = analysed(usual, wrong_s=wrong_s, told=True)
    knee, offset = result.get("knee_time"), result.get("clock_offset")
    assert knee is not None
    assert offset is not None
    assert abs(knee.value - usual.known()["knee_time"]) <= knee.expanded
    assert offset.low <= usual.clock_offset_s <= offset.high
    assert "Beware: at the knee the two logs fit each other" in result.record.clock_note


def test_an_offset_told_right_is_left_alone(usual: Run) -> None:
    result = analysed(usual, told=True)
    offset = result.get("clock_offset")
    assert offset is not None
    assert offset.expanded < 2.0
    assert "Beware" not in result.record.clock_note


def test_an_ammeter_that_shows_current_where_none_flows_starts_no_charge() -> None:
    """±(1.2 % + 2) with a step of 10 mA may show 20 mA at zero: more than a fiftieth of the plateau."""
    ammeter = LoggingMeter(
        percent=1.2, counts=2.0, resolution=0.01, error_share=0.9, counts_hold_rounding=False
    )
    bench = Scenario(
        charger=Charger(plateau_A=0.5, stop_A=0.09), ammeter=ammeter, before_s=300.0, plugged_s=9 * 3600.0
    )
    run = bench.run()
    result = analysed(run)
    for name in ("termination_time", "termination_current", "knee_time"):
        found = result.get(name)
        assert found is not None, name
        assert found.low <= run.known()[name] <= found.high, name


def test_a_pause_within_the_precharge_is_no_end() -> None:
    """The current before the pause is lower than that at which the charger ends the charge."""
    charger = Charger(plateau_A=0.8, stop_A=0.1, precharge_A=0.06, pauses=(Pause(400.0, 200.0),))
    bench = Scenario(charger=charger, charge_state=-0.002, before_s=120.0, plugged_s=8 * 3600.0)
    run = bench.run()
    result = analysed(run)
    assert result.phases is not None
    assert result.phases.interruptions == 1
    assert not result.phases.top_ups
    ended = result.get("termination_time")
    assert ended is not None
    assert ended.low <= run.known()["termination_time"] <= ended.high


def test_a_coarse_voltmeter_does_not_move_the_knee() -> None:
    """10 mV steps: a line read off the last few of them is too flat to reach back to the knee."""
    usual = draw(np.random.default_rng(6))
    run = replace(usual, voltmeter=replace(usual.voltmeter, percent=0.5, resolution=0.01)).run()
    knee = analysed(run).get("knee_time")
    assert knee is not None
    assert abs(knee.value - run.known()["knee_time"]) <= knee.expanded + 1.0


def test_the_source_logs_clock_is_read_from_the_charges_own_steps(usual: Run) -> None:
    record = analysed(usual).record
    late = record.current_A.set_axis(record.current_A.index.to_numpy() + 25.0) + 0.007
    lag = sources.lag(replace(record, source_current_A=late.rename("source_current_A")))
    assert lag.low <= 25.0 <= lag.high
    assert lag.expanded < 4.0


def test_a_random_review_is_the_same_each_time() -> None:
    one, two = draw_whole(5), draw_whole(5)
    assert one.charge == two.charge
    assert one.drain == two.drain
    assert one.readout == two.readout
    assert draw_whole(6).charge != one.charge
