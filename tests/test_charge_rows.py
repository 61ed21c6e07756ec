"""Each test that a charge's rows are put to by itself, on both sides of its bound; no simulation, no fit."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from reviewkit.charge import profile
from reviewkit.charge.profile import Bins, Block, Profile
from reviewkit.logs.log import Gap
from reviewkit.metrology import Component, Measured


def rows(
    current: Any, *, noise: float = 0.001, every_s: float = 1.0, step: float = 0.001, **more: Any
) -> Any:
    """Return what a record shows of its current: rows so far apart, a noise, a display step."""
    current = np.asarray(current, dtype=float)
    time = every_s * np.arange(len(current))
    given: dict[str, Any] = {
        "current": current,
        "time_s": time,
        "noise_A": noise,
        "interval_s": every_s,
        "ammeter": SimpleNamespace(
            resolution=step, half_width=lambda reading: 0.005 * abs(reading) + 3 * step
        ),
        "voltmeter": SimpleNamespace(resolution=0.001),
        "voltage": np.full(len(current), 4.0),
        "voltage_shown": np.full(len(current), 4.0),
        "voltage_time_s": time,
        "voltage_interval_s": every_s,
        "gaps": (),
        "clock_offset": None,
        "noise_V": 0.0005,
    }
    given |= more
    record = SimpleNamespace(**given)
    record.thinned = record
    return record


def joined(*pieces: tuple[float, int]) -> np.ndarray:
    return np.concatenate([np.full(count, amps) for amps, count in pieces])


# ------------------------------------------------------------------ begin, end, level


@pytest.mark.parametrize(("seconds", "level"), [(9, 3.0), (12, 2.0)])
def test_a_plateau_is_the_median_of_ten_seconds_of_the_larger_currents(seconds: int, level: float) -> None:
    """2 A for so long, 3 A for three rows: with less than ten seconds in all the highest is taken."""
    found = profile.rough_level(rows(joined((0.0, 30), (2.0, seconds - 3), (3.0, 3))))
    assert found == pytest.approx(level, abs=0.02)


def test_a_row_counts_for_at_most_three_intervals_and_the_median_is_one_of_time() -> None:
    record = rows(joined((2.0, 21), (3.0, 20), (0.0, 9)))
    record.time_s = np.concatenate((np.arange(21.0), 500 + np.arange(29.0)))
    # 20 s and three of the gap at 2 A, 20 s at 3 A.
    assert profile.rough_level(record) == 2.0
    record = rows(joined((2.0, 21), (3.0, 25), (0.0, 9)))
    record.time_s = np.concatenate((np.arange(21.0), 500 + np.arange(34.0)))
    assert profile.rough_level(record) == 3.0
    record = rows(joined((3.0, 20), (2.0, 10), (0.0, 9)))
    record.time_s = np.concatenate((np.arange(20.0), 20 + 2.5 * np.arange(10.0), 45 + np.arange(9.0)))
    assert profile.rough_level(record) == 2.0


@pytest.mark.parametrize(("amps", "level"), [(0.009, 0.0085), (0.05, 0.05)])
def test_less_than_the_statement_and_five_steps_may_be_a_quantile_of_few_rows(
    amps: float, level: float
) -> None:
    """±3 counts and five steps are 8 mA: below, the highest median of five rows counts as well."""
    values = np.zeros(5000)
    values[100:112] = amps
    assert profile.rough_level(rows(values, noise=0.0001)) == pytest.approx(amps)
    assert level <= amps


@pytest.mark.parametrize(("amps", "level"), [(0.0045, 0.0045), (-0.5, 0.0)])
def test_a_level_within_five_times_the_noise_is_the_highest_and_never_below_none(
    amps: float, level: float
) -> None:
    assert profile.rough_level(rows(np.full(200, amps))) == pytest.approx(level)


def test_what_is_shown_for_none_is_the_first_level_else_the_lowest() -> None:
    """Allowed are three counts and half a step: 3.5 mA."""
    for first, lowest, zero in (
        (0.0034, 0.5, 0.0034),
        (0.0036, 0.0030, 0.0030),
        (0.0036, 0.0036, 0.0),
        (-0.0034, 0.0, -0.0034),
    ):
        values = joined((first, 10), (1.0, 200), (lowest, 10))
        assert profile.shown_at_none(rows(values)) == pytest.approx(zero)
    # The first ten rows' median.
    assert profile.shown_at_none(rows(joined((0.001, 6), (0.002, 30), (1.0, 10)))) == pytest.approx(0.001)


@pytest.mark.parametrize(
    ("after", "end"),
    [
        ((0.06, 10), 39),
        ((0.039, 10), 29),  # the lower threshold is 0.04 A
        ((0.06, 1), 30),
    ],
)
def test_a_stretch_ends_where_the_median_of_five_rows_falls_below_the_lower_threshold(
    after: tuple[float, int], end: int
) -> None:
    values = joined((0.0, 10), (0.1, 20), after, (0.0, 30))
    assert profile._to_their_ends(rows(values), [(10, 29)], 0.04) == [(10, end)]
    assert profile._to_their_ends(rows(values), [(10, 29)], 0.2) == [(10, 29)]


@pytest.mark.parametrize(("tail", "end"), [(0.041, 39), (0.039, 29)])
def test_current_flows_on_with_four_tenths_of_what_it_was(tail: float, end: int) -> None:
    values = joined((0.0, 10), (0.1, 20), (tail, 10), (0.0, 30))
    assert profile._to_their_ends(rows(values), [(10, 29)], 0.01) == [(10, end)]


@pytest.mark.parametrize(("gap", "end"), [(12, 39), (10, 29), (11, 29)])
def test_a_stretch_is_not_lengthened_up_to_the_next(gap: int, end: int) -> None:
    """Ten rows flow on; the next stretch begins so many rows after the first ended."""
    values = joined((0.0, 10), (0.1, 20), (0.06, 10), (0.0, 20))
    assert profile._to_their_ends(rows(values), [(10, 29), (29 + gap, 59)], 0.04)[0] == (10, end)


def cut_off(trickle: float, count: int, before: float = 0.4, volts: Any = (4.2, 4.15)) -> tuple[int, int]:
    values = joined((1.0, 40), (before, 20), (trickle, count))
    record = rows(values, noise=0.001)
    record.voltage = np.where(np.arange(len(values)) < 75, volts[0], volts[1])
    return profile._up_to_cut_off(record, (0, len(values) - 1), 1.0)


@pytest.mark.parametrize(
    ("trickle", "count", "before", "end"),
    [
        (0.2, 40, 0.4, 59),
        (0.23, 40, 0.4, 59),
        (0.25, 40, 0.4, 99),  # a drop to less than 0.6
        (0.2, 40, 0.49, 59),
        (0.2, 40, 0.51, 99),  # from less than half of the plateau
        (0.2, 20, 0.4, 59),
        (0.2, 19, 0.4, 78),  # 20 rows of it
    ],
)
def test_a_charge_ends_where_current_drops_to_a_trickle_that_stays(
    trickle: float, count: int, before: float, end: int
) -> None:
    assert cut_off(trickle, count, before) == (0, end)


def test_a_trickle_under_which_the_voltage_rises_is_the_charge() -> None:
    assert cut_off(0.2, 40, volts=(4.15, 4.2)) == (0, 99)
    assert cut_off(0.2, 40, volts=(4.2, 4.2)) == (0, 59)
    assert cut_off(0.2, 40, volts=(4.2, np.nan)) in ((0, 59), (0, 99))


@pytest.mark.parametrize(("noise", "end"), [(0.0199, 59), (0.0201, 99)])
def test_a_drop_to_a_trickle_is_ten_times_the_noise(noise: float, end: int) -> None:
    values = joined((1.0, 40), (0.4, 20), (0.2, 40))
    assert profile._up_to_cut_off(rows(values, noise=noise), (0, 99), 1.0) == (0, end)
    assert profile._up_to_cut_off(rows(values[:19]), (0, 18), 1.0) == (0, 18)


@pytest.mark.parametrize(("last", "stays"), [(0.071, True), (0.069, False)])
def test_a_trickle_keeps_seven_tenths_of_itself(last: float, stays: bool) -> None:
    tail = np.concatenate((np.full(15, 0.1), np.full(10, last)))
    record = rows(np.zeros(60))
    assert profile._stays_low(record, tail, 0.5, 10) == stays
    assert not profile._stays_low(record, tail[-19:], 0.5, 10)
    # What rises above the level before ends it.
    rising = np.concatenate((np.full(19, 0.1), [0.6], np.full(30, 0.1)))
    assert not profile._stays_low(record, rising, 0.5, 10)
    kept = np.concatenate((np.full(20, 0.1), [0.6], np.full(30, 0.01)))
    assert profile._stays_low(record, kept, 0.5, 10)


def test_a_trickles_voltage_is_that_of_its_own_rows() -> None:
    """Six readings at least; of the rows from the fourth after the drop on."""
    record, tail = rows(np.zeros(60)), np.full(20, 0.1)
    record.voltage = np.full(60, np.nan)
    record.voltage[14:19] = 4.0
    assert not profile._stays_low(record, tail, 0.5, 10)
    record.voltage[19] = 4.0
    assert profile._stays_low(record, tail, 0.5, 10)
    record.voltage = np.concatenate((np.full(14, 3.0), np.full(5, 4.0), np.full(41, 4.0)))
    assert profile._stays_low(record, tail, 0.5, 10)
    record.voltage[30:] = 4.1
    assert not profile._stays_low(record, tail, 0.5, 10)


# ------------------------------------------------------------------ fading


@pytest.mark.parametrize(
    ("before", "after", "noise", "step", "faded"),
    [
        # A stop of less than 0.35 of the current before …
        (0.1, 0.066, 1e-4, 1e-4, True),
        (0.1, 0.064, 1e-4, 1e-4, False),
        # … than three times the noise …
        (0.01, 0.0, 0.0034, 1e-4, True),
        (0.01, 0.0, 0.0032, 1e-4, False),
        # … or than one and a half display steps.
        (0.01, 0.0, 1e-4, 0.0068, True),
        (0.01, 0.0, 1e-4, 0.0065, False),
    ],
)
def test_a_small_stop_is_a_fading(
    before: float, after: float, noise: float, step: float, faded: bool
) -> None:
    values = joined((before, 30), (after, 30))
    assert profile.fades(rows(values, noise=noise, step=step), (0, 29)) == faded


@pytest.mark.parametrize(
    ("later", "count", "faded"),
    [(0.033, 30, True), (0.035, 30, False), (0.033, 11, True), (0.033, 10, False)],
)
def test_a_current_that_falls_on_by_a_quarter_of_the_drop_has_faded(
    later: float, count: int, faded: bool
) -> None:
    """From 0.1 A to 47 mA, of which a quarter more is 13 mA: to 33.75 mA; more than ten rows tell it."""
    values = joined((0.1, 30), (0.047, 10), (later, count))
    assert profile.fades(rows(values, noise=1e-4), (0, 29)) == faded


@pytest.mark.parametrize(("noise", "faded"), [(0.035, True), (0.0005, False)])
def test_a_taper_goes_on_by_the_same_share(noise: float, faded: bool) -> None:
    """Falls by a tenth in five rows; a stop of less than 1.5 times that and 1.5 times the noise is none."""
    values = np.concatenate((np.full(20, 0.111), np.full(5, 0.111), np.full(5, 0.1), np.full(30, 0.04)))
    falling = 0.1 * (1 - 0.1 / 0.111)
    assert (1.5 * falling + 1.5 * noise > 0.06) == faded or noise > 0.02
    assert profile.fades(rows(values, noise=noise), (0, 29)) == faded


@pytest.mark.parametrize(("after", "faded"), [(0.0405, False), (0.0445, True)])
def test_a_falling_current_fades_with_a_stop_of_half_as_much_again(after: float, faded: bool) -> None:
    """From 0.16 A to 0.1 A in five rows: by 0.375 of itself, 37.5 mA in the next; 1.5 times are 56 mA."""
    values = np.concatenate((np.full(25, 0.16), np.full(5, 0.1), np.full(40, after)))
    assert (0.1 - after < 1.5 * 0.0375 + 1.5e-4) == faded
    assert profile.fades(rows(values, noise=1e-4), (0, 29)) == faded


def test_nothing_after_a_stretch_is_no_fading_and_one_row_may_hold_the_stop() -> None:
    values = joined((0.1, 30), (0.09, 1), (0.0, 30))
    assert not profile.fades(rows(values), (0, 60))
    assert not profile.fades(rows(values), (0, 29))
    assert profile.fades(rows(values), (0, 29), until=31)
    assert profile.fades(rows(values), (0, 29), until=32) == (0.1 - 0.045 < 0.035)


def test_what_flickers_after_a_fading_is_left_out_up_to_a_clear_rise() -> None:
    """Faded from 20 mA; what follows is below twice that and the start's 10 mA, or above."""
    for amps, kept in ((0.049, 1), (0.055, 2)):
        values = joined((0.02, 30), (0.015, 12), (amps, 12), (0.015, 10))
        spans = profile._not_faded(rows(values), [(0, 29), (42, 53)], 0.01)
        assert len(spans) == kept
    deep = joined((0.02, 30), (0.0, 12), (0.049, 12), (0.0, 10))
    assert len(profile._not_faded(rows(deep, noise=1e-4), [(0, 29), (42, 53)], 0.01)) == 2


