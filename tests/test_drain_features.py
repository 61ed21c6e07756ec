"""What is told of pulses and of the mean, by its budget: by hand, on both sides of each bound."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from drain_rows import rows

from reviewkit.drain import features as told
from reviewkit.drain.features import (
    CLOCK,
    Mean,
    features,
    moved,
    over_cycles,
    over_rows,
    with_gaps,
    with_overloads,
)
from reviewkit.drain.pattern import Pattern
from reviewkit.drain.pulse_train import LOOSE, Train
from reviewkit.drain.samples import Detection, Samples, samples
from reviewkit.metrology import Component, Measured
from reviewkit.metrology.meter import meter

METER = meter({"name": "M", "accuracy": "±(2 % + 3)", "resolution": 1.0}, "A")
UNSTATED = meter({"name": "M", "accuracy": "±2 %", "resolution": 1.0}, "A")
NONE = np.empty(0, dtype=np.intp)


def over(one: Samples, base: float = 0.0, noise: float = 0.5, **more: object) -> Detection:
    """Return what stands out of a level, four steps above it."""
    level = np.full(len(one), base)
    return replace(Detection(noise, level, one.current_A - level, 4.0, NONE, NONE), **more)


def budget(value: Measured | None) -> dict[str, Component]:
    assert value is not None
    return {part.name: part for part in value.components}


def train(
    period: float, first: float, charge: list[float], *, half: float = 0.0, folded: bool = False
) -> Train:
    centre = first + period * np.arange(len(charge))
    return Train(period, half, first, len(charge), np.array(charge), centre, 3.0, folded, 1.0)


PULSES = np.tile([10.0, 10, 10, 10, 110, 110, 110, 110, 10, 10], 8)
"""Eight pulses of 100 A and 4 s over 10 A, every 10 s."""


def regular(values: np.ndarray = PULSES, **more: object) -> tuple[Samples, Detection, Pattern]:
    one = rows(values)
    high = values > 60
    first = np.flatnonzero(high & ~np.roll(high, 1))
    what = over(one, 10.0, first=first, last=first + 3)
    found = Pattern(
        "fixed",
        ~high,
        True,
        train(10.0, 6.0, [400.0] * 8),
        6.0 + 10 * np.arange(8.0),
        np.full(8, 400.0),
        outline="rectangular",
        alike=True,
    )
    return one, what, replace(found, **more)


def test_a_regular_train_tells_base_height_width_period_and_charge() -> None:
    one, what, found = regular()
    shape = features(one, what, found, METER)
    for value, truth in (
        (shape.base, 10.0),
        (shape.height, 100.0),
        (shape.width, 4.0),
        (shape.period, 10.0),
    ):
        assert value.value is not None
        assert value.value.value == pytest.approx(truth)
    assert shape.charge_As is not None
    assert shape.charge_As.value == pytest.approx(400.0)
    assert (shape.lowest, shape.highest) == (None, None)


def test_a_base_carries_the_statement_and_its_scatter() -> None:
    """Alternating 9 and 11 A: the means of ten stretches, by numpy."""
    values = PULSES.copy()
    quiet = values < 60
    values[quiet] += np.random.default_rng(4).normal(0, 2, quiet.sum())
    base = features(*regular(values), METER).base.value
    assert base is not None
    parts = np.array_split(values[quiet], len(values[quiet]) // 5)
    means = np.array([part.mean() for part in parts])
    assert len(means) == 9
    scatter = budget(base)["scatter of the readings at the base"]
    assert scatter.size == pytest.approx(means.std(ddof=1) / 3)
    assert scatter.dof == 8
    assert budget(base)["M: accuracy"].size == pytest.approx(0.02 * base.value + 3)


@pytest.mark.parametrize(
    ("count", "parts"),
    [(1, 0), (2, 0), (3, 0), (4, 2), (9, 2), (14, 2), (15, 3), (49, 9), (50, 10), (99, 10)],
)
def test_a_scatter_is_that_of_up_to_ten_stretches_of_five_readings(count: int, parts: int) -> None:
    values = np.random.default_rng(count).normal(0, 1, count)
    part = told._repeat("rows", values)
    if parts == 0:
        assert (part.size, part.dof) == (0.0, np.inf)
        return
    means = np.array([some.mean() for some in np.array_split(values, parts)])
    assert part.size == pytest.approx(means.std(ddof=1) / np.sqrt(parts))
    assert part.dof == parts - 1


def test_a_height_keeps_the_percent_and_what_the_display_hides() -> None:
    """No scatter: half a step is left at the top and at the base (independent, rectangular)."""
    height = features(*regular(), METER).height.value
    assert height is not None
    gain, *rest = height.components
    assert (gain.size, gain.sensitivity) == (0.02, pytest.approx(100.0))
    assert [(part.size, part.distribution) for part in rest if part.size] == [(0.5, "rectangular")] * 2


def test_a_width_is_charge_over_height_and_its_edges_a_fifteenth_of_a_row() -> None:
    shape = features(*regular(), METER)
    width, charge = shape.width.value, shape.charge_As
    assert width is not None
    assert charge is not None
    edges = [part for part in width.components if "in its row" in part.name]
    assert [(part.size, part.distribution) for part in edges] == [(pytest.approx(1 / 15), "rectangular")] * 2
    steps = [part for part in width.components if part.name == "M: resolution"]
    # dW/dh = −Q/h² = −400/100².
    assert [part.sensitivity for part in steps] == [pytest.approx(-0.04)] * 2
    # The percent of the reading cancels.
    assert not any(part.shared for part in width.components)


def test_a_charge_is_summed_cycle_by_cycle_without_the_outer_two() -> None:
    """Eight cycles of 400 A·s, the third with 100 more; what the first and the last hold more is left out."""
    _, what, found = regular()
    values = PULSES.copy()
    values[[4, 24, 74]] += 700.0, 100.0, 900.0
    found = replace(found, train=train(10.0, 5.0, [1.0] * 8))
    charge = told._charge(rows(values), found, Measured(10.0, "A", ()), what, METER)
    sums = np.array([400.0, 500, 400, 400, 400, 400])
    assert charge.value == pytest.approx(sums.mean())
    scatter = budget(charge)["scatter from pulse to pulse"]
    assert scatter.size == pytest.approx(sums.std(ddof=1) / np.sqrt(6))
    assert scatter.dof == 5
    # Four rows of a second lie in each of the six, and in each of those left out.
    assert budget(charge)["level of the base under the pulses"].sensitivity == pytest.approx(4.0)


@pytest.mark.parametrize(("count", "own"), [(4, True), (5, False)])
def test_of_up_to_four_cycles_the_trains_own_charges_count(count: int, own: bool) -> None:
    values = PULSES[: 10 * count]
    one, what, found = regular(values)
    found = replace(found, train=train(10.0, 5.0, [777.0] * count))
    charge = told._charge(one, found, Measured(10.0, "A", ()), what, METER)
    assert charge.value == pytest.approx(777.0 if own else 400.0)
    single = replace(found, train=train(10.0, 5.0, [777.0]))
    part = budget(
        told._charge(
            rows(PULSES[:20]), replace(single, quiet=found.quiet[:20]), Measured(10.0, "A", ()), what, METER
        )
    )
    assert part["scatter from pulse to pulse"].size == 0.0
    assert part["scatter from pulse to pulse"].dof == 1


def test_without_a_train_the_pulses_own_charges_count() -> None:
    one, what, found = regular()
    sums = np.array([390.0, 410, 400, 400, 390, 410, 400, 400])
    charge = told._charge(
        one, replace(found, train=None, charge_As=sums), Measured(10.0, "A", ()), what, METER
    )
    scatter = budget(charge)["scatter from pulse to pulse"]
    assert charge.value == pytest.approx(400.0)
    assert scatter.size == pytest.approx(sums.std(ddof=1) / np.sqrt(8))
    assert scatter.dof == 7
    # 32 rows of pulses in eight of them, at 1 s a row.
    assert budget(charge)["level of the base under the pulses"].sensitivity == pytest.approx(4.0)


def test_a_period_is_known_to_its_pulses_places_and_the_meters_clock() -> None:
    """A crystal's 1 in 10,000: common practice, no source."""
    one, what, found = regular(train=train(10.0, 6.0, [400.0] * 8, half=0.02))
    period = features(one, what, found, METER).period.value
    assert budget(period)["place of each pulse within its rows"].size == 0.02
    clock = budget(period)["meter's clock"]
    assert (clock.size, clock.sensitivity, clock.distribution) == (1e-4, 10.0, "rectangular")
    loose = features(
        one, what, replace(found, kind="jittered", train=None, intervals_s=(9.0, 11.0)), METER
    ).period
    assert (loose.low, loose.high) == pytest.approx((9.0 * (1 - 1e-4), 11.0 * (1 + 1e-4)), rel=1e-12)
    before = features(
        one, what, replace(found, kind="jittered", train=None, intervals_s=(-1.0, 11.0)), METER
    ).period
    assert before.low == 0.0
    assert pytest.approx(1e-4) == CLOCK


