"""What readings leave, taken at their word: boundaries, rules, contradictions, brute force."""

from __future__ import annotations

import random
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
import readout_devices as devices
from hypothesis import given, settings
from hypothesis import strategies as st

from reviewkit import readout
from reviewkit.readout import model as rules
from reviewkit.readout import posterior
from reviewkit.readout.feasible_region import solve
from reviewkit.readout.fit import Fit, fit_readings
from reviewkit.readout.model import Interval, Model, Reading, Reference

OFFSET_ONLY = Model(Fraction(1, 10), Fraction(3), Fraction(21, 5))


def readings(*pairs: tuple[str, str], noise: str = "0") -> list[Reading]:
    return [
        Reading(row, Fraction(x), Fraction(shown), Fraction(noise))
        for row, (x, shown) in enumerate(pairs, start=2)
    ]


def test_one_reading_leaves_a_whole_step() -> None:
    """3.62 shown as 3.6: the change to 3.7 lies above 0.02 V and not above 0.12 V."""
    region = solve(readings(("3.62", "3.6")), OFFSET_ONLY)
    assert region is not None
    assert region.transition == Interval(Fraction("0.02"), Fraction("0.12"), low_open=True, high_open=False)


def test_two_readings_leave_what_they_have_in_common() -> None:
    region = solve(readings(("3.62", "3.6"), ("3.96", "4.0")), OFFSET_ONLY)
    assert region is not None
    assert region.transition == Interval(Fraction("0.02"), Fraction("0.06"), low_open=True, high_open=False)


@pytest.mark.parametrize("mode", [ROUND_HALF_UP, ROUND_FLOOR, ROUND_CEILING])
@pytest.mark.parametrize("voltage", ["3.55", "3.6", "3.65", "3.5499", "3.6001", "4.2", "3.0"])
def test_decimal_rounding_is_a_readout_without_offset(mode: str, voltage: str) -> None:
    """Python's `decimal` as the reference quantiser (General Decimal Arithmetic), boundaries included."""
    shown = (Decimal(voltage) / Decimal("0.1")).quantize(Decimal(1), mode) * Decimal("0.1")
    rule = next(name for name, its in rules.DECIMAL_MODES.items() if its == mode)
    fit = fit_readings(readings((voltage, str(shown))), OFFSET_ONLY)
    assert fit.offsets[rule].holds(Fraction(0))


@pytest.mark.parametrize("rule", ["nearest", "down", "up"])
def test_a_reading_on_the_boundary_decides_the_last_digit(rule: str) -> None:
    """A reading exactly on a switching point, and one just beside it, leave exactly the right end."""
    mode = rules.DECIMAL_MODES[rule]
    at = {"nearest": "3.65", "down": "3.7", "up": "3.7"}[rule]
    beside = {"nearest": "3.6499", "down": "3.6999", "up": "3.7001"}[rule]

    def shows(voltage: str) -> str:
        return str((Decimal(voltage) * 10).quantize(Decimal(1), mode) / 10)

    fit = fit_readings(readings((at, shows(at)), (beside, shows(beside))), OFFSET_ONLY)
    offset = rules.offsets(fit.hard_transition, Fraction(1, 10))[rule]
    assert offset.holds(Fraction(0))
    assert offset.width == Fraction(1, 10_000)


def test_the_lower_value_at_the_switching_point_is_recognised() -> None:
    """3.6 shown at both ends of a closed step: only a device that rounds up and keeps its edge does so."""
    pair = readings(("3.6", "3.6"), ("3.5001", "3.6"), ("3.7", "3.7"), ("3.5", "3.5"))
    fit = fit_readings(pair, OFFSET_ONLY)
    assert fit.consistent
    assert fit.offsets["up"].holds(Fraction(0))


def test_rules_are_the_same_readout_with_another_offset() -> None:
    """Nearest with offset o is down with o + r/2 and up with o − r/2."""
    step = Fraction(1, 10)
    for place in (Fraction(0), Fraction("0.031"), Fraction(1, 20), Fraction(1, 10)):
        nearest = rules.offset_of("nearest", place, step)
        assert rules.offset_of("down", place, step) == nearest + step / 2
        assert rules.offset_of("up", place, step) == nearest - step / 2


