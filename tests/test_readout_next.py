"""The likelihood view, what one more reading is worth, the plan, the largest error."""

from __future__ import annotations

import random
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
import readout_devices as devices

from reviewkit import readout
from reviewkit.readout import feasible_region
from reviewkit.readout.fit import Fit
from reviewkit.readout.model import Model, exact

METER = devices.meter(counts=3.0)


def read(device: devices.Device, bench: devices.Bench, cells: list[Decimal], bound: float = 0.0) -> Fit:
    return readout.fit(
        [float(bench.reads(cell)) for cell in cells],
        [float(device.shows(cell)) for cell in cells],
        resolution_V=0.1,
        meter=bench.meter,
        gain_bound=bound,
        most=0,
    )


def cells(*voltages: str) -> list[Decimal]:
    return [Decimal(voltage) for voltage in voltages]


def test_posterior_of_one_reading_is_flat_over_the_step() -> None:
    """With an error far below the step the place is uniform: its 95.45 % interval is 0.9545 steps wide."""
    fit = readout.fit([3.62], [3.6], resolution_V=0.1, noise_V=0.0001)
    low, high = fit.posterior.interval()
    assert high - low == pytest.approx(0.09545, abs=3e-4)
    assert float(np.median(fit.posterior.level_V)) == pytest.approx(0.07, abs=2e-4)


def test_posterior_width_from_a_shared_error_alone() -> None:
    """Readings that leave 0.2 mV, a meter good to ±10 mV, evenly likely within it (JCGM 101, 6.4.2)."""
    meter = devices.meter(counts=100.0, resolution=0.0001)
    device, bench = devices.Device("nearest", Decimal(0)), devices.Bench(meter, Decimal(0))
    fit = read(device, bench, cells("3.6499", "3.6501"))
    low, high = fit.posterior.interval()
    assert high - low == pytest.approx(0.9545 * 0.02, rel=0.05)
    assert fit.views_agree
    assert float(fit.transition.width) == pytest.approx(0.02, abs=5e-4)


def test_posterior_holds_the_truth_as_often_as_it_says() -> None:
    """Errors evenly spread within the statement; benchmarks/readout_coverage.py does so for many more."""
    inside = []
    for seed in range(60):
        rng = random.Random(seed)
        device = devices.Device("nearest", Decimal(rng.randint(-60, 60)) / 1000)
        bench = devices.Bench(METER, Decimal(repr(round(rng.uniform(-1, 1), 6))))
        batch = devices.voltages(rng, 6)
        fit = readout.fit(
            [float(bench.reads(cell)) for cell in batch],
            [float(device.shows(cell)) for cell in batch],
            resolution_V=0.1,
            meter=METER,
            most=2,
        )
        low, high = fit.posterior.interval()
        inside.append(low <= float(device.place_V) <= high)
    # 52 of 60 is exceeded with more than 99.9 % probability if each is covered with 95.45 %.
    assert sum(inside) >= 52


def test_bisection_is_the_best_next_reading_without_a_gain() -> None:
    """After one reading of 3.60 the place is open over a step: the middle of any step is worth 1 bit."""
    fit = readout.fit([3.6], [3.6], resolution_V=0.1, noise_V=0.0)
    assert fit.information.best_bits == pytest.approx(1.0, abs=0.01)
    middle = (fit.next_V - 3.6) % 0.1
    assert middle == pytest.approx(0.05, abs=0.003)


def test_a_reading_whose_outcome_is_known_is_worth_nothing() -> None:
    fit = readout.fit([3.649, 3.651], [3.6, 3.7], resolution_V=0.1, noise_V=0.0001)
    worth = fit.information
    # A misreading is thought possible: what is left is what catching one would be worth.
    assert worth.bits[np.argmin(np.abs(worth.voltage_V - 3.60))] < 0.05


def test_a_gain_asks_for_the_ends_of_the_range() -> None:
    device, bench = devices.Device("nearest", Decimal(0)), devices.Bench(METER, Decimal(0))
    fit = read(device, bench, cells("3.6", "3.648", "3.652"), 0.02)
    assert min(fit.next_V - 3.0, 4.2 - fit.next_V) < 0.2