def pulses_of(width_rows: float, count: int = 8) -> np.ndarray:
    """Return pulses of 100 A over 10 A, the last row of each held in part."""
    cycle = np.full(10, 10.0)
    full = int(width_rows)
    cycle[4 : 4 + full] = 110.0
    cycle[4 + full] = 10.0 + 100.0 * (width_rows - full)
    return np.tile(cycle, count)


@pytest.mark.parametrize(("width", "resolved"), [(1.9, False), (2.6, True), (3.0, True)])
def test_a_width_needs_two_rows_and_rows_wholly_on_the_pulse(width: float, resolved: bool) -> None:
    values = pulses_of(width)
    one = rows(values)
    middle = 4 + width / 2
    charge = [100 * width] * 8
    found = Pattern("fixed", values < 10.5, True, train(10.0, middle, charge), outline="rectangular")
    found = replace(found, centre_s=middle + 10 * np.arange(8.0), charge_As=np.array(charge), alike=True)
    shape = features(one, over(one, 10.0), found, METER)
    assert (shape.width.resolved, shape.height.resolved) == (resolved, resolved)
    if not resolved:
        # The highest row less twice the noise and a step, the percent off; the width is charge over that.
        seen = 100.0 - 2 * 0.5 - 1.0
        assert shape.height.low == pytest.approx(seen / 1.02)
        assert shape.charge_As is not None
        assert shape.width.high == pytest.approx(shape.charge_As.high / seen)


