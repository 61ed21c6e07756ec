"""Which readings a voltage at the cell is read from: at the knee, held, at the peak, settled."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from test_charge_readings import a_record, phases_of

from reviewkit.charge import voltages
from reviewkit.charge.regimes import Phase, Phases
from reviewkit.logs.log import Gap
from reviewkit.metrology import Component, Measured

TIME_S = 10.0 * np.arange(108)
KNEE = Measured(300.0, "s", (Component("knee", 20.0, "s", "rectangular"),))


def taper(knee_s: float = 300.0, **more: Any) -> Any:
    """A charge from 30 s to 1020 s that ends at 1025 s, at its voltage limit from a knee on."""
    given = phases_of(3, 102, **({"knee": Measured(knee_s, "s")} | more))
    limit = Phase("constant voltage", knee_s, 1025.0)
    given.spans, given.named = (limit,), lambda name: (limit,)
    given.mask = lambda time, name: Phases.mask(given, time, name)
    return given


def held(monkeypatch: pytest.MonkeyPatch, given: Any, *, moved_s: float = 0.0, last_row: int = 102) -> Any:
    """The times of the readings that count as held."""
    monkeypatch.setattr(voltages.ending, "whole_rows", lambda record, block: last_row)
    found = voltages._held(a_record(np.ones(108), 4.2), given, moved_s)
    return None if found is None else (found[2][0], found[2][-1], len(found[2]))


# ------------------------------------------------------------------ held


def test_a_held_voltage_is_that_of_the_last_half_of_its_phase(monkeypatch: pytest.MonkeyPatch) -> None:
    """From (300 + 1025)/2 = 662.5 s to a row before the last one with current, at 1020 s."""
    assert held(monkeypatch, taper()) == (670.0, 1010.0, 35)
    # A last row that averages over the end counts for less; the current's clock may be moved.
    assert held(monkeypatch, taper(), last_row=101) == (670.0, 1000.0, 34)
    assert held(monkeypatch, taper(), moved_s=10.0) == (680.0, 1020.0, 35)
    # What never ends is held up to the end of its log, or of what is told.
    never = taper(ending="never", end_s=1045.0)
    never.spans = (Phase("constant voltage", 300.0, 1045.0),)
    assert held(monkeypatch, never) == (680.0, 1030.0, 36)
    faded = taper(ending="faded", end_s=1045.0)
    faded.spans = never.spans
    assert held(monkeypatch, faded) == (680.0, 1030.0, 36)


@pytest.mark.parametrize(("knee_s", "count"), [(955.0, 3), (965.0, None)])
def test_a_held_voltage_needs_three_readings(
    knee_s: float, count: int | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = held(monkeypatch, taper(knee_s))
    assert (None if found is None else found[2]) == count


def test_a_held_voltage_in_pulses_is_that_of_the_on_times(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every fourth row off: of the moments between two rows with current half are left."""
    pulsed = taper(pulsed=True)
    pulsed.profile.pulsing[:] = True
    pulsed.profile.on[::4] = False
    monkeypatch.setattr(voltages.ending, "whole_rows", lambda record, block: 102)
    found = voltages._held(a_record(np.ones(108), 4.2), pulsed, 5.0)
    assert found is not None
    assert set(np.round((found[2] - 5) / 10 % 4, 1)) <= {1.5, 2.5}
    assert len(found[2]) == 17


def test_between_two_rows_of_an_on_time_and_outside_all_pulses_is_on() -> None:
    on = np.array([False, True, True, False, True, False, False, True, True])
    pulsing = np.array([True] * 6 + [False] * 3)
    record = SimpleNamespace()
    phases = SimpleNamespace(profile=SimpleNamespace(time_s=np.arange(9.0), on=on, pulsing=pulsing))
    moments = np.array([-0.5, 0.5, 1.5, 2.5, 4.5, 5.5, 6.5, 7.5, 8.5])
    expected = [False, False, True, False, False, False, True, True, True]
    assert voltages._on_times(record, phases, moments).tolist() == expected


