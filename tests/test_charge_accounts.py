"""What an account of a charge costs, where it bends and what stretches are called: brute force and hand."""

from __future__ import annotations

import functools
import itertools
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from reviewkit.charge import regimes, segmentation, statistics, transition
from reviewkit.charge.profile import Bins, Block
from reviewkit.charge.regimes import Phase
from reviewkit.charge.segmentation import HELD, LEVEL, PASSING, SLOPE, Account, Stretch, _Costs
from reviewkit.metrology import Measured


def binned(
    current: Any,
    voltage: Any = 4.0,
    *,
    sd: Any = 0.01,
    sd_V: Any = 0.002,
    span: float = 10.0,
    group: Any = 0,
    pulsing: Any = False,
) -> Bins:
    count = len(current)
    return Bins(
        span * (np.arange(count) + 0.5),
        np.full(count, span),
        np.asarray(current, dtype=float),
        np.broadcast_to(np.asarray(voltage, dtype=float), count).copy(),
        np.broadcast_to(sd, count).astype(float),
        np.broadcast_to(sd_V, count).astype(float),
        np.broadcast_to(group, count).astype(int),
        np.broadcast_to(pulsing, count).astype(bool),
    )


def noisy(count: int = 7, seed: int = 1, **more: Any) -> Bins:
    draw = np.random.default_rng(seed)
    return binned(
        draw.normal(1.0, 0.03, count),
        draw.normal(4.2, 0.01, count),
        sd=draw.uniform(0.01, 0.03, count),
        **more,
    )


# ------------------------------------------------------------------ what stretches cost


def test_a_level_and_a_slope_cost_what_least_squares_leave_of_them() -> None:
    """Weighted fits by numpy; 12 for a level, 18 for a slope from three bins on, 14 + 8 a bin in passing."""
    bins = noisy()
    free = _Costs(bins)
    for first, end in itertools.combinations(range(8), 2):
        rows = slice(first, end)
        amps, weight = bins.current_A[rows], 1 / bins.current_sd[rows]
        level = np.polyfit(bins.time_s[rows], amps, 0, w=weight)
        left = float((((amps - level) * weight) ** 2).sum())
        assert free.level[first, end] == pytest.approx(left + 12.0, abs=1e-6)
        length = end - first
        if length > 2:
            line = np.polyval(np.polyfit(bins.time_s[rows], amps, 1, w=weight), bins.time_s[rows])
            assert free.slope[first, end] == pytest.approx(
                float((((amps - line) * weight) ** 2).sum()) + 18.0, abs=1e-6
            )
        else:
            assert free.slope[first, end] == np.inf
        assert free.passing[first, end] == (14.0 + 8.0 * length if length <= 3 else np.inf)
        cheapest = min(free.level[first, end], free.slope[first, end], free.passing[first, end])
        assert free.without[first, end] == cheapest
        assert free.kind(first, end, None, None) == [
            free.level[first, end],
            free.slope[first, end],
            np.inf,
            free.passing[first, end],
        ].index(cheapest)
    assert np.isinf(free.without[3, 3])
    assert np.isinf(free.without[4, 3])


def test_no_stretch_runs_over_a_gap() -> None:
    free = _Costs(noisy(group=[0, 0, 0, 1, 1, 1, 1]))
    assert np.isfinite(free.without[0, 3])
    assert np.isfinite(free.without[3, 7])
    assert np.isinf(free.without[2, 4])
    assert np.isinf(free.without[0, 7])


