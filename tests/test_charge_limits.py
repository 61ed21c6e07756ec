"""Ends, limits, currents and plausible logs of a charge: by hand, on both sides of each bound."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from reviewkit.charge import currents, ending, plausibility, series_resistance, sources
from reviewkit.charge import limit_time as limits
from reviewkit.charge.ending import Order
from reviewkit.charge.limit_time import adherence, name_shape
from reviewkit.charge.profile import Block
from reviewkit.charge.segmentation import HELD, LEVEL, PASSING
from reviewkit.logs.log import Gap
from reviewkit.metrology import Component, Measured
from reviewkit.metrology.meter import meter
from reviewkit.schema.blocks import Cell, LogBlock

AMMETER = meter({"name": "A", "accuracy": "±(1 % + 3)", "resolution": "1 mA"}, "A")
LOG = LogBlock(path="a.csv")
VOLTMETER = meter({"name": "V", "accuracy": "±(0.05 % + 2)", "resolution": "1 mV"}, "V")


def rows(current: Any, *, noise: float = 0.001, every_s: float = 1.0, **more: Any) -> Any:
    """Return what a record shows of its current: rows so far apart, and a noise."""
    current = np.asarray(current, dtype=float)
    given: dict[str, Any] = {
        "current": current,
        "time_s": every_s * np.arange(len(current)),
        "noise_A": noise,
        "interval_s": every_s,
        "ammeter": AMMETER,
        "voltmeter": VOLTMETER,
        "stamp_s": 0.0,
        "cable_out_s": None,
        "gaps": (),
        "noise_V": 5e-4,
        "gap_after": lambda moment: next(
            (gap for gap in given["gaps"] if abs(gap.start_s - moment) < 1e-6), None
        ),
    }
    given |= more
    return SimpleNamespace(**given)


def joined(*pieces: tuple[float, int]) -> np.ndarray:
    return np.concatenate([np.full(count, amps) for amps, count in pieces])


def a_profile(count: int, **more: Any) -> Any:
    given = {
        "zero_A": 0.0,
        "level_A": 1.0,
        "stop_A": 0.005,
        "on": np.ones(count, dtype=bool),
        "pulsing": np.zeros(count, dtype=bool),
        "resolved": True,
    }
    return SimpleNamespace(**(given | more))


def a_block(first: int, last: int, every_s: float = 1.0) -> Block:
    return Block(first, last, first * every_s, last * every_s, (first - 1) * every_s, (last + 1) * every_s)


# ------------------------------------------------------------------ begin and end


@pytest.mark.parametrize(
    ("partial", "row", "early", "late"),
    [
        (None, 10, 9, 10),
        (0.92, 10, 9, 11),
        (0.94, 10, 9, 10),  # a row below 0.93 of the next averages over the step
        (0.051, 11, 9, 11),
        (0.049, 11, 10, 11),  # so does one a twentieth of the step above the level before
    ],
)
def test_a_step_up_lies_between_the_last_row_before_it_and_the_first_after(
    partial: float | None, row: int, early: int, late: int
) -> None:
    values = joined((0.0, 10), (1.0, 20))
    if partial is not None:
        values[10] = partial
    found = ending.edge(rows(values), row, "step")
    assert found.value == pytest.approx((early + late) / 2)
    assert found.components[0].size == pytest.approx((late - early) / 2)
    assert found.components[0].distribution == "rectangular"


@pytest.mark.parametrize(("partial", "early"), [(0.061, 9), (0.059, 10)])
def test_a_row_of_an_edge_is_six_times_the_noise_above(partial: float, early: int) -> None:
    values = joined((0.0, 10), (partial, 1), (1.0, 20))
    assert ending.edge(rows(values, noise=0.01), 11, "x").value == pytest.approx((early + 11) / 2)


def test_stamps_that_are_cut_off_add_half_their_step() -> None:
    found = ending.edge(rows(joined((0.0, 10), (1.0, 20)), stamp_s=0.5), 10, "x")
    assert [part.size for part in found.components] == [0.5, 0.25]
    assert ending.stamp(rows([0.0], stamp_s=0.5), "x").size == 0.25


@pytest.mark.parametrize(
    ("soft", "before"),
    [([], 29.0), ([0.0016, 0.5], 27.0), ([0.0014, 0.5], 28.0)],
)
def test_a_soft_start_is_under_way_from_one_and_a_half_times_the_noise(
    soft: list[float], before: float
) -> None:
    values = np.concatenate((np.zeros(30 - len(soft)), soft, np.ones(30)))
    found = ending.start(rows(values), a_profile(60), a_block(30, 59))
    assert found.value - found.components[0].size == pytest.approx(before)
    # Or six tenths of a display step, over at most sixty rows.
    coarse = rows(values, noise=1e-6, ammeter=SimpleNamespace(resolution=0.0025))
    assert ending.start(coarse, a_profile(60), a_block(30, 59)).value == pytest.approx(found.value)
    long = np.concatenate((np.full(100, 0.01), np.ones(30)))
    slow = ending.start(rows(long), a_profile(130), a_block(100, 129))
    assert slow.value - slow.components[0].size == pytest.approx(39.0)


@pytest.mark.parametrize(
    ("first", "second", "third", "late"),
    [(0.92, 1.0, 1.0, 31), (0.94, 1.0, 1.0, 30), (0.5, 0.8, 0.88, 31), (0.5, 0.8, 0.9, 30)],
)
def test_a_first_row_that_averages_over_the_start_is_less_than_what_follows_at_one_level(
    first: float, second: float, third: float, late: int
) -> None:
    values = np.concatenate((np.zeros(30), [first, second, third], np.ones(20)))
    found = ending.start(rows(values), a_profile(53), a_block(30, 52))
    assert found.value + found.components[0].size == pytest.approx(late)


def test_a_charge_that_never_ends_goes_on_until_the_cable_is_pulled() -> None:
    record = rows(np.ones(100), cable_out_s=50.0)
    found, in_gap = ending.moment(record, a_profile(100), a_block(0, 99), "never")
    assert (found.value, found.components[0].size, in_gap) == (50.0, 60.0, False)
    later, _ = ending.moment(rows(np.ones(100), cable_out_s=99.0), a_profile(100), a_block(0, 99), "faded")
    assert (later.value, later.components) == (99.0, ())
    plain, in_gap = ending.moment(rows(np.ones(100)), a_profile(100), a_block(0, 79), "terminated")
    assert (plain.value, plain.components[0].size, in_gap) == (79.5, 0.5, False)


@pytest.mark.parametrize(("last", "partial"), [(0.92, True), (0.94, False)])
def test_a_last_row_below_what_those_before_it_say_averages_over_the_end(last: float, partial: bool) -> None:
    values = joined((1.0, 30), (last, 1), (0.0, 10))
    record, block = rows(values), a_block(0, 30)
    assert ending.whole_rows(record, block) == (29 if partial else 30)
    found, _ = ending.moment(record, a_profile(41), block, "terminated")
    assert found.value == pytest.approx((29 + 31) / 2 if partial else (30 + 31) / 2)
    assert ending.whole_rows(rows(values[28:]), a_block(0, 2)) == 2
    # By six rows before: a taper's line falls with them.
    taper = 1 - 0.05 * np.arange(12.0)
    assert ending.whole_rows(rows(np.append(taper, 0.0)), a_block(0, 11)) == 11
    # Within four standard deviations of the line carried on and three of a reading.
    noisy = rows(joined((1.0, 30), (0.9, 1), (0.0, 10)), noise=0.02)
    assert ending.whole_rows(noisy, a_block(0, 30)) == 30


def test_pulses_faster_than_the_rows_hide_an_end_by_their_longest_pause() -> None:
    values = np.tile([1.0, 1.0, 0.0, 0.0, 0.0], 8)[:37]
    record = rows(values)
    assert ending.longest_pause(record, a_profile(37), a_block(0, 36)) == 3.0
    found, _ = ending.moment(record, a_profile(37, resolved=False), a_block(0, 36), "terminated")
    assert found.components[-1].size == 3.0
    assert ending.longest_pause(rows(np.zeros(9)), a_profile(9), a_block(0, 8)) == 0.0


@pytest.mark.parametrize(
    ("stop", "ends", "noise", "verdict"),
    [
        (0.112, [0.1], 0.0, "same"),
        (0.1121, [0.1], 0.0, "doubtful"),
        (0.1299, [0.1], 0.0, "doubtful"),
        (0.1301, [0.1], 0.0, "other"),
        (0.121, [0.1, 0.3], 0.01, "same"),
        (0.123, [0.3, 0.1], 0.01, "doubtful"),
        (0.149, [0.1], 0.01, "doubtful"),
        (0.151, [0.1], 0.01, "other"),
        (0.1, [], 0.0, "doubtful"),
    ],
)
def test_stops_are_the_same_within_12_percent_and_another_from_30_on(
    stop: float, ends: list[float], noise: float, verdict: str
) -> None:
    assert ending._same(stop, ends, noise) == verdict


@pytest.mark.parametrize(("amps", "tops_up"), [(0.81, True), (0.79, False)])
def test_what_flows_on_with_less_than_eight_tenths_is_a_trickle(amps: float, tops_up: bool) -> None:
    assert ending._tops_up(rows(np.full(40, amps)), a_block(0, 39), 1.0) == tops_up
    spiked = np.full(100, 0.5)
    spiked[3:7] = 2.0
    assert not ending._tops_up(rows(spiked), a_block(0, 99), 1.0)


def test_a_stop_is_the_median_of_five_rows_and_of_pulses_the_larger_tell() -> None:
    values = np.concatenate((np.ones(30), [0.5, 0.4, 0.45, 0.44, 0.43], np.zeros(5)))
    assert ending.stop_A(rows(values), a_profile(40, zero_A=0.01), a_block(0, 34)) == pytest.approx(0.43)
    pulsing = a_profile(40, pulsing=np.ones(40, dtype=bool), zero_A=0.01)
    pulses = np.concatenate((np.tile([0.2, 0.6], 18), np.zeros(4)))
    assert ending._last_level(rows(pulses), pulsing, a_block(0, 35)) == pytest.approx(0.59)
    assert ending.charge_of(rows([0.0, 1.0, 3.0], every_s=2.0), a_block(0, 2)) == pytest.approx(5.0)


def stops(*ends: float, held: bool = True, amps: float = 1.0) -> Any:
    """Return what follows from stretches of 200 rows that taper to these currents, pauses of 100 between."""
    pieces = [
        np.concatenate((np.full(150, amps), np.geomspace(amps, end, 50), np.zeros(100))) for end in ends
    ]
    values = np.concatenate([np.zeros(10), *pieces])
    blocks = tuple(a_block(10 + 300 * number, 209 + 300 * number) for number in range(len(ends)))
    bins = SimpleNamespace(
        time_s=np.arange(float(len(values))),
        voltage_V=np.full(len(values), 4.2),
        current_A=np.zeros(len(values)),
        __len__=lambda: len(values),
    )
    account = SimpleNamespace(
        kinds=lambda count: np.full(len(values), HELD if held else LEVEL), ohm=None, set_V=None
    )

    class Some(SimpleNamespace):
        def __len__(self) -> int:
            return len(values)

    return ending.order(rows(values), a_profile(len(values), blocks=blocks), Some(**vars(bins)), account)


@pytest.mark.parametrize(
    ("ends", "held", "main", "doubtful"),
    [
        ((0.1,), True, 1, False),
        ((0.1, 0.1), True, 1, False),
        ((0.2, 0.1), True, 2, False),
        ((0.12, 0.1), True, 2, True),
        ((0.1, 0.1), False, 2, False),
        ((0.2, 0.1, 0.1), True, 2, False),
    ],
)
def test_the_first_stop_that_comes_again_was_the_end(
    ends: tuple[float, ...], held: bool, main: int, doubtful: bool
) -> None:
    found = stops(*ends, held=held)
    assert isinstance(found, Order)
    assert (found.main, found.doubtful) == (main, doubtful)
    assert len(found.top_ups) == len(ends) - main


@pytest.mark.parametrize(
    ("kinds", "off_V", "at"),
    [
        ([HELD] + [LEVEL] * 3, 0.05, True),
        ([HELD] + [LEVEL] * 4, 0.05, False),
        ([HELD] + [LEVEL] * 3 + [PASSING], 0.05, True),
        ([LEVEL] * 5, 0.0099, True),
        ([LEVEL] * 5, 0.0101, False),
        ([LEVEL] * 5, -0.0099, True),
    ],
)
def test_a_stretch_stops_at_the_limit_by_its_last_four_bins(kinds: list[int], off_V: float, at: bool) -> None:
    count = len(kinds)

    class Some(SimpleNamespace):
        def __len__(self) -> int:
            return count

    bins = Some(
        time_s=np.arange(float(count)), voltage_V=np.full(count, 4.1 + off_V), current_A=np.full(count, 1.0)
    )
    account = SimpleNamespace(kinds=lambda length: np.array(kinds), ohm=0.1, set_V=4.2)
    assert ending._at_limit(bins, account, a_block(0, count - 1)) == at
    account.ohm = None
    assert ending._at_limit(bins, account, a_block(0, count - 1)) == (HELD in kinds and at)


@pytest.mark.parametrize(
    ("fall", "length_s", "steady"),
    [(0.14, 2000, True), (0.16, 2000, False), (0.16, 1000, False)],
)
def test_a_current_is_steady_that_falls_by_less_than_15_percent_in_half_an_hour(
    fall: float, length_s: int, steady: bool
) -> None:
    time = np.arange(0.0, length_s, 10.0)
    values = 1.0 * (1 - fall * (time - time[-1] + 900) / 1800)
    record = rows(values, every_s=10.0)
    found = ending._steady(record, a_profile(len(values)), a_block(0, len(values) - 1, 10.0))
    assert found == steady


@pytest.mark.parametrize(
    ("fall", "level", "length_s", "trickle"),
    [
        (0.055, 0.5, 3600, True),
        (0.065, 0.5, 3600, False),
        (0.0, 0.5, 3100, False),
        (0.0, 0.5, 3300, True),
        (0.0, 0.0045, 3600, True),
        (0.0, 0.0035, 3600, False),
    ],
)
def test_a_trickle_has_stood_for_an_hour_above_what_a_meter_shows_for_none(
    fall: float, level: float, length_s: int, trickle: bool
) -> None:
    """Twice three hundredths of itself; three counts and the noise are 4 mA."""
    time = np.arange(0.0, length_s + 60.0, 60.0)
    values = level * (1 - fall * (time - time.mean()) / 3600)
    record = rows(values, every_s=60.0, noise=1e-3 if fall == 0 else 1e-6)
    if fall == 0 and level < 0.01:
        record.noise_A = 1e-3
        record.ammeter = AMMETER
    found = ending.is_trickle(record, a_profile(len(values)), a_block(0, len(values) - 1, 60.0))
    if level < 0.01 and trickle:
        # A millampere of noise over an hour's rows leaves open whether so small a level falls.
        record.noise_A = 1e-5
        found = ending.is_trickle(record, a_profile(len(values)), a_block(0, len(values) - 1, 60.0))
    assert found == trickle


def told(
    *,
    cable: float | None = None,
    ran_on: bool = False,
    in_gap: bool = False,
    most_A: float = 0.2,
    stop: float = 0.1,
    pulsing: bool = False,
) -> str:
    amps = np.concatenate((np.full(100, 1.0), np.geomspace(1.0, stop, 400), np.zeros(0 if ran_on else 200)))
    count = len(amps)

    class Some(SimpleNamespace):
        def __len__(self) -> int:
            return count

    account = SimpleNamespace(kinds=lambda length: np.full(count, LEVEL))
    profile = a_profile(count, pulsing=np.full(count, pulsing), stop_A=0.05 if pulsing else 0.005)
    record = rows(amps, every_s=5.0, cable_out_s=cable)
    return ending.how(
        record,
        profile,
        Some(time_s=record.time_s),
        account,
        a_block(0, 499, 5.0),
        in_gap=in_gap,
        most_A=most_A,
    )


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ({}, "terminated"),
        ({"stop": 0.31}, "undecided"),
        ({"stop": 0.29}, "terminated"),
        ({"cable": 2495.0 - 59}, "cable pulled"),
        ({"cable": 2495.0 - 61}, "undecided"),
        ({"cable": 2500.0 + 59}, "cable pulled"),
        ({"cable": 2500.0 + 61}, "terminated"),
        ({"cable": 2500.0, "in_gap": True}, "undecided"),
        ({"ran_on": True}, "log ended"),
        ({"ran_on": True, "cable": 2490.0}, "cable pulled"),
        ({"ran_on": True, "cable": 2400.0}, "log ended"),
        ({"stop": 0.12, "pulsing": True}, "faded"),
        ({"stop": 0.16, "pulsing": True}, "terminated"),
    ],
)
def test_an_end_is_told_by_cable_log_and_current(more: dict[str, Any], expected: str) -> None:
    """1.5 times the highest current at which an end is expected, 0.2 A; a cable within a minute."""
    assert told(**more) == expected


# ------------------------------------------------------------------ time at a limit


def share_of(current: Any, voltage: Any, **more: Any) -> limits.Adherence:
    current = np.asarray(current, dtype=float)
    return adherence(
        np.arange(float(len(current))),
        np.broadcast_to(voltage, len(current)).astype(float),
        current,
        plateau_A=1.0,
        set_V=4.2,
        **more,
    )


@pytest.mark.parametrize(
    ("amps", "volts", "share"),
    [
        (0.9701, 4.0, 100.0),
        (0.9699, 4.0, 0.0),
        (1.0299, 4.0, 100.0),
        (1.0301, 4.0, 0.0),
        (0.5, 4.1901, 100.0),
        (0.5, 4.1899, 0.0),
        (0.5, 4.2099, 100.0),
        (0.5, 4.2101, 0.0),
    ],
)
def test_at_a_limit_is_within_three_percent_or_ten_millivolt(amps: float, volts: float, share: float) -> None:
    assert share_of(np.full(50, amps), volts).share == share


def test_a_share_is_one_of_time_with_bounds_by_what_a_reading_is_off() -> None:
    amps = np.concatenate((np.full(50, 1.0), np.full(25, 0.965), np.full(25, 0.975), np.full(1, 0.5)))
    found = share_of(amps, 4.0, doubt_A=0.01)
    assert found.share == pytest.approx(75.0)
    assert (found.low, found.high) == (pytest.approx(50.0), pytest.approx(100.0))
    unseen = np.where(np.arange(101) >= 75, np.nan, 4.0)
    hidden = share_of(np.concatenate((np.full(50, 1.0), np.full(25, 0.5), np.full(26, 0.5))), unseen)
    assert hidden.share == pytest.approx(100 * 50 / 75)
    assert (hidden.low, hidden.high) == (pytest.approx(50.0), pytest.approx(75.0))
    assert np.isnan(share_of(np.full(1, 1.0), 4.0).share)
    ends = limits._with_ends(limits.Adherence(50.0, (), 40.0, 99.0), 2.0, 100.0)
    assert (ends.low, ends.high) == (38.0, 100.0)
    assert limits._with_ends(limits.Adherence(50.0, (), 1.0, 60.0), 2.0, 100.0).low == 0.0
    assert limits._with_ends(limits.Adherence(50.0, ()), 2.0, 100.0).low is None
    assert limits._with_ends(limits.Adherence(50.0, (), 40.0, 60.0), 2.0, 0.0).low == 40.0


@pytest.mark.parametrize(("count", "stretches"), [(31, 1), (30, 0)])
def test_stretches_at_neither_limit_last_half_a_minute(count: int, stretches: int) -> None:
    amps = np.concatenate((np.full(50, 1.0), np.full(count, 0.5), np.full(50, 1.0)))
    found = share_of(amps, 4.0)
    assert len(found.stretches) == stretches
    for one in found.stretches:
        assert (one.start_s, one.end_s, one.length_s, one.low_A, one.high_A) == (50.0, 80.0, 30.0, 0.5, 0.5)


@pytest.mark.parametrize(("count", "stretches"), [(29, 1), (31, 2)])
def test_a_return_to_a_limit_of_half_a_minute_parts_two_stretches(count: int, stretches: int) -> None:
    amps = np.concatenate(
        (np.full(50, 1.0), np.full(60, 0.5), np.full(count, 1.0), np.full(60, 0.4), np.full(50, 1.0))
    )
    assert len(share_of(amps, 4.0).stretches) == stretches


@pytest.mark.parametrize(
    ("current", "after", "shape"),
    [
        (np.tile([1.0, 1.0, 0.5, 0.5], 5), True, "pulsing"),
        (np.tile([1.0, 1.0, 0.5, 0.5], 4), True, "early taper"),
        (joined((0.8, 60), (0.5, 60)), True, "steps"),
        (joined((0.8, 120)), True, "foldback"),
        (np.linspace(0.95, 0.5, 120), True, "early taper"),
        (np.linspace(0.965, 0.91, 120), True, "droop"),
        (np.linspace(0.965, 0.89, 120), True, "early taper"),
        (np.linspace(0.5, 0.95, 120), True, "unnamed"),
        (np.linspace(0.95, 0.5, 120), False, "unnamed"),
        (joined((0.8, 60), (0.76, 60)), True, "early taper"),
        (joined((0.8, 60), (0.74, 60)), True, "steps"),
        (joined((0.8, 60), (0.5, 29), (0.8, 1)), True, "foldback"),
    ],
)
def test_a_stretch_at_neither_limit_is_named_by_what_its_current_does(
    current: Any, after: bool, shape: str
) -> None:
    time = np.arange(float(len(current)))
    assert name_shape(time, current, 1.0, after_plateau=after) == shape


@pytest.mark.parametrize(("low", "crossings"), [(0.69, 9), (0.71, 0)])
def test_a_swing_is_three_tenths_of_the_highest(low: float, crossings: int) -> None:
    values = np.tile([1.0, low], 5)
    assert limits._crossings(values) == crossings
    middle = np.array([1.0, 0.5, 0.0, 0.69, 0.31, 0.71, 0.29])
    # Above seven tenths and below three tenths of the range only.
    assert limits._crossings(middle) == 3


@pytest.mark.parametrize(
    ("scatter", "count", "levels"), [(0.014, 40, 1), (0.016, 40, 0), (0.0, 30, 0), (0.0, 31, 1)]
)
def test_a_level_stands_for_half_a_minute_within_three_percent(
    scatter: float, count: int, levels: int
) -> None:
    values = 0.5 + scatter * np.where(np.arange(count) % 2, 1.0, -1.0)
    assert len(limits._levels(np.arange(float(count)), values, 1.0)) == levels
    # Or for a fifth of the stretch.
    long = np.concatenate((np.full(45, 0.8), np.linspace(0.7, 0.1, 205)))
    assert len(limits._levels(np.arange(250.0), long, 1.0)) == 0


# ------------------------------------------------------------------ currents


def test_a_line_carried_on_has_the_standard_error_of_a_prediction() -> None:
    """By numpy's covariance of the fit."""
    time = np.arange(5.0)
    values = np.array([1.0, 0.9, 0.82, 0.7, 0.61])
    found = currents.carried_on(time, values, 5.0, 1e-6)
    fit, covariance = np.polyfit(time, values, 1, cov=True)
    assert found.value == pytest.approx(np.polyval(fit, 5.0))
    assert (found.slope, found.dof) == (pytest.approx(fit[0]), pytest.approx(3))
    assert found.standard == pytest.approx(np.sqrt(np.array([5.0, 1.0]) @ covariance @ np.array([5.0, 1.0])))