def hold(monkeypatch: pytest.MonkeyPatch, clock_s: float | None = None, **more: Any) -> Measured:
    """A hold voltage that changes by 1 mV a second of the clock and 0.1 mV a second of the knee."""

    def median(record: Any, phases: Any, moved_s: float, *, knee_s: float = 300.0) -> Any:
        value = 4.2 + 1e-3 * moved_s + 1e-4 * (knee_s - 300)
        return value, 0.0, TIME_S[70:90], np.full(20, value)

    monkeypatch.setattr(voltages, "_held", median)
    clock = None if clock_s is None else Measured(0.0, "s", (Component("c", clock_s, "s", "rectangular"),))
    found = voltages.hold(a_record(np.ones(108), 4.2, clock_offset=clock), taper(**more))
    assert found is not None
    return found


def test_a_hold_voltage_moves_with_the_clocks_and_with_the_knee(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rectangular limits whose expanded uncertainties are 1.65 times the standard ones (GUM 4.3.7, G.2.3)."""
    still = hold(monkeypatch)
    assert still.value == 4.2
    assert [part.name for part in still.components] == ["V: accuracy"]
    clock = Measured(0.0, "s", (Component("c", 5.0, "s", "rectangular"),))
    moved = hold(monkeypatch, clock_s=5.0)
    assert [part.size for part in moved.components[1:]] == [pytest.approx(1e-3 * clock.expanded)]
    knee = hold(monkeypatch, knee=KNEE)
    assert [part.size for part in knee.components[1:]] == [pytest.approx(1e-4 * KNEE.expanded)]
    other = hold(monkeypatch, other_knees=((100.0, 120.0), (350.0, 360.0)))
    assert [part.size for part in other.components[1:]] == [pytest.approx(0.02)]


def test_nothing_is_held_without_a_knee_or_a_phase(monkeypatch: pytest.MonkeyPatch) -> None:
    one = a_record(np.ones(108), 4.2)
    assert voltages.hold(one, phases_of(3, 102)) is None
    assert voltages.hold(one, phases_of(3, 102, knee=KNEE)) is None
    monkeypatch.setattr(voltages, "_held", lambda *rest, **more: None)
    assert voltages.hold(one, taper()) is None


# ------------------------------------------------------------------ at the knee, at the start


@pytest.mark.parametrize(("near_s", "volts"), [(8, 4.2), (4, 4.1)])
def test_a_knee_voltage_is_the_median_of_ten_seconds_to_either_side(near_s: int, volts: float) -> None:
    """Rows of 1 s, of which 17 of 21 stand at 4.2 V, or 9."""
    time = np.arange(1080.0)
    shown = np.where(np.abs(time - 500) <= near_s, 4.2, 4.1)
    one = a_record(np.ones(1080), shown, every_s=1.0)
    found = voltages.at_knee(one, phases_of(30, 1020, every_s=1.0, knee=Measured(500.0, "s")))
    assert found is not None
    assert found.value == pytest.approx(volts, abs=1e-3)


@pytest.mark.parametrize(("rows", "moves"), [(3, True), (2, False)])
def test_a_knees_moment_counts_where_three_rows_tell_a_slope(rows: int, moves: bool) -> None:
    """1 mV/s up to a row after the knee: 7 s of doubt about it are 7 mV."""
    time = 10.0 * np.arange(108)
    knee = Measured(500.0, "s", (Component("knee", 7.0, "s"),))
    series = pd.Series(3.7 + 1e-3 * time, time)[time >= 520 - 10 * rows]
    one = a_record(np.ones(108), 4.0, voltage_V=series)
    found = voltages.at_knee(one, phases_of(3, 102, knee=knee))
    assert found is not None
    moved = [part for part in found.components if part.name == "knee"]
    assert [part.contribution for part in moved] == ([pytest.approx(7e-3)] if moves else [])


@pytest.mark.parametrize(("rows", "volts"), [(2, 4.1), (1, 4.15)])
def test_two_readings_about_a_knee_are_its_median(rows: int, volts: float) -> None:
    """Of one before a gap and one after it the voltage lies between both."""
    series = pd.Series([4.0, 4.1, 4.1, 4.2], [100.0, 480.0 if rows == 2 else 450.0, 490.0, 900.0])
    one = a_record(np.ones(108), 4.0, voltage_V=series)
    found = voltages.at_knee(one, phases_of(3, 102, knee=Measured(500.0, "s")))
    assert found is not None
    assert found.value == pytest.approx(volts)


def test_without_a_charge_the_first_reading_alone_is_the_start() -> None:
    one = a_record(np.zeros(108), np.concatenate(([3.1], np.full(107, 3.3))))
    assert voltages.start(one, None).value == pytest.approx(3.1)


@pytest.mark.parametrize(("count", "parts"), [(3, 2), (2, 1)])
def test_three_readings_scatter_and_two_do_not(count: int, parts: int) -> None:
    volts = np.array([4.0, 4.01, 3.995])[:count]
    found = voltages._median(a_record(np.ones(9)), TIME_S[:count], volts, "x")
    assert len(found.components) == parts


# ------------------------------------------------------------------ peak


def test_a_peak_of_a_single_reading_is_that_reading() -> None:
    series = pd.Series([3.9, 4.1, 4.0], [0.0, 500.0, 2000.0])
    one = a_record(np.ones(108), 4.0, voltage_V=series, cable_out_s=1000.0)
    assert voltages.peak(one, phases_of(3, 102)).value == 4.1


def gap_hides(volts: Any, first_s: float = 30.0, every_s: float = 10.0, rows: int = 60) -> float:
    """What a gap of 300 s after so many rows may hide above 4.059 V."""
    time = every_s * np.arange(rows)
    one = a_record(np.ones(rows), volts, every_s=every_s, voltage_gaps=(Gap(time[-1], time[-1] + 300.0),))
    given = phases_of(3, 200, every_s=every_s, first_sample_s=first_s, set_V=None, end_s=5000.0)
    return voltages._peak_hidden(one, given, 4.059, 5000.0)


def test_a_voltage_goes_on_within_a_gap_as_over_eight_rows_before_it() -> None:
    """4.0 V up to 510 s and then 0.5 mV/s, up to 4.04 V at 590 s: 4.19 V after 300 s of gap."""
    time = 10.0 * np.arange(60)
    volts = 4.0 + 5e-4 * np.maximum(time - 510, 0)
    assert gap_hides(volts) == pytest.approx(4.04 + 0.15 - 4.059, abs=1e-6)
    # And at least a minute: rows of 1 s, 0.5 mV/s over the last 60 of them.
    time = np.arange(200.0)
    volts = 4.0 + 5e-4 * np.maximum(time - 140, 0)
    assert gap_hides(volts, every_s=1.0, rows=200) == pytest.approx(4.0295 + 0.15 - 4.059, abs=1e-4)


@pytest.mark.parametrize(("first_s", "hides"), [(590.9, True), (591.1, False)])
def test_a_gap_before_the_charge_hides_no_peak(first_s: float, hides: bool) -> None:
    """It begins at 590 s; a second of it may be the clock's."""
    volts = 4.0 + 5e-4 * np.maximum(10.0 * np.arange(60) - 510, 0)
    assert (gap_hides(volts, first_s) > 0) == hides


@pytest.mark.parametrize(("rows", "hides"), [(4, True), (3, False)])
def test_four_rows_before_a_gap_tell_how_the_voltage_rises(rows: int, hides: bool) -> None:
    assert (gap_hides(4.04 + 5e-3 * np.arange(rows), first_s=0.0, rows=rows) > 0) == hides


# ------------------------------------------------------------------ settled


def relaxing(lag_s: float, length_s: float, *, every_s: float = 1.0, drop_V: float = 0.05) -> Any:
    """A cell that relaxes to 4.1 V with one time constant, from the end of its charge at 1020 s on."""
    time = every_s * np.arange(int((1020 + length_s) / every_s) + 1)
    volts = np.where(time < 1020, 4.2, 4.1 + drop_V * np.exp(-(time - 1020) / lag_s))
    return a_record(np.ones(len(time)), volts, every_s=every_s)


def test_a_cell_is_left_alone_from_its_last_charging_on_or_when_the_cable_is_pulled() -> None:
    """On a clock that may stand below none."""
    one = a_record(np.ones(9))
    block = SimpleNamespace(last_s=-50.0)
    later = SimpleNamespace(last_s=70.0)
    ended = SimpleNamespace(top_ups=(), main=(later, block))
    assert voltages.settle_from(one, ended) == -50.0
    assert voltages.settle_from(one, SimpleNamespace(top_ups=(block, later), main=(block,))) == 70.0
    one.cable_out_s = 60.0
    assert voltages.settle_from(one, ended) == 60.0


@pytest.mark.parametrize(("near_s", "volts"), [(20, 4.1), (0, 4.0)])
def test_a_settled_voltage_is_the_median_of_two_rows_to_either_side(near_s: float, volts: float) -> None:
    """Rows of 20 s: three of five stand at 4.1 V, or one."""
    time = 20.0 * np.arange(120)
    shown = np.where(np.abs(time - 1620) <= near_s, 4.1, 4.0)
    one = a_record(np.ones(120), shown, every_s=20.0)
    found, carried = voltages.settled(one, phases_of(2, 51, every_s=20.0), 10.0)
    assert found is not None
    assert not carried
    assert found.value == pytest.approx(volts, abs=1e-3)


@pytest.mark.parametrize(("every_s", "left_out_s"), [(1.0, 5.0), (10.0, 20.0)])
def test_a_relaxation_is_read_from_five_seconds_or_two_rows_after_the_end(
    every_s: float, left_out_s: float
) -> None:
    """What the readings show before is still the charge: 0.2 V more there moves nothing, after it does."""
    given = phases_of(int(30 / every_s), int(1020 / every_s), every_s=every_s)
    values = []
    for until in (0.0, left_out_s, left_out_s + 2 * every_s):
        one = relaxing(200.0, 300.0, every_s=every_s)
        time = one.voltage_V.index.to_numpy()
        one.voltage_V[(time > 1020) & (time <= 1020 + until)] += 0.2
        found, carried = voltages.settled(one, given, 10.0)
        assert carried
        assert found is not None
        values.append(found.value)
    assert values[1] == values[0]
    assert abs(values[2] - values[0]) > 1e-4
    # Ten minutes after the end, by the closed form.
    assert values[0] == pytest.approx(4.1 + 0.05 * math.exp(-3.0), abs=5e-4)


@pytest.mark.parametrize(("length_s", "told"), [(160, False), (320, True)])
def test_ten_readings_tell_a_relaxation(length_s: float, told: bool) -> None:
    one = relaxing(200.0, length_s, every_s=20.0)
    assert (voltages.settled(one, phases_of(2, 51, every_s=20.0), 10.0)[0] is not None) == told


@pytest.mark.parametrize(("lag_s", "length_s"), [(2000.0, 1000.0), (2000.0, 1500.0), (6000.0, 2400.0)])
def test_of_three_fits_the_one_without_the_true_lag_is_off_by_the_doubt(
    lag_s: float, length_s: float
) -> None:
    """An hour after the end, by the closed form: two fits give it, so their mean is off by a third."""
    time = np.arange(6.0, length_s)
    volts = 4.1 + 0.05 * np.exp(-time / lag_s)
    found = voltages._extrapolated(a_record(np.ones(9)), time, volts, 3600.0)
    off = found.value - (4.1 + 0.05 * math.exp(-3600 / lag_s))
    assert off > 1e-3
    assert found.components[1].size == pytest.approx(3 * off, rel=1e-3)


def test_what_is_still_to_come_is_known_to_half_of_itself() -> None:
    """A lag that all fits hold gives the closed form; the last twentieth of 294 rows are 14."""
    time = np.arange(6.0, 300.0)
    volts = 4.1 + 0.05 * np.exp(-time / 200.0)
    found = voltages._extrapolated(a_record(np.ones(9)), time, volts, 600.0)
    assert found.value == pytest.approx(4.1 + 0.05 * math.exp(-3.0), abs=1e-6)
    left = volts[-14:].mean() - found.value
    assert found.components[1].size == pytest.approx(left / 2, rel=1e-3)


def test_lags_reach_up_to_three_times_the_log(monkeypatch: pytest.MonkeyPatch) -> None:
    """A log of 299 s knows nothing of 2000 s: nor for sure of 600 s, and perhaps of 897 s."""
    fitted: list[list[float]] = []

    def relaxed(time: Any, volts: Any, lags: list[float], moment: float) -> float:
        fitted.append(lags)
        return 4.1

    monkeypatch.setattr(voltages, "_relaxed", relaxed)
    time = np.arange(6.0, 300.0)
    voltages._extrapolated(a_record(np.ones(9)), time, np.full(294, 4.1), 600.0)
    assert [one[-1] for one in fitted] == [600.0, 200.0, 897.0]
    time = np.arange(6.0, 350.0)
    voltages._extrapolated(a_record(np.ones(9)), time, np.full(344, 4.1), 600.0)
    assert [one[-1] for one in fitted[3:]] == [600.0, 200.0, 1047.0]
    time = np.arange(6.0, 600.0)
    voltages._extrapolated(a_record(np.ones(9)), time, np.full(594, 4.1), 600.0)
    assert [one[-1] for one in fitted[6:]] == [600.0, 200.0, 1797.0]
