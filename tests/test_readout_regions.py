"""The polygon of readouts that readings leave, and its errors: against scipy, by hand, along the voltage."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from reviewkit.readout import feasible_region
from reviewkit.readout.feasible_region import HalfPlane, solve
from reviewkit.readout.model import Model, Reading, Reference

F = Fraction


def device(step: str = "0.1", bound: str = "0", reference: Reference | None = None) -> Model:
    return Model(F(step), F(3), F("4.2"), F(bound), reference or Reference())


@pytest.mark.parametrize("seed", range(20))
def test_a_hull_has_the_corners_that_scipy_finds_counter_clockwise(seed: int) -> None:
    """On a small grid, where many points lie on a line or twice in one place."""
    points = np.random.default_rng(seed).integers(0, 5, (12, 2))
    found = feasible_region._hull([(F(int(x)), F(int(y))) for x, y in points])
    expected = points[ConvexHull(points).vertices]  # scipy gives them counter-clockwise in the plane
    start = min(range(len(expected)), key=lambda number: tuple(expected[number]))
    assert [(int(x), int(y)) for x, y in found] == [tuple(row) for row in np.roll(expected, -start, axis=0)]


def test_a_hull_of_one_or_two_points_is_these() -> None:
    one, other = (F(0), F(1)), (F(2), F(1))
    assert feasible_region._hull([one, one]) == [one]
    assert feasible_region._hull([other, one, other]) == [one, other]
    assert feasible_region._hull([other, one, (F(1), F(1))]) == [one, other]


def test_an_edge_is_where_the_condition_holds_with_equality() -> None:
    """2·level − 3·gain + 1 = 0 at a gain of 1: a level of 1."""
    plane = HalfPlane(F(2), F(-3), F(1))
    assert plane.edge(F(1)) == (F(1), F(1))
    assert plane.at(plane.edge(F("0.7"))) == 0


def test_levels_of_one_reading_are_a_step_and_its_own_error_apart_at_each_gain() -> None:
    """3.9 shown at 4.0 V ± 10 mV, gain 0.98 to 1.02: level in 3.6 − 3.9 + g·(0.4 ∓ 0.01), and 0.1 more."""
    region = solve([Reading(2, F("4.0"), F("3.9"), F("0.01"))], device(bound="0.02"))
    assert region is not None
    expected = {
        (F("-0.3") + gain * (F("0.4") + own), gain) if own < 0 else (F("-0.2") + gain * F("0.41"), gain)
        for gain in (F("0.98"), F("1.02"))
        for own in (F("-0.01"), F("0.01"))
    }
    assert set(region.corners) == expected


def test_a_gain_lies_within_its_bound_whatever_the_meters_percent_is() -> None:
    """One reading at the middle says nothing of a gain: 1 ± 0.02 is left, though the meter is ±1 %."""
    region = solve([Reading(2, F("3.62"), F("3.6"))], device(bound="0.02", reference=Reference(F("0.01"))))
    assert region is not None
    assert (region.gain.low, region.gain.high) == (F("0.98"), F("1.02"))


def test_true_volts_display_what_the_references_scale_does_at_each_extreme_of_its_accuracy() -> None:
    """A reading y stands for v = y·(1 − 0.01·θ) − 3 mV·θ': both displays are the same at any y."""
    level, gain, middle = F("0.04"), F("1.005"), F("3.6")
    shared = Reference(F("0.01"), F("0.003"))
    corners = feasible_region._in_true_volts([(level, gain)], device(bound="0.1", reference=shared))
    expected = set()
    for percent in (-1, 1):
        for counts in (-1, 1):
            own = [
                (y * (1 - F("0.01") * percent) - F("0.003") * counts, middle - level + gain * (y - middle))
                for y in (F(3), F(4))
            ]
            (v, display), (w, other) = own
            slope = (other - display) / (w - v)
            expected.add((middle + slope * (v - middle) - display, slope))
    assert set(corners) == expected


@pytest.mark.parametrize(
    ("strict", "value", "holds"), [(False, 0, True), (True, 0, False), (True, 1, True), (False, -1, False)]
)
def test_a_condition_holds_on_its_edge_unless_it_is_strict(strict: bool, value: int, holds: bool) -> None:
    assert HalfPlane(F(1), F(0), F(0), strict).holds((F(value), F(1))) == holds


def walked(level: float, gain: float, model: Model, count: int = 100_001) -> float:
    """Return the greatest error on a fine walk over the range, value by value as the device's rule says."""
    low, high, middle, step = (float(v) for v in (model.low_V, model.high_V, model.middle_V, model.step_V))
    voltage = np.linspace(low, high, count)
    # S − r + p ≤ m + g·(v − m) < S + p
    shown = step * (np.floor((middle + gain * (voltage - middle) - level) / step) + 1)
    return float(np.abs(shown - voltage).max())


@pytest.mark.parametrize("seed", range(30))
def test_the_greatest_error_is_that_of_a_walk_along_the_voltage(seed: int) -> None:
    draw = np.random.default_rng(seed)
    low, wide = draw.uniform(2.5, 3.3), draw.uniform(0.12, 1.4)
    model = Model(F(str(draw.choice([0.02, 0.1, 0.25]))), F(str(round(low, 3))), F(str(round(low + wide, 3))))
    level, gain = draw.uniform(-0.1, 0.3), draw.uniform(0.9, 1.1)
    found = feasible_region.maximum_error(np.array([level]), np.array([gain]), model)
    # The walk may miss a transition by one of its steps, of 14 µV at most.
    assert found[0] == pytest.approx(walked(level, gain, model), abs=2e-5)


def test_a_range_without_a_transition_errs_by_what_its_ends_do() -> None:
    """From 3.00 V to 3.05 V in steps of 0.1 V: 0.08 V shows 3.0 alone; 0.105 V shows 2.9 up to 3.005 V."""
    model = Model(F("0.1"), F("3.0"), F("3.05"))
    found = feasible_region.maximum_error(np.array([0.08, 0.105]), np.ones(2), model)
    assert found == pytest.approx([0.05, 0.105])