def test_bins_cost_what_they_lie_off_the_voltage_limit() -> None:
    """In standard deviations of V + R·I: 1, none logged (counts as 3), 20 (at most 60), −1.5, 2.5, 12."""
    off = np.array([1.0, np.nan, 20.0, -1.5, 2.5, 12.0])
    spread = np.hypot(0.002, 0.2 * 0.01)
    bins = binned(np.ones(6), 4.2 - 0.2 + off * spread)
    free = _Costs(bins)
    held, above = free.limit(0.2, 4.2)
    costs = np.array([1.0, 9.0, 60.0, 2.25, 6.25, 60.0])
    over = np.array([0.0, 1.0, 60.0, 0.0, 0.25, 60.0])
    for first, end in itertools.combinations(range(7), 2):
        assert held[first, end] == pytest.approx(costs[first:end].sum() + 12.0)
        assert above[first, end] == pytest.approx(over[first:end].sum())
    # The voltage's noise alone is widened.
    wide, _ = free.limit(0.2, 4.2, 3.0)
    assert wide[0, 1] == pytest.approx((spread / np.hypot(0.006, 0.002)) ** 2 + 12.0)
    assert free.kind(0, 1, held, above) == LEVEL
    assert free.kind(0, 1, held - 5, above) == HELD
    assert free.kind(2, 4, held, above) == PASSING


def test_the_cheapest_partition_is_that_of_a_brute_force() -> None:
    draw = np.random.default_rng(4)
    costs = draw.uniform(0, 10, (8, 8))
    total, back = segmentation._forward(costs)
    best = np.inf
    for cuts in itertools.product((False, True), repeat=6):
        ends = [0, *[index + 1 for index, cut in enumerate(cuts) if cut], 7]
        cost = sum(costs[first, end] for first, end in itertools.pairwise(ends))
        if cost < best:
            best, pieces = cost, list(itertools.pairwise(ends))
    assert total[-1] == pytest.approx(best)
    assert list(segmentation._walk(back)) == pieces


def test_the_costs_of_a_first_moment_at_the_limit_are_those_of_a_brute_force() -> None:
    free = _Costs(noisy(seed=3))
    held, above = free.limit(0.1, 4.3)
    others = np.minimum(np.minimum(free.level, free.slope) + above, free.passing)

    @functools.cache
    def before(end: int) -> float:
        return 0.0 if end == 0 else min(before(first) + others[first, end] for first in range(end))

    @functools.cache
    def rest(first: int) -> float:
        if first == 7:
            return 0.0
        return min(min(others[first, end], held[first, end]) + rest(end) for end in range(first + 1, 8))

    found = segmentation._knee_costs(free, 0.1, 4.3)
    for first in range(7):
        assert found[first] == pytest.approx(
            before(first) + min(held[first, end] + rest(end) for end in range(first + 1, 8))
        )
    assert found[7] == pytest.approx(before(7))


def test_the_line_at_the_limit_is_least_squares_with_the_resistance_known_to_a_tenth_of_an_ohm() -> None:
    """Augmented by one row for the resistance before (ridge; numpy's lstsq)."""
    draw = np.random.default_rng(5)
    amps = np.linspace(1.0, 0.3, 12)
    bins = binned(
        amps, 4.2 - 0.25 * amps + draw.normal(0, 0.004, 12), sd_V=draw.uniform(0.002, 0.006, 12), span=90.0
    )
    inside = np.arange(12) > 2
    volts, some = bins.voltage_V[inside], amps[inside]
    weight = 60.0 / (bins.voltage_sd[inside] ** 2 + (0.1 * 0.01) ** 2)
    weight /= weight.sum()
    mean_V, mean_A = weight @ volts, weight @ some
    own = bins.voltage_sd[inside].mean() ** 2 / 0.1**2 / inside.sum()
    design = np.append(np.sqrt(weight) * (some - mean_A), np.sqrt(own))
    wanted = np.append(-np.sqrt(weight) * (volts - mean_V), np.sqrt(own) * 0.1)
    ohm = float(np.linalg.lstsq(design[:, None], wanted, rcond=None)[0][0])
    assert segmentation._line(bins, inside, 0.1) == pytest.approx((ohm, mean_V + ohm * mean_A))
    rising = binned(amps, 4.0 + 0.25 * amps)
    assert segmentation._line(rising, np.ones(12, dtype=bool), 0.0)[0] == 0.0
    steep = binned(amps, 4.2 - 2.0 * amps)
    assert segmentation._line(steep, np.ones(12, dtype=bool), 1.0)[0] == 1.5