@pytest.mark.parametrize("outline", ["", "rectangular"])
def test_only_rectangles_have_a_width(outline: str) -> None:
    one, what, found = regular(outline=outline)
    assert features(one, what, found, METER).width.resolved == (outline == "rectangular")


@pytest.mark.parametrize(("late_s", "height"), [(0.25, 100.0), (0.35, 290 / 3)])
def test_the_rows_on_a_pulse_are_those_a_quarter_of_a_row_clear_of_its_edges(
    late_s: float, height: float
) -> None:
    """390 A·s at 100 A: 3.9 s, and rows within (3.9 − 1)/2 − 1/4 = 1.2 s of its middle; the last is lower."""
    values = PULSES.copy()
    values[7::10] = 100.0
    one, what, found = regular(values)
    shape = features(one, what, replace(found, train=train(10.0, 6.0 + late_s, [400.0] * 8)), METER)
    assert shape.height.value is not None
    assert shape.height.value.value == pytest.approx(height)


@pytest.mark.parametrize(
    ("moved_A", "noise", "level", "is_moved"),
    [
        (5.01, 0.1, 0.0, True),
        (4.99, 0.1, 0.0, False),
        (8.01, 2.0, 0.0, True),
        (7.99, 2.0, 0.0, False),
        (10.01, 0.1, 1000.0, True),
        (9.99, 0.1, 1000.0, False),
        (-10.01, 0.1, 1000.0, True),
    ],
)
def test_a_level_moved_by_more_than_five_steps_four_times_the_noise_and_a_hundredth(
    moved_A: float, noise: float, level: float, is_moved: bool
) -> None:
    course = np.linspace(level, level + moved_A, 10)
    what = Detection(noise, course, np.zeros(10), 4.0, NONE, NONE)
    assert moved(what, METER, level) == is_moved


def test_a_level_that_moved_is_told_as_its_lowest_and_highest_with_the_statement() -> None:
    one, what, found = regular()
    base = features(one, replace(what, level_A=np.linspace(8.0, 20.0, 80)), found, METER).base
    assert base.why == "drift"
    assert (base.low, base.high) == pytest.approx((8 - 3.16, 20 + 3.4))
    none = features(one, what, replace(found, flat=False), METER).base
    assert (none.value, none.why) == (None, "no level")
    empty = features(one, what, replace(found, quiet=np.zeros(80, dtype=bool)), METER).base
    assert empty.why == "no level"