@pytest.mark.parametrize(("bend", "parabola"), [(0.0011, False), (0.0025, True)])
def test_readings_that_clearly_bend_are_carried_on_by_a_parabola(bend: float, parabola: bool) -> None:
    """A coefficient of three of its standard deviations; floor of one reading 10 mA, by numpy."""
    time = np.arange(10.0)
    values = 1.0 - 0.05 * time + bend * (time - 4.5) ** 2
    design = np.vander(time - 4.5, 3, increasing=True)
    deviation = 0.01 * np.sqrt(np.linalg.inv(design.T @ design)[2, 2])
    assert (bend > 3 * deviation) == parabola
    found = currents.carried_on(time, values, 11.0, 0.01)
    if parabola:
        assert found.value == pytest.approx(1.0 - 0.55 + bend * 6.5**2)
        assert found.slope == pytest.approx(-0.05 + 2 * bend * 6.5)
        assert found.dof == 7
        there = np.array([1.0, 6.5, 6.5**2])
        assert found.standard == pytest.approx(
            0.01 * np.sqrt(there @ np.linalg.inv(design.T @ design) @ there)
        )
    else:
        assert found.value == pytest.approx(np.polyval(np.polyfit(time, values, 1), 11.0))
    assert currents.carried_on(time[:5], values[:5] + (time[:5] - 2) ** 2, 6.0, 1e-6).dof == pytest.approx(3)


