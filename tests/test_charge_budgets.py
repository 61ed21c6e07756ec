"""What a charge's currents carry as uncertainty, part by part, against closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from test_charge_numbers import AMMETER, VOLTMETER
from test_charge_untold import OHM, course

from reviewkit import charge
from reviewkit.charge import burden_correction, currents, limit_time, sources
from reviewkit.charge.analysis import ChargeResult
from reviewkit.metrology import Component, Measured

STOP_S = 3600 + 1200 * math.log(20)
"""1 A for an hour, then exp(−t/1200 s), is at 0.05 A then."""


def charged(
    *, droop: float = 0.0, noise_A: float = 0.0, every_s: float = 4.0, after_A: float = 0.0, size: float = 1.0
) -> ChargeResult:
    """1 A, times `size`, falling by a share until an hour has passed; a taper to 0.05 A; 40 min of rest."""
    time = np.arange(-120.0, STOP_S + 2400, every_s) + 0.2
    late = np.maximum(time - 3600, 0)
    plateau = 1 - droop * np.clip(time, 0, 3600) / 3600
    current = size * plateau * np.exp(-late / 1200) + noise_A * np.random.default_rng(2).standard_normal(
        len(time)
    )
    flows = (time >= 0) & (time <= STOP_S)
    current = np.where(flows, current, after_A * (time > STOP_S))
    volts = np.where(flows, 4.2 - 0.6 * np.maximum(3600 - time, 0) / 3600, np.where(time < 0, 3.55, 4.19))
    record = charge.on_one_clock(
        pd.Series(np.round(volts, 3), time),
        pd.Series(np.round(current, 4), time),
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
    )
    return charge.analyse_one(record)


def parts(found: Measured | None) -> dict[str, Component]:
    assert found is not None
    return {part.name: part for part in found.components}


def test_a_droop_carries_noise_counts_and_drift() -> None:
    """Closed forms: a line's slope over n rows scatters by σ√12/(√n·length); 3 counts of 1 mA; a tenth of 8.

    The percent of the ammeter's statement drops out of a relative change; that a meter's error wanders by a
    tenth of its statement is chosen, no source.
    """
    found = charged(droop=0.05, noise_A=0.002).get("plateau_droop")
    assert found is not None
    assert found.value == pytest.approx(-5.0, abs=0.1)
    budget = parts(found)
    noise = budget["droop: scatter of the readings"]
    assert noise.standard == pytest.approx(100 * 0.002 * math.sqrt(12 / 900), rel=0.15)
    assert noise.dof == pytest.approx(898, rel=0.3)
    (counts,) = (part for part in found.components if part.name.endswith("(counts)"))
    assert abs(counts.contribution) * math.sqrt(3) == pytest.approx(0.003 * 5.0, rel=0.03)
    drift = budget["droop: the ammeter’s own drift over the charge"]
    assert abs(drift.contribution) * math.sqrt(3) == pytest.approx(0.1 * 0.8, rel=0.01)


def test_the_current_at_the_cut_off_carries_its_slope_and_the_display() -> None:
    """By hand: 0.05 A falls by 0.05/1200 A/s; a row comes every 4 s; 30 s hold eight rows of δ/√12."""
    found = charged().get("termination_current")
    assert found is not None
    assert found.value == pytest.approx(0.05, abs=2e-4)
    budget = parts(found)
    moment = budget["termination current: moment of the cut-off"]
    assert abs(moment.contribution) == pytest.approx(0.05 / 1200 * 2 * 2 / 3, rel=0.2)
    line = budget["termination current: scatter about the last half minute’s line"]
    # Carried on from the middle of eight rows to half a row behind the last: 1/8 + (4.0/1)²/42 rows².
    assert line.standard == pytest.approx(1e-3 / math.sqrt(12) * math.sqrt(1 / 8 + 4.0**2 / 42), rel=0.1)
    assert line.dof == 6


def test_what_flows_afterwards_is_the_median_of_the_rest() -> None:
    result = charged(after_A=0.004)
    assert result.phases is not None
    states = currents.states_after(result.record, result.phases)
    assert [one.level.value for one in states] == pytest.approx([0.004], abs=1e-5)


@pytest.mark.parametrize(("first_mA", "second_mA", "levels"), [(4.0, 1.0, 2), (4.0, 4.0, 1), (4.0, 3.9, 1)])
def test_a_level_that_changes_once_is_two(first_mA: float, second_mA: float, levels: int) -> None:
    """A step of three times the noise is seen in a thousand rows; a tenth of that among forty is not."""
    rng = np.random.default_rng(3)
    count = 1000 if levels == 2 else 40
    current = 1e-3 * np.repeat([first_mA, second_mA], count // 2) + 1e-3 * rng.standard_normal(count)
    cut = currents._change(current, 1e-3)
    assert (cut == pytest.approx(count // 2, abs=3)) if levels == 2 else cut == 0


def test_chance_alone_makes_no_second_level() -> None:
    """Thirty is (5.5 σ)²: none of 300 logs of white noise has it, a quarter of them would have four."""
    rng = np.random.default_rng(5)
    assert not any(currents._change(rng.standard_normal(400), 1.0) for _ in range(300))
    ten = np.repeat([0.0, 9.0], 5)
    assert currents._change(ten, 1.0) == 5
    assert currents._change(ten[1:], 1.0) == 0
    # (Δ/2)²·n of four times as many rows must reach 30, and does so from here on.
    assert currents._change(np.repeat([0.0, 1.0], 65), 1.0) == 65
    assert currents._change(np.repeat([0.0, 1.0], 55), 1.0) == 0


def test_readings_that_bend_are_carried_on_along_the_bend() -> None:
    """A parabola of noise far below its bend, against numpy.polyfit with its covariance; a line stays one."""
    time = np.arange(0.0, 40.0, 4.0)
    noise = 1e-4 * np.random.default_rng(1).standard_normal(10)
    bent = currents.carried_on(time, 0.05 - 1e-3 * time + 2e-5 * time**2 + noise, 42.0, 0.0)
    fitted, cov = np.polyfit(time, 0.05 - 1e-3 * time + 2e-5 * time**2 + noise, 2, cov=True)
    there = np.array([42.0**2, 42.0, 1.0])
    assert bent.value == pytest.approx(there @ fitted, rel=1e-9)
    assert bent.standard == pytest.approx(math.sqrt(there @ cov @ there), rel=1e-6)
    assert bent.slope == pytest.approx(2 * fitted[0] * 42.0 + fitted[1], rel=1e-6)
    assert bent.dof == 7
    straight = currents.carried_on(time, 0.05 - 1e-3 * time + noise, 42.0, 0.0)
    assert straight.dof == 8
    assert currents.carried_on(time[:5], (0.05 + 2e-4 * time**2)[:5], 18.0, 0.0).dof == 3
    assert currents.carried_on(time[:6], (0.05 + 2e-4 * time**2)[:6], 22.0, 1e-6).dof == 3
    # Rows that scatter by less than the display are taken to scatter by the display.
    assert currents.carried_on(time, 0.05 + 2e-4 * time**2, 42.0, 1e-3).standard > 1e-3


def test_the_draw_from_a_source_is_that_of_all_but_its_highest_hundredth() -> None:
    """An inrush of half a per cent of the rows is no steady draw; 2 % are; four rows tell nothing."""
    result = charged()
    assert result.phases is not None
    time = np.arange(10.0, 3000.0, 2.5)
    port = np.full(len(time), 0.6)

    def drawn(amps: np.ndarray, at: np.ndarray = time) -> float | None:
        record = replace(result.record, source_current_A=pd.Series(amps, at))
        found = sources.drawn(replace(result, record=record), sources.PortMeters(None, None))
        return found.value if found else None

    port[100:106] = 2.0
    assert drawn(port) == pytest.approx(0.6)
    port[200:218] = 2.0
    assert drawn(port) == pytest.approx(2.0)
    assert drawn(port[:5], time[:5]) == pytest.approx(0.6)
    assert drawn(port[:4], time[:4]) is None


def test_time_at_the_limits_is_left_open_by_rows_and_readings() -> None:
    """By hand: of 800 s, rows of 8 s leave one per cent open to either side, and no share passes 100 %."""
    found = limit_time.Adherence(80.0, (), 79.0, 99.5)
    wider = limit_time._with_ends(found, 8.0, 800.0)
    assert (wider.low, wider.high) == (78.0, 100.0)
    assert limit_time._with_ends(found, 8.0, 0.0) == found
    assert limit_time._with_ends(limit_time.Adherence(80.0, ()), 8.0, 800.0).low is None


def test_a_voltage_that_was_not_logged_may_have_been_at_its_limit() -> None:
    """Half the time at the plateau, a quarter held, a quarter unseen: 75 % at least, all of it at most."""
    time = np.arange(0.0, 401.0)
    current = np.where(time < 200, 1.0, 0.5)
    volts = np.where(time < 300, 4.2, np.nan)
    found = limit_time.adherence(time, volts, current, plateau_A=1.0, set_V=4.2, doubt_A=0.001, doubt_V=0.001)
    assert found.low == pytest.approx(75.0)
    assert found.share == pytest.approx(100.0)
    assert found.high == pytest.approx(100.0)
    off = np.where(time < 300, 4.1, np.nan)
    found = limit_time.adherence(time, off, current, plateau_A=1.0, set_V=4.2)
    assert (found.low, found.high) == (pytest.approx(50.0), pytest.approx(75.0))
    assert found.share == pytest.approx(100 * 2 / 3)


def test_readings_near_the_edge_of_a_band_leave_the_share_open() -> None:
    """Half of the time 3.2 % below the plateau: within 3 % only if a reading may be 0.3 % off."""
    time = np.arange(0.0, 401.0)
    current, volts = np.where(time < 200, 1.0, 0.968), np.full(401, 4.0)
    for doubt_A, high in ((0.001, 50.0), (0.003, 100.0)):
        found = limit_time.adherence(time, volts, current, plateau_A=1.0, set_V=4.2, doubt_A=doubt_A)
        assert (found.low, found.share, found.high) == pytest.approx((50.0, 50.0, high))
    at = limit_time.adherence(time, np.full(401, 4.1885), current, plateau_A=1.0, set_V=4.2, doubt_V=0.002)
    assert (at.low, at.share, at.high) == pytest.approx((50.0, 50.0, 100.0))


def test_the_share_at_the_limits_is_open_by_two_standard_deviations_and_half_a_step() -> None:
    """Normal readings: of those three σ outside the band, 16 % lie within two σ of it, 84 % within four.

    Half of the charge is at its plateau, and half of it held; the display may hide half a step of either.
    """
    result = charged(noise_A=0.004)
    record, phases = result.record, result.phases
    assert phases is not None

    def highest(plateau_A: float, set_V: float | None) -> float:
        found = limit_time.at_limits(record, phases, plateau_A=plateau_A, set_V=set_V, series_ohm=0.0)
        assert found is not None
        assert found.high is not None
        return found.high

    assert highest((1 + 3 * 0.004) / 0.97, None) == pytest.approx(8.0, abs=5.0)
    reach = 0.010 + 2 * record.noise_V + 0.0005
    assert highest(math.nan, 4.2 + reach - 1e-4) == pytest.approx(50.0, abs=3.0)
    assert highest(math.nan, 4.2 + reach + 1e-4) < 5.0


def test_pulses_at_the_voltage_limit_are_regressed_by_their_on_times() -> None:
    """On for 20 s, off for 10 s: V + 0.08 Ω · I is the set voltage while it is on; off, the cell is lower."""
    time = np.arange(-300.0, 9000.0, 1.0) + 0.2
    amps, volts = course(time, on_s=21.2, off_s=10.6)
    record = charge.on_one_clock(
        pd.Series(np.round(volts, 3), time),
        pd.Series(np.round(amps, 3), time),
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
    )
    current, held = burden_correction._taper(charge.analyse_one(record))
    assert len(current) > 20
    assert current.max() < 1.0
    assert held + OHM * current == pytest.approx(4.1, abs=3e-3)
