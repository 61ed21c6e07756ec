"""Which kind of current rows show: each test on both sides of its bound, on rows made for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drain_rows import rows, upright

from reviewkit.drain import pattern
from reviewkit.drain.pattern import Pattern, recognised
from reviewkit.drain.pulse_train import LOOSE, Train
from reviewkit.drain.samples import Detection, Samples, detection

STEP = 1.0
"""Display step: without noise a row belongs to a pulse from four steps."""
NONE = np.empty(0, dtype=np.intp)


def over(one: Samples, noise: float = 0.0, first: object = NONE, last: object = NONE) -> Detection:
    """Return what stands out of a base of 0 from four steps."""
    return Detection(noise, np.zeros(len(one)), one.current_A, 4.0, np.asarray(first), np.asarray(last))


def found_in(values: np.ndarray, interval_s: float = 1.0) -> Pattern:
    one = rows(values, interval_s)
    return recognised(one, detection(one, resolution_A=STEP), resolution_A=STEP)


@pytest.mark.parametrize(
    ("dips", "count", "kind"),
    [(3, 1499, "image"), (3, 1500, "steady"), (3, 1501, "steady"), (2, 100, "steady")],
)
def test_rows_below_all_others_are_an_image_from_three_in_1500(dips: int, count: int, kind: str) -> None:
    values = np.zeros(count)
    values[[10, 40, 80][:dips]] = -9.0
    found = found_in(values)
    assert (found.kind, found.flat) == (kind, kind == "steady")
    assert found.quiet.sum() == count - dips


@pytest.mark.parametrize(
    ("offsets", "kind"),
    [
        (np.zeros(12), "fixed"),
        (2.4 * np.array([0, 1, 0, -1, 1, 0, -1, 1, -1, 0, 1, -1]), "jittered"),
    ],
)
def test_alike_pulses_at_one_period_are_fixed_and_moved_ones_jitter(offsets: np.ndarray, kind: str) -> None:
    found = found_in(upright(10.0 + 20 * np.arange(12) + offsets, 240, wide=4.0))
    assert found.kind == kind
    assert found.alike
    assert (found.train is not None) == (kind == "fixed")
    if found.intervals_s is not None:
        # Each middle is known to 0.01 rows and half a threshold of 100 A at either end.
        between = 20 + np.diff(offsets)
        reach = 2 * (0.01 + 2.0 / 100)
        assert found.intervals_s == pytest.approx((between.min() - reach, between.max() + reach), abs=0.03)


@pytest.mark.parametrize(("longest", "kind"), [(21.8, "jittered"), (22.2, "irregular")])
def test_twice_the_shortest_interval_and_a_fifth_is_no_jitter(longest: float, kind: str) -> None:
    """Of intervals from 10 s: a pulse that was missed would make 20 s."""
    between = np.array([10.0, longest, 13, 18, 11, 20, 15, 10.5, 17, 12, 19, 14])
    centres = 8.0 + np.concatenate(([0.0], np.cumsum(between)))
    assert found_in(upright(centres, int(centres[-1]) + 8, wide=2.0)).kind == kind


def test_too_few_pulses_are_few() -> None:
    values = np.zeros(80)
    values[[20, 60]] = 100.0
    assert found_in(values).kind == "few"


@pytest.mark.parametrize(
    ("inner_s", "outer_s", "sizes", "group"),
    [
        # A pause of 1.7 times the longest interval within a group; 1.5 times is none.
        (10.0, 17.0, [3] * 6, (3, 36.0, 38.0)),
        (10.0, 15.0, [3] * 6, None),
        (10.0, 40.0, [2] * 6, (2, 49.0, 51.0)),
        # The log may cut the first and the last group, and no other.
        (10.0, 40.0, [1, 3, 3, 3, 2], (3, 59.0, 61.0)),
        (10.0, 40.0, [3, 3, 2, 3, 3], None),
        (10.0, 40.0, [1, 1, 1, 1, 1], None),
        # Two whole groups are needed.
        (10.0, 40.0, [3, 3, 3, 3], (3, 59.0, 61.0)),
        (10.0, 40.0, [3, 3, 3], None),
    ],
)
def test_groups_are_of_one_size_with_pauses_1_6_times_as_long_as_within(
    inner_s: float, outer_s: float, sizes: list[int], group: tuple[int, float, float] | None
) -> None:
    between = np.concatenate([[inner_s] * (size - 1) + [outer_s] for size in sizes])[:-1]
    centres = 5.0 + np.concatenate(([0.0], np.cumsum(between)))
    assert pattern._groups(centres, np.diff(centres), 1.0) == (
        None if group is None else (group[0], pytest.approx(group[1]), pytest.approx(group[2]))
    )


def test_bursts_are_told_with_their_group() -> None:
    centres = (20 + 60 * np.arange(8)[:, None] + 8.0 * np.arange(3)).ravel()
    found = found_in(upright(centres, 500, wide=2.0))
    assert found.kind == "bursts"
    assert found.group is not None
    assert found.group[0] == 3
    assert found.group[1] <= 60 <= found.group[2]
    assert found.intervals_s is not None
    assert found.intervals_s[0] <= 8.0 <= 44.0 <= found.intervals_s[1]


@pytest.mark.parametrize(
    ("weak", "strong", "weak_each", "strong_each", "two"),
    [
        (100.0, 130.0, 17.0, 40.0, True),
        (100.0, 120.0, 17.0, 40.0, False),  # less than a quarter apart: of one kind
        (-1.0, 130.0, 17.0, 40.0, False),  # a charge below none is no pulse
        (100.0, 130.0, 17.0, 200.0, False),  # three strong ones are no train
    ],
)
def test_two_trains_are_weak_and_strong_pulses_at_a_period_each(
    weak: float, strong: float, weak_each: float, strong_each: float, two: bool
) -> None:
    slow, quick = np.arange(9.0, 500.0, strong_each), np.arange(4.0, 500.0, weak_each)
    centre = np.concatenate((quick, slow))
    charge = np.concatenate((np.full(len(quick), weak), np.full(len(slow), strong)))
    order = np.argsort(centre)
    found = Pattern("irregular", np.ones(1, dtype=bool), True, None, centre[order], charge[order])
    assert pattern._two_trains(rows(np.zeros(500)), found) == two


def test_two_trains_need_three_pulses_and_one_more_each() -> None:
    """Four and four: enough; of five pulses in all no two trains are told."""
    centre = np.concatenate((4 + 50.0 * np.arange(4), 20 + 50.0 * np.arange(4)))
    charge = np.repeat([100.0, 200.0], 4)
    found = Pattern("irregular", np.ones(1, dtype=bool), True, None, centre, charge)
    assert pattern._two_trains(rows(np.zeros(300)), found)
    fewer = replace(found, centre_s=centre[[0, 1, 2, 4, 5]], charge_As=charge[[0, 1, 2, 4, 5]])
    assert not pattern._two_trains(rows(np.zeros(300)), fewer)


@pytest.mark.parametrize(
    ("centres", "regular"),
    [
        (10.0 * np.arange(4), True),
        (10.0 * np.arange(3), False),  # too few
        (np.delete(10.0 * np.arange(14), [4, 5, 6, 10, 11]), True),  # 14 cycles, 9 pulses: 13 < 1.6·9
        (np.delete(10.0 * np.arange(16), [4, 5, 6, 7, 10, 11, 12]), False),  # 15 > 1.6·9
        (np.array([0.0, 10, 20, 23, 30, 40, 50]), False),  # two in one cycle
        (10.0 * np.arange(10) + np.array([0, 0.9, -0.9, 0, 0.9, -0.9, 0, 0.9, -0.9, 0]), True),
        (10.0 * np.arange(10) + np.array([0, 1.2, -1.2, 0, 1.2, -1.2, 0, 1.2, -1.2, 0]), False),
        # One of ten may lie anywhere.
        (10.0 * np.arange(20) + np.where(np.arange(20) == 9, 3.0, 0.0), True),
    ],
)
def test_a_regular_train_lies_at_multiples_of_a_period_a_few_missing(
    centres: np.ndarray, regular: bool
) -> None:
    assert pattern._regular(centres, 1.0) == regular


@pytest.mark.parametrize(
    ("scatter", "noise", "alike"),
    [(0.24, 0.0, True), (0.26, 0.0, False), (0.33, 1.0, True), (0.45, 1.0, False)],
)
def test_charges_are_alike_within_a_quarter_and_what_noise_does_to_their_rows(
    scatter: float, noise: float, alike: bool
) -> None:
    """Two rows and one at each side: √4 rows of noise, three times; of 60 A·s a tenth."""
    one = rows(np.zeros(50))
    mean = 60.0
    charge = mean * (1 + scatter * np.tile([1.0, -1.0], 4))
    what = over(one, noise, np.arange(3, 43, 5), np.arange(4, 44, 5))
    assert 0.1 * mean == 3 * 1.0 * np.sqrt(1 + 3)
    assert pattern._alike(one, what, charge) == alike
    assert pattern._alike(one, what, charge[:1])


@pytest.mark.parametrize("count", [1, 2])
def test_one_pulse_is_like_itself(count: int) -> None:
    one = rows(np.zeros(50))
    what = over(one, 0.0, [3, 8], [3, 8])
    assert pattern._alike(one, what, np.array([1.0, 9.0])[:count]) == (count == 1)


@pytest.mark.parametrize(
    ("left_A", "noise", "is_flat"),
    [
        # A single level: 2·noise + half a step.
        (2.4, 1.0, True),
        (2.6, 1.0, False),
    ],
)
def test_a_level_scatters_by_at_most_twice_its_noise_and_half_a_step(
    left_A: float, noise: float, is_flat: bool
) -> None:
    values = np.tile([left_A, -left_A], 20)
    one = rows(values)
    assert pattern._flat(one, over(one, noise, [0], [0]), np.ones(40, dtype=bool), STEP) == is_flat


@pytest.mark.parametrize(
    ("quiet_rows", "pulses", "is_flat"), [(4, 2, True), (3, 2, False), (4, 3, False), (5, 3, True)]
)
def test_a_base_is_a_tenth_of_the_rows_and_four_of_them(quiet_rows: int, pulses: int, is_flat: bool) -> None:
    one = rows(np.zeros(50))
    quiet = np.zeros(50, dtype=bool)
    quiet[[5, 15, 25, 35, 45][:quiet_rows]] = True
    places = np.array([10, 20, 30])[:pulses]
    assert pattern._flat(one, over(one, 0.1, places, places), quiet, STEP) == is_flat
    few = rows(np.zeros(30))
    at = np.array([10, 20, 27])
    # Of 30 rows three are a tenth; it takes four.
    assert not pattern._flat(few, over(few, 0.1, at, at), np.isin(np.arange(30), [5, 15, 25]), STEP)


@pytest.mark.parametrize(("slope", "is_level"), [(0.07, True), (0.08, False)])
def test_a_level_does_not_slope_towards_its_pulses(slope: float, is_level: bool) -> None:
    """Rows 0 to 8 from a pulse: thirds' means differ by 6 slopes; at most four errors and half a step."""
    distance = np.arange(9.0)
    values = slope * distance
    error = np.sqrt(2) * slope / np.sqrt(3)
    assert (6 * slope <= 4 * error + 0.2) == is_level
    assert pattern._level(values, distance, 0.4) == is_level
    assert pattern._level(np.array([0.0, 9.0, 0.3, 0.3]), np.array([0.0, 1, 2, 3]), 1.0)