def test_extremes_and_the_least_height_leave_noise_its_most() -> None:
    """The most extreme of n normal readings is off by √(2 ln n) standard deviations (Cramér)."""
    values = np.array([5.0, 205, 100, 100])
    one = rows(values)
    shape = features(one, over(one), Pattern("wave", values < 0, False), METER)
    for end, truth in ((shape.lowest, 5.0), (shape.highest, 205.0)):
        assert end is not None
        assert end.value == truth
        part = budget(end)["noise of one reading"]
        assert part.size == pytest.approx(0.5 * np.sqrt(2 * np.log(4)))
        assert part.distribution == "rectangular"
        assert budget(end)["M: accuracy"].size == pytest.approx(0.02 * truth + 3)
    assert told._most_of(1) == pytest.approx(np.sqrt(2 * np.log(2)))
    assert told._most_of(3) == pytest.approx(np.sqrt(2 * np.log(3)))
    few = features(one, over(one, 5.0), Pattern("few", values < 10, True), METER)
    assert few.height.low == pytest.approx((200 - 0.5 * np.sqrt(2 * np.log(4)) - 1) / 1.02)
    none = features(one, over(one, 205.0), Pattern("few", values < 10, True), METER)
    assert none.height.low == 0.0


def test_the_image_of_a_faster_train_bounds_by_its_quantiles() -> None:
    """Of 101 readings 0, 1 … 100 the quantiles 0.02 and 0.98 are 2 and 98."""
    one = rows(np.random.default_rng(1).permutation(101.0 * np.arange(101) / 101))
    found = Pattern("image", one.current_A < 0, False, train(7.0, 3.0, [1.0] * 14))
    shape = features(one, over(one), found, METER)
    assert shape.base.high == pytest.approx(2.5 + 0.05 + 3)
    assert shape.height.low == pytest.approx((96 - 4 * 0.5) / 1.02)
    assert shape.period.high == pytest.approx(7.0 * 1.001, rel=1e-9)
    assert shape.width.why == "image"
    dips = features(one, over(one, 60.0), replace(found, train=None), METER)
    assert dips.base.high == pytest.approx(0.5 + 0.01 + 3)
    assert dips.height.low == pytest.approx((60 - 2 * 0.5) / 1.02)
    assert (dips.period.high, dips.width.why) == (None, "dips")


@pytest.mark.parametrize(
    ("kind", "hidden", "flat", "told_of"),
    [
        ("fixed", "", True, "bhwp"),
        ("jittered", "", True, "bhwp"),
        ("decaying", "", True, "b.._"),
        ("bursts", "", True, "b.._"),
        ("few", "", True, "b.._"),
        ("fixed", "gaps", True, "b..."),
        ("wave", "", False, "...."),
        ("irregular", "gaps", True, "b..."),
        ("irregular", "", True, "...."),
    ],
)
def test_each_kind_is_told_what_it_bears(kind: str, hidden: str, flat: bool, told_of: str) -> None:
    one, what, found = regular(kind=kind, flat=flat)
    shape = features(one, what, found, METER, hidden=hidden)
    assert shape.base.resolved == (told_of[0] == "b")
    assert shape.height.resolved == (told_of[1] == "h")
    assert shape.width.resolved == (told_of[2] == "w")
    assert shape.period.resolved == (told_of[3] in "p_")
    if kind in ("wave", "irregular") and not hidden:
        assert shape.lowest is not None
    if kind == "decaying":
        assert (shape.width.why, shape.height.why) == ("outline", "outline")


@pytest.mark.parametrize("outline", ["decaying", "uneven"])
def test_pulses_that_are_no_rectangles_have_neither_height_nor_width(outline: str) -> None:
    one, what, found = regular(outline=outline)
    shape = features(one, what, found, METER)
    assert (shape.height.value, shape.width.value, shape.charge_As) == (None, None, None)
    assert shape.height.low == pytest.approx((100 - 0.5 * np.sqrt(2 * np.log(80)) - 1) / 1.02)