@pytest.mark.parametrize(("step", "at"), [(0.0049, 0), (0.0065, 30)])
def test_a_current_changes_once_if_the_two_levels_explain_30_more(step: float, at: int) -> None:
    """Two levels of 30 rows d apart explain d²·15/σ²."""
    values = np.concatenate((np.zeros(30), np.full(30, step)))
    assert (step**2 * 15 / 0.004**2 > 30) == (at > 0)
    assert currents._change(values, 0.004) == at
    assert currents._change(values[26:35], 0.0001) == 0
    # Five rows at either end at least.
    assert currents._change(np.concatenate((np.zeros(3), np.ones(20))), 0.01) == 5
    assert currents._change(np.concatenate((np.zeros(5), np.ones(5))), 0.01) == 5


def test_levels_afterwards_leave_out_half_a_minute_where_there_are_more_than_three() -> None:
    record = rows(joined((0.0, 100), (0.01, 100)))
    short, long = currents._levels(record, 0.0, 90.0), currents._levels(record, 0.0, 91.0)
    assert (short[0][1], long[0][1]) == (0.0, 30.0)
    both = currents._levels(record, 0.0, 199.0)
    assert [(start, end) for _, start, end in both] == [(30.0, 99.0), (100.0, 199.0)]
    assert [value.value for value, _, _ in both] == pytest.approx([0.0, 0.01], abs=1e-4)
    assert currents._levels(record, 0.0, 1.0) == []