@pytest.mark.parametrize("seed", range(6))
def test_following_the_proposals_needs_one_reading_more_than_bisection_at_most(seed: int) -> None:
    """Place known to 10 mV with a ±3 mV meter: 4 mV are left to the readings, bisection needs 1 + 5.

    Spread evenly over the step it takes 0.1 V / 4 mV = 25. benchmarks/readout_next.py: 200 devices.
    """
    rng = random.Random(seed)
    device = devices.Device("nearest", Decimal(rng.randint(-500, 500)) / 10_000)
    bench = devices.Bench(METER, Decimal(rng.randint(-100, 100)) / 100)
    error = bench.share * Decimal("0.0025")
    taken = [Decimal(rng.randint(30_000, 42_000)) / 10_000]
    while float((fit := read(device, bench, taken)).transition.width) > 0.01:
        assert len(taken) < 7
        taken.append(Decimal(str(fit.next_V)) - error)


@pytest.mark.parametrize("seed", range(3))
def test_following_the_proposals_with_a_gain_reads_both_ends_and_finds_it(seed: int) -> None:
    """A gain within ±3 %: level to 20 mV and gain to 3 % from about as many readings as the plan says."""
    rng = random.Random(seed)
    gain = 1 + Decimal(rng.randint(-300, 300)) / 10_000
    device = devices.Device("nearest", Decimal(rng.randint(-500, 500)) / 10_000, gain)
    bench = devices.Bench(METER, Decimal(rng.randint(-100, 100)) / 100)
    taken = [Decimal(rng.randint(30_000, 42_000)) / 10_000]
    while True:
        fit = read(device, bench, taken, 0.04)
        if fit.read_at_both_ends and float(fit.transition.width) <= 0.02 and float(fit.gain.width) <= 0.03:
            break
        assert len(taken) < 1.5 * (readout.plan(wanted_width_V=0.02, meter=METER, gain=True).readings or 0)
        taken.append(Decimal(str(fit.next_V)))
    assert fit.gain.holds(Fraction(gain))
    assert (
        {cell < Decimal("3.3") for cell in taken}
        == {cell > Decimal("3.9") for cell in taken}
        == {True, False}
    )


def test_readings_still_wanted() -> None:
    """100 mV open, of which a meter of ±3 mV keeps 6 mV: five halvings to 10 mV, none to 5 mV."""
    fit = read(devices.Device("nearest", Decimal(0)), devices.Bench(METER, Decimal(0)), cells("3.6"))
    assert fit.readings_to(0.01) == 5
    assert fit.readings_to(0.005) is None
    assert fit.readings_to(0.2) == 0


def test_plan_is_bisection() -> None:
    """The plan's own rule, followed on a device, ends at the wanted width."""
    plan = readout.plan(resolution_V=0.1, wanted_width_V=0.01, meter=METER)
    assert (plan.readings, plan.first_V) == (6, (3.6,))
    assert plan.changes_V == (0.05, 0.025, 0.0125, 0.00625, 0.003125)
    device, bench = devices.Device("down", Decimal("0.013")), devices.Bench(METER, Decimal(0))
    taken = [Decimal("3.6")]
    first = device.shows(taken[0])
    for change in plan.changes_V:
        sign = 1 if device.shows(taken[-1]) <= first else -1
        taken.append(taken[-1] + sign * Decimal(str(change)))
    assert float(read(device, bench, taken).transition.width) <= 0.011


def test_plan_says_what_no_meter_of_this_kind_can_do() -> None:
    plan = readout.plan(wanted_width_V=0.006, meter=METER)
    assert not plan.reachable
    assert plan.least_width_V == pytest.approx(0.006)


