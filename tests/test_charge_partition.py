"""When an account takes a voltage limit, where it starts to look for one, and what a start leads to."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from test_charge_accounts import binned

from reviewkit.charge import segmentation
from reviewkit.charge.segmentation import HELD, LEVEL, PASSING, Stretch, _Costs

PATH = (Stretch(LEVEL, 0, 39),)


@pytest.mark.parametrize(
    ("roughly", "finely", "taken"),
    [
        (11.9, 11.9, False),
        (11.9, 12.1, True),
        (12.1, 0.1, True),  # few bins have shown it already
        (12.1, -0.1, False),
        (None, 20.0, False),
    ],
)
def test_a_voltage_limit_is_worth_twelve_of_doubled_log_likelihood(
    roughly: float | None, finely: float, taken: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A likelihood ratio of exp(−6); by so much an account with one is cheaper, in few bins and in all."""
    bins = binned(np.ones(40), np.linspace(3.6, 4.0, 40))
    few = bins.coarser(segmentation.COARSER)
    plain = {len(one): segmentation._best(_Costs(one))[0] for one in (bins, few)}

    def followed(given: Any, free: Any, ohm: float, set_V: float, **more: Any) -> Any:
        gain = finely if len(given) == 40 else roughly
        return None if gain is None else (plain[len(given)] - gain, PATH, 0.1, 4.2)

    monkeypatch.setattr(segmentation, "starts", lambda *rest: [(0.1, 4.2)])
    monkeypatch.setattr(segmentation, "_followed", followed)
    found = segmentation.account(bins, rig_ohm=0.0)
    assert found.ohm == (0.1 if taken else None)
    assert found.cost == pytest.approx(plain[40] - (finely if taken else 0.0))
    assert len(found.knee_costs) == 41
    assert found.stretches == PATH


def test_the_cheapest_of_the_starts_is_followed_to_its_end(monkeypatch: pytest.MonkeyPatch) -> None:
    bins = binned(np.ones(40), np.linspace(3.6, 4.0, 40))
    asked: list[tuple[int, float]] = []

    def followed(given: Any, free: Any, ohm: float, set_V: float, **more: Any) -> Any:
        asked.append((len(given), ohm))
        return -1000.0 * (ohm == 0.2), PATH, ohm, set_V

    monkeypatch.setattr(segmentation, "starts", lambda *rest: [(0.1, 4.2), (0.2, 4.2), (0.3, 4.2)])
    monkeypatch.setattr(segmentation, "_followed", followed)
    assert segmentation.account(bins, rig_ohm=0.0).ohm == 0.2
    # In bins three times as long, and then in all.
    assert asked == [(14, 0.1), (14, 0.2), (14, 0.3), (40, 0.2)]


# ------------------------------------------------------------------ starts


def two_places(apart_V: float, sd_V: float = 0.0005, sd: float = 1e-6) -> Any:
    """A current that falls by 0.18 A at 4.2 V, and by 0.12 A so much above it."""
    amps = np.concatenate((np.full(5, 1.0), 1.0 - 0.01 * np.arange(1.0, 31.0)))
    volts = np.where(np.arange(35) < 24, 4.2, 4.2 + apart_V)
    return binned(amps, volts, sd=sd, sd_V=sd_V)