@pytest.mark.parametrize(("far_A", "is_level"), [(0.49, True), (0.51, False)])
def test_thirds_of_a_level_agree_within_half_a_step_where_nothing_scatters(
    far_A: float, is_level: bool
) -> None:
    values = np.concatenate((np.zeros(3), np.full(3, 0.2), np.full(3, far_A)))
    assert pattern._level(values, np.arange(9.0), 1.0) == is_level
    # Of five rows two at either end, of which one third is too few.
    assert pattern._level(np.array([0, 0, 9.0, far_A, far_A]), np.arange(5.0), 1.0) == is_level


def test_what_fades_away_is_level_in_the_later_half_of_the_pauses() -> None:
    """Ten rows of pause: the first four still fade."""
    one = rows(np.tile([100.0, 40, 10, 3, 0, 0, 0, 0, 0, 0], 12))
    what = detection(one, resolution_A=STEP)
    since = pattern._since(one, what, one.time_s)
    assert np.isinf(since[: what.last[0] + 1]).all()
    assert since[what.last[0] + 1 : what.last[0] + 4] == pytest.approx([1.0, 2.0, 3.0])
    quiet = np.asarray(what.above_A < 3.5)
    late = pattern._late(one, what, quiet)
    median = np.median(since[quiet & np.isfinite(since)])
    assert np.array_equal(late, since > median)