def test_cells_prepared_all_at_once_reach_the_width_too() -> None:
    plan = readout.plan(wanted_width_V=0.02)
    assert len(plan.all_at_once_V) == 5
    for offset in range(-50, 50, 7):
        device = devices.Device("nearest", Decimal(offset) / 1000)
        shown = [float(device.shows(Decimal(str(voltage)))) for voltage in plan.all_at_once_V]
        fit = readout.fit(plan.all_at_once_V, shown, resolution_V=0.1)
        assert float(fit.transition.width) <= 0.02 + 1e-9


def test_where_half_a_step_is_wanted_two_cells_prepared_at_once_do() -> None:
    assert len(readout.plan(wanted_width_V=0.05).all_at_once_V) == 2
    assert len(readout.plan(wanted_width_V=0.08).all_at_once_V) == 2


def test_what_a_reading_is_worth_is_told_from_one_end_of_the_range_to_the_other_and_no_further() -> None:
    worth = readout.fit([3.6], [3.6], resolution_V=0.1, range_V=(3.0, 4.2), noise_V=0.0).information
    assert (worth.voltage_V.min(), worth.voltage_V.max()) == (3.0, pytest.approx(4.2, abs=1e-4))
    assert worth.voltage_V.max() <= 4.2


def test_plan_for_a_gain_reads_near_both_ends() -> None:
    plan = readout.plan(gain=True)
    assert plan.first_V == (3.1, 4.1)
    assert plan.readings == 8


@pytest.mark.parametrize("bad", [{"resolution_V": 0.0}, {"wanted_width_V": -1.0}, {"range_V": (4.0, 3.0)}])
def test_a_plan_for_nonsense_is_refused(bad: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="positive step"):
        readout.plan(**bad)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("rule", "offset", "largest"),
    [("nearest", "0", 0.05), ("down", "0", 0.1), ("up", "0", 0.1), ("nearest", "0.02", 0.07)],
)
def test_largest_error_of_ideal_readouts(rule: str, offset: str, largest: float) -> None:
    """A perfect 0.1 V readout is up to half a step off, a cutting one a whole step (GUM F.2.2.1)."""
    device = devices.Device(rule, Decimal(offset))
    model = Model(exact(0.1), exact(3), exact(4.2))
    found = feasible_region.maximum_error(np.array([float(device.place_V)]), np.ones(1), model)
    assert found[0] == pytest.approx(largest)


@pytest.mark.parametrize("gain", ["1", "0.99", "1.013"])
def test_largest_error_against_a_walk_along_the_voltage_axis(gain: str) -> None:
    """Every tenth of a millivolt of every step that the range touches, through the decimal quantiser."""
    device = devices.Device("nearest", Decimal("0.011"), Decimal(gain))
    model = Model(exact(0.1), exact(3), exact(4.2))
    walked = max(
        abs(device.shows(Decimal(k) / 10_000) - Decimal(k) / 10_000) for k in range(30_000, 42_000, 1)
    )
    found = feasible_region.maximum_error(np.array([float(device.place_V)]), np.array([float(gain)]), model)
    # The last switching point may lie just outside the walk: a gain of 1.3 % moves it by 1.3 mV a step.
    assert -1.5e-3 <= float(walked) - found[0] <= 1e-9


def test_bounds_of_the_largest_error_hold_every_readout_left() -> None:
    """A dense sample of the readouts that the readings allow.

    The greatest is that of a transition right at an end of the range: with a gain up to 8 % off it may lie
    a step from there, and the error be 8 mV less.
    """
    device, bench = (
        devices.Device("nearest", Decimal("0.01"), Decimal("1.004")),
        devices.Bench(METER, Decimal(0)),
    )
    fit = read(device, bench, cells("3.1", "3.58", "3.66", "4.13"), 0.01)
    region = fit.regions[0]
    low, high = region.maximum_error()
    rng = np.random.default_rng(1)
    corners = np.array([(float(place), float(gain)) for place, gain in region.corners])
    mixed = rng.dirichlet(np.full(len(corners), 0.4), 20_000) @ corners
    errors = feasible_region.maximum_error(mixed[:, 0], mixed[:, 1], region.model)
    assert low - 1e-9 <= errors.min() <= low + 8e-3
    assert high - 8e-3 <= errors.max() <= high + 1e-9
