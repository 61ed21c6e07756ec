"""Where a state begins in its log, and what its windows leave open: both sides of each bound, by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reviewkit.drain import decompose
from reviewkit.drain.decompose import Settled, _best_cut, _high_start, _stretches, settled
from reviewkit.metrology.meter import meter

METER = meter({"name": "M", "accuracy": "±(1 % + 1)", "resolution": 1.0}, "A")


def log(values: list[float] | np.ndarray, begin_s: float = 0.0) -> pd.Series:
    values = np.asarray(values, dtype=float)
    return pd.Series(values, begin_s + np.arange(len(values)))


def blocks(*levels: float, rows: int = 8) -> np.ndarray:
    return np.repeat(levels, rows)


def start_of(values: np.ndarray, resolution_A: float = 1.0) -> Settled:
    return settled(log(values), resolution_A=resolution_A)


@pytest.mark.parametrize(("awake", "asleep", "cut"), [(4, 6, 5), (3, 7, 4), (1, 9, 0), (7, 3, 8)])
def test_a_log_is_settled_from_the_first_clean_block_on(awake: int, asleep: int, cut: int) -> None:
    """Ten blocks of eight rows. A start of one block ends with the row after its last."""
    values = blocks(*[1000.0] * awake, *[100.0] * asleep)
    found = start_of(values)
    first = 8 * cut if cut else 9
    assert not found.from_start
    assert found.start_s == first
    assert found.share == pytest.approx((79 - first) / 79)
    assert found.level_before_A == 1000.0


def test_a_level_that_comes_within_the_last_three_blocks_is_no_state() -> None:
    assert start_of(blocks(*[1000.0] * 9, 100.0)).from_start


@pytest.mark.parametrize(("rows", "whole"), [(47, True), (48, False)])
def test_six_blocks_of_eight_rows_are_enough_to_look_for_a_change(rows: int, whole: bool) -> None:
    values = np.where(np.arange(rows) < rows // 2, 1000.0, 100.0)
    assert start_of(values).from_start == whole
    assert start_of(np.full(48, np.nan)).from_start


def test_a_log_is_cut_into_at_most_sixty_blocks() -> None:
    """960 rows are blocks of sixteen: after a change in row 322 the one from row 336 is the first clean."""
    values = np.where(np.arange(960) < 322, 1000.0, 100.0)
    assert start_of(values).start_s == 336


@pytest.mark.parametrize(
    ("before", "after", "resolution_A", "changed"),
    [
        # More than a fifth of the lower level …
        (121.0, 100.0, 1.0, True),
        (119.0, 100.0, 1.0, False),
        (100.0, 121.0, 1.0, True),
        (100.0, 119.0, 1.0, False),
        # … and more than five display steps.
        (15.1, 10.0, 1.0, True),
        (14.9, 10.0, 1.0, False),
        (-121.0, -100.0, 1.0, True),
        (-119.0, -100.0, 1.0, False),
    ],
)
def test_a_change_is_a_fifth_and_five_display_steps(
    before: float, after: float, resolution_A: float, changed: bool
) -> None:
    # The first row is as low as the last, so that only blocks tell.
    values = blocks(*[before] * 5, *[after] * 5)
    values[0] = after
    assert start_of(values, resolution_A).from_start != changed


@pytest.mark.parametrize(("change", "changed"), [(6.2, True), (5.8, False)])
def test_a_change_is_six_times_what_neighbouring_blocks_scatter(change: float, changed: bool) -> None:
    """A median difference of 1 is a scatter of 1.4826/√2 of a normal one (MAD: Hampel 1974)."""
    steps = np.tile([0.0, 1.0], 10)
    levels = 10.0 + steps
    levels[:10] += change * 1.4826 / np.sqrt(2)
    values = blocks(*levels)
    values[0] = 10.0
    assert start_of(values, 0.01).from_start != changed


@pytest.mark.parametrize(("jump", "changed"), [(0.65, True), (0.55, False)])
def test_six_tenths_of_a_change_happen_from_one_block_to_the_next(jump: float, changed: bool) -> None:
    """The rest is a slope before it: the median of three blocks beside the cut tells the jump."""
    before = np.array([1.0] * 7 + [jump] * 3)
    values = blocks(*(100.0 + 900.0 * before), *[100.0] * 10)
    values[0] = 100.0
    assert start_of(values).from_start != changed


def test_a_high_level_that_came_before_is_a_long_pulse_at_the_logs_end() -> None:
    low, high = [100.0], [1000.0]
    once = blocks(*low * 10, *high * 6)
    assert start_of(once).start_s == 8 * 11
    twice = blocks(*low * 5, *high * 2, *low * 8, *high * 6)
    assert start_of(twice).from_start
    lower = blocks(*low * 5, *[540.0] * 2, *low * 8, *high * 6)
    assert not start_of(lower).from_start
    beside = blocks(*low * 5, *[560.0] * 2, *low * 8, *high * 6)
    assert start_of(beside).from_start


def test_states_follow_one_another_and_the_last_counts() -> None:
    """Up to five changes are followed, of seven levels."""
    levels = 100.0 ** np.arange(7, 0, -1)
    assert start_of(blocks(*np.repeat(levels[:3], 4))).start_s == 8 * 9
    found = start_of(blocks(*np.repeat(levels, 4)))
    assert (found.start_s, found.level_before_A) == (8 * 21, levels[4])


def test_a_block_of_overload_is_another_level_for_certain() -> None:
    values = blocks(*[np.nan] * 5, *[100.0] * 5)
    found = start_of(values)
    assert (found.start_s, found.level_before_A) == (48.0, None)
    # The lower fifth of a block is its level, whatever else is in it.
    mixed = blocks(*[1000.0] * 5, *[100.0] * 5)
    mixed[40::8] = np.nan
    mixed[41::8] = 5000.0
    assert start_of(mixed).start_s == 48


@pytest.mark.parametrize(
    ("high", "later", "rows"),
    [(12, 0, 13), (12, 8, 13), (12, 9, 0), (8, 0, 9), (7, 0, 0), (9, 6, 10), (9, 7, 0)],
)
def test_a_high_start_lasts_eight_rows_and_half_as_long_again_as_any_later_stretch(
    high: int, later: int, rows: int
) -> None:
    values = np.full(100, 100.0)
    values[:high] = 1000.0
    values[50 : 50 + later] = 1000.0
    levels = np.full(12, 100.0)
    assert _high_start(values, levels, 1.0) == rows


@pytest.mark.parametrize(
    ("begin", "asleep", "is_high"),
    [
        (121.0, 100.0, True),
        (119.0, 100.0, False),
        (15.1, 10.0, True),
        (14.9, 10.0, False),
        (np.nan, 10.0, True),
    ],
)
def test_a_high_start_is_a_fifth_and_five_display_steps_above(
    begin: float, asleep: float, is_high: bool
) -> None:
    values = np.full(100, asleep)
    values[:20] = begin
    assert (_high_start(values, np.full(12, asleep), 1.0) == 21) == is_high


def test_a_high_start_is_what_lies_above_the_middle_of_both_levels() -> None:
    values = np.full(100, 100.0)
    values[:20] = 1000.0
    values[10] = 560.0
    assert _high_start(values, np.full(12, 100.0), 1.0) == 21
    values[10] = 540.0
    # It ends the start, and what follows is a later stretch of nine.
    assert _high_start(values, np.full(12, 100.0), 1.0) == 0
    values[12:20] = 100.0
    assert _high_start(values, np.full(12, 100.0), 1.0) == 11
    assert _high_start(values, np.full(12, np.inf), 1.0) == 0


def test_the_best_cut_leaves_the_least_absolute_deviation() -> None:
    """Brute force over all cuts that leave three blocks on either side."""
    levels = np.random.default_rng(6).normal(0, 1, 14)
    levels[5:] += 3.0

    def cost(cut: int) -> float:
        return sum(float(np.abs(part - np.median(part)).sum()) for part in (levels[:cut], levels[cut:]))

    assert _best_cut(levels) == min(range(3, 12), key=cost)
    ends = np.array([0.0, 0, 0, 9, 9, 9])
    assert _best_cut(ends) == 3
    assert _best_cut(ends[:5]) == 0


def pulsed(count: int, width_rows: int = 1, uneven: bool = False) -> np.ndarray:
    values = np.full(20 * count + 10, 100.0)
    for number in range(count):
        begin = 10 + 20 * number
        values[begin : begin + width_rows] = 900.0 if uneven and number % 2 else 300.0
    return values


@pytest.mark.parametrize(
    ("values", "aperture_s", "windows"),
    [
        (pulsed(8), 0.96, "gapless"),
        (pulsed(8), 0.94, "gaps"),
        (pulsed(8, 4), None, "borne out"),
        (pulsed(7, 4), None, "assumed"),
        (pulsed(8, 3, True), None, "contradicted"),
        (pulsed(8, 4, True), None, "assumed"),
        (pulsed(2), None, "assumed"),
        (np.full(60, 100.0), None, "assumed"),
    ],
)
def test_alike_pulses_bear_out_windows_without_gaps_and_unlike_short_ones_contradict_them(
    values: np.ndarray, aperture_s: float | None, windows: str
) -> None:
    found = decompose(log(values), meter=METER, aperture_s=aperture_s)
    assert found.windows == windows
    hidden = windows in ("gaps", "contradicted")
    assert (found.kind == "hidden") == hidden
    if hidden:
        assert found.train is None


def test_overloads_are_hidden_charge_and_missing_rows_are_not() -> None:
    values = np.full(100, 100.0)
    values[[30, 60]] = np.nan
    over = decompose(log(values), meter=METER)
    assert (over.mean.why, over.windows) == ("overload", "assumed")
    missing = decompose(log(values), meter=METER, missing_is_overload=False)
    assert missing.mean.value is not None
    assert over.highest_A == 100.0
    none = decompose(log(np.full(100, 100.0)), meter=METER)
    assert none.mean.value is not None


@pytest.mark.parametrize(
    ("rise", "level", "drifts"),
    [(5.2, 100.0, True), (4.8, 100.0, False), (20.4, 2000.0, True), (19.6, 2000.0, False)],
)
def test_a_drift_is_five_display_steps_and_a_hundredth_of_the_mean(
    rise: float, level: float, drifts: bool
) -> None:
    values = level - rise / 2 + rise * np.arange(240) / 239
    found = decompose(log(values), meter=METER)
    assert (found.drift_A is not None) == drifts
    if found.drift_A is not None:
        assert found.drift_A[1] - found.drift_A[0] == pytest.approx(rise)


@pytest.mark.parametrize(("rise", "drifts"), [(4.3, True), (3.7, False)])
def test_a_drift_is_four_times_the_noise(rise: float, drifts: bool) -> None:
    """Noise of 10 steps, of which the fitted line keeps the rise: by the detection's own figures."""
    fine = meter({"name": "M", "accuracy": "±(1 % + 1)", "resolution": 0.01}, "A")
    values = np.random.default_rng(7).normal(0.0, 1.0, 4000) + rise * np.arange(4000) / 3999
    found = decompose(log(values), meter=fine)
    moved = abs(found.detection.moved_A)
    assert (moved > 4 * found.detection.noise_A) == drifts
    assert (found.drift_A is not None) == drifts


def test_two_readings_are_a_settled_part_and_one_is_none() -> None:
    assert len(decompose(log([100.0, 100.0]), meter=METER).samples) == 2
    with pytest.raises(ValueError, match="fewer than two readings"):
        decompose(log([100.0, np.nan]), meter=METER)


@pytest.mark.parametrize("kind", ["fixed", "drifting", "steady"])
def test_a_fixed_train_is_meant_over_whole_cycles_and_nothing_else(kind: str) -> None:
    values = pulsed(12) if kind != "steady" else np.full(250, 100.0)
    if kind == "drifting":
        values = values + 40.0 * np.arange(len(values)) / len(values)
    found = decompose(log(values), meter=METER, aperture_s=1.0)
    assert (found.mean.cycles > 0) == (kind == "fixed")
    if kind == "fixed":
        assert found.mean.value is not None
        assert found.mean.value.value == pytest.approx(110.0)


def test_stretches_are_counted_from_the_first_row() -> None:
    for flags, lengths in (("1101110", [2, 3]), ("0110", [2]), ("1", [1])):
        high = np.array([flag == "1" for flag in flags])
        assert list(_stretches(high)) == lengths