@pytest.mark.parametrize(
    ("wave", "is_wave"),
    [
        (lambda t: 100 * np.sin(2 * np.pi * t / 17.3), True),
        # Upright pulses of half the time: a sine leaves them 1 − 8/π² of their variance.
        (lambda t: 100.0 * (t % 20 < 10), False),
        # A sine and its third harmonic: 1/(1 + a²) is explained, 0.9 from a third on.
        (lambda t: 100 * (np.sin(2 * np.pi * t / 20) + 0.30 * np.sin(6 * np.pi * t / 20)), True),
        (lambda t: 100 * (np.sin(2 * np.pi * t / 20) + 0.36 * np.sin(6 * np.pi * t / 20)), False),
    ],
)
def test_a_wave_is_what_a_sine_explains_to_nine_tenths(wave: object, is_wave: bool) -> None:
    one = rows(wave(np.arange(400) + 0.5))
    what = Detection(0.1, np.zeros(400), one.current_A - one.current_A.mean(), 4.0, NONE, NONE)
    assert pattern._wave(one, what, flat=False) == is_wave


@pytest.mark.parametrize(("noise", "is_wave"), [(1.0, True), (0.6, False)])
def test_over_a_flat_level_a_wave_describes_rows_within_one_and_a_half_times_their_noise(
    noise: float, is_wave: bool
) -> None:
    time = np.arange(400) + 0.5
    left = np.random.default_rng(5).normal(0, 1.0, 400)
    assert 0.9 < left.std() < 1.1
    one = rows(100 * np.sin(2 * np.pi * time / 17.3) + left)
    what = Detection(noise, np.zeros(400), one.current_A, 4.0, NONE, NONE)
    assert pattern._wave(one, what, flat=True) == is_wave