def _named(possible: tuple[str, ...]) -> str:
    return possible[0] if len(possible) == 1 else "undetermined"


@pytest.mark.parametrize(
    ("place", "rule"),
    [
        ((0.04, 0.06), "nearest"),
        ((0.09, 0.11), "down"),
        ((-0.01, 0.01), "up"),
        ((0.07, 0.08), "undetermined"),
        ((0.0, 0.1), "undetermined"),
    ],
)
def test_a_rule_is_named_only_if_no_other_needs_so_small_an_offset(
    place: tuple[float, float], rule: str
) -> None:
    interval = Interval(Fraction(str(place[0])), Fraction(str(place[1])), low_open=True)
    assert _named(rules.possible_rules(rules.offsets(interval, Fraction(1, 10)), Fraction(1, 40))) == rule


def test_shared_error_moves_the_place_and_is_not_averaged_down() -> None:
    """A thousand readings with a meter of ±3 mV leave ±2.5 mV shared, whatever their number."""
    meter = devices.meter(counts=3.0)
    cells = [Decimal(3) + Decimal(k) / 1000 for k in range(0, 1200, 3)]
    device, bench = devices.Device("nearest", Decimal(0)), devices.Bench(meter, Decimal("0.8"))
    fit = readout.fit(
        [float(bench.reads(cell)) for cell in cells],
        [float(device.shows(cell)) for cell in cells],
        resolution_V=0.1,
        meter=meter,
    )
    assert fit.ways == ((),)
    assert 0.005 <= float(fit.hard_transition.width) <= 0.008
    assert fit.hard_transition.holds(Fraction("0.05"))


def test_shared_error_hides_no_contradiction() -> None:
    """Two readings 2 mV apart in the wrong order contradict each other, though the meter may be 20 mV off."""
    model = Model(
        Fraction(1, 10), Fraction(3), Fraction(21, 5), Fraction(0), Reference(Fraction(0), Fraction(1, 50))
    )
    pair = readings(("3.652", "3.6"), ("3.650", "3.7"), noise="0.0005")
    assert solve(pair, model) is None
    assert posterior.fewest(pair, model, most=1) == ((2,), (3,))


def test_counts_hold_the_step_already() -> None:
    """±(0.5 % + 3) of 1 mV: 2.5 mV shared and 0.5 mV of each reading's own, 3 mV together."""
    reference = Reference.of(devices.meter(0.5, 3.0))
    assert (reference.slope, reference.floor, reference.noise_V) == (
        Fraction(1, 200),
        Fraction(1, 400),
        Fraction(1, 2000),
    )
    assert reference.half_width(Fraction(2)) + reference.noise_V == Fraction(
        "0.013"
    )  # 2.000 V, 0.5 % + 3: a published case


def test_a_planted_misreading_is_named() -> None:
    pairs = [("3.62", "3.6"), ("3.66", "3.7"), ("3.91", "3.9"), ("4.02", "4.3"), ("3.34", "3.3")]
    assert posterior.fewest(readings(*pairs), OFFSET_ONLY, most=1) == ((5,),)


def test_two_readings_that_exclude_each_other_are_both_named() -> None:
    fit = fit_readings(readings(("3.62", "3.6"), ("3.62", "3.9")), OFFSET_ONLY, most=1)
    assert fit.ways == ((2,), (3,))
    assert fit.hard_transition.width > Fraction(1, 10)


def test_more_than_a_quarter_to_doubt_fits_no_readout() -> None:
    fit = fit_readings(readings(("3.62", "3.6"), ("3.62", "3.9"), ("3.62", "4.2")), OFFSET_ONLY)
    assert not fit.consistent


def test_a_gain_shows_only_where_both_ends_were_read() -> None:
    device = devices.Device("nearest", Decimal(0), Decimal("1.008"))

    def fit(*cells: str) -> Fit:
        shown = [float(device.shows(Decimal(cell))) for cell in cells]
        return readout.fit([float(cell) for cell in cells], shown, resolution_V=0.1, gain_bound=0.02)

    near = fit("3.58", "3.62", "3.647", "3.653")
    assert not near.read_at_both_ends
    assert near.explanations.beyond_bound
    assert near.gain.width >= Fraction(8, 100)
    wide = fit("3.647", "3.653", "4.146", "4.15", "3.052", "3.0545")
    assert wide.read_at_both_ends
    assert not wide.explanations.beyond_bound
    assert wide.regions[0].gain.holds(Fraction("1.008"))
    assert not wide.gain.holds(Fraction(1))


