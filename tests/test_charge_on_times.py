"""Where current counts as flowing, as cut off, as pulses: bounds that a single row or reading decides."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from test_charge_rows import a_block, flat, joined, rows

from reviewkit.charge import profile
from reviewkit.charge.profile import Profile
from reviewkit.logs.log import Gap


def of(*pieces: tuple[float, int], **more: Any) -> Profile:
    """The profile of levels in turn, half a minute of nothing before and a minute after."""
    found = profile.of(rows(joined((0.0, 30), *pieces, (0.0, 60)), **more))
    assert found is not None
    return found


# ------------------------------------------------------------------ thresholds


@pytest.mark.parametrize(
    ("noise", "step", "level", "amps", "starts"),
    [
        # Five standard deviations of 10 mA …
        (0.01, 0.001, 1.0, 0.055, True),
        (0.01, 0.001, 1.0, 0.045, False),
        # … five steps of 10 mA …
        (1e-4, 0.01, 1.0, 0.055, True),
        (1e-4, 0.01, 1.0, 0.045, False),
        # … but no more than half of a plateau of 80 mA …
        (1e-4, 0.01, 0.08, 0.045, True),
        (1e-4, 0.01, 0.08, 0.035, False),
        # … and a fiftieth of 1 A.
        (1e-4, 1e-4, 1.0, 0.021, True),
        (1e-4, 1e-4, 1.0, 0.019, False),
    ],
)
def test_a_current_starts_above_noise_steps_and_a_fiftieth(
    noise: float, step: float, level: float, amps: float, starts: bool
) -> None:
    found = of((amps, 60), (level, 300), noise=noise, step=step)
    assert found.blocks[0].first == (30 if starts else 90)


@pytest.mark.parametrize(
    ("noise", "step", "amps", "flows"),
    [
        # Five standard deviations of 2 mA, three steps of 4 mA, three thousandths of 1 A.
        (0.002, 1e-4, 0.011, True),
        (0.002, 1e-4, 0.009, False),
        (1e-4, 0.004, 0.013, True),
        (1e-4, 0.004, 0.011, False),
        (1e-4, 1e-4, 0.0033, True),
        (1e-4, 1e-4, 0.0027, False),
    ],
)
def test_a_current_flows_on_down_to_noise_steps_and_three_thousandths(
    noise: float, step: float, amps: float, flows: bool
) -> None:
    """A minute of it after 1 A: too little to be what goes on below the threshold."""
    found = of((1.0, 300), (amps, 60), noise=noise, step=step)
    assert found.blocks[-1].last == (389 if flows else 329)


@pytest.mark.parametrize(("noise", "step", "low_A"), [(0.002, 1e-4, 0.004), (1e-4, 0.004, 0.0048)])
def test_a_taper_that_flows_on_counts_down_to_twice_the_noise_or_six_fifths_of_a_step(
    noise: float, step: float, low_A: float
) -> None:
    """It falls by 0.1 mA a row, each row half way between two tenths of a milliampere."""
    taper = np.arange(0.02005, 0.0, -1e-4)
    values = np.concatenate((joined((0.0, 30), (1.0, 300)), taper, np.zeros(60)))
    found = profile.of(rows(values, noise=noise, step=step))
    assert found is not None
    assert found.blocks[-1].last == 330 + int(np.flatnonzero(taper > low_A)[-1])


@pytest.mark.parametrize(("count", "level"), [(4, 1.0), (2, 0.0)])
def test_a_level_of_few_rows_is_a_median_of_five(count: int, level: float) -> None:
    """Among 5000 rows they are left out of a quantile."""
    values = np.zeros(5000)
    values[100 : 100 + count] = 1.0
    assert profile.rough_level(rows(values)) == level


def test_few_rows_are_no_level_where_a_quantile_shows_current() -> None:
    """10 mA are more than ±3 counts and five steps of 1 mA: what flows the most of the time is the level."""
    values = np.full(5000, 0.010)
    values[100:112] = 1.0
    assert profile.rough_level(rows(values, noise=1e-4)) == pytest.approx(0.010)


@pytest.mark.parametrize(("count", "zero_A"), [(30, 0.002), (15, 0.0)])
def test_the_lowest_level_is_that_of_a_fiftieth_of_the_rows(count: int, zero_A: float) -> None:
    """Of a thousand, 30 show 2 mA, or 15; the rest show what no statement allows for none."""
    values = joined((0.5, 10), (0.002, count), (1.0, 990 - count))
    assert profile.shown_at_none(rows(values)) == pytest.approx(zero_A)


# ------------------------------------------------------------------ stops


def test_a_stop_of_a_row_shows_in_that_row() -> None:
    """Down by 0.8 in the first row after a stretch alone: not shallow."""
    values = joined((1.0, 10), (0.2, 1), (0.5, 9), (1.0, 10))
    assert profile._shallow(rows(values), [(0, 9), (20, 29)]).tolist() == [False, False]


def test_the_first_row_after_a_stretch_may_average_over_its_end() -> None:
    """The three after it tell the drop: 50 mA of 100 are a cut, the median of all four is 30 mA down."""
    values = joined((0.1, 30), (0.09, 2), (0.05, 40))
    assert not profile.fades(rows(values, noise=1e-4), (0, 29))


@pytest.mark.parametrize(("last", "faded"), [(8, True), (7, False), (4, False)])
def test_three_rows_tell_whether_a_current_was_falling(last: int, faded: bool) -> None:
    """From 0.16 A to 0.1 A, then to 44 mA: less than half as much again of the same share."""
    values = joined((0.16, last - 5), (0.1, 6), (0.0445, 40)) if last > 5 else joined((0.1, 5), (0.0445, 40))
    assert profile.fades(rows(values, noise=1e-4), (0, last)) == faded


@pytest.mark.parametrize(("after", "faded"), [(0.0429, True), (0.0417, False)])
def test_a_falling_current_fades_with_one_and_a_half_times_the_noise_more(after: float, faded: bool) -> None:
    """From 0.16 A to 0.1 A: 1.5 · 37.5 mA, and 1.5 · 1 mA, are 57.75 mA."""
    values = joined((0.16, 25), (0.1, 5), (after, 40))
    assert profile.fades(rows(values, noise=0.001), (0, 29)) == faded


@pytest.mark.parametrize(("rows_off", "told"), [(2, True), (1, False)])
def test_a_dip_is_told_from_two_rows_on(rows_off: int, told: bool) -> None:
    found = of((1.0, 200), (0.0, rows_off), (1.0, 200))
    assert bool(found.pauses_s) == told


# ------------------------------------------------------------------ strays, pulses


@pytest.mark.parametrize(("count", "strays"), [(3, 3), (4, 0)])
def test_four_rows_off_are_no_stray(count: int, strays: int) -> None:
    values = np.ones(50)
    values[20 : 20 + count] = 0.9
    assert profile._strays(rows(values), 1.0).sum() == strays


def test_what_is_about_a_row_are_nine() -> None:
    """A row that stands off within a level of seven rows is a stray."""
    values = np.ones(60)
    values[30:37] = 0.5
    values[33] = 0.6
    assert profile._strays(rows(values), 1.0)[33]


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_voltage_that_jumps_one_way_only_shows_no_switchings(sign: float) -> None:
    """Each switching on has one off: twenty steps of 50 mV in one direction are none."""
    volts = 4.0 + sign * 0.05 * (np.arange(400) // 20)
    record = rows(np.ones(400), voltage_shown=volts)
    assert len(profile._hidden_jumps(record, [(0, 399)], 1.0)) == 0


def test_jumps_of_less_than_half_the_largest_are_none() -> None:
    """Six of 0.1 V are too few, and six of 40 mV beside them do not count."""
    volts = np.full(400, 4.0)
    for number in range(6):
        volts[10 + 60 * number : 30 + 60 * number] += 0.1
        volts[40 + 60 * number : 55 + 60 * number] += 0.04
    assert len(profile._hidden_jumps(rows(np.ones(400), voltage_shown=volts), [(0, 399)], 1.0)) == 0


def test_the_first_of_several_hidden_switchings_counts_as_any_other() -> None:
    beside = profile._beside(rows(np.ones(500)), np.array([100.0, 300.0, 310.0]))
    assert np.flatnonzero(beside).tolist() == [*range(71, 130), *range(271, 340)]


def test_on_times_that_show_nothing_count_as_a_step_of_the_display() -> None:
    """An ammeter 2 mA low shows 0 and less for a trickle: what changes by a step is not resolved."""
    values = np.where(np.arange(60) % 3 < 2, np.where(np.arange(60) % 2, 0.0, -0.001), -0.002)
    spans = [(3 * number, 3 * number + 1) for number in range(20)]
    assert not profile._resolved(rows(values), spans, ["pulse"] * 19)


# ------------------------------------------------------------------ bins


def test_eighty_steps_of_the_current_have_an_edge_of_their_own() -> None:
    """A hundred and twenty in 600 rows, each larger than the one before: the largest eighty."""
    sizes = 0.03 + 1e-3 * np.arange(120)
    values = np.repeat(1.0 + sizes * (np.arange(120) % 2) + 1e-6 * np.arange(120), 5)
    # A charge so long that the even edges lie beyond.
    one, none = flat(600, block=a_block(0, 400_000)), np.zeros(600, dtype=bool)
    edges, _ = profile._edges(rows(values), one, np.arange(600.0), values, none)
    steps = 4.5 + 5 * np.arange(119)
    change = np.abs(np.diff(values))[steps.astype(int)]
    assert [step for step in steps if step in edges] == sorted(steps[np.argsort(-change)[:80]])


@pytest.mark.parametrize(("off", "seen"), [(3, True), (2, False)])
def test_a_voltage_off_for_three_bins_has_changed(off: int, seen: bool) -> None:
    """A median of five bins passes over two."""
    time = 4.0 * np.arange(40.0)
    volts = np.full(40, 4.0)
    volts[20 : 20 + off] += 0.1
    record = rows(np.ones(40), voltage_time_s=time)
    assert bool(profile._unclocked(record, time, volts).any()) == seen


def test_pulses_that_the_rows_show_scatter_as_any_row_does() -> None:
    values = joined((0.0, 3), (1.0, 400), (0.0, 3))
    record = rows(values, voltage_near=lambda moments: np.full(len(moments), 4.0))
    steady, pulsed = flat(406, block=a_block(3, 402)), flat(406, block=a_block(3, 402), pulsing=True)
    few, many = profile.bins(record, pulsed), profile.bins(record, steady)
    assert few.current_sd.max() < many.current_sd.max() < 2e-3


def test_gaps_and_stops_part_the_groups_of_bins() -> None:
    """Two stretches, in each a gap, one gap between them: four groups, one after the other."""
    values = joined((0.0, 3), (1.0, 200), (0.0, 60), (1.0, 200), (0.0, 3))
    record = rows(values, voltage_near=lambda moments: np.full(len(moments), 4.0))
    record.gaps = (Gap(100.0, 105.0), Gap(220.0, 230.0), Gap(350.0, 355.0))
    one = flat(466)
    both = Profile(
        *(one.time_s, 0.0, 1.0, 0.1, 0.1, (a_block(3, 202), a_block(263, 462)), one.on, one.pulsing),
        *((), True, 0),
    )
    found = profile.bins(record, both)
    assert np.unique(found.group).tolist() == [0, 1, 2, 3]
    assert (np.diff(found.group) >= 0).all()
    ends = found.time_s[np.flatnonzero(np.diff(found.group))]
    assert ends == pytest.approx([100.0, 202.0, 350.0], abs=4.0)
