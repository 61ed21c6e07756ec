"""What the current log alone shows: where current flows, what a pause is; on small logs made by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from test_charge_numbers import AMMETER, VOLTMETER

from reviewkit import charge
from reviewkit.charge import profile
from reviewkit.charge.profile import Profile
from reviewkit.charge.record import ChargeRecord


def of(current: np.ndarray, *, every_s: float = 1.0, volts: np.ndarray | None = None) -> Profile | None:
    """The profile of a current in rows so far apart, beside a cell that rises from 3.6 V."""
    return profile.of(record_of(current, every_s=every_s, volts=volts))


def record_of(current: np.ndarray, *, every_s: float = 1.0, volts: np.ndarray | None = None) -> ChargeRecord:
    time = every_s * np.arange(len(current))
    shown = 3.6 + 1e-5 * time if volts is None else volts
    return charge.on_one_clock(
        pd.Series(np.round(shown, 3), time),
        pd.Series(np.round(current, 3), time),
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
    )


def stretches(*pieces: tuple[float, int]) -> np.ndarray:
    """A current of so many amperes for so many rows each, nothing before and after."""
    return np.concatenate([np.full(rows, amps) for amps, rows in ((0.0, 30), *pieces, (0.0, 60))])


def blocks(*pieces: tuple[float, int], every_s: float = 1.0) -> int:
    found = of(stretches(*pieces), every_s=every_s)
    return len(found.blocks) if found else 0


def train(count: int, on: int, off: int, *, also: int = 0) -> list[tuple[float, int]]:
    """So many pauses between on-times of 1 A; every second one longer by `also` rows."""
    pieces: list[tuple[float, int]] = [(1.0, on)]
    for number in range(count):
        pieces += [(0.0, off + also * (number % 2)), (1.0, on)]
    return pieces


def pulsed(pieces: list[tuple[float, int]], every_s: float = 1.0) -> bool:
    found = of(stretches(*pieces), every_s=every_s)
    assert found is not None
    return bool(found.pulsing.any())


@pytest.mark.parametrize(("rows", "charges"), [(12, 1), (8, 0)])
def test_a_charge_lasts_ten_seconds_at_least(rows: int, charges: int) -> None:
    assert blocks((1.0, rows)) == charges


@pytest.mark.parametrize(("rows", "charges"), [(3, 1), (2, 0)])
def test_a_charge_has_three_rows_at_least(rows: int, charges: int) -> None:
    """Rows of a minute: two with current may be one touch of a plug."""
    assert blocks((1.0, rows), every_s=60.0) == charges


@pytest.mark.parametrize(("off", "charges"), [(14, 1), (22, 2)])
def test_a_short_stop_is_a_dip_and_a_longer_one_a_pause(off: int, charges: int) -> None:
    assert blocks((1.0, 200), (0.0, off), (1.0, 200)) == charges


@pytest.mark.parametrize(("after_A", "charges"), [(0.6, 1), (0.4, 2)])
def test_what_goes_on_after_a_dip_has_half_the_current_at_least(after_A: float, charges: int) -> None:
    """A trickle after an end is no charge that goes on."""
    assert blocks((1.0, 200), (0.0, 8), (after_A, 200)) == charges


def test_a_dip_is_left_out_of_what_is_read_of_levels() -> None:
    found = of(stretches((1.0, 200), (0.0, 8), (1.0, 200)))
    assert found is not None
    assert found.pauses_s == ((229.0, 238.0),)
    assert found.edges == 2
    assert not found.on[229:239].any()
    assert found.on[235 - 10 : 228].all()
    # A single low row is no dip worth a mention.
    lone = of(stretches((1.0, 200), (0.0, 1), (1.0, 200)))
    assert lone is not None
    assert lone.pauses_s == ()


@pytest.mark.parametrize(("count", "pulses"), [(6, True), (5, False)])
def test_six_pauses_alike_are_a_pulse_train(count: int, pulses: bool) -> None:
    assert pulsed(train(count, 30, 30)) is pulses


@pytest.mark.parametrize(("on", "off", "pulses"), [(85, 85, True), (30, 100, False), (100, 30, False)])
def test_pulses_are_at_most_a_minute_and_a_half(on: int, off: int, pulses: bool) -> None:
    assert pulsed(train(8, on, off)) is pulses


@pytest.mark.parametrize(("also", "pulses"), [(19, True), (23, False)])
def test_pulses_are_alike_within_sixty_per_cent_and_two_rows(also: int, pulses: bool) -> None:
    """Off for 30 rows and for 30 + 19: up to 1.6 · 31 + 2 s are alike, as the rows show them."""
    assert pulsed(train(20, 30, 30, also=also)) is pulses


@pytest.mark.parametrize(("count", "off", "pulses"), [(31, 4, True), (29, 4, False), (31, 12, False)])
def test_thirty_slow_pauses_alike_are_a_beat_of_pulses_with_the_rows(
    count: int, off: int, pulses: bool
) -> None:
    """Rows of a minute: pauses of 5 minutes look like pulses met now and then, of 13 they do not."""
    assert pulsed(train(count, 5, off), every_s=60.0) is pulses


def test_a_current_starts_at_a_fiftieth_of_the_plateau() -> None:
    """METHODS' definition; 1 A, noise far below: 15 mA are before the start, 25 mA are not."""
    low = of(stretches((0.015, 60), (1.0, 300)))
    high = of(stretches((0.025, 60), (1.0, 300)))
    assert low is not None
    assert high is not None
    assert low.start_A == pytest.approx(0.02, abs=1e-3)
    assert low.level_A == high.level_A == 1.0
    assert (low.blocks[0].first, high.blocks[0].first) == (90, 30)