def after(cable: float | None, top_up: float | None = None) -> list[tuple[float, float, bool | None]]:
    record = rows(np.zeros(2000), cable_out_s=cable)
    top_ups = () if top_up is None else (SimpleNamespace(before_s=top_up),)
    phases = SimpleNamespace(terminated=True, main=(a_block(0, 99),), top_ups=top_ups)
    return [(one.start_s, one.end_s, one.cable_in) for one in currents.states_after(record, phases)]


def test_what_flows_after_an_end_is_told_apart_by_the_cable() -> None:
    """A cable's time is noted by hand: a minute to either side belongs to neither."""
    assert after(None) == [(130.0, 1999.0, None)]
    assert after(1000.0) == [(130.0, 940.0, True), (1090.0, 1999.0, False)]
    assert after(None, 700.0) == [(130.0, 700.0, None)]


def test_a_cut_off_in_a_gap_lies_between_its_last_reading_and_the_line_carried_on() -> None:
    """A taper of 0.2 mA/s through a gap of 100 s; 1 %, three counts and twice the noise to either side."""
    time = np.arange(300.0)
    record = rows(1.0 - 2e-4 * time)
    block = Block(0, 299, 0.0, 299.0, 0.0, 399.0)
    phases = SimpleNamespace(terminated=True, end_in_gap=True, main=(block,))
    bounds = currents.termination_bounds(record, phases)
    assert bounds is not None
    middle = 1.0 - 2e-4 * (299 - 60)
    doubt = 0.01 * middle + 0.003 + 0.002
    assert bounds[1] == pytest.approx(1.0 - 2e-4 * 299 + doubt, rel=1e-6)
    assert bounds[0] == pytest.approx(1.0 - 2e-4 * 399 - doubt, rel=1e-6)
    assert (
        currents.termination_bounds(record, SimpleNamespace(terminated=True, end_in_gap=False, main=(block,)))
        is None
    )