@pytest.mark.parametrize(
    ("lowest", "noise", "shallow"),
    [(0.31, 1e-4, True), (0.29, 1e-4, False), (0.29, 0.09, True), (0.29, 0.088, False), (0.51, 1e-4, True)],
)
def test_a_stop_is_shallow_that_sinks_by_less_than_seven_tenths_or_eight_times_the_noise(
    lowest: float, noise: float, shallow: bool
) -> None:
    values = joined((1.0, 10), (lowest, 10), (1.0, 10))
    assert profile._shallow(rows(values, noise=noise), [(0, 9), (20, 29)]).tolist() == [False, shallow]
    assert profile._shallow(rows(values), [(0, 9)]).tolist() == [False]


# ------------------------------------------------------------------ pulses


def test_edges_of_an_on_time_are_left_out_from_three_rows_on() -> None:
    assert [profile._inner(*span) for span in ((5, 5), (5, 6), (5, 7), (5, 9))] == [
        (5, 5),
        (5, 6),
        (6, 6),
        (6, 8),
    ]
    assert profile.runs(np.array([True, False, True, True])) == [(0, 0), (2, 3)]


@pytest.mark.parametrize(
    ("noise", "away", "strays"), [(0.001, 0.016, 1), (0.001, 0.014, 0), (0.01, 0.09, 1), (0.01, 0.07, 0)]
)
def test_a_stray_is_15_thousandths_of_the_plateau_off_or_eight_times_the_noise(
    noise: float, away: float, strays: int
) -> None:
    values = np.ones(50)
    values[25] -= away
    assert profile._strays(rows(values, noise=noise), 1.0).sum() == strays