@pytest.mark.parametrize(
    ("drifts", "hidden", "why"), [(True, "", "drift"), (True, "gaps", "gaps"), (False, "", "few")]
)
def test_what_is_not_resolved_says_what_keeps_it_from_being(drifts: bool, hidden: str, why: str) -> None:
    one, what, found = regular(kind="few")
    level = np.linspace(8.0, 20.0, 80) if drifts else what.level_A
    assert features(one, replace(what, level_A=level), found, METER, hidden=hidden).width.why == why


def test_a_steady_level_tells_its_lowest_row_where_some_lie_below() -> None:
    one = rows(np.full(40, 10.0))
    found = Pattern("steady", np.full(40, True), True)
    assert features(one, over(one, 10.0), found, METER).lowest is None
    assert features(one, over(one, 10.0, dips=1), found, METER).lowest is not None


def test_a_mean_is_taken_over_whole_cycles_cut_midway_between_pulses() -> None:
    """Eight pulses of 400 A·s every 10 s over 10 A, the log 0.5 of a cycle longer: 50 A all the same."""
    values = np.concatenate((PULSES, PULSES[:5]))
    found = over_cycles(rows(values), train(10.0, 6.0, [400.0] * 8, half=0.03), METER)
    assert found.value is not None
    assert found.cycles == 8
    assert found.value.value == pytest.approx(50.0)
    period = budget(found.value)["period"]
    assert (period.size, period.distribution) == (0.03, "rectangular")
    # By (mean − base)/period.
    assert period.sensitivity == pytest.approx((50.0 - 10.0) / 10.0)
    assert budget(found.value)["scatter from stretch to stretch"].dof == 7
    assert budget(found.value)["scatter from stretch to stretch"].size == pytest.approx(0.0, abs=1e-9)
    assert found.rows_mean_A == pytest.approx(values.mean())


@pytest.mark.parametrize(("cycles", "stretches"), [(2, 2), (10, 10), (11, 10), (40, 10)])
def test_a_means_scatter_is_that_of_up_to_ten_stretches(cycles: int, stretches: int) -> None:
    """Cycles of 10 rows at levels of their own; cut at whole cycles, by numpy."""
    levels = np.random.default_rng(cycles).normal(100, 10, cycles)
    values = np.repeat(levels, 10)
    found = over_cycles(rows(values), train(10.0, 5.0, [1.0] * cycles), METER)
    assert found.cycles == cycles
    cuts = np.unique(np.linspace(0, cycles, stretches + 1).astype(int))
    means = np.array([levels[begin:end].mean() for begin, end in itertools.pairwise(cuts)])
    part = budget(found.value)["scatter from stretch to stretch"]
    assert part.size == pytest.approx(means.std(ddof=1) / np.sqrt(stretches))
    assert part.dof == stretches - 1


def test_a_folded_trains_mean_has_half_a_row_more_at_its_ends() -> None:
    found = over_cycles(rows(PULSES), train(10.0, 5.0, [400.0] * 8, half=0.03, folded=True), METER)
    assert budget(found.value)["period"].size == pytest.approx(0.03 + 1 / 16)


def test_a_statement_without_counts_leaves_the_displays_step_to_be_added() -> None:
    for each, stated in ((METER, True), (UNSTATED, False)):
        for found in (
            over_cycles(rows(PULSES), train(10.0, 5.0, [400.0] * 8), each),
            over_rows(rows(PULSES), over(rows(PULSES)), Pattern("steady", PULSES < 60, True), each),
        ):
            assert ("M: resolution" in budget(found.value)) != stated


def all_rows(values: np.ndarray, kind: str, **more: object) -> dict[str, Component]:
    one = rows(values)
    found = over_rows(one, over(one), Pattern(kind, values < 0, True, **more), METER)
    assert found.value is not None
    assert found.value.value == pytest.approx(values.mean())
    return budget(found.value)


@pytest.mark.parametrize(("count", "stretches"), [(9, 2), (15, 3), (50, 10), (80, 10)])
@pytest.mark.parametrize("kind", ["steady", "wave", "image"])
def test_a_mean_of_all_rows_scatters_as_up_to_ten_stretches_of_five(
    kind: str, count: int, stretches: int
) -> None:
    values = np.random.default_rng(count).normal(0, 1, count)
    means = np.array([part.mean() for part in np.array_split(values, stretches)])
    parts = all_rows(values, kind)
    part = parts["scatter from stretch to stretch"]
    assert part.size == pytest.approx(means.std(ddof=1) / np.sqrt(stretches))
    assert part.dof == stretches - 1
    assert ("part of a swing too many in the log" in parts) == (kind == "wave")
    assert "one pulse more or fewer in the log" not in parts