# ------------------------------------------------------------------ logs that can't be


def a_log(values: Any, every_s: float = 10.0, path: str = "a.csv") -> Any:
    values = np.asarray(values, dtype=float)
    return SimpleNamespace(
        series=pd.Series(values, every_s * np.arange(len(values))), path=path, started=None
    )


def entry(**more: Any) -> Any:
    return SimpleNamespace(sign=1, is_meant=False, model_fields_set=set(), **more)


@pytest.mark.parametrize(
    ("volts", "amps", "exchanged"),
    [
        (0.5, 3.7, True),
        (1.19, 2.01, True),
        (1.21, 3.7, False),
        (0.5, 1.99, False),
        (0.5, 4.99, True),
        (0.5, 5.01, False),
        (6.1, 3.7, True),
        (5.9, 3.7, False),
        (-3.7, 3.7, False),
    ],
)
def test_voltage_and_current_are_exchanged_where_neither_fits_its_name(
    volts: float, amps: float, exchanged: bool
) -> None:
    assert plausibility._exchanged(a_log(np.full(100, volts)), a_log(np.full(100, amps))) == exchanged


@pytest.mark.parametrize(("good", "exchanged"), [(94, True), (96, False)])
def test_exchanged_logs_fit_their_names_in_most_rows(good: int, exchanged: bool) -> None:
    volts = np.where(np.arange(100) < good, 3.7, 0.5)
    assert plausibility._exchanged(a_log(volts), a_log(np.full(100, 3.7))) == exchanged
    amps = np.where(np.arange(100) < 97, 3.7, 0.5)
    assert not plausibility._exchanged(a_log(np.full(100, 0.5)), a_log(amps))
    amps[97] = 3.7
    assert plausibility._exchanged(a_log(np.full(100, 0.5)), a_log(amps))