def voltage_jumps(size: float, count: int, *, usual: float = 0.0, length: int = 400) -> Any:
    volts = 4.0 + usual * (np.arange(length) % 2)
    for number in range(count):
        begin = 10 + number * (length // count)
        volts[begin : begin + (length // count) // 2] += size
    return rows(np.ones(length), voltage_shown=volts, voltage_time_s=np.arange(float(length)))


@pytest.mark.parametrize(
    ("size", "usual", "level", "found"),
    [
        (0.0041, 0.0, 0.1, True),
        (0.0039, 0.0, 0.1, False),  # four steps of 1 mV
        (0.0101, 0.0, 1.0, True),
        (0.0099, 0.0, 1.0, False),  # 10 mΩ at 1 A
        (0.02, 0.0021, 0.1, True),
        (0.013, 0.0021, 0.1, False),  # eight usual changes
    ],
)
def test_a_voltages_jumps_are_more_than_its_steps_its_changes_and_ten_milliohm(
    size: float, usual: float, level: float, found: bool
) -> None:
    jumps = profile._hidden_jumps(voltage_jumps(size, 20, usual=usual), [(0, 399)], level)
    assert (len(jumps) > 0) == found


@pytest.mark.parametrize(
    ("count", "stops", "found"), [(7, 0, True), (6, 0, False), (11, 2, True), (10, 2, False)]
)
def test_rows_miss_switchings_if_the_voltage_shows_twice_as_many_and_a_train_more(
    count: int, stops: int, found: bool
) -> None:
    """Each up and down is two switchings; a stop of the current is two, which may each be seen twice."""
    spans = [(100 * number, 100 * number + 80) for number in range(stops + 1)]
    jumps = profile._hidden_jumps(voltage_jumps(0.1, count), spans, 1.0)
    assert (len(jumps) > 0) == found
    if found:
        assert len(jumps) == 2 * count
        assert jumps[0] == 10.0


def test_few_readings_of_a_voltage_show_no_jumps_and_thirty_stops_of_one_row_do() -> None:
    short = rows(np.ones(20), voltage_shown=4.0 + 0.1 * (np.arange(20) // 2 % 2))
    assert len(profile._hidden_jumps(short, [(0, 19)], 1.0)) == 0
    for stops in (29, 30):
        spans = [(4 * number, 4 * number + 2) for number in range(stops + 1)]
        jumps = profile._hidden_jumps(rows(np.ones(200)), spans, 1.0)
        assert jumps.tolist() == ([4.0 * number + 2 for number in range(30)] if stops == 30 else [])


@pytest.mark.parametrize(
    ("after", "off_s", "how"),
    [(0.51, 10, "pulse"), (0.49, 10, "pause"), (0.51, 599, "pulse"), (0.51, 600, "pause")],
)
def test_where_rows_and_pulses_beat_the_same_current_flows_again_within_ten_minutes(
    after: float, off_s: int, how: str
) -> None:
    values = joined((1.0, 10), (0.0, off_s - 1), (after, 10))
    assert profile._beat(rows(values), [(0, 9), (9 + off_s, 18 + off_s)], 0, "pause") == how


@pytest.mark.parametrize(("every_s", "near_s"), [(1.0, 30.0), (20.0, 40.0)])
def test_rows_beside_a_hidden_switching_lie_within_half_a_minute_or_two_rows(
    every_s: float, near_s: float
) -> None:
    record = rows(np.ones(300), every_s=every_s)
    jumps = np.array([100 * every_s, 110 * every_s])
    beside = profile._beside(record, jumps)
    away = np.minimum(np.abs(record.time_s - jumps[0]), np.abs(record.time_s - jumps[1]))
    assert np.array_equal(beside, away < near_s)
    assert not profile._beside(record, np.array([])).any()


@pytest.mark.parametrize(("scatter", "resolved"), [(0.09, True), (0.12, False)])
def test_levels_of_on_times_that_differ_by_a_tenth_average_over_switchings(
    scatter: float, resolved: bool
) -> None:
    levels = 1.0 - scatter * (np.arange(40) % 2)
    spans = [(3 * number, 3 * number + 1) for number in range(20)]
    values = np.zeros(60)
    for number, (first, last) in enumerate(spans):
        values[first : last + 1] = levels[2 * number : 2 * number + 2]
    assert profile._resolved(rows(values), spans, ["pulse"] * 19) == resolved
    assert profile._resolved(rows(values), spans, ["dip"] * 19)


@pytest.mark.parametrize(("on_s", "beaten"), [(92, True), (90, False)])
def test_on_times_beyond_a_minute_and_a_half_and_a_row_are_a_beat(on_s: int, beaten: bool) -> None:
    spans = [(0, on_s), (200, 200 + on_s)]
    assert profile._beaten(rows(np.ones(400)), spans, ["pulse"]) == beaten
    assert not profile._beaten(rows(np.ones(400)), spans, ["dip"])


def test_lengths_are_alike_within_a_factor_of_1_6_and_two_rows() -> None:
    for long, alike in ((17.9, True), (18.1, False)):
        assert profile._alike(np.array([10.0] * 6 + [long] * 6), 1.0) == alike
    # A tenth of them at either end may be anything.
    for short, alike in ((1, True), (3, False)):
        assert profile._alike(np.array([5.0] * short + [12.0] * (20 - short)), 1.0) == alike
        assert profile._alike(np.array([12.0] * (20 - short) + [30.0] * short), 1.0) == alike


@pytest.mark.parametrize(("gap_s", "how"), [(300, "pulse"), (0, "pause")])
def test_a_gap_of_the_log_within_a_train_is_no_pause(gap_s: int, how: str) -> None:
    spans = [(20 * number, 20 * number + 9) for number in range(16)]
    record = rows(np.ones(330))
    record.time_s = np.arange(330.0) + np.where(np.arange(330) >= 160, 300.0, 0.0)
    if gap_s:
        record.gaps = (Gap(159.0, 460.0),)
    found = profile._joins(record, spans)
    assert found[7] == how
    assert set(found[:7] + found[8:]) == {"pulse"}
    if gap_s:
        record.current[160:] = 0.4
        assert profile._joins(record, spans)[7] == "pause"


# ------------------------------------------------------------------ bins


def test_rows_at_moments_are_those_at_or_after_them() -> None:
    on = np.array([False, True, False, True])
    one = Profile(np.arange(4.0), 0.0, 1.0, 0.1, 0.1, (), on, on, (), True, 0)
    assert one.on_at(np.array([0.0, 1.0, 1.5, 9.0])).tolist() == [False, True, False, True]


@pytest.mark.parametrize(("change", "sd", "runs"), [(0.06, 0.004, 2), (0.04, 0.004, 1), (0.06, 0.006, 1)])
def test_coarser_bins_part_where_the_current_jumps_by_a_twentieth_and_six_deviations(
    change: float, sd: float, runs: int
) -> None:
    count = 8
    current = np.where(np.arange(count) < 4, 1.0 + change, 1.0)
    one = Bins(
        np.arange(8.0),
        np.ones(8),
        current,
        np.full(8, 4.0),
        np.full(8, sd),
        np.full(8, 0.01),
        np.zeros(8, dtype=int),
        np.zeros(8, dtype=bool),
    )
    found = one.coarser(8)
    assert len(found) == runs
    wide = Bins(
        *[getattr(one, name) for name in ("time_s", "span_s", "current_A", "voltage_V")],
        np.full(8, 1e-6),
        np.full(8, 1e-6),
        one.group,
        one.pulsing,
    ).coarser(2)
    assert wide.current_sd[-1] == pytest.approx(5e-4)
    assert wide.voltage_sd[-1] == pytest.approx(1e-3)


def a_block(first: int, last: int) -> Block:
    return Block(first, last, float(first), float(last), float(first - 1), float(last + 1))


def flat(
    length: int, *, pauses: tuple[Any, ...] = (), pulsing: bool = False, block: Block | None = None
) -> Profile:
    on = np.ones(length, dtype=bool)
    return Profile(
        np.arange(float(length)),
        0.0,
        1.0,
        0.1,
        0.1,
        (block or a_block(1, length - 2),),
        on,
        np.full(length, pulsing),
        pauses,
        True,
        0,
    )


def test_edges_are_even_with_one_of_its_own_at_each_step_and_gap() -> None:
    """6400 s in 320 bins: 20 s; a step by 3 % of the plateau at 1000.5 s, one by 1 % at 2000.5 s is none."""
    values = joined((1.0, 1001), (0.97, 1000), (0.98, 4401))
    record, block = rows(values), a_block(0, 6401)
    record.gaps = (Gap(3000.0, 3010.0),)
    one = flat(6402, block=block)
    edges, holes = profile._edges(record, one, record.time_s, values, np.zeros(6402, dtype=bool))
    assert holes.tolist() == [3000.5]
    assert {1000.5, 3000.5, 3009.5} <= set(edges.tolist())
    assert 2000.5 not in edges
    step = (6401) / 320
    assert edges[1] - edges[0] == pytest.approx(step)
    assert edges[0] == -0.5
    assert np.diff(edges).min() > 0.3
    pulsed, _ = profile._edges(record, one, record.time_s, values, np.ones(6402, dtype=bool))
    assert pulsed[1] - pulsed[0] == pytest.approx(60.0)
    noisy, _ = profile._edges(
        rows(values, noise=0.0038), one, record.time_s, values, np.zeros(6402, dtype=bool)
    )
    assert 1000.5 not in noisy
    quieter, _ = profile._edges(
        rows(values, noise=0.0037), one, record.time_s, values, np.zeros(6402, dtype=bool)
    )
    assert 1000.5 in quieter


def test_bins_in_which_the_current_changes_by_a_fiftieth_are_cut_into_up_to_eight() -> None:
    """A slope of so many fiftieths of 1 A in a bin of 20 s."""
    even = np.array([0.0, 20.0, 40.0])
    for fiftieths, parts in ((0.9, 1), (1.1, 2), (2.9, 3), (7.5, 8), (12.0, 8)):
        time = np.arange(41.0)
        amps = 1.0 - fiftieths * 0.02 * np.minimum(time, 20.0) / 20
        added = profile._finer(rows(amps), flat(41), even, time, amps)
        inside = np.concatenate(added) if added else np.empty(0)
        assert inside == pytest.approx(20.0 * np.arange(1, parts) / parts)
    # No finer than either log's rows.
    slow = profile._finer(rows(amps, every_s=6.0), flat(41), even, time, amps)
    assert np.concatenate(slow) == pytest.approx([20 / 3, 40 / 3])
    assert profile._finer(rows(amps), flat(41), even, time[:1], amps[:1]) == []
    coarse = profile._finer(rows(amps, step=0.13), flat(41), even, time, amps)
    assert np.concatenate(coarse) == pytest.approx([10.0])


def test_a_bins_voltage_is_the_mean_of_its_readings_and_in_pulses_that_of_the_on_time() -> None:
    shown = np.array([4.0, 4.1, 4.2, 4.1, 4.3, 4.3, 4.1, 4.3])
    record = rows(np.ones(8), voltage_shown=shown, voltage_near=lambda moments: np.full(len(moments), 9.0))
    low, high = np.array([-0.5, 2.5, 7.1, 3.5]), np.array([2.5, 7.5, 7.2, 4.5])
    middle = np.array([1.0, 5.0, 7.15, 4.0])
    volts, seen = profile._voltage(record, low, high, middle, np.zeros(4, dtype=bool))
    # None logged within a bin: what was logged about it; one reading is a mean.
    assert volts == pytest.approx([4.1, 4.22, 9.0, 4.3])
    assert seen.tolist() == [3, 5, 1, 1]
    volts, _ = profile._voltage(record, low, high, middle, np.ones(4, dtype=bool))
    # Three readings are too few to part on-time and off-time.
    assert volts == pytest.approx([4.1, 4.3, 9.0, 4.3])
    four, _ = profile._voltage(
        record, np.array([3.5]), np.array([7.5]), np.array([5.0]), np.ones(1, dtype=bool)
    )
    assert four == pytest.approx([4.3])


def test_a_voltage_that_changes_is_as_uncertain_as_its_time() -> None:
    """1 mV/s; rows of 2 s and of 4 s that may be means over them: ±3 s; and a clock of ±1 s."""
    offset = Measured(0.0, "s", (Component("clock", 1.0, "s"),))
    time = 4.0 * np.arange(40.0)
    record = rows(np.ones(40), every_s=2.0, voltage_time_s=time, voltage_interval_s=4.0)
    assert profile._unclocked(record, time, 4 + 1e-3 * time) == pytest.approx(np.full(40, 3e-3 / np.sqrt(3)))
    record.clock_offset = offset
    assert profile._unclocked(record, time, 4 + 1e-3 * time) == pytest.approx(
        np.full(40, 1e-3 * np.hypot(1, np.sqrt(3)))
    )
    assert profile._unclocked(record, time[:3], np.array([4.0, np.nan, 4.1])).tolist() == [0.0] * 3
    assert profile._unclocked(record, time[:3], np.array([4.0, 4.004, 4.008])).min() > 0


@pytest.mark.parametrize(("gap_s", "both"), [(119.0, True), (120.0, False)])
def test_a_bins_voltage_beside_a_switching_may_be_that_of_another_current(gap_s: float, both: bool) -> None:
    """A row of 5 s beside a dip from 100 s on; of a longer stop only the far end counts after it."""
    record = rows(np.ones(600), voltage_interval_s=5.0)
    low = np.arange(0.0, 590.0, 2.0)
    block = Block(0, 599, 0.0, 599.0, -1000.0, 2000.0)
    one = flat(600, pauses=((100.0, 100.0 + gap_s),), block=block)
    beside = profile._beside_a_switching(record, one, block, low, low + 2.0)
    inside = (low > 10) & (low < 500)
    expected = (low + 2 > 95) & (low < 105 + gap_s) if both else (low < 105 + gap_s) & (low + 2 > 100 + gap_s)
    assert np.array_equal(beside[inside], expected[inside])
    # At the ends of a block: of a long stop the near end alone.
    assert np.flatnonzero(beside[low < 50]).tolist() == [0, 1, 2]
    ended = Block(0, 500, 0.0, 500.0, -1000.0, 2000.0)
    last = profile._beside_a_switching(record, flat(600, block=ended), ended, low, low + 2.0)
    assert low[last & (low > 10)].tolist() == [494.0, 496.0, 498.0]
    clocked = rows(
        np.ones(600),
        voltage_interval_s=5.0,
        clock_offset=Measured(0.0, "s", (Component("clock", 5.0, "s", "rectangular"),)),
    )
    assert profile._beside_a_switching(clocked, one, block, low, low + 2.0).sum() > beside.sum()


def test_a_bin_averages_rows_of_on_times_with_the_deviation_of_their_mean() -> None:
    """400 rows of 1 A, 320 bins at most; noise of 1 mA and what a display of 1 mA leaves of its step."""
    values = joined((0.0, 3), (1.0, 400), (0.0, 3))
    record = rows(
        values, voltage_shown=np.full(406, 4.0), voltage_near=lambda moments: np.full(len(moments), 4.0)
    )
    one = flat(406, block=a_block(3, 402))
    found = profile.bins(record, one)
    assert found.current_A == pytest.approx(np.ones(len(found)))
    shaken = (1e-3**2 - 1e-3**2 / 12) / 1e-3**2
    left = np.exp(-2 * np.pi**2 * shaken) * 0.5e-3 / np.sqrt(3)
    counts = np.diff(np.searchsorted(record.time_s, np.append(found.time_s - found.span_s / 2, 403)))
    assert counts.min() >= 1
    assert found.current_sd.max() == pytest.approx(np.hypot(np.hypot(1e-3, left), 5e-4), rel=1e-3)
    beaten = Profile(
        one.time_s, 0.0, 1.0, 0.1, 0.1, one.blocks, one.on, np.ones(406, dtype=bool), (), False, 9
    )
    assert profile.bins(record, beaten).current_sd.min() == pytest.approx(0.5 / np.sqrt(60), rel=0.01)
