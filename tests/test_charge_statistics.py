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


@pytest.mark.parametrize("count", [5, 15])
def test_a_line_is_that_of_scipy(count: int) -> None:
    """Against scipy.stats.linregress: slope, scatter with n − 2 degrees of freedom, and its place's error."""
    time, values = np.arange(count) * 2.0 + 5, 3.0 + 0.1 * np.arange(count) + 0.01 * noise(count)
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
    assert lone.standard_at(60.0, 0.0) == pytest.approx(lone.residual * math.sqrt(lone.thin / 2))


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
