"""Lines, medians, noise and gaps of the charge section, against scipy and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from reviewkit.charge import record, series_resistance, statistics
from reviewkit.logs.log import Gap
from reviewkit.metrology import meter


def noise(count: int, *, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(count)


@pytest.mark.parametrize(("count", "every_s"), [(3, 2.0), (5, 2.0), (5, 0.02), (15, 2.0)])
def test_a_line_is_that_of_scipy(count: int, every_s: float) -> None:
    """Against scipy.stats.linregress: slope, scatter with n − 2 degrees of freedom, and its place's error."""
    time, values = np.arange(count) * every_s + 5, 3.0 + 0.1 * np.arange(count) + 0.01 * noise(count)
    ours, theirs = statistics.line(time, values), stats.linregress(time, values)
    spread = float(((time - time.mean()) ** 2).sum())
    assert ours.slope == pytest.approx(theirs.slope, rel=1e-9)
    assert ours.at(0.0) == pytest.approx(theirs.intercept, rel=1e-9)
    assert ours.residual == pytest.approx(theirs.stderr * math.sqrt(spread), rel=1e-9)
    assert ours.standard_at(0.0, 0.0) == pytest.approx(theirs.intercept_stderr, rel=1e-9)
    assert ours.dof == count - 2


def test_readings_that_stand_for_longer_count_for_more() -> None:
    """A row left out of two alike is the same as a row that stands for twice as long."""
    time = np.array([0.0, 1.0, 2.0, 3.0, 3.0])
    values = np.array([1.0, 1.2, 1.1, 1.6, 1.6])
    every, fewer = (
        statistics.line(time, values),
        statistics.line(time[:4], values[:4], np.array([1.0, 1, 1, 2])),
    )
    assert (fewer.slope, fewer.middle) == pytest.approx((every.slope, every.middle), rel=1e-12)


def test_readings_all_alike_scatter_by_nothing() -> None:
    """What 64-bit arithmetic leaves of equal readings is no scatter; a thousandth of a step is."""
    time = np.arange(50.0)
    assert statistics.line(time, np.full(50, 0.1)).residual == 0.0
    assert statistics.line(time, 0.1 + 1e-10 * noise(50)).residual > 0.0
    lone = statistics.line(np.zeros(2), np.array([1.0, 1.2]))
    assert (lone.slope, lone.middle) == (0.0, pytest.approx(1.1))
    assert lone.residual == pytest.approx(math.sqrt(0.02))
    assert lone.standard_at(60.0, 0.0) == pytest.approx(lone.residual * math.sqrt(lone.thin / 2))


@pytest.mark.parametrize(("swing", "some"), [(1.2e-13, True), (0.8e-13, False)])
def test_a_millionth_of_a_millionth_of_the_readings_is_no_scatter(swing: float, some: bool) -> None:
    """Of 0.1, up and down from row to row: no meter shows twelve digits."""
    values = 0.1 + swing * np.tile([1.0, -1.0], 50)
    assert (statistics.line(np.arange(100.0), values).residual > 0) is some