def test_a_mean_over_a_part_of_a_swing_is_off_by_at_most_2_over_pi_of_it_a_beat() -> None:
    """A sine that crosses its middle five times: half a beat too many holds 2/π of the amplitude, in four."""
    values = 30 * np.sin(2 * np.pi * (np.arange(300) + 0.5) / 100)
    part = all_rows(values, "wave")["part of a swing too many in the log"]
    assert part.size == pytest.approx(2 / np.pi / 4)
    assert part.sensitivity == pytest.approx(30.0, rel=1e-3)
    assert part.distribution == "rectangular"
    # Once across: less than a beat, and all of it may be too many.
    ramp = all_rows(np.linspace(0.0, 1.0, 50), "wave")["part of a swing too many in the log"]
    assert ramp.size == pytest.approx(2 / np.pi)
    twice = np.concatenate((np.zeros(20), np.ones(20), np.zeros(20)))
    assert all_rows(twice, "wave")["part of a swing too many in the log"].size == pytest.approx(2 / np.pi)


def test_one_pulse_more_or_fewer_is_the_largest_ones_charge_over_the_log() -> None:
    values = np.full(50, 2.0)
    few = all_rows(values, "few", charge_As=np.array([20.0, -1.0, 30.0]))
    assert few["one pulse more or fewer in the log"].size == pytest.approx(30 / 50)
    assert few["one pulse more or fewer in the log"].distribution == "triangular"
    assert set(few) == {"M: accuracy", "one pulse more or fewer in the log"}
    # None wholly in the log: all that stands above the level is one.
    assert all_rows(values, "few")["one pulse more or fewer in the log"].size == pytest.approx(100 / 50)
    group = all_rows(values, "bursts", charge_As=np.full(9, 20.0), group=(3, 8.0, 9.0))
    assert group["one pulse more or fewer in the log"].size == pytest.approx(60 / 50)
    two = all_rows(values, "two trains", charge_As=np.full(9, 20.0))
    assert set(two) == {"M: accuracy", "one pulse more or fewer in the log"}


def test_jitter_and_the_number_of_irregular_pulses_scatter() -> None:
    """A Poisson process' charge has the variance Σq² (Campbell)."""
    charge, centre = np.array([20.0, 30.0, 20.0, 25.0]), np.array([5.0, 14.0, 25.0, 36.0])
    irregular = all_rows(np.full(50, 2.0), "irregular", charge_As=charge)
    number = irregular["number of pulses in the log"]
    assert number.size == pytest.approx(np.sqrt((charge**2).sum()) / 50)
    assert number.dof == 3
    jittered = all_rows(np.full(50, 2.0), "jittered", charge_As=charge, centre_s=centre)
    between = np.diff(centre)
    jitter = jittered["jitter of the pulses"]
    assert jitter.size == pytest.approx(between.std(ddof=1) / between.mean() / np.sqrt(3) * 95 / 50)
    assert jitter.dof == 2
    assert "one pulse more or fewer in the log" in jittered
    few = all_rows(np.full(50, 2.0), "irregular", charge_As=charge[:3])
    assert set(few) == {"M: accuracy", "one pulse more or fewer in the log"}


@pytest.mark.parametrize(("lost_s", "told_of"), [(0.0, False), (0.19, False), (0.21, True), (40.0, True)])
def test_time_without_rows_counts_from_a_thousandth(lost_s: float, told_of: bool) -> None:
    stamps = np.arange(1.0, 201.0)
    stamps[100:] += 0.5 + lost_s
    one = samples(pd.Series(np.full(200, -7.0), stamps))
    found = over_rows(one, over(one), Pattern("steady", np.full(200, True), True), METER)
    parts = budget(found.value)
    assert ("time without rows" in parts) == told_of
    if told_of:
        part = parts["time without rows"]
        assert part.size == pytest.approx(lost_s / (200.5 + lost_s))
        assert (part.sensitivity, part.distribution) == (7.0, "rectangular")