@pytest.mark.parametrize(
    ("volts", "words"),
    [
        (0.51, ""),
        (0.49, "no voltage of"),
        (4.69, ""),
        (4.71, "no voltage of"),
        (-0.51, "swapped"),
        (-0.49, "no voltage of"),
        (-4.69, "swapped"),
        (-4.71, "no voltage of"),
    ],
)
def test_a_cell_shows_half_a_volt_to_half_a_volt_above_its_limit(volts: float, words: str) -> None:
    faults = [
        str(fault) for fault in plausibility._of_voltage(a_log(np.full(9, volts)), Cell(chemistry="NMC"), LOG)
    ]
    assert [words in fault for fault in faults] == [True] * bool(words)


@pytest.mark.parametrize(("ohm", "told_of"), [(2.1, True), (1.9, False)])
def test_leads_that_would_drop_two_volts_are_told(ohm: float, told_of: bool) -> None:
    used = meter({"name": "A", "accuracy": "±1 %", "resolution": "1 mA", "burden_ohm": ohm}, "A")
    amps = np.where(np.arange(100) < 90, 1.0, 0.5)
    amps[:3] = 5.0
    assert bool(list(plausibility.of_burden(a_log(amps), used))) == told_of
    assert not list(plausibility.of_burden(None, used))


@pytest.mark.parametrize(("share", "told_of"), [(0.96, True), (0.94, False)])
def test_a_current_that_only_ever_leaves_the_cell_is_no_charge(share: float, told_of: bool) -> None:
    """Of the readings above a tenth of the largest."""
    amps = np.where(np.arange(100) < 100 * share, -1.0, 1.0)
    amps = np.concatenate((amps, np.full(300, 0.09)))
    flat = a_log(np.full(400, 3.7))
    assert bool(list(plausibility._of_leads(flat, a_log(amps), LOG))) == told_of
    more = np.concatenate((amps[:100], np.full(300, 0.11)))
    assert not list(plausibility._of_leads(flat, a_log(more), LOG))


@pytest.mark.parametrize(
    ("amount", "capacity", "words"),
    [(3.05, 1.0, "far more than"), (2.95, 1.0, ""), (151.0, None, "far more than"), (149.0, None, "")],
)
def test_a_charge_is_at_most_three_times_what_the_cell_holds(
    amount: float, capacity: float | None, words: str
) -> None:
    """Without a stated capacity, of 50 A·h."""
    cell = Cell() if capacity is None else Cell(rated_capacity_Ah=capacity)
    current = a_log(np.full(361, amount))
    faults = [str(one) for one in plausibility._of_amount(a_log(np.full(361, 3.7)), current, cell, LOG)]
    assert [words in fault for fault in faults] == [True] * bool(words)
    assert plausibility._amount(a_log(np.where(np.arange(361) % 2, 1.0, 1.0) * amount)) == pytest.approx(
        amount
    )
    assert plausibility._amount(a_log([-1.0, -1.0])) == 0.0


@pytest.mark.parametrize(
    ("share", "first", "rise", "rests", "told_of"),
    [
        (0.019, 3.3, 0.31, True, True),
        (0.021, 3.3, 0.31, True, False),
        (0.019, 3.3, 0.29, True, False),
        (0.019, 3.19, 0.31, True, False),
        (0.019, 3.3, 0.31, False, False),
        (0.0019, 3.3, 0.31, False, True),
        (0.0021, 3.3, 0.31, False, False),
        (0.0019, 2.51, 0.31, False, True),
        (0.0019, 2.49, 0.31, False, False),
        (0.0019, 2.6, 0.29, False, False),
        (0.0019, 3.1, 0.31, True, True),
    ],
)
def test_a_rise_of_three_tenths_of_a_volt_needs_charge(
    share: float, first: float, rise: float, rests: bool, told_of: bool
) -> None:
    """Two hundredths of the capacity between two rests, two thousandths while it flows."""
    volts = np.concatenate(
        (np.full(10, first), np.linspace(first, first + rise, 980), np.full(10, first + rise))
    )
    amps = np.ones(1000)
    if rests:
        amps[[0, -1]] = 0.09
    found = plausibility._rise(a_log(volts), a_log(amps), share)
    assert (found is not None) == told_of
    if found is not None:
        assert found == pytest.approx(rise, abs=0.005)


@pytest.mark.parametrize(
    ("degrees", "told_of"), [(-30.1, True), (-29.9, False), (99.9, False), (100.1, True)]
)
def test_a_cell_is_between_30_below_and_100_degrees(degrees: float, told_of: bool) -> None:
    assert bool(list(plausibility._of_warmth(a_log(np.full(9, degrees))))) == told_of