@pytest.mark.parametrize(
    ("apart_V", "sd_V", "one"),
    [
        # 4 mV and two standard deviations of 0.5 mV …
        (0.0049, 0.0005, True),
        (0.0051, 0.0005, False),
        # … or of 2 mV.
        (0.0079, 0.002, True),
        (0.0081, 0.002, False),
    ],
)
def test_a_fall_at_one_voltage_is_one_within_four_millivolt_and_twice_the_noise(
    apart_V: float, sd_V: float, one: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No fall lies between the two places but one, at the middle of the step."""
    monkeypatch.setattr(segmentation, "OHMS", np.array([0.0]))
    ((ohm, set_V),) = segmentation.starts(two_places(apart_V, sd_V), 0.0)
    assert ohm == 0.0
    # The mean of all falls lies a third of the way up; of those at 4.2 V alone at a fiftieth.
    assert (set_V > 4.2 + 0.2 * apart_V) == one


def test_a_fall_over_a_gap_is_no_taper() -> None:
    amps = np.where(np.arange(20) < 10, 1.0, 0.5)
    assert segmentation.starts(binned(amps, 4.2, group=(np.arange(20) >= 10).astype(int)), 0.1) == []


def test_what_lies_above_a_set_voltage_speaks_against_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Most of the fall is at 4.2 V behind 0.2 Ω, but most of the charge would then lie 0.2 V above it."""
    fall = 1.0 - 0.02 * np.arange(11.0)
    amps = np.concatenate((np.full(60, 2.0), fall))
    volts = np.concatenate((np.full(60, 4.0), 4.2 - 0.2 * fall))
    bins = binned(amps, volts, sd=1e-6, sd_V=0.0005)
    monkeypatch.setattr(segmentation, "OHMS", np.array([0.0, 0.2]))
    first, second = segmentation.starts(bins, 0.0)
    assert (first[0], second[0]) == (0.0, 0.2)
    lower = binned(amps, np.concatenate((np.full(60, 3.7), 4.2 - 0.2 * fall)), sd=1e-6, sd_V=0.0005)
    assert segmentation.starts(lower, 0.0)[0] == (0.2, pytest.approx(4.2))


@pytest.mark.parametrize("above_V", [0.02, 0.2])
def test_a_bin_above_a_set_voltage_counts_once_however_far(
    above_V: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A tenth of the bins lie so far above 4.2 V: the rest of the fall is worth more."""
    fall = 1.0 - 0.02 * np.arange(37.0)
    amps = np.concatenate((np.full(4, 1.0), fall))
    ohm = 0.3
    volts = np.concatenate((np.full(4, 4.2 - ohm + above_V), 4.2 - ohm * fall))
    monkeypatch.setattr(segmentation, "OHMS", np.array([0.25, ohm]))
    first = segmentation.starts(binned(amps, volts, sd=1e-6, sd_V=0.0005), 0.25)[0]
    assert first == (ohm, pytest.approx(4.2))


def test_a_start_lies_at_what_the_bench_has_from_nothing_to_1_2_ohm() -> None:
    """At 20 A a hundredth of an ohm shows; at 1 A an ohm and a fifth."""
    for amps, ohm in ((20.0, 0.0), (20.0, 0.01), (1.0, 1.2)):
        taper = amps * np.concatenate((np.ones(20), np.geomspace(1.0, 0.05, 60)))
        rise = np.concatenate((np.linspace(-0.4, -0.05, 20), np.zeros(60)))
        bins = binned(taper, 4.2 - ohm * taper + rise, sd=1e-4 * amps, sd_V=0.0005)
        found = segmentation.starts(bins, 0.3)
        assert found[0] == (pytest.approx(ohm, abs=1e-9), pytest.approx(4.2, abs=1e-3))


def test_a_densest_stretch_may_begin_at_the_lowest_value() -> None:
    values, weights = np.array([1.0, 1.1, 2.0, 2.1]), np.array([0.6, 0.6, 0.5, 0.5])
    assert segmentation._densest(values, weights, 0.2) == pytest.approx((1.2, 1.05))


# ------------------------------------------------------------------ what a start leads to


def at_limit(count: int, ohm: float = 0.2) -> Any:
    """A level of 10 bins that rises to 4.17 V, then so many bins at 4.2 V behind a resistance."""
    amps = np.concatenate((np.ones(10), 0.9 ** np.arange(1.0, count + 1)))
    regulation = np.concatenate((np.linspace(3.9, 4.17, 10), np.full(count, 4.2)))
    return binned(amps, regulation - ohm * amps, sd=0.001, sd_V=0.001)


@pytest.mark.parametrize(("count", "found"), [(3, True), (2, False)])
def test_three_bins_at_a_limit_are_one(count: int, found: bool) -> None:
    bins = at_limit(count)
    account = segmentation._followed(bins, _Costs(bins), 0.2, 4.2, narrowing=(1.0,))
    assert (account is not None) == found


def test_a_start_is_fitted_anew_between_two_partitions() -> None:
    """Off by 10 mΩ and 4 mV: after one more fit both are found, without one they stay."""
    bins = at_limit(12)
    free = _Costs(bins)
    still = segmentation._followed(bins, free, 0.21, 4.204, narrowing=(3.0,))
    fitted = segmentation._followed(bins, free, 0.21, 4.204, narrowing=(3.0, 1.0))
    assert still is not None
    assert fitted is not None
    assert still[2:] == (0.21, 4.204)
    assert fitted[2:] == (pytest.approx(0.2, abs=2e-3), pytest.approx(4.2, abs=2e-3))
    # What is told of it are the costs of the last partition, with the noise as it is.
    assert fitted[0] == pytest.approx(segmentation._partition(free, *fitted[2:], 1.0)[0])
    whole = segmentation._followed(bins, free, 0.21, 4.204)
    assert whole is not None
    assert whole[0] == pytest.approx(segmentation._partition(free, *whole[2:], 1.0)[0])


def test_a_bin_below_a_limit_that_was_reached_costs_thirty(monkeypatch: pytest.MonkeyPatch) -> None:
    """An account with one has to be likelier by exp(15) than one without: chosen, see UNLIKELY."""
    bins = at_limit(12)
    costs = []
    for below in (0, 1, 3):
        monkeypatch.setattr(segmentation, "_below", lambda *rest, below=below: below)
        account = segmentation._followed(bins, _Costs(bins), 0.2, 4.2, narrowing=(1.0,))
        assert account is not None
        costs.append(account[0])
    assert np.diff(costs) == pytest.approx([30.0, 60.0])


def test_stretches_have_their_first_and_last_bins() -> None:
    """A bin alone at the begin is one of its own."""
    costs = np.full((5, 5), 10.0)
    costs[0, 1] = costs[1, 4] = 1.0
    _, back = segmentation._forward(costs)
    assert list(segmentation._walk(back)) == [(0, 1), (1, 4)]
    bins = binned(np.concatenate((np.ones(20), np.full(20, 0.5))))
    path = segmentation._best(_Costs(bins))[1]
    assert path == (Stretch(LEVEL, 0, 19), Stretch(LEVEL, 20, 39))
    held = segmentation._partition(_Costs(at_limit(12)), 0.2, 4.2, 1.0)[1]
    assert held[-1] == Stretch(HELD, 10, 21)


def test_a_level_is_one_as_long_as_it_is_cheaper_than_passing() -> None:
    """Three bins in passing cost 38; a level of 12 + 25.5 is cheaper, one of 12 + 26.5 is not."""
    for left, kind in ((25.5, LEVEL), (26.5, PASSING)):
        away = 0.01 * np.sqrt(left * 2 / 3) * np.array([-0.5, 1.0, -0.5])
        free = _Costs(binned(1.0 + away))
        free.slope[:] = np.inf
        assert free.level[0, 3] == pytest.approx(12.0 + left)
        assert free.kind(0, 3, None, None) == kind