def test_a_taper_counts_down_to_three_thousandths_of_the_plateau() -> None:
    """And to three steps of the display: both are 3 mA here, which a fall from 1 A to 2 mA passes."""
    taper = np.geomspace(1.0, 0.002, 1200)
    found = of(np.concatenate([np.zeros(30), np.ones(300), taper, np.zeros(60)]))
    assert found is not None
    assert taper[found.blocks[-1].last - 330] == pytest.approx(0.0035, abs=0.0006)


def test_the_plateau_is_guessed_from_the_larger_half_of_the_currents() -> None:
    """Two thirds of the time at 0.4 A are below half of 1 A; 0.6 A are not, and stand longest."""
    for amps, level in ((0.4, 1.0), (0.6, 0.6)):
        found = of(stretches((1.0, 300), (amps, 600)))
        assert found is not None
        assert found.level_A == level


def test_a_charge_of_few_rows_in_a_long_log_has_its_level() -> None:
    """Twelve rows among ten thousand are left out of a 99.5 % quantile."""
    found = of(np.concatenate([np.zeros(5000), np.ones(12), np.zeros(5000)]))
    assert found is not None
    assert found.level_A == 1.0


def test_what_an_ammeter_shows_for_none_is_taken_off() -> None:
    """Its statement allows ±3 counts for no current, and half a step; 5 mA are more than that."""
    for shown_A, zero_A in ((0.003, 0.003), (-0.002, -0.002), (0.005, 0.0)):
        found = of(np.concatenate([np.full(60, shown_A), np.ones(300), np.full(60, shown_A)]))
        assert found is not None
        assert found.zero_A == zero_A


def test_rows_that_stand_off_from_all_about_them_are_no_level() -> None:
    """One to three rows off the plateau by 3 % are means over a switching; five are a level."""
    for rows, strays in ((1, 1), (3, 3), (5, 0)):
        current = stretches((1.0, 400))
        current[200 : 200 + rows] = 0.97
        found = of(current)
        assert found is not None
        assert int((~found.on[190:220]).sum()) == strays
    near = stretches((1.0, 400))
    near[200] = 0.99
    found = of(near)
    assert found is not None
    assert found.on[200]


def test_a_trickle_that_stays_after_a_cut_off_is_not_the_charge() -> None:
    """From 0.3 A to 0.05 A, which then stays while the voltage falls: the charge ended there."""
    taper = np.linspace(1.0, 0.3, 200)
    current = stretches(*[(float(one), 2) for one in taper], (0.05, 100))
    volts = np.where(np.arange(len(current)) < 430, 4.2, 4.15)
    found = of(current, volts=volts)
    assert found is not None
    assert found.blocks[0].last == pytest.approx(429, abs=1)
    rising = of(current, volts=np.where(np.arange(len(current)) < 480, 4.0, 4.2))
    assert rising is not None
    assert rising.blocks[0].last == pytest.approx(529, abs=1)
    short = of(stretches(*[(float(one), 2) for one in taper], (0.05, 15)), volts=volts[:505])
    assert short is not None
    assert short.blocks[0].last > 430