@pytest.mark.parametrize(
    ("fall", "seconds", "told_of"), [(0.31, 610, True), (0.29, 610, False), (0.31, 590, False)]
)
def test_a_cell_that_charges_for_ten_minutes_far_below_what_it_had_reached_is_charged_again(
    fall: float, seconds: int, told_of: bool
) -> None:
    volts = np.concatenate((np.full(100, 4.1), np.full(seconds // 10, 4.1 - fall), np.full(40, 4.1)))
    # A spike of a row is no level that was reached.
    volts[20] = 4.9
    record = SimpleNamespace(voltage=volts, time_s=10.0 * np.arange(len(volts)), interval_s=10.0)
    charging = np.ones(len(volts), dtype=bool)
    assert bool(list(plausibility._charged_again(record, charging, a_log([1.0])))) == told_of
    # A row counts for three intervals at most.
    record.time_s[105:] += 1000.0
    assert (
        bool(list(plausibility._charged_again(record, charging, a_log([1.0])))) == told_of or seconds == 590
    )
    assert not list(plausibility._charged_again(record, np.arange(len(volts)) < 1, a_log([1.0])))


# ------------------------------------------------------------------ resistance and sources


@pytest.mark.parametrize(
    ("count", "lowest", "told_of"), [(20, 0.5, True), (19, 0.5, False), (40, 0.84, True), (40, 0.86, False)]
)
def test_a_taper_has_twenty_readings_and_covers_15_percent(count: int, lowest: float, told_of: bool) -> None:
    amps = np.linspace(1.0, lowest, count)
    found = series_resistance.regress(4.2 - 0.1 * amps, amps, voltmeter=VOLTMETER, ammeter=AMMETER)
    assert (found is not None) == told_of
    small = np.linspace(0.0051, 0.0001, 40)
    assert series_resistance.regress(4.2 - 0.1 * small, small, voltmeter=VOLTMETER, ammeter=AMMETER) is None


def test_a_line_of_many_readings_gives_set_voltage_and_resistance() -> None:
    """Truth within the uncertainty; counts of the ammeter move the set voltage by R."""
    draw = np.random.default_rng(9)
    amps = np.geomspace(1.0, 0.1, 400)
    volts = np.round(4.2 - 0.1 * amps + draw.normal(0, 4e-4, 400), 3)
    found = series_resistance.regress(volts, amps, voltmeter=VOLTMETER, ammeter=AMMETER)
    assert found is not None
    assert found.samples == 400
    assert found.span_A == pytest.approx(0.9)
    slope, start = np.polyfit(amps, volts, 1)
    assert found.series_resistance.value == pytest.approx(-slope, abs=3e-4)
    assert found.set_voltage.value == pytest.approx(start, abs=2e-4)
    _, covariance = np.polyfit(amps, volts, 1, cov=True)
    scatter = found.series_resistance.components[0].size
    # Widened by a fifth; the likelihood of a display's steps is a little wider or narrower than a line's.
    assert scatter == pytest.approx(1.2 * np.sqrt(covariance[0, 0]), rel=0.3)
    counts = found.set_voltage.components[-1]
    assert (counts.size, counts.sensitivity) == (0.003, pytest.approx(0.1, abs=1e-3))
    assert [part.sensitivity for part in found.series_resistance.components[1:]] == pytest.approx(
        [found.series_resistance.value, -found.series_resistance.value]
    )


def test_successive_readings_that_repeat_count_as_fewer() -> None:
    """Of an AR(1) process with coefficient 0.8 the sum of all correlations is (1 + 0.8)/(1 − 0.8) = 9."""
    draw = np.random.default_rng(10)
    values = np.zeros(200_000)
    noise = draw.normal(0, 1, 200_000)
    for index in range(1, len(values)):
        values[index] = 0.8 * values[index - 1] + noise[index]
    assert series_resistance.correlation_length(values) == pytest.approx(9.0, rel=0.12)
    assert series_resistance.correlation_length(noise) == pytest.approx(1.0, abs=0.1)
    assert series_resistance.correlation_length(np.full(7, 3.0)) == 7.0
    assert series_resistance.correlation_length(np.array([1.0, -1.0, 1.0, -1.0])) == 1.0


def test_a_logs_own_step_counts_where_it_is_coarser_than_the_meters() -> None:
    for levels, step in (
        ([4.0, 4.01, 4.02, 4.03], 0.01),
        ([4.0, 4.01, 4.02], 0.001),
        ([4.0, 4.0004, 4.001, 4.002], 0.001),
        ([4.0], 0.001),
    ):
        assert series_resistance.display_step(np.array(levels), VOLTMETER) == pytest.approx(step)


def test_readings_of_one_level_and_place_are_one_group() -> None:
    """1 V in steps of 0.1 V: four bins a step, sixty at least."""
    volts, share = np.array([4.0, 4.0, 4.1, 5.0]), np.array([0.0, 0.01, 0.5, 1.0])
    levels, places, counts = series_resistance._grouped(volts, share, 0.1, 2.0)
    assert levels == pytest.approx([4.0, 4.1, 5.0])
    assert places == pytest.approx([0.005, 0.5, 1.0])
    assert counts == pytest.approx([1.0, 0.5, 0.5])
    apart, _, _ = series_resistance._grouped(volts, np.array([0.0, 0.017, 0.5, 1.0]), 0.1, 2.0)
    assert len(apart) == 4


def run(
    port_V: Any = None,
    port_A: Any = None,
    *,
    every_s: float = 10.0,
    end_s: float = 1000.0,
    terminated: bool = True,
) -> Any:
    time = every_s * np.arange(200)
    volts, amps = (
        None if one is None else pd.Series(np.broadcast_to(one, 200), time) for one in (port_V, port_A)
    )
    record = SimpleNamespace(source_voltage_V=volts, source_current_A=amps, interval_s=10.0)
    phases = SimpleNamespace(terminated=terminated, end_s=end_s, first_sample_s=0.0, start=Measured(0.0, "s"))
    return SimpleNamespace(record=record, phases=phases)


@pytest.mark.parametrize(("left", "stays"), [(0.91, True), (0.89, False)])
def test_a_source_stays_that_keeps_nine_tenths_of_its_voltage(left: float, stays: bool) -> None:
    """Medians of five minutes before and after; the end itself and the row after it are left out."""
    time = 10.0 * np.arange(200)
    volts = np.where(time <= 1010, 5.0, 5.0 * left)
    volts[time < 690] = 9.0
    volts[time > 1310] = 9.0
    assert sources.source_stays(run(volts)) == stays
    assert sources.source_stays(run(volts, terminated=False)) is None
    assert sources.source_stays(run()) is None
    assert sources.source_stays(run(volts, end_s=5000.0)) is None


def test_what_is_drawn_is_the_99th_percentile_over_the_charge() -> None:
    amps = np.linspace(0.0, 2.0, 200)
    found = sources.drawn(run(None, amps), sources.PortMeters())
    assert found is not None
    assert found.value == pytest.approx(np.quantile(amps[:101], 0.99))
    assert sources.drawn(run(None, amps, end_s=40.0), sources.PortMeters()) is not None
    assert sources.drawn(run(None, amps, end_s=39.0), sources.PortMeters()) is None
    budget = sources.drawn(run(None, amps), sources.PortMeters(ammeter=AMMETER))
    assert budget is not None
    assert [part.size for part in budget.components] == pytest.approx([0.01 * found.value + 0.003, 0.0005])


def energy(
    first_s: float = 0.0, last_s: float = 1000.0, meters: Any = None, lag_s: float = 0.0
) -> Measured | None:
    time = np.arange(0.0, 1990.0, 10.0)
    volts, amps = pd.Series(np.full(199, 5.0), time), pd.Series(np.full(199, 2.0), time)
    phases = SimpleNamespace(start=Measured(first_s, "s"), end_s=last_s)
    lag = Measured(lag_s, "s", (Component("clock", 3.0, "s", "rectangular"),))
    return sources._energy(phases, volts, amps, lag, meters or sources.PortMeters())


def test_energy_from_a_port_is_power_over_time_with_its_meters_beside() -> None:
    """5 V and 2 A: 10 W for 1000 s are 2.778 W·h."""
    found = energy()
    assert found is not None
    assert found.value == pytest.approx(10_000 / 3600)
    open_ends = energy(3.0, 998.0)
    assert open_ends is not None
    assert open_ends.value == pytest.approx(9950 / 3600)
    assert [part.size for part in open_ends.components] == pytest.approx(
        [7 / 2 * 10 / 3600, 8 / 2 * 10 / 3600]
    )
    both = energy(meters=sources.PortMeters(VOLTMETER, AMMETER))
    assert both is not None
    volt, amp = both.components
    assert (volt.size, volt.sensitivity) == (pytest.approx(0.0005 * 5 + 0.002), pytest.approx(2000 / 3600))
    assert (amp.size, amp.sensitivity) == (pytest.approx(0.01 * 2 + 0.003), pytest.approx(1000 / 3600 * 5))


@pytest.mark.parametrize(("last_s", "told_of"), [(2080.0, True), (2090.0, False)])
def test_a_source_log_covers_95_percent_of_the_charge(last_s: float, told_of: bool) -> None:
    """It ends at 1980 s."""
    assert (energy(0.0, last_s) is not None) == told_of
    assert energy(5000.0, 6000.0) is None


def test_two_values_are_the_same_within_the_uncertainty_of_their_difference() -> None:
    for apart, same in ((1.9, True), (2.1, False), (-2.1, False)):
        one = sources.SameOrNot("x", "a", "b", Measured(apart, "s", (Component("y", 1.0, "s"),)))
        assert one.same == same
        assert sources.named_pairs([one]) == ("" if same else "x")


def test_a_gap_is_one_between_its_rows() -> None:
    assert Gap(1.0, 3.5).length_s == 2.5


def test_an_end_is_expected_from_the_six_rows_before_it() -> None:
    """A level of six rows after a steep fall: with the fall the line would lie far below the last row."""
    values = np.concatenate((np.linspace(3.0, 1.1, 20), np.full(6, 1.0), [0.9], np.zeros(5)))
    assert ending.whole_rows(rows(values), a_block(0, 26)) == 25
    steep = np.concatenate((np.linspace(3.0, 1.1, 20), np.full(3, 1.0), [0.9], np.zeros(5)))
    assert ending.whole_rows(rows(steep), a_block(0, 23)) == 23


def test_a_level_begins_with_the_row_after_a_step() -> None:
    """Three rows of 20 s each: one row of another level would leave neither steady."""
    values = np.repeat([0.8, 0.5], 3)
    assert limits._levels(20.0 * np.arange(6), values, 1.0) == [0.8, 0.5]


def test_counts_and_a_standing_display_leave_a_droop_open() -> None:
    """Of 1 A: three counts move a droop of −2 % by 2 % an ampere; each end lies within half a step."""
    steady = rows(np.ones(50))
    counts, first, last = currents._droop_display(steady, np.ones(50), 1.0, -2.0, shaped=False)
    assert (counts.size, counts.sensitivity) == (0.003, 2.0)
    assert (first.size, first.sensitivity, last.sensitivity) == (pytest.approx(5e-4), 100.0, -100.0)
    moving = currents._droop_display(steady, np.linspace(1.0, 0.98, 50), 1.0, -2.0, shaped=False)
    assert len(moving) == 1


def test_what_looks_exchanged_is_two_columns_of_a_log_or_two_logs() -> None:
    volts, amps = np.full(9, 0.5), np.full(9, 3.7)
    same = plausibility._exchanged_fault(a_log(volts), a_log(amps))
    other = plausibility._exchanged_fault(a_log(volts), a_log(amps, path="b.csv"))
    assert "Check the columns" in str(same)
    assert "Check the logs" in str(other)