def test_bins_count_by_their_length_up_to_a_minute() -> None:
    amps, volts = np.array([1.0, 0.5, 0.2]), np.array([4.1, 4.16, 4.17])
    for span, counted in (
        ((30.0, 60.0, 60.0), (30.0, 60.0, 60.0)),
        ((30.0, 90.0, 600.0), (30.0, 60.0, 60.0)),
    ):
        bins = binned(amps, volts)
        bins.span_s[:] = span
        weight = np.array(counted)
        found = segmentation._line(bins, np.ones(3, dtype=bool), 0.1)
        weight = weight / (0.002**2 + 0.001**2)
        assert found[1] - found[0] * np.average(amps, weights=weight) == pytest.approx(
            np.average(volts, weights=weight)
        )


def test_the_densest_stretch_holds_the_most_weight() -> None:
    values, weights = np.array([1.0, 3.1, 3.0, 3.3, 5.0]), np.array([2.0, 1.0, 1.0, 4.0, 3.0])
    assert segmentation._densest(values, weights, 0.25) == pytest.approx((5.0, (3.1 + 4 * 3.3) / 5))
    assert segmentation._densest(values, weights, 0.3) == pytest.approx((6.0, (3.1 + 3.0 + 4 * 3.3) / 6))


@pytest.mark.parametrize(("low_V", "count"), [(0.021, 3), (0.019, 0)])
def test_slopes_below_the_limit_after_it_was_reached_are_counted(low_V: float, count: int) -> None:
    bins = binned(np.ones(9), np.full(9, 4.1 - low_V))
    path = (Stretch(SLOPE, 0, 2), Stretch(HELD, 3, 4), Stretch(SLOPE, 5, 7), Stretch(LEVEL, 8, 8))
    assert segmentation._below(bins, path, 0.1, 4.2) == count
    assert segmentation._below(bins, path[:1], 0.1, 4.2) == 0


def test_an_account_starts_where_the_currents_fall_happens_at_one_voltage() -> None:
    """A taper at 4.2 V behind 0.1 Ω; of the grid of resistances the nearest are 0.097 and 0.117 Ω."""
    amps = np.concatenate((np.ones(20), np.geomspace(1.0, 0.05, 60)))
    volts = np.concatenate((np.linspace(3.7, 4.1, 20), 4.2 - 0.1 * amps[20:]))
    bins = binned(amps, volts, sd=0.002, sd_V=0.0005)
    found = segmentation.starts(bins, 0.1)
    assert len(found) == 4
    assert found[0] == pytest.approx((0.1, 4.2), abs=0.02)
    assert min(abs(ohm - 0.1) for ohm, _ in found) < 0.02
    assert all(abs(set_V - 4.2) < 0.03 for _, set_V in found)
    assert segmentation.starts(binned(np.ones(20), 4.0), 0.1) == []
    account = segmentation.account(bins, rig_ohm=0.05)
    assert (account.ohm, account.set_V) == (pytest.approx(0.1, abs=2e-3), pytest.approx(4.2, abs=1e-3))
    assert [one.kind for one in account.stretches] == [LEVEL, HELD]
    assert abs(account.stretches[0].last - 19) <= 1
    assert account.kinds(82)[:3].tolist() == [LEVEL] * 3
    assert account.kinds(82)[-2:].tolist() == [PASSING] * 2
    assert int(np.argmin(account.knee_costs)) == account.stretches[1].first
    plain = segmentation.account(binned(np.ones(40), np.linspace(3.6, 4.0, 40)), rig_ohm=0.0)
    assert (plain.ohm, plain.set_V, len(plain.stretches)) == (None, None, 1)
    assert np.isinf(plain.knee_costs[:-1]).all()
    assert plain.knee_costs[-1] == plain.cost == pytest.approx(12.0)


# ------------------------------------------------------------------ bends