@settings(max_examples=60, deadline=None)
@given(
    offset=st.integers(-60, 60),
    cells=st.lists(st.integers(30_000, 42_000), min_size=2, max_size=9, unique=True),
    rule=st.sampled_from(["nearest", "down"]),
    extra=st.integers(30_000, 42_000),
)
def test_more_readings_never_leave_more_open(offset: int, cells: list[int], rule: str, extra: int) -> None:
    device = devices.Device(rule, Decimal(offset) / 1000)

    def place(values: list[int]) -> Interval:
        voltages = [Decimal(value) / 10_000 for value in values]
        return fit_readings(
            readings(*((str(v), str(device.shows(v))) for v in voltages)), OFFSET_ONLY
        ).hard_transition

    before, after = place(cells), place([*cells, extra])
    assert before.low <= after.low
    assert after.high <= before.high
    assert after.holds(Fraction(device.place_V))


def _case(seed: int) -> tuple[devices.Device, devices.Bench, list[Decimal], list[Decimal], int, Fraction]:
    rng = random.Random(seed)
    gain = 1 + Decimal(rng.randint(-100, 100)) / 10_000 * (seed % 2)
    device = devices.Device(rng.choice(["nearest", "down"]), Decimal(rng.randint(-600, 600)) / 10_000, gain)
    meter = rng.choice([devices.meter(), devices.meter(0.05, 3.0), devices.meter(0.5, 2.0)])
    bench = devices.Bench(meter, Decimal(rng.randint(-100, 100)) / 100)
    misread = rng.choice((0, 1, 2))
    cells = devices.voltages(rng, rng.randint(3 + 2 * misread, 12))
    shown = [device.shows(cell) for cell in cells]
    for row in range(misread):
        shown[row] += device.step_V * rng.choice((-4, -3, 3, 4))
    return device, bench, [bench.reads(cell) for cell in cells], shown, misread, Fraction(seed % 2, 100)


@pytest.mark.parametrize("seed", range(60))
def test_what_readings_leave_equals_a_brute_force_and_holds_the_truth(seed: int) -> None:
    """With and without gain, misreadings planted; an integer grid that knows nothing of polygons.

    benchmarks/readout_exact.py does the same for 500 cases.
    """
    device, bench, reference, shown, misread, bound = _case(seed)
    reference_of = Reference.of(bench.meter)
    model = Model(Fraction(1, 10), Fraction(3), Fraction(21, 5), bound, reference_of)
    taken = [
        Reading(row, Fraction(read), Fraction(value), reference_of.noise_V)
        for row, (read, value) in enumerate(zip(reference, shown, strict=True))
    ]
    ways = posterior.fewest(taken, model, most=2)
    regions = [solve([one for one in taken if one.row not in way], model) for way in ways]
    grids = (devices.brute_force(reference, shown, bench.meter, bound, fine) for fine in (1, 2, 4))
    grid = next(grid for grid in grids if grid.fewest == len(ways[0]))
    assert grid.fewest == misread
    level = rules.around(region.transition for region in regions if region is not None)
    assert -1e-9 <= grid.low - float(level.low) <= grid.spacing
    assert -1e-9 <= float(level.high) - grid.high <= grid.spacing
    truth = (Fraction(device.place_V), Fraction(device.gain))
    assert any(devices.inside(region.corners, truth) for region in regions if region is not None)


def test_the_gain_at_which_two_readings_change_their_order_parts_the_stretches() -> None:
    """3.6 - 3.1 - 0.5 g and 3.6 - 4.1 + 0.5037 g are one level at g = 1 / 1.0037."""
    model = Model(Fraction(1, 10), Fraction(3), Fraction(21, 5), Fraction(1, 20))
    low = [Reading(2, Fraction("3.1"), Fraction("3.1")), Reading(3, Fraction("4.1037"), Fraction("4.1"))]
    middles, widths = posterior._gains(low, model)
    edges = middles + widths / 2
    assert abs(edges - 1 / 1.0037).min() < 1e-12