def test_a_wave_between_two_lines_of_the_spectrum_is_fitted_at_its_own_period() -> None:
    """Few periods: the strongest line is off by what its leakage does, and the fit finds the true one."""
    time = np.arange(100) + 0.5
    one = rows(100 * np.sin(2 * np.pi * time / 43.0))
    what = Detection(0.1, np.zeros(100), one.current_A, 4.0, NONE, NONE)
    assert pattern._wave(one, what, flat=False)


def steady_train(slack: float = 1.0, extent: float = 2.0) -> Train:
    return Train(20.0, 0.0, 10.0, 6, np.full(6, 100.0), 10 + 20.0 * np.arange(6), extent, False, slack)


@pytest.mark.parametrize(
    ("off", "second", "single"), [(1.9, False, True), (2.1, False, False), (0.0, True, False)]
)
def test_a_cycle_holds_one_pulse_at_its_place(off: float, second: bool, single: bool) -> None:
    """Half an extent of 2 s and a row of 1 s; what the log cuts may lie elsewhere."""
    one = rows(np.zeros(120))
    first = np.arange(9, 120, 20)
    last = first + 1
    if second:
        first, last = np.sort(np.append(first, 35)), np.sort(np.append(last, 36))
    shifted = Train(20.0, 0.0, 10.0 - off, 6, np.full(6, 100.0), first[:6] + 1.0, 2.0, False, 1.0)
    assert pattern._single(one, over(one, 0.1, first, last), shifted) == single


def test_quiet_rows_lie_a_row_or_more_from_any_pulse() -> None:
    values = np.zeros(120)
    values[10::20] = 100.0
    one = rows(values)
    what = detection(one, resolution_A=STEP)
    quiet = pattern._quiet(one, what, None, STEP)
    near = np.zeros(120, dtype=bool)
    for side in (-1, 0, 1):
        near[10 + side :: 20] = True
    assert np.array_equal(quiet, ~near)
    # By its phase: half an extent and a row from every place where a pulse is due, also a missing one.
    values[50] = 1.0
    one = rows(values)
    what = detection(one, resolution_A=STEP)
    train = Train(20.0, 0.0, 10.5, 6, np.full(6, 100.0), 10.5 + 20.0 * np.arange(6), 3.0, False, 1.0)
    by_phase = pattern._quiet(one, what, train, STEP)
    away = np.abs((one.time_s - 10.5 + 10) % 20 - 10)
    assert np.array_equal(by_phase, away > 2.5)
    loose = pattern._quiet(one, what, replace(train, slack=np.inf), STEP)
    assert loose.sum() > by_phase.sum()
    assert np.array_equal(pattern._quiet(one, what, replace(train, slack=LOOSE), STEP), by_phase)