def staircase(count: int) -> np.ndarray:
    """A display that stays for five readings on each of two steps of a hundredth."""
    return 0.01 * (np.arange(count) // 5 % 2)


@pytest.mark.parametrize(("count", "fewer"), [(20, False), (21, True)])
def test_readings_that_repeat_are_told_from_twenty_on(count: int, fewer: bool) -> None:
    """Fewer readings tell nothing of how they hang together: each counts."""
    assert (statistics.line(np.arange(float(count)), staircase(count)).thin > 1.0) is fewer


def test_two_readings_are_two_and_leave_one_degree_of_freedom() -> None:
    """A mean of two has 1/√2 of the scatter of one, of which no less than a floor is taken."""
    found = statistics.line(np.array([0.0, 5.0]), np.array([1.0, 1.2]))
    assert (found.thin, found.dof) == (1.0, 1.0)
    assert found.standard_at(2.5, 0.01) == pytest.approx(0.01 / math.sqrt(2))


def test_a_median_lies_within_its_step_where_half_of_the_time_lies_below() -> None:
    """The median of grouped data, by hand: 3/4 of the time at 1.0 ± 0.05, two thirds of the step."""
    for values, weight, median in (
        ([1.0, 1.1], [1.0, 1.0], 1.05),
        ([1.0, 1.1], [3.0, 1.0], 0.95 + 0.1 * 2 / 3),
        ([1.0, 1.1, 1.3], [1.0, 2.0, 1.0], 1.1),
        ([1.0, 1.1, 1.3], [1.0, 1.0, 6.0], 1.25 + 0.1 / 3),
        ([1.02, 1.02], [1.0, 5.0], 1.02),
    ):
        found = statistics.weighted_median(np.array(values), np.array(weight), 0.1)
        assert found == pytest.approx(median)


@pytest.mark.parametrize("again", [0.0, 0.6])
def test_successive_readings_that_repeat_each_other_count_as_fewer(again: float) -> None:
    """Closed form: of a first-order autoregressive series (1 + ρ) / (1 − ρ) rows tell as much as one."""
    values = noise(20_000, seed=4)
    for row in range(1, len(values)):
        values[row] += again * values[row - 1]
    assert series_resistance.correlation_length(values) == pytest.approx((1 + again) / (1 - again), rel=0.1)
    fitted = statistics.line(np.arange(20_000.0), values)
    assert fitted.thin == pytest.approx((1 + again) / (1 - again), rel=0.1)
    assert fitted.dof == pytest.approx(20_000 / fitted.thin - 2)


def test_a_display_that_never_moves_tells_as_much_as_one_reading() -> None:
    assert series_resistance.correlation_length(np.full(30, 0.1)) == pytest.approx(30)


def test_a_reading_stands_half_way_to_its_neighbours_and_for_no_gap() -> None:
    """Rows of 2 s, and a hole of 100 s of which each end stands for as long as is no gap: 2.5 intervals."""
    time = np.concatenate([np.arange(0.0, 20.0, 2.0), np.arange(118.0, 140.0, 2.0)])
    weight = statistics.weights(time)
    assert weight[[0, 5, -1]] == pytest.approx(2.0)
    assert weight[[9, 10]] == pytest.approx((2.0 + 2.5 * 2.0) / 2)
    assert statistics.weights(np.array([7.0])) == pytest.approx(1.0)
    assert statistics.weights(np.array([7.0, 9.5])) == pytest.approx([2.5, 2.5])


def test_a_log_may_change_its_rate() -> None:
    """Rows of 1 s, then of 60 s: none of the long ones is a gap; one of 600 s among them is."""
    slow = np.arange(660.0, 3000.0, 60.0)
    time = np.concatenate([np.arange(0.0, 600.0), slow, slow + 2940.0])
    assert record.usual_interval(time) == 1.0
    (gap,) = record.gaps_in(time, 1.0)
    assert (gap.start_s, gap.end_s) == (2940.0 + 0.0, 3600.0)
    assert record.gaps_in(np.zeros(5), 0.0) == ()


@pytest.mark.parametrize(
    "time", [np.append(0.0, np.arange(100.0, 200.0)), np.append(np.arange(100.0), 199.0)]
)
def test_a_lone_first_or_last_row_is_parted_by_a_gap(time: np.ndarray) -> None:
    (gap,) = record.gaps_in(time, 1.0)
    assert gap.length_s == 100.0


def test_doubled_stamps_are_no_interval() -> None:
    assert record.usual_interval(np.repeat(np.arange(0.0, 20.0, 2.0), 3)) == 2.0
    assert record.usual_interval(np.array([4.0])) == 0.0


@pytest.mark.parametrize("count", [1000, 200_000])
def test_noise_is_that_of_one_reading(count: int) -> None:
    """Differences of white noise have √2 of its spread; the largest 5 % count as the 95th percentile.

    Closed form for normal differences d of variance 1: E[min(d², 1.96²)] = 0.7588 + 0.05 · 1.96² = 0.9509.
    """
    kept = stats.truncnorm(-1.96, 1.96).var() * 0.95 + 0.05 * 1.96**2
    values = 5.0 + np.linspace(0, 1, count) + 0.01 * noise(count)
    assert record.noise_of(values, 1e-6) == pytest.approx(0.01 * math.sqrt(kept), rel=0.05)


def test_noise_is_at_least_that_of_the_display() -> None:
    """GUM F.2.2.1: δ/√12."""
    for values in (np.full(100, 3.3), np.array([1.0, 9.0])):
        assert record.noise_of(values, 0.01) == pytest.approx(0.01 / math.sqrt(12), rel=1e-12)


def test_switchings_are_no_noise() -> None:
    """On and off every 5 rows: the scatter is that of the on-time."""
    on = np.arange(4000) % 10 < 5
    values = np.where(on, 1.0 + 0.002 * noise(4000), 0.0)
    assert record.noise_of(values, 1e-4) == pytest.approx(0.002, rel=0.15)


def test_a_gap_moves_a_median_by_what_it_could_hide() -> None:
    """Half of the time lies in a gap between 1 A and 2 A: the median is there, anywhere between its ends."""
    time = np.concatenate([np.arange(0.0, 50.0), np.arange(150.0, 200.0)])
    values = np.where(time < 100, 1.0, 2.0)
    value, hidden = statistics.across_gaps(time, values, [Gap(49.0, 150.0)], 1.0, 1e-3)
    assert value == pytest.approx(1.5, abs=0.02)
    assert hidden == pytest.approx(0.5, abs=0.002)
    assert statistics.across_gaps(time, values, [Gap(300.0, 400.0)], 1.0, 1e-3)[1] == 0.0


def test_what_scatters_about_a_median_are_the_readings_near_it() -> None:
    """Closed form: a median's standard error is √(π/2) of the mean's, σ/√n; a stay elsewhere is no noise."""
    values = 1.0 + 0.004 * noise(2000)
    values[:200] = 0.5
    ammeter = meter.meter({"accuracy": "±(0.5 % + 3)", "resolution": "0.1 mA"}, "A")
    (part,) = statistics.scatter("plateau", np.arange(2000.0), values, ammeter, median=1.0)
    assert part.standard == pytest.approx(math.sqrt(math.pi / 2) * 0.004 / math.sqrt(1800), rel=0.15)
    assert part.dof == pytest.approx(1798, rel=0.2)


def test_two_readings_near_a_median_do_not_stand_for_all() -> None:
    ammeter = meter.meter({"accuracy": "±(0.5 % + 3)", "resolution": "0.1 mA"}, "A")
    values = np.array([1.0, 1.01, 0.5, 0.52, 1.5, 1.4, 0.6, 0.7])
    (part,) = statistics.scatter("plateau", np.arange(8.0), values, ammeter, median=1.0)
    assert part.standard > 0.1


def test_a_gap_after_the_first_reading_moves_a_median_too() -> None:
    """1 A, a gap of 100 s, 2 A for 50 s: a third of the time may be anywhere between."""
    time, values = np.append(0.0, np.arange(100.0, 150.0)), np.append(1.0, np.full(50, 2.0))
    value, hidden = statistics.across_gaps(time, values, [Gap(0.0, 100.0)], 1.0, 1e-3)
    assert value == pytest.approx(1.75, abs=0.03)
    assert hidden == pytest.approx(0.5, abs=0.002)


@pytest.mark.parametrize(
    ("median", "off", "counts"),
    [(1.0, 0.029, True), (1.0, 0.031, False), (0.01, 0.0029, True), (0.01, 0.0031, False)],
)
def test_readings_within_three_percent_or_three_steps_are_a_medians_own(
    median: float, off: float, counts: bool
) -> None:
    ammeter = meter.meter({"accuracy": "±(0.5 % + 3)", "resolution": "1 mA"}, "A")
    values = np.where(np.arange(40) % 5 == 2, median + off, median)
    assert bool(statistics.scatter("x", np.arange(40.0), values, ammeter, median=median)) is counts


def test_three_readings_near_a_median_stand_for_it() -> None:
    """√(π/2) of a mean's error, by what numpy.polyfit leaves of the three with one degree of freedom."""
    ammeter = meter.meter({"accuracy": "±(0.5 % + 3)", "resolution": "1 mA"}, "A")
    values = np.array([0.5, 0.99, 0.5, 1.01, 1.4, 1.0, 0.6, 0.7])
    (part,) = statistics.scatter("x", np.arange(8.0), values, ammeter, median=1.0)
    near = np.array([1.0, 3.0, 5.0])
    _, squares, *_ = np.polyfit(near, values[[1, 3, 5]], 1, full=True)
    assert part.standard == pytest.approx(math.sqrt(math.pi / 2) * math.sqrt(squares[0]) / math.sqrt(3))
    assert part.dof == 1.0


def test_a_meter_that_states_no_counts_leaves_its_displays_step() -> None:
    """GUM F.2.2.1: δ/√12 of readings all alike."""
    bare = meter.meter({"accuracy": "±0.5 %", "resolution": "10 mA"}, "A")
    (part,) = statistics.scatter("x", np.arange(9.0), np.full(9, 0.5), bare, median=0.5)
    assert part.standard == pytest.approx(0.01 / math.sqrt(12))


@pytest.mark.parametrize(
    ("most", "means"),
    [(20, list(range(10))), (6, list(range(10))), (5, [0.5, 2.5, 4.5, 6.5, 8.5]), (3, [1.0, 4.0, 7.0])],
)
def test_many_rows_are_means_of_neighbours_and_few_stay_by_themselves(most: int, means: list[float]) -> None:
    """Ten rows: as fives of two, threes of three and one left out."""
    time = np.arange(10.0)
    found = statistics.averaged(time, 2 * time, most)
    assert found[0] == pytest.approx(means)
    assert found[1] == pytest.approx(2 * np.array(means))