def test_windows_with_gaps_bound_the_mean_by_what_they_saw_and_what_may_have_been() -> None:
    """A quarter of the time was looked at: in the rest at least the quantile 0.1, at most the highest."""
    values = np.concatenate((np.zeros(5), np.full(10, 10.0), np.full(6, 110.0)))
    one = rows(values)
    mean, floor = values.mean(), np.quantile(values, 0.1)
    found = with_gaps(one, over(one, first=NONE, last=NONE), METER, 0.25)
    low = 0.25 * mean + 0.75 * floor
    assert floor == 0.0
    assert found.low == pytest.approx(low - 0.02 * low - 3)
    assert (found.value, found.high, found.why) == (None, None, "gaps")
    pulse = np.array([15])
    high = 0.25 * mean + 0.75 * 110
    found = with_gaps(one, over(one, first=pulse, last=pulse), METER, 0.25)
    assert found.high == pytest.approx(1.02 * high + 3)
    unknown = with_gaps(one, over(one, first=pulse, last=pulse), METER, None)
    assert (unknown.low, unknown.high, unknown.why) == (
        pytest.approx(-3.0),
        pytest.approx(115.2),
        "unknown gaps",
    )
    whole = with_gaps(one, over(one), METER, 9.0)
    assert whole.low == pytest.approx(0.98 * mean - 3)
    # The quantile itself, of readings 0 to 20.
    ramp = rows(np.arange(21.0))
    assert with_gaps(ramp, over(ramp), METER, None).low == pytest.approx(0.98 * 2.0 - 3)


def test_overloads_hold_at_least_what_the_others_hold_at_their_lowest() -> None:
    """21 s of readings of 10 A on average, 5 s of overload at the quantile 0.1, which is 2 A."""
    one = replace(rows(np.arange(21.0)), overloads=5, overload_s=5.0)
    low = (210 + 5 * 2.0) / 26
    found = with_overloads(one, Mean(None, 10.0), METER)
    assert found.low == pytest.approx(0.98 * low - 3)
    assert (found.value, found.high, found.why, found.rows_mean_A) == (None, None, "overload", 10.0)
    lower = with_overloads(one, Mean(None, 10.0, low=1.0), METER)
    assert lower.low == pytest.approx(0.98 - 3)


def test_charge_up_to_a_time_within_a_row_is_that_rows_share() -> None:
    one = rows([1.0, 2.0, 4.0])
    charge, covered = told._running(one, np.array([0.0, 0.5, 1.0, 2.25, 3.0]))
    assert charge == pytest.approx([0.0, 0.5, 1.0, 4.0, 7.0])
    assert covered == pytest.approx([0.0, 0.5, 1.0, 2.25, 3.0])


def test_a_scatter_needs_two_means_and_a_loose_train_is_named_so() -> None:
    assert told._scatter(np.array([3.0])).size == 0.0
    assert told._scatter(np.array([3.0])).dof == np.inf
    two = told._scatter(np.array([3.0, 5.0]))
    assert (two.size, two.dof) == (pytest.approx(1.0), 1)
    assert LOOSE > 1.5


def test_cycles_begin_midway_between_pulses_wherever_the_log_does() -> None:
    """Pulses in the first four rows of ten: the first cut lies 7 s after the begin, seven cycles follow."""
    found = over_cycles(rows(np.roll(PULSES, -4)), train(10.0, 2.0, [400.0] * 8), METER)
    assert found.cycles == 7
    assert found.value is not None
    assert found.value.value == pytest.approx(50.0)


def test_a_wrong_period_costs_by_the_mean_over_the_lowest_twentieth_of_the_rows() -> None:
    """Six of 80 rows at 4 A: the quantile 0.05 lies there, the quantile 0.1 does not."""
    values = PULSES.copy()
    values[[0, 10, 20, 30, 40, 50]] = 4.0
    found = over_cycles(rows(values), train(10.0, 6.0, [400.0] * 8, half=0.03), METER)
    assert found.value is not None
    assert budget(found.value)["period"].sensitivity == pytest.approx((found.value.value - 4.0) / 10)


def test_of_rows_that_never_rise_above_the_base_no_width_is_told() -> None:
    one, what, found = regular()
    low = replace(found, train=train(10.0, 1.0, [400.0] * 8))
    shape = features(one, what, low, METER)
    assert (shape.width.value, shape.width.high, shape.height.low) == (None, None, 0.0)
