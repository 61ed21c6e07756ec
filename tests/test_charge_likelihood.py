"""The account's likelihoods and the bend about a knee, against numpy and a search of every partition."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from test_charge_numbers import AMMETER, VOLTMETER

from reviewkit import charge
from reviewkit.charge import segmentation, statistics, transition
from reviewkit.charge.profile import Bins
from reviewkit.charge.segmentation import HELD, LEVEL, PASSING, SLOPE, Stretch

SD_A, SD_V = 0.01, 0.002


def bins(current: np.ndarray, volts: np.ndarray | float = 3.8, *, group: np.ndarray | None = None) -> Bins:
    """Bins of 30 s with one standard deviation each."""
    count = len(current)
    return Bins(
        30.0 * np.arange(count),
        np.full(count, 30.0),
        np.asarray(current, dtype=float),
        np.broadcast_to(volts, count).astype(float),
        np.full(count, SD_A),
        np.full(count, SD_V),
        np.zeros(count, dtype=int) if group is None else group,
        np.zeros(count, dtype=bool),
    )


def chi2(values: np.ndarray, degree: int) -> float:
    time = np.arange(len(values), dtype=float)
    left = values - np.polyval(np.polyfit(time, values, degree), time)
    return float((left**2).sum()) / SD_A**2


def test_a_level_and_a_slope_cost_their_misfit() -> None:
    """Against numpy.polyfit: χ² about the mean, and about a line; the same from any bin to any other."""
    current = 1.0 + 0.02 * np.random.default_rng(1).standard_normal(12)
    costs = segmentation._Costs(bins(current))
    flat = costs.level[0, 1]
    assert costs.slope[0, 1] == costs.slope[0, 2] == np.inf
    for first, end in ((0, 12), (3, 9), (5, 8)):
        assert costs.level[first, end] - flat == pytest.approx(chi2(current[first:end], 0), rel=1e-6)
        straight = costs.slope[2, 5] - chi2(current[2:5], 1)
        assert costs.slope[first, end] - straight == pytest.approx(chi2(current[first:end], 1), abs=1e-6)


@pytest.mark.parametrize(("gain", "kind"), [(5.0, LEVEL), (7.5, SLOPE)])
def test_a_slope_needs_more_evidence_than_a_level(gain: float, kind: int) -> None:
    """By six of doubled log-likelihood: exp(−3), one in twenty, between the two. Chosen, see PENALTIES."""
    ramp = np.linspace(-1.0, 1.0, 20)
    current = 1.0 + SD_A * ramp * math.sqrt(gain / float((ramp**2).sum()))
    (one,) = segmentation._best(segmentation._Costs(bins(current)))[1]
    assert one.kind == kind


@pytest.mark.parametrize(("gain", "count"), [(9.0, 1), (15.0, 2)])
def test_a_step_needs_twelve_of_doubled_log_likelihood(gain: float, count: int) -> None:
    """Two levels, where nothing may be called a slope: the two of a likelihood ratio of exp(−6)."""
    current = 1.0 + SD_A * np.where(np.arange(40) < 20, -0.5, 0.5) * math.sqrt(gain / 10)
    costs = segmentation._Costs(bins(current))
    costs.slope = np.full_like(costs.slope, np.inf)
    assert len(segmentation._best(costs)[1]) == count


def test_the_partition_is_the_best_of_all() -> None:
    """Every way to cut nine bins into stretches, tried one by one."""
    current = np.array([1.0, 1.02, 0.99, 0.7, 0.71, 0.69, 0.6, 0.5, 0.4])
    costs = segmentation._Costs(bins(current, group=np.array([0, 0, 0, 0, 0, 0, 0, 1, 1])))
    cheapest = min(
        sum(costs.without[first, end] for first, end in itertools.pairwise((0, *cuts, 9)))
        for many in range(9)
        for cuts in itertools.combinations(range(1, 9), many)
    )
    total, path = segmentation._best(costs)
    assert total == pytest.approx(cheapest)
    assert any(one.first == 7 for one in path)


def test_the_cost_of_each_knee_is_the_best_account_that_first_reaches_the_limit_there() -> None:
    """Every partition of seven bins whose first stretch at the limit begins at a bin, tried one by one."""
    current = np.array([1.0, 1.0, 1.0, 1.0, 0.8, 0.65, 0.5])
    volts = 4.2 - 0.1 * current - np.array([0.06, 0.04, 0.02, 0.0, 0.0, 0.0, 0.0])
    free = segmentation._Costs(bins(current, volts))
    found = segmentation._knee_costs(free, 0.1, 4.2)
    held, above = free.limit(0.1, 4.2)
    others = np.minimum(np.minimum(free.level, free.slope) + above, free.passing) + free.barred
    for knee in range(7):
        costs = []
        for cuts in itertools.chain.from_iterable(itertools.combinations(range(1, 7), k) for k in range(7)):
            pieces = list(itertools.pairwise((0, *cuts, 7)))
            if knee not in {first for first, _ in pieces}:
                continue
            costs.append(
                sum(
                    others[piece]
                    if piece[0] < knee
                    else held[piece]
                    if piece[0] == knee
                    else min(others[piece], held[piece])
                    for piece in pieces
                )
            )
        assert found[knee] == pytest.approx(min(costs))
    assert int(np.argmin(found)) == 3
    assert found[-1] > found[3]


def test_off_the_limit_costs_its_square_and_below_it_only_the_limit() -> None:
    """z² of doubled log-likelihood at the limit; for all else what lies above it beyond two σ; at most 60."""
    sigma = math.hypot(SD_V, 0.1 * SD_A)
    for z, at_limit, beyond in ((0.0, 0.0, 0.0), (3.0, 9.0, 1.0), (-3.0, 9.0, 0.0), (20.0, 60.0, 60.0)):
        free = segmentation._Costs(bins(np.ones(1), 4.2 - 0.1 + z * sigma))
        held, above = free.limit(0.1, 4.2)
        none = segmentation._Costs(bins(np.ones(1), 4.1)).limit(0.1, 4.2)[0]
        assert held[0, 1] - none[0, 1] == pytest.approx(at_limit, abs=1e-6)
        assert above[0, 1] == pytest.approx(beyond, abs=1e-6)
    # A bin without a voltage is no evidence for the limit: as if three σ off.
    unseen, _ = segmentation._Costs(bins(np.ones(1), np.nan)).limit(0.1, 4.2)
    assert unseen[0, 1] - none[0, 1] == pytest.approx(9.0, abs=1e-6)


def test_resistance_and_set_voltage_are_those_of_a_weighted_line() -> None:
    """Against numpy.polyfit, bins of two lengths and noises; a level of current keeps what was known."""
    rng = np.random.default_rng(3)
    current = np.linspace(1.0, 0.1, 30)
    one = bins(current, 4.2 - 0.12 * current + 1e-4 * rng.standard_normal(30))
    span = np.where(np.arange(30) < 10, 20.0, 40.0)
    one = replace(one, span_s=span, voltage_sd=np.where(np.arange(30) % 2, 0.002, 0.004))
    ohm, set_V = segmentation._line(one, np.ones(30, dtype=bool), 0.12)
    weight = span / (one.voltage_sd**2 + (0.12 * SD_A) ** 2)
    slope, start = np.polyfit(current, one.voltage_V, 1, w=np.sqrt(weight))
    assert ohm == pytest.approx(-slope, abs=2e-5)
    assert set_V == pytest.approx(start, abs=2e-5)
    level = bins(np.ones(30), 4.1 + 1e-4 * rng.standard_normal(30))
    assert segmentation._line(level, np.ones(30, dtype=bool), 0.3)[0] == pytest.approx(0.3, abs=0.02)
    # No bench has more than 1.5 Ω between charger and cell, nor less than nothing.
    assert segmentation._line(bins(current, 4.2 - 1.7 * current), np.ones(30, dtype=bool), 0.3)[0] == 1.5
    assert segmentation._line(bins(current, 4.2 + 0.1 * current), np.ones(30, dtype=bool), 0.3)[0] == 0.0


def test_a_slope_below_a_limit_that_was_reached_is_unlikely() -> None:
    """Bins 25 mV below the set voltage after it was held count, 15 mV do not; before it, none does."""
    path = (Stretch(SLOPE, 0, 1), Stretch(HELD, 2, 3), Stretch(SLOPE, 4, 5), Stretch(LEVEL, 6, 7))
    off = np.array([-0.025, -0.025, 0.0, 0.0, -0.025, -0.015, -0.025, -0.025])
    assert segmentation._below(bins(np.zeros(8), 4.2 + off), path, 0.1, 4.2) == 1


def test_most_weight_lies_where_values_are_dense() -> None:
    values = np.array([1.0, 1.05, 2.0, 2.02, 2.04, 3.0])
    weight, middle = segmentation._densest(values, np.array([1.0, 1.0, 1.0, 2.0, 1.0, 1.5]), 0.05)
    assert weight == pytest.approx(4.0)
    assert middle == pytest.approx(2.02)


def test_what_no_stretch_names_is_passing() -> None:
    account = segmentation.Account((Stretch(LEVEL, 0, 1), Stretch(HELD, 3, 3)), 0.1, 4.2, 0.0, np.zeros(6))
    assert account.kinds(5).tolist() == [LEVEL, LEVEL, PASSING, HELD, PASSING]


@pytest.mark.parametrize("level", [False, True])
def test_a_bend_is_found_where_it_was_planted(level: bool) -> None:
    """A line into a parabola 12 s beside the guess, or a rise into a level there; no noise: to 1 s."""
    time = np.arange(-300.0, 300.0, 1.0)
    if level:
        values = 4.2 - 2e-4 * np.maximum(12.0 - time, 0) - 2e-7 * np.maximum(12.0 - time, 0) ** 2
    else:
        values = (
            1.0 - 1e-5 * time - 5e-4 * np.maximum(time - 12.0, 0) + 4e-7 * np.maximum(time - 12.0, 0) ** 2
        )
    found = transition._bend(time + 1000.0, values, 1000.0, 250.0, 1e-4, level=level)
    assert found is not None
    assert found[0] == pytest.approx(1012.0, abs=1.0)
    assert found[1] < 3.0
    assert transition._bend(time[297:304] + 1000, values[297:304], 1000.0, 250.0, 1e-4, level=level) is None
    # A line alone bends nowhere: the best place lies at an end, or it scatters over the whole window.
    plain = transition._bend(time + 1000.0, 1.0 - 1e-4 * time, 1000.0, 250.0, 1e-4, level=False)
    assert plain is None or plain[1] > 50.0


@pytest.mark.parametrize(("rows", "hidden_s"), [(5, 5.0), (4, 5.0), (3, 0.0)])
def test_a_display_that_stands_still_hides_the_begin_of_a_fall(rows: int, hidden_s: float) -> None:
    """By hand: half a step of 1 mA at 0.1 mA/s takes 5 s; from fewer than four rows no slope is told."""
    time = np.arange(-20.0, 21.0)
    record = charge.on_one_clock(
        pd.Series(4.0, time), pd.Series(1.0, time), voltmeter=VOLTMETER, ammeter=AMMETER
    )
    values = 1.0 - 1e-4 * np.maximum(time, 0)
    assert transition._standing(record, values, 0.0, rows + 0.5, 1e-3, 0.0) == pytest.approx(
        hidden_s, rel=0.02
    )
    more = transition._standing(record, values, 0.0, rows + 0.5, 1e-3, 5e-4)
    assert more == pytest.approx(2 * hidden_s, rel=0.02)
    assert transition._standing(record, np.ones(41), 0.0, 10.5, 1e-3, 0.0) > 4e8


def test_many_rows_about_a_bend_are_averaged_by_groups() -> None:
    """1,000 rows are halved, 700 left alone: at least 400 remain."""
    time = np.arange(1000.0)
    few, values = statistics.averaged(time, 2 * time, transition.MOST_ROWS)
    assert few[:2].tolist() == [0.5, 2.5]
    assert (values == 2 * few).all()
    assert len(few) == 500
    assert len(statistics.averaged(time[:700], time[:700], transition.MOST_ROWS)[0]) == 700
