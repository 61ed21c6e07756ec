"""Who stopped a current, and when: what nobody declares, gaps hide or pulses miss is left open."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from test_charge_numbers import AMMETER, VOLTMETER
from test_charge_untold import OHM, course, found

from reviewkit import charge
from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.findings import ChargeResults
from reviewkit.findings import Finding
from reviewkit.metrology import meter
from reviewkit.schema.blocks import Cell

CELL = Cell(rated_capacity_Ah=1.5)


def tapering(stop_A: float, *, cell: Cell = CELL, **more: float) -> ChargeResult:
    """1 A for an hour, then exp(−t/1200 s) down to `stop_A`, then nothing: in rows of 2 s."""
    time = np.arange(-300.0, 12000.0, 2.0)
    late = np.maximum(time - 3600, 0)
    current = np.where((time < 0) | (late > -1200 * np.log(stop_A)), 0.0, np.exp(-late / 1200))
    held = 4.1 - 0.68 * np.maximum(3600 - time, 0) / 3600 - OHM * (current - 1) * (time >= 3600) - OHM
    volts = np.where(current > 0, held, held - 0.02)
    return analysed(time, current, time, volts, cell=cell, **more)


def analysed(
    time_A: np.ndarray,
    current: np.ndarray,
    time_V: np.ndarray,
    volts: np.ndarray,
    *,
    cell: Cell = CELL,
    **more: float,
) -> ChargeResult:
    record = charge.on_one_clock(
        pd.Series(np.round(volts, 3), time_V),
        pd.Series(np.round(current, 3), time_A),
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
        **more,
    )
    return charge.analyse_one(record, cell=cell)


def items(result: ChargeResult) -> dict[str, Finding]:
    return {item.key.split(".")[1]: item for item in ChargeResults((result,)).findings()}


def test_a_current_that_stops_high_in_its_taper_may_be_a_cable_pulled() -> None:
    """C/5, where C/10 is the usual end: common practice, no source."""
    said = items(tapering(0.3))
    assert said["terminates"].value is None
    assert "or the cable was pulled" in said["terminates"].note
    assert "cable_out_s" in said["terminates"].note
    assert said["termination_current"].value is None
    # Whoever it was, from then on the cell is left alone.
    assert said["settled_voltage_10min"].value is not None


def test_a_cable_that_stayed_in_shows_that_the_charger_stopped() -> None:
    assert items(tapering(0.3, cable_out_s=11000.0))["terminates"].value is True


@pytest.mark.parametrize(("stop_A", "ends"), [(0.14, True), (0.20, True), (0.25, None)])
def test_an_end_is_believed_up_to_half_as_much_again_as_is_usual(stop_A: float, ends: bool | None) -> None:
    """0.15 A is C/10; 0.225 A half as much again."""
    assert items(tapering(stop_A))["terminates"].value is ends


def test_the_end_that_the_cell_is_declared_to_have_counts() -> None:
    declared = Cell(rated_capacity_Ah=1.5, max_termination_A=0.3)
    assert items(tapering(0.4, cell=declared))["terminates"].value is True


@pytest.mark.parametrize(("stop_A", "ends"), [(0.28, True), (0.35, None)])
def test_without_a_capacity_a_part_of_the_plateau_is_expected(stop_A: float, ends: bool | None) -> None:
    """A fifth of 1 A, half as much again: 0.3 A."""
    assert items(tapering(stop_A, cell=Cell()))["terminates"].value is ends


@pytest.mark.parametrize(("share", "ends"), [(0.12, None), (0.2, True)])
def test_a_current_that_falls_slowly_was_not_near_its_end(share: float, ends: bool | None) -> None:
    """By so much of itself in half an hour, from 60 mA on, for three hours: then nothing."""
    time = np.arange(-300.0, 20000.0, 2.0)
    late = np.maximum(time - 3600, 0)
    taper = np.maximum(np.exp(-late / 600), 0.06 * (1 - share) ** (np.maximum(late - 1700, 0) / 1800))
    current = np.where((time < 0) | (time > 16000), 0.0, taper)
    volts = 4.1 - 0.6 * np.maximum(3600 - time, 0) / 3600 - OHM * current
    assert items(analysed(time, current, time, volts))["terminates"].value is ends


def test_a_charge_of_twenty_seconds_in_an_hour_and_a_half_is_one() -> None:
    time = np.arange(-300.0, 5000.0, 1.0)
    current = np.where((time >= 0) & (time < 20), 0.03, 0.0)
    rng = np.random.default_rng(4)
    result = analysed(time, current + 0.0003 * rng.standard_normal(len(time)), time, 4.17 + 0.05 * current)
    assert result.phases is not None
    assert len(result.phases.profile.blocks) == 1
    delivered = result.get("delivered")
    assert delivered is not None
    assert delivered.low < 0.03 * 20 / 3600 < delivered.high


def gapped(first_s: float, last_s: float) -> ChargeResult:
    """The charge of `course`, its voltage not logged between two moments."""
    time = np.arange(-300.0, 9000.0, 2.0)
    current, volts = course(time)
    kept = (time < first_s) | (time > last_s)
    return analysed(time, current, time[kept], volts[kept])


def test_a_knee_within_a_gap_of_the_voltage_lies_anywhere_in_it() -> None:
    """The charge reaches its limit after 3600 s; no voltage from 3000 s to 4500 s."""
    result = gapped(3000.0, 4500.0)
    knee, volts = result.get("knee_time"), result.get("knee_voltage")
    assert knee is not None
    assert volts is not None
    assert knee.low <= 3600 <= knee.high
    assert volts.low <= 4.02 <= volts.high
    assert result.adherence is not None
    assert result.adherence.low is not None
    assert result.adherence.high is not None
    # While the current falls unseen it may have been at its limit or not: 900 s of 6363 s.
    assert result.adherence.low < 95
    assert result.adherence.high == pytest.approx(100, abs=0.1)


def test_a_gap_at_one_limit_leaves_nothing_open() -> None:
    whole, missing = gapped(9000.0, 9000.0), gapped(1000.0, 1600.0)
    assert whole.adherence is not None
    assert missing.adherence is not None
    assert missing.adherence.low == pytest.approx(whole.adherence.low, abs=0.2)


def test_a_gap_within_pulses_is_neither_an_end_nor_a_pause() -> None:
    """On for 21.2 s of each 31.8 s; no current logged for a quarter of an hour of the taper."""
    time = np.arange(-300.0, 9000.0, 1.0) + 0.2
    current, volts = course(time, on_s=21.2, off_s=10.6)
    kept = (time < 4205.0) | (time > 5105.0)
    said = items(analysed(time[kept], current[kept], time, volts, cable_out_s=8900.0))
    assert said["terminates"].value is True
    assert said["interruptions"].value == 0
    assert said["top_ups"].value == 0
    assert said["termination_time"].value == pytest.approx(3600 + 1200 * np.log(10), abs=32)
    fine = np.arange(0.0, 9000.0, 0.1)
    whole_Ah = float(course(fine, on_s=21.2, off_s=10.6)[0].sum()) * 0.1 / 3600
    assert said["delivered"].low < whole_Ah < said["delivered"].high


def test_pulses_that_the_rows_miss_leave_their_end_open_by_as_much() -> None:
    """Rows of 30 s and pulses of 31.8 s: for minutes no row meets a pulse."""
    said = found(30.0, 5.0, on_s=21.2, off_s=10.6)["termination_time"]
    assert said.low < 3600 + 1200 * np.log(10) < said.high
    assert said.high - said.low > 120


def test_pulses_that_sink_into_the_display_have_faded() -> None:
    """10 mA display: a current of 0.1 A at its end is seen, one of 0.03 A flickers."""
    coarse = meter.meter({"accuracy": "±(0.5 % + 2)", "resolution": "10 mA"}, "A")
    time = np.arange(-300.0, 12000.0, 1.0) + 0.2
    late = np.maximum(time - 3600, 0)
    for stop_A, ends in ((0.15, True), (0.03, None)):
        current = np.where((time < 0) | (late > -1200 * np.log(stop_A)), 0.0, np.exp(-late / 1200))
        current = np.where(time % 31.8 < 21.2, current, 0.0)
        volts = 4.1 - 0.6 * np.maximum(3600 - time, 0) / 3600 - OHM * current
        record = charge.on_one_clock(
            pd.Series(np.round(volts, 3), time),
            pd.Series(np.round(current, 2), time),
            voltmeter=VOLTMETER,
            ammeter=coarse,
        )
        assert items(charge.analyse_one(record, cell=CELL))["terminates"].value is ends


def test_an_on_time_of_fewer_than_three_rows_shows_no_level() -> None:
    for every_s, level in ((2.0, None), (0.5, 1.0)):
        assert found(every_s, every_s, on_s=3.1, off_s=3.1)["plateau_current"].value == level