@pytest.mark.parametrize("level", [False, True])
def test_a_bends_losses_are_those_of_least_squares_at_each_place(level: bool) -> None:
    draw = np.random.default_rng(6)
    time = np.linspace(-50, 50, 41)
    values = draw.normal(0, 1, 41) + 0.05 * time
    places = np.array([-30.0, 0.0, 7.3, 25.0])
    found = transition._losses(time, values, places, 50.0, level=level)
    for place, loss in zip(places, found, strict=True):
        after = np.maximum(time - place, 0)
        columns = [np.ones(41), *([] if level else [time]), after, after**2]
        left = (
            values
            - np.column_stack(columns) @ np.linalg.lstsq(np.column_stack(columns), values, rcond=None)[0]
        )
        assert loss == pytest.approx(left @ left)
        own = transition._left(time, values, place, 50.0, level=level)
        assert own == pytest.approx(left, abs=1e-9)


@pytest.mark.parametrize(("count", "left"), [(799, 799), (800, 400), (1201, 400)])
def test_more_than_400_rows_are_averaged(count: int, left: int) -> None:
    time = np.arange(float(count))
    means, values = statistics.averaged(time, 2 * time, transition.MOST_ROWS)
    assert len(means) == left
    assert values == pytest.approx(2 * means)
    assert means[0] == (count // 400 - 1) / 2 if count >= 800 else means[0] == 0


@pytest.mark.parametrize("at", [-30.0, 4.0, 31.0])
def test_a_bend_without_noise_is_found_to_its_rows(at: float) -> None:
    time = np.arange(900.0, 1101.0)
    after = np.maximum(time - 1000 - at, 0)
    fall = 1.0 - 2e-3 * after + 4e-6 * after**2
    found = transition._bend(time, fall, 1000.0, 100.0, 1e-5, level=False)
    assert found is not None
    # A hundred and twenty-first of 160 s, cut into forty.
    assert found[0] == pytest.approx(1000 + at, abs=160 / 120 / 20)
    assert found[1] >= 160 / 120 / 20 * 0.999
    before = np.maximum(1000 + at - time, 0)
    rise = 4.2 - 1e-3 * before - 2e-6 * before**2
    level = transition._bend(time, rise, 1000.0, 100.0, 1e-5, level=True)
    assert level is not None
    assert level[0] == pytest.approx(1000 + at, abs=160 / 120 / 20)


def test_a_bend_needs_eight_rows_and_lies_within_eight_tenths_of_its_window() -> None:
    time = np.arange(0.0, 80.0, 10.0)
    kink = np.maximum(time - 33, 0) * -0.01
    assert transition._bend(time, kink, 35.0, 40.0, 1e-4, level=False) is not None
    assert transition._bend(time[:7], kink[:7], 35.0, 40.0, 1e-4, level=False) is None
    long = np.arange(0.0, 201.0)
    assert transition._bend(long, np.maximum(long - 15, 0) * -0.01, 100.0, 100.0, 1e-4, level=False) is None


def test_a_bends_spread_is_that_of_its_scatter() -> None:
    """Simulated 200 times: the spread told is that of the places found, within a third."""
    time = np.arange(-100.0, 101.0)
    after = np.maximum(time, 0)
    places, spreads = [], []
    for seed in range(200):
        noise = np.random.default_rng(seed).normal(0, 4e-3, len(time))
        found = transition._bend(
            time, 1 - 2e-3 * after + 4e-6 * after**2 + noise, 0.0, 100.0, 1e-4, level=False
        )
        if found is not None:
            places.append(found[0])
            spreads.append(found[1])
    assert len(places) > 190
    assert np.median(spreads) == pytest.approx(np.std(places), rel=0.35)


def test_a_display_that_stands_hides_the_begin_of_a_fall_by_its_step_over_the_kink() -> None:
    """Half a step of 10 mA that nothing shakes, and 2 mA hidden, over 1 mA/s and 3 mA/s: a kink of 2 mA/s."""
    time = np.arange(0.0, 100.0)
    record = SimpleNamespace(time_s=time)
    steady = np.where(time <= 50, 1.0, 1.0 - 2e-3 * (time - 50))
    found = transition._standing(record, steady, 50.0, 40.0, 0.01, 0.002)
    assert found == pytest.approx((0.005 + 0.002) / 2e-3, rel=1e-6)
    assert transition._standing(record, np.ones(100), 50.0, 40.0, 0.01, 0.0) > 1e6
    for reach, told in ((4.5, True), (3.5, False)):
        assert (transition._standing(record, steady, 50.0, reach, 0.01, 0.002) > 0) == told


def test_bends_in_ever_shorter_windows_carry_scatter_shape_rows_and_display(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Windows of 100 to 12.5 s; bends at 10, 12 and 12.5 s with spreads 1, 0.8, 2, none in the last."""
    told = iter([(10.0, 1.0), (12.0, 0.8), (12.5, 2.0), None])
    reached: list[float] = []

    def bend(time: Any, values: Any, rough: float, reach: float, step: float, *, level: bool) -> Any:
        reached.append(reach)
        return next(told)

    monkeypatch.setattr(transition, "_bend", bend)
    monkeypatch.setattr(transition, "_standing", lambda *rest: 0.7)
    record = SimpleNamespace(time_s=np.arange(50.0), interval_s=1.0)
    found = transition._bends(record, np.ones(50), 0.0, 100.0, 0.01, hidden=0.0, level=False)
    assert reached == [100.0, 50.0, 25.0, 12.5]
    sizes = [[part.size for part in one.components] for one in found]
    # What half the window moves beyond its own scatter, and a quarter of the scatter; of the last an eighth.
    assert sizes[0] == pytest.approx([1.25 * 1.0, 1.25 * (1.2 + 0.25), 0.5, 0.7])
    assert sizes[1] == pytest.approx([1.25 * 0.8, 1.25 * (0.0 + 0.2), 0.5, 0.7])
    assert sizes[2] == pytest.approx([1.25 * 2.0, 1.25 * 25 / 8, 0.5, 0.7])
    assert [one.value for one in found] == [10.0, 12.0, 12.5]
    assert [part.distribution for part in found[0].components] == [
        "normal",
        "normal",
        "rectangular",
        "rectangular",
    ]


def test_a_window_reaches_over_ten_rows_and_one_that_contradicts_a_surer_one_is_left_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    told = iter([(10.0, 1.0), (90.0, 1.0)])
    monkeypatch.setattr(transition, "_bend", lambda *rest, level: next(told))
    monkeypatch.setattr(transition, "_standing", lambda *rest: 0.0)
    record = SimpleNamespace(time_s=np.arange(50.0), interval_s=1.0)
    found = transition._bends(record, np.ones(50), 0.0, 21.0, 0.01, hidden=0.0, level=False)
    assert len(found) >= 1
    assert found[0].value == 10.0
    assert transition._bends(record, np.ones(50), 0.0, 10.0, 0.01, hidden=0.0, level=False) == []


@pytest.mark.parametrize(
    ("fall", "noise", "falls"), [(0.0041, 1e-4, True), (0.0039, 1e-4, False), (0.0041, 0.00103, False)]
)
def test_a_current_falls_at_once_by_four_thousandths_and_four_times_the_noise(
    fall: float, noise: float, falls: bool
) -> None:
    time = np.arange(60.0)
    current = 1.0 - fall * time / 6
    record = SimpleNamespace(time_s=time, interval_s=1.0, current=current, noise_A=noise)
    profile = SimpleNamespace(on=np.ones(60, dtype=bool))
    assert transition._falls_at_once(record, profile, 0.0, 3.0) == falls
    # Too few rows to tell, and none beyond two minutes.
    assert transition._falls_at_once(record, SimpleNamespace(on=time < 2), 0.0, 3.0)
    slow = SimpleNamespace(
        time_s=10 * time, interval_s=1.0, current=1.0 - 0.0041 * (10 * time > 115), noise_A=1e-4
    )
    assert transition._falls_at_once(slow, profile, 0.0, 500.0)
    later = SimpleNamespace(
        time_s=10 * time, interval_s=1.0, current=1.0 - 0.0041 * (10 * time > 125), noise_A=1e-4
    )
    assert not transition._falls_at_once(later, profile, 0.0, 500.0)


def test_a_knee_lies_between_the_middle_of_the_bin_before_and_that_of_the_last_as_likely() -> None:
    bins = binned(np.ones(12), 4.0)
    costs = np.full(13, 50.0)
    costs[[4, 5]] = 20.0, 28.9
    costs[9] = 28.9
    account = SimpleNamespace(knee_costs=costs)
    assert transition._brackets(bins, account, 4, 12) == (35.0, 55.0, ((85.0, 95.0),))
    costs[[5, 9]] = 29.1
    assert transition._brackets(bins, account, 4, 12) == (35.0, 45.0, ())
    # A bin apart is one place, two are two.
    costs[6] = 28.9
    assert transition._brackets(bins, account, 4, 12) == (35.0, 65.0, ())
    costs[6], costs[7] = 50.0, 28.9
    assert transition._brackets(bins, account, 4, 12) == (35.0, 45.0, ((65.0, 75.0),))
    # Where no voltage was logged it may have been reached sooner; over a gap, anywhere in it.
    costs[7] = 50.0
    bins.voltage_V[[2, 3]] = np.nan
    assert transition._brackets(bins, account, 4, 12)[:2] == (15.0, 45.0)
    gapped = binned(np.ones(12), 4.0, group=[0] * 4 + [1] * 8)
    assert transition._brackets(gapped, account, 4, 12)[:2] == (35.0, 45.0)
    assert transition._brackets(binned(np.ones(12), 4.0), account, 0, 12)[:2] == (5.0, 5.0)


# ------------------------------------------------------------------ what stretches are called


def named(
    kind: int,
    *,
    at: int = 5,
    knee_s: float | None = 40.0,
    mean: float = 0.5,
    precharge_s: float | None = None,
    **more: Any,
) -> tuple[str, str]:
    bins = binned(np.full(12, mean), **({"voltage": 4.0} | more))
    account = SimpleNamespace(ohm=0.1, set_V=4.2)
    precharge = None if precharge_s is None else Measured(precharge_s, "s")
    return regimes._named(bins, account, Stretch(kind, at, at + 2), precharge, knee_s, 1.0, mean)


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        (lambda: named(LEVEL, precharge_s=66.0), ("precharge", "level")),
        (lambda: named(LEVEL, precharge_s=64.0, knee_s=None), ("constant current", "level")),
        (lambda: named(LEVEL, knee_s=66.0), ("constant current", "level")),
        (lambda: named(SLOPE, knee_s=66.0), ("constant current", "slope")),
        (lambda: named(PASSING, knee_s=66.0), ("constant current", "unexplained")),
        (lambda: named(LEVEL, knee_s=None, pulsing=True), ("constant current", "pulses")),
        (lambda: named(HELD), ("constant voltage", "falling")),
        (lambda: named(HELD, pulsing=True), ("constant voltage", "pulses")),
        (lambda: named(SLOPE, voltage=np.nan), ("constant voltage", "falling")),
        (lambda: named(LEVEL, voltage=4.2 - 0.05 + 0.0039), ("constant voltage", "trickle")),
        (lambda: named(LEVEL, voltage=4.2 - 0.05 + 0.2), ("constant voltage", "unexplained")),
        (lambda: named(LEVEL, mean=0.975), ("constant current", "level")),
        (lambda: named(LEVEL, mean=0.965), ("constant voltage", "unexplained")),
        (lambda: named(PASSING, mean=0.975), ("constant voltage", "unexplained")),
        (lambda: named(LEVEL, mean=0.975, pulsing=True), ("constant current", "pulses")),
    ],
)
def test_a_stretch_is_called_by_its_kind_its_time_and_its_level(told: Any, expected: tuple[str, str]) -> None:
    assert told() == expected


@pytest.mark.parametrize(("late", "rises"), [(1.101, True), (1.099, False)])
def test_a_soft_start_rises_by_a_tenth(late: float, rises: bool) -> None:
    assert regimes._rises(binned([1.0, 1.05, late]), Stretch(SLOPE, 0, 2)) == rises


def phases(*pieces: tuple[str, str, float, float]) -> tuple[Phase, ...]:
    ends = np.concatenate(([0.0], np.cumsum([length for _, _, length, _ in pieces])))
    return tuple(
        Phase(name, begin, begin + length, shape, level)  # type: ignore[arg-type]
        for (name, shape, length, level), begin in zip(pieces, ends, strict=False)
    )


def test_the_unexplained_share_is_one_of_time_in_percent() -> None:
    one = phases(("constant current", "level", 90.0, 1.0), ("constant voltage", "unexplained", 10.0, 0.5))
    assert regimes._unexplained(one) == pytest.approx(10.0)
    assert regimes._unexplained(()) == 0.0
    assert regimes.UNEXPLAINED == 6.0


def test_a_boundary_known_finely_is_set_within_the_two_that_meet_there() -> None:
    one = list(phases(("constant current", "level", 50.0, 1.0), ("constant voltage", "falling", 50.0, 0.5)))
    assert [item.end_s for item in regimes._at_moments(list(one), None, 60.0)] == [60.0, 100.0]
    assert [item.start_s for item in regimes._at_moments(list(one), None, 60.0)] == [0.0, 60.0]
    assert regimes._at_moments(list(one), None, 120.0) == one
    assert regimes._at_moments(list(one), 20.0, None) == one
    both = list(phases(("precharge", "level", 30.0, 0.1), ("constant current", "level", 50.0, 1.0)))
    assert [item.end_s for item in regimes._at_moments(both, 25.0, None)] == [25.0, 80.0]


def test_a_charge_is_expected_to_end_at_c_10_or_a_fifth_of_its_plateau() -> None:
    from reviewkit.schema.blocks import Cell

    hours = np.arange(0.0, 7201.0, 10.0)
    record = SimpleNamespace(time_s=hours, current=np.full(721, 1.0), gaps=(), interval_s=10.0)
    block = Block(0, 720, 0.0, 7200.0, 0.0, 7200.0)
    import reviewkit.charge.ending as endings

    delivered = endings.charge_of(record, block) / 3600
    assert delivered == pytest.approx(2.0)
    assert regimes._last_expected(Cell(), record, (block,), 0.5) == pytest.approx(0.2)
    assert regimes._last_expected(Cell(), record, (block,), 1.5) == pytest.approx(0.3)
    assert regimes._last_expected(Cell(), record, (block, block), 0.5) == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("seconds", "share", "volts", "found"),
    [
        (21, 0.5, 3.0, True),
        (19, 0.5, 3.0, False),
        (30, 0.61, 3.0, False),
        (30, 0.59, 3.0, True),
        (30, 0.5, 3.21, False),
        (30, 0.5, 3.19, True),
        (30, 0.5, np.nan, False),
    ],
)
def test_precharge_lasts_twenty_seconds_under_six_tenths_of_the_plateau_below_3_2_volts(
    seconds: int, share: float, volts: float, found: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    current = np.concatenate((np.full(seconds, share), np.full(100, 1.0)))
    record = SimpleNamespace(
        time_s=np.arange(len(current)) + 0.0,
        current=current,
        voltage=np.where(np.arange(len(current)) < seconds, volts, 3.6),
    )
    profile = SimpleNamespace(zero_A=0.0, level_A=1.0)
    monkeypatch.setattr(regimes.endings, "edge", lambda record, row, words: Measured(float(row), "s"))
    block = Block(0, len(current) - 1, 0.0, float(len(current)), 0.0, 0.0)
    account = SimpleNamespace(stretches=(Stretch(LEVEL, 0, 2),))
    bins = binned([0.1, 0.3, 0.6])
    step = regimes._precharge(record, profile, bins, account, block)
    assert (step is not None) == found
    if step is not None:
        assert step.value == seconds
        soft = SimpleNamespace(stretches=(Stretch(SLOPE, 0, 2),))
        assert regimes._precharge(record, profile, bins, soft, block) is None


def whole(regime: tuple[Phase, ...], end_A: float, *, ohm: float | None = None) -> Any:
    count = int(regime[-1].end_s // 10)
    current = np.full(count, 1.0)
    current[-1] = end_A
    bins = binned(current)
    return regimes.Phases(
        (),
        regime,
        Measured(0.0, "s"),
        Measured(0.0, "s"),
        None,
        None,
        "never",
        SimpleNamespace(resolved=True),
        bins,
        SimpleNamespace(ohm=ohm),
        (),
        (),
    )


@pytest.mark.parametrize(
    ("pieces", "end_A", "ohm", "unread"),
    [
        (
            (("constant current", "level", 500.0, 1.0), ("constant current", "slope", 500.0, 0.97)),
            0.94,
            None,
            True,
        ),
        (
            (("constant current", "level", 500.0, 1.0), ("constant current", "slope", 500.0, 0.97)),
            0.96,
            None,
            False,
        ),
        (
            (("constant current", "level", 500.0, 1.0), ("constant current", "slope", 500.0, 0.97)),
            0.94,
            0.1,
            False,
        ),
        # One that then stands for a tenth of the charge has not fallen.
        (
            (("constant current", "level", 800.0, 1.0), ("constant current", "level", 110.0, 0.9)),
            0.9,
            None,
            False,
        ),
        (
            (("constant current", "level", 950.0, 1.0), ("constant current", "level", 100.0, 0.9)),
            0.9,
            None,
            True,
        ),
        ((("constant current", "level", 1000.0, 1.0),), 0.9, None, False),
        ((("constant current", "slope", 1000.0, 1.0),), 0.9, None, True),
        # A level of less than a tenth of the charge is none to have fallen from.
        (
            (("constant current", "level", 90.0, 2.0), ("constant current", "slope", 910.0, 1.0)),
            0.96,
            None,
            False,
        ),
    ],
)
def test_a_current_that_ends_a_twentieth_below_its_level_has_fallen(
    pieces: Any, end_A: float, ohm: float | None, unread: bool
) -> None:
    assert whole(phases(*pieces), end_A, ohm=ohm).fall_unread == unread


def test_an_account_of_bins_has_a_kind_for_each() -> None:
    one = Account((Stretch(LEVEL, 0, 1), Stretch(HELD, 2, 3)), 0.1, 4.2, 1.0, np.zeros(6))
    assert one.kinds(5).tolist() == [LEVEL, LEVEL, HELD, HELD, PASSING]


@pytest.mark.parametrize(
    ("low", "high", "pulsing", "looked"),
    [(940.0, 1058.0, False, True), (940.0, 1062.0, False, False), (960.0, 1000.0, True, False)],
)
def test_no_bend_is_looked_for_in_pulses_nor_where_twelve_bins_are_open(
    low: float, high: float, pulsing: bool, looked: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The knee then lies between two moments, as where no bend agrees with them."""
    time = np.arange(0.0, 3000.0)
    local = SimpleNamespace(
        time_s=time,
        current=np.ones(3000),
        voltage=np.ones(3000),
        interval_s=1.0,
        clock_is_declared=False,
        ammeter=SimpleNamespace(resolution=0.001),
        voltmeter=SimpleNamespace(resolution=0.001),
        clock_components=tuple,
    )
    seen: list[tuple[float, float]] = []
    local.between = lambda start, end: seen.append((start, end)) or local
    profile = SimpleNamespace(
        edges=int(pulsing),
        pulsing=np.full(3000, pulsing),
        on_at=lambda moments: np.ones(len(moments), dtype=bool),
    )
    reached: list[float] = []
    monkeypatch.setattr(transition, "_bends", lambda *given, **more: reached.append(given[3]) or [])
    account = SimpleNamespace(ohm=0.1, set_V=4.2)
    main = (Block(0, 2999, 0.0, 2999.0, 0.0, 2999.0),)
    found = transition._refined(local, profile, account, low, high, main, 10.0)
    assert found.value == pytest.approx((low + high) / 2)
    assert found.components[0].size == pytest.approx((high - low) / 2)
    assert bool(reached) == looked
    if looked:
        # The least of 0.35 of what follows, half of what came before, and a quarter of an hour.
        room = min(0.35 * (2999 - found.value), 0.5 * found.value, 900.0)
        assert reached == pytest.approx([room, room])
        assert seen[0] == pytest.approx((found.value - 3 * room, found.value + 3 * room))
