"""Rows as stretches of time, their noise, low level and pulses: worked by hand, or set beside scipy."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from drain_rows import rows
from scipy.stats import norm

from reviewkit.drain.samples import charges, detection, low_level, samples, scatter

STEP = 1.0
"""Display step: below, noise is never less than 1/√12, and a pulse stands out from four steps."""
FLOOR = 1 / np.sqrt(12)


def test_a_row_stands_for_the_time_up_to_its_stamp_but_for_at_most_one_and_a_half_intervals() -> None:
    log = pd.Series([1.0, 2.0, 4.0, np.nan, 8.0, 16.0], [1.0, 2.0, 3.4, 4.4, 5.4, 8.0])
    one = samples(log)
    assert one.width_s == pytest.approx([1.0, 1.0, 1.4, 1.0, 1.5])
    assert one.time_s == pytest.approx([0.5, 1.5, 2.7, 4.9, 7.25])
    assert (one.interval_s, one.overloads, one.overload_s) == pytest.approx((1.0, 1, 1.0))
    assert (one.begin_s, one.end_s, one.span_s) == pytest.approx((0.0, 8.0, 8.0))
    assert one.covered_s == pytest.approx(5.9)
    assert one.mean_A == pytest.approx((1 + 2 + 4 * 1.4 + 8 + 16 * 1.5) / 5.9)


@pytest.mark.parametrize(("from_s", "left"), [(1.0, 3), (1.0 + 1e-10, 3), (1.0 + 1e-6, 2), (2.0, 2)])
def test_a_row_that_began_before_the_settled_part_is_none_of_it(from_s: float, left: int) -> None:
    log = pd.Series([1.0, 2.0, 3.0, 4.0], [1.0, 2.0, 3.0, 4.0])
    assert len(samples(log, from_s=from_s)) == left


def test_two_rows_are_a_log_and_equal_times_are_none() -> None:
    assert len(samples(pd.Series([1.0, 2.0], [1.0, 2.0]))) == 2
    with pytest.raises(ValueError, match="fewer than two rows"):
        samples(pd.Series([1.0], [1.0]))
    with pytest.raises(ValueError, match="don't increase"):
        samples(pd.Series([1.0, 2.0, 3.0], [1.0, 2.0, 2.0]))


def test_noise_is_the_median_difference_of_neighbours_where_it_is_normal() -> None:
    """Quantile of the normal distribution by scipy; 300,000 rows know it to a few thousandths."""
    draws = np.random.default_rng(3).normal(0.0, 2.0, 300_000)
    assert scatter(draws, 0.0) == pytest.approx(2.0, rel=6e-3)


def test_where_few_neighbours_are_alike_their_lowest_tenth_tells_the_noise() -> None:
    """Steps of 1, 4, 9 … display steps, one after the other: the lowest tenth of them is told."""
    steps = np.arange(1.0, 201.0) ** 2
    values = np.concatenate(([0.0], np.cumsum(np.random.default_rng(1).permutation(steps))))
    expected = 1.3 * (np.quantile(steps, 0.1) + 150.0 / 2) / norm.ppf(0.55) / np.sqrt(2)
    assert scatter(values, 150.0) == pytest.approx(expected, rel=1e-3)


def test_where_no_neighbours_are_alike_the_narrowest_15_percent_of_levels_tell_the_noise() -> None:
    """Every second row lies on a level 0.01 wide a row, the others far off and apart."""
    level, far = 0.01 * np.arange(100.0), 1e3 * np.arange(1.0, 101.0) ** 1.5
    values = np.column_stack((level, far)).ravel()
    expected = 1.3 * (30 * 0.01 + 0.5) / (2 * norm.ppf(0.575))
    assert scatter(values, 0.5) == pytest.approx(expected, rel=2e-3)
    # Of 13 rows 15 % are less than two: two it is, and the narrowest three levels lie 0.02 apart.
    few = 1.3 * (2 * 0.01 + 0.5) / (2 * norm.ppf(0.575))
    assert scatter(values[:13], 0.5) == pytest.approx(few, rel=2e-3)


def test_noise_is_at_least_the_displays_rounding_and_of_seven_rows_no_more_is_known() -> None:
    """δ/√12: GUM F.2.2.1."""
    assert scatter(np.zeros(50), 6.0) == pytest.approx(6.0 / np.sqrt(12))
    apart = 100.0 * np.arange(8)
    assert scatter(apart[:7], 6.0) == pytest.approx(6.0 / np.sqrt(12))
    assert scatter(apart, 6.0) > 100.0


def test_the_low_level_of_a_ramp_lies_by_its_lower_fifth_below_it_from_end_to_end() -> None:
    """A block of ten rows: their quantile 0.2 is the first row + 1.8 rows, their middle the first + 4.5."""
    ramp = 5.0 + 3.0 * np.arange(120.0)
    assert low_level(rows(ramp)) == pytest.approx(ramp - 2.7 * 3.0)
    # One row less is too few to look at blocks.
    assert low_level(rows(ramp[:119])) == pytest.approx(np.full(119, np.quantile(ramp[:119], 0.2)))


def of_blocks(levels: np.ndarray) -> np.ndarray:
    """Return twelve blocks of ten rows at these levels."""
    return np.repeat(levels, 10)


@pytest.mark.parametrize(("back", "bends"), [(0.45, True), (0.55, False)])
def test_a_course_that_turns_back_by_a_twentieth_of_its_change_bends_no_more(
    back: float, bends: bool
) -> None:
    """Up by 1 ten times and once back: against the whole of 10 − `back`, a twentieth is just under a half."""
    steps = np.array([1.0] * 5 + [-back] + [1.0] * 5)
    values = of_blocks(np.concatenate(([0.0], np.cumsum(steps))))
    at_middles = low_level(rows(values))[4::10]
    follows = np.allclose(at_middles, values[4::10], atol=0.06)
    assert follows == bends


@pytest.mark.parametrize(("rising", "bends"), [(6, False), (7, True)])
def test_a_level_bends_if_it_rises_in_more_than_half_of_its_steps(rising: int, bends: bool) -> None:
    steps = np.array([1.0] * rising + [0.0] * (11 - rising))
    values = of_blocks(np.concatenate(([0.0], np.cumsum(steps))))
    low = low_level(rows(values))
    assert (low[-20:] == pytest.approx(np.full(20, float(rising)), abs=1e-9)) == bends


@pytest.mark.parametrize(("jumping", "is_line"), [(1.0, True), (3.0, False)])
def test_a_line_counts_from_six_times_what_its_blocks_scatter(jumping: float, is_line: bool) -> None:
    """Blocks that jump about a rising line; line and scatter by numpy."""
    blocks = np.arange(12.0)
    levels = blocks + jumping * np.where(blocks % 2, 1.0, -1.0)
    line = np.polyfit(blocks, levels, 1)
    ratio = line[0] * 11 / (levels - np.polyval(line, blocks)).std()
    assert (6 < ratio < 12) if is_line else (3 < ratio < 6)
    values = of_blocks(levels)
    course = np.polyval(line, (np.arange(120) - 4.5) / 10)
    flat = np.full(120, np.quantile(values, 0.2))
    assert low_level(rows(values)) == pytest.approx(course if is_line else flat)


@pytest.mark.parametrize(
    ("height", "beside", "pulses", "first", "last"),
    [(4.01, 1.99, 1, 20, 20), (4.01, 2.01, 1, 19, 21), (3.99, 1.99, 0, 0, 0), (3.99, 2.01, 0, 0, 0)],
)
def test_a_pulse_stands_out_by_four_display_steps_and_its_sides_by_two(
    height: float, beside: float, pulses: int, first: int, last: int
) -> None:
    values = np.zeros(60)
    values[19:22] = beside, height, beside
    what = detection(rows(values), resolution_A=STEP)
    assert what.threshold_A == 4.0
    assert what.noise_A == pytest.approx(FLOOR)
    assert what.pulses == pulses
    assert list(what.first) == [first] * pulses
    assert list(what.last) == [last] * pulses
    assert list(what.whole(60)) == [True] * pulses


@pytest.mark.parametrize(("depth", "dips"), [(4.01, 2), (3.99, 0)])
def test_a_dip_lies_as_far_below(depth: float, dips: int) -> None:
    values = np.zeros(60)
    values[[20, 40]] = -depth
    assert detection(rows(values), resolution_A=STEP).dips == dips


def test_a_pulse_stands_out_of_noise_by_six_standard_deviations() -> None:
    values = np.random.default_rng(2).normal(0.0, 1.0, 4000)
    what = detection(rows(values), resolution_A=0.01)
    assert what.noise_A == pytest.approx(1.0, rel=0.05)
    assert what.threshold_A == 6 * what.noise_A
    # The lower fifth of a normal level is no base: its middle is.
    assert what.level_A == pytest.approx(np.zeros(4000), abs=0.05)


@pytest.mark.parametrize(("level", "found"), [(0.8, 0.8), (0.9, 0.0)])
def test_the_base_is_the_middle_of_what_lies_within_three_times_the_noise(level: float, found: float) -> None:
    """Noise of 1/√12 of a display step: three times are 0.87."""
    values = np.concatenate((np.zeros(30), np.full(60, level), np.full(30, 10.0)))
    what = detection(rows(values[:119]), resolution_A=STEP)
    assert what.level_A == pytest.approx(np.full(119, found))


@pytest.mark.parametrize(("apart_s", "pulses"), [(1.8, 1), (1.9, 2)])
def test_a_gap_of_more_than_1_6_rows_ends_a_pulse(apart_s: float, pulses: int) -> None:
    """A late row stands for 1.5 s at most: 1.8 s after another their middles lie 1.55 s apart."""
    values = np.zeros(40)
    values[20:22] = 9.0
    stamps = np.arange(1.0, 41.0)
    stamps[21:] += apart_s - 1.0
    assert detection(samples(pd.Series(values, stamps)), resolution_A=STEP).pulses == pulses


def test_pulses_cut_by_the_log_are_not_whole_and_how_far_a_level_moved_is_its_last_less_its_first() -> None:
    values = np.zeros(40)
    values[[0, 20, 39]] = 9.0
    what = detection(rows(values), resolution_A=STEP)
    assert list(what.whole(40)) == [False, True, False]
    ramp = detection(rows(3.0 * np.arange(120.0)), resolution_A=STEP)
    assert ramp.moved_A == pytest.approx(3.0 * 119)


def test_a_charge_holds_the_rows_at_a_pulses_sides_and_no_row_twice() -> None:
    values = np.zeros(60)
    values[10:13] = 1.0, 9.0, 1.5
    # One row between two pulses: it is the first one's.
    values[30:33] = 9.0, 1.25, 7.0
    values[59] = 8.0
    one = rows(values, 2.0)
    what = detection(one, resolution_A=STEP)
    assert what.pulses == 4
    assert charges(one, what) == pytest.approx([2 * 11.5, 2 * 10.25, 2 * 7.0, 2 * 8.0])