@pytest.mark.parametrize(("level", "is_quiet"), [(2.9, True), (3.1, False)])
def test_a_quiet_row_is_less_than_three_times_the_noise_above_the_level(level: float, is_quiet: bool) -> None:
    values = np.zeros(60)
    values[30] = level
    one = rows(values)
    assert pattern._quiet(one, over(one, 1.0), None, 0.5)[30] == is_quiet
    # Or less than a display step.
    assert pattern._quiet(one, over(one, 0.1), None, 3.0)[30] == is_quiet


@pytest.mark.parametrize(
    ("values", "falls"),
    [
        ([9.0, 4, 3, 1], True),
        ([1.0, 3, 4, 9], False),
        ([5.0, 5, 5, 3], False),
        ([5.0, 5, 5, 2.9], True),
        ([9.0, 4, 1], True),
        ([6.0, 9, 5], False),
    ],
)
def test_a_pulse_falls_if_its_first_half_holds_a_quarter_more_than_its_last(
    values: list[float], falls: bool
) -> None:
    """Of 5, 5, 5 and 3 the halves hold 10 and 8: exactly a quarter; a middle row belongs to neither."""
    count = len(values)
    padded = np.concatenate((np.zeros(6), values, np.zeros(6)))
    one = rows(padded)
    what = over(one, 0.1, [6], [5 + count])
    assert pattern._falls(what, np.array([True])) == falls
    assert not pattern._falls(what, np.array([False]))


@pytest.mark.parametrize(
    ("places", "core_s", "swept"),
    [
        ([0.05, 0.2, 0.4, 0.6], 2.0, True),
        ([0.05, 0.2, 0.4], 2.0, False),
        ([0.05, 0.2, 0.4], 0.5, True),
        ([0.05], 0.5, False),
        ([0.05, 0.2], 0.5, True),
    ],
)
def test_rows_lie_everywhere_on_a_pulse_if_they_do_in_six_tenths_of_six_parts(
    places: list[float], core_s: float, swept: bool
) -> None:
    """3.6 of 6 parts; on half a row 1.8 of them."""
    assert pattern._swept(np.array(places), 1.0, core_s) == swept
    assert pattern._swept(np.array(places) - 7.0, 1.0, core_s) == swept


def shapes(cycle: list[float], count: int = 12, **more: object) -> Pattern:
    return found_in(np.tile(cycle, count), **more)


@pytest.mark.parametrize(
    ("cycle", "outline"),
    [
        ([0] * 5 + [100] * 6 + [0] * 9, "rectangular"),
        ([0] * 5 + [100] * 4 + [102, 102] + [0] * 9, "rectangular"),
        # More than two hundredths of the height off at the top, at the foot.
        ([0] * 5 + [100] * 3 + [109] * 3 + [0] * 9, "uneven"),
        ([0] * 5 + [109] * 3 + [100] * 3 + [0] * 9, "uneven"),
        ([0] * 5 + [130] * 3 + [100] * 3 + [0] * 9, "decaying"),
        ([0] * 5 + [100, 60, 36, 22, 13, 8, 5, 3, 2, 1] + [0] * 5, "decaying"),
        # One row: no outline is to be seen.
        ([0] * 5 + [100] + [0] * 14, ""),
        ([0] * 5 + [100, 100] + [0] * 13, ""),
    ],
)
def test_an_outline_is_what_pulses_laid_over_one_another_show(cycle: list[float], outline: str) -> None:
    assert shapes(cycle).outline == outline


def test_a_pulse_lies_by_its_nearest_middle() -> None:
    found = Pattern("jittered", np.ones(1, dtype=bool), True, None, np.array([2.0, 10.0, 13.0]), np.ones(3))
    away = found.away_s(np.array([0.0, 2.0, 5.9, 6.1, 11.4, 11.6, 20.0]))
    assert away == pytest.approx([-2.0, 0.0, 3.9, -3.9, 1.4, -1.4, 7.0])


def test_a_fading_trains_period_is_known_to_half_a_row_at_each_end_of_the_log() -> None:
    found = shapes([0] * 5 + [100, 60, 36, 22, 13, 8, 5, 3, 2, 1] + [0] * 25)
    assert found.kind == "decaying"
    assert found.train is not None
    assert found.train.period_half_width_s >= 1.0 / found.train.cycles