def test_rows_far_apart_leave_pulses_to_the_voltage() -> None:
    """A voltage that jumps by 50 mV every 5 s while the rows show one current: a beat, no level."""
    time = np.arange(600)
    volts = 3.7 + 0.05 * (time // 5 % 2)
    found = of(stretches((1.0, 510)), volts=volts)
    assert found is not None
    assert not found.resolved
    assert found.pulsing[100:500].all()
    small = of(stretches((1.0, 510)), volts=3.7 + 0.003 * (time // 5 % 2))
    assert small is not None
    assert small.resolved


def test_thirty_stops_of_a_single_row_leave_their_length_open() -> None:
    for count, resolved in ((30, False), (28, True)):
        found = of(stretches(*train(count, 9, 1)))
        assert found is not None
        assert found.resolved is resolved


def test_a_bin_pairs_the_current_and_the_voltage_of_one_time() -> None:
    """By hand: 1 A that falls by 0.1 mA a row, 3.6 V that rise by 0.1 mV a row; some 320 bins."""
    rows = np.arange(3600)
    current = np.concatenate([np.zeros(30), 1 - 1e-4 * rows, 0.3 + 0 * rows[:600], np.zeros(60)])
    record = record_of(current, volts=3.6 + 1e-4 * np.arange(len(current)))
    found = profile.of(record)
    assert found is not None
    bins = profile.bins(record, found)
    seen = np.isfinite(bins.voltage_V)
    assert bins.voltage_V[seen] == pytest.approx(3.6 + 1e-4 * bins.time_s[seen], abs=6e-4)
    falling = bins.time_s < 3600
    assert bins.current_A[falling] == pytest.approx(1 - 1e-4 * (bins.time_s[falling] - 30), abs=6e-4)
    assert bins.current_A[bins.time_s > 3650] == pytest.approx(0.3, abs=1e-3)
    assert 300 <= len(bins) <= 345
    assert bins.span_s.sum() == pytest.approx(4200, abs=15)
    assert len(set(bins.group)) == 1
    # The first and the last bin may hold readings from before and after.
    assert not seen[0]
    assert not seen[-1]
    assert seen[2:-2].all()
    later = replace(record, voltage_V=record.voltage_V.iloc[500:])
    bins = profile.bins(later, found)
    seen = np.isfinite(bins.voltage_V)
    assert bins.time_s[seen][0] == pytest.approx(500, abs=15)
    assert bins.voltage_V[seen] == pytest.approx(3.6 + 1e-4 * bins.time_s[seen], abs=1.2e-3)


def test_a_bin_holds_no_step_and_coarser_bins_hold_none_either() -> None:
    """Averages of neighbours of one group: by hand, two and two, the odd one alone; none across a jump."""
    count = 9
    bins = profile.Bins(
        10.0 * np.arange(count),
        np.full(count, 10.0),
        np.array([1.0, 1.0, 1.0, 1.0, 1.0, 0.5, 0.5, 0.5, 0.5]),
        np.array([3.6, 3.7, np.nan, 3.9, 4.0, 4.0, 4.0, np.nan, np.nan]),
        np.full(count, 0.004),
        np.full(count, 0.002),
        np.array([0, 0, 0, 0, 0, 0, 0, 1, 1]),
        np.zeros(count, dtype=bool),
    )
    two = bins.coarser(2)
    assert two.time_s.tolist() == [5.0, 25.0, 40.0, 55.0, 75.0]
    assert two.span_s.tolist() == [20.0, 20.0, 10.0, 20.0, 20.0]
    assert two.current_A.tolist() == [1.0, 1.0, 1.0, 0.5, 0.5]
    assert two.voltage_V[:4] == pytest.approx([3.65, 3.9, 4.0, 4.0])
    assert np.isnan(two.voltage_V[4])
    assert two.current_sd[:3] == pytest.approx([0.004 / 2**0.5, 0.004 / 2**0.5, 0.004])
    # A voltage limit wanders by 1 mV whatever is averaged, a current limit by half a thousandth.
    assert bins.coarser(9).voltage_sd[0] == pytest.approx(0.001)
    assert bins.coarser(9).current_sd[0] == pytest.approx(0.004 / 5**0.5)
    assert two.group.tolist() == [0, 0, 0, 0, 1]
