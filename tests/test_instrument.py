"""Meters: accuracy as data sheets print it, ranges, burden."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from published_values import published

from reviewkit.metrology import Measured, difference
from reviewkit.metrology import meter as instrument
from reviewkit.metrology.meter import Accuracy, Meter, accuracy

SPECS = published("meter_specs")


@pytest.mark.parametrize("example", SPECS["examples"], ids=lambda one: f"{one['reading']}-{one['pct']}")
def test_published_specifications(example: dict[str, Any]) -> None:
    """Worked examples of makers' articles: limit = percent of reading + counts of the range's last digit."""
    stated = f"±({example['pct']} % + {example['counts']})"
    meter = Meter("meter", "V", accuracy(stated), example["lsd"])
    assert meter.half_width(example["reading"]) == pytest.approx(example["limit"], rel=1e-9)
    part = meter.component(example["reading"])
    assert part.standard == pytest.approx(example["limit"] / math.sqrt(3))


@pytest.mark.parametrize("example", SPECS["burden"], ids=lambda one: one["where"][:16])
def test_published_burden_examples(example: dict[str, Any]) -> None:
    """I = V/(R + R_meter): what an ammeter in series does to the current it measures."""
    meter = instrument.meter(
        {"accuracy": "1 % + 3", "resolution": "1 mA", "burden_ohm": example["meter_ohm"]}, "A"
    )
    shown = example["source_V"] / (example["load_ohm"] + meter.series_ohm)
    assert shown == pytest.approx(example["shown_A"], rel=1e-6)
    error = -meter.series_ohm / (example["load_ohm"] + meter.series_ohm)
    assert 100 * error == pytest.approx(example["error_percent"], rel=1e-6)
    assert shown / example["ideal_A"] - 1 == pytest.approx(error, rel=1e-6)


@given(st.floats(0.01, 5), st.integers(0, 50), st.floats(-100, 100))
def test_the_half_width_grows_with_the_reading_and_is_never_negative(
    percent: float, counts: int, reading: float
) -> None:
    meter = Meter("meter", "V", Accuracy(percent, counts), 0.001)
    assert meter.half_width(reading) == pytest.approx(percent / 100 * abs(reading) + counts * 0.001)
    assert meter.half_width(reading) == meter.half_width(-reading)


SPEC = {
    "name": "handheld",
    "accuracy": "1 % + 3",
    "burden_ohm": 0.03,
    "leads_ohm": "20 mΩ",
    "ranges": [
        {"full_scale": "6 mA", "resolution": "1 µA", "burden_ohm": 1.8},
        {"full_scale": "10 A", "resolution": "1 mA"},
    ],
}


def test_a_range_keeps_what_the_meter_says_and_adds_its_own() -> None:
    fine, coarse = instrument.meter(SPEC, "A", 0.006), instrument.meter(SPEC, "A", 10)
    assert (fine.resolution, fine.series_ohm) == (pytest.approx(1e-6), pytest.approx(1.82))
    assert (coarse.resolution, coarse.series_ohm) == (pytest.approx(1e-3), pytest.approx(0.05))
    assert fine.label == "handheld, 6 mA range"
    assert coarse.label == "handheld, 10 A range"
    # Which range was in use is then not known: the widest is assumed, and shared with nothing.
    assert instrument.meter(SPEC, "A") == replace(coarse, range_declared=False)
    assert instrument.meter(coarse, "A") is coarse


def test_a_range_that_the_meter_does_not_have_is_named_with_those_it_has() -> None:
    with pytest.raises(ValueError, match=r"no range of 0\.6 A; it has 0\.006 A, 10 A"):
        instrument.meter(SPEC, "A", 0.6)


def test_a_meter_without_ranges_takes_the_full_scale_it_is_given() -> None:
    meter = instrument.meter({"accuracy": "1 % + 3", "resolution": 0.001}, "A", 10)
    assert meter.full_scale == 10
    assert meter.fits(10)
    assert not meter.fits(10.1)


@pytest.mark.parametrize(
    ("spec", "words"),
    [({"resolution": 0.001}, "needs its accuracy"), ({"accuracy": "1 %"}, "needs its resolution")],
)
def test_a_meter_lacks_what_it_needs(spec: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        instrument.meter(spec, "V")


def test_a_display_too_coarse_for_a_cell_is_a_wrong_unit() -> None:
    with pytest.raises(ValueError, match="resolution of 1000 V; expected at most 1 V"):
        instrument.meter({"accuracy": "±(0.5 % + 2)", "resolution": 1000}, "V")


def test_two_readings_on_one_range_share_its_error_and_on_two_ranges_do_not() -> None:
    fine, coarse = instrument.meter(SPEC, "A", 0.006), instrument.meter(SPEC, "A", 10)
    on_one = [Measured(0.5, "A", (coarse.component(0.5),)), Measured(0.5, "A", (coarse.component(0.5),))]
    # What is left is the display's rounding of both (GUM F.2.2.1).
    assert difference(*on_one).standard == pytest.approx(0.001 / math.sqrt(6), rel=1e-9)
    apart = difference(Measured(0.005, "A", (fine.component(0.005),)), on_one[0])
    assert apart.standard == pytest.approx(
        math.hypot(fine.half_width(0.005), coarse.half_width(0.5)) / math.sqrt(3)
    )


def test_counts_hold_the_resolution_already() -> None:
    """GUM F.2.2.1 applies to a display whose statement has no counts."""
    assert instrument.meter({"accuracy": "1 % + 3", "resolution": 0.001}, "A").states_counts
    plain = instrument.meter({"accuracy": "1 %", "resolution": 0.001}, "A")
    assert not plain.states_counts
    assert plain.step_component().standard == pytest.approx(0.001 / math.sqrt(12))


def test_the_gain_part_scales_with_the_result() -> None:
    meter = instrument.meter({"accuracy": "1 % + 3", "resolution": 0.001}, "A")
    part = meter.gain_component(2.5)
    assert part.contribution == pytest.approx(2.5 * 0.01 / math.sqrt(3))
    assert part.shared == meter.component(1.0).shared


def test_a_part_of_the_range_is_the_same_at_every_reading() -> None:
    block = {"accuracy": "0.5 % rdg + 0.1 % range", "resolution": "1 mV", "full_scale": "6 V"}
    meter = instrument.meter(block, "V")
    assert meter.half_width(4.2) == pytest.approx(0.021 + 0.006)
    assert meter.half_width(0.0) == pytest.approx(0.006)
    assert meter.states_counts


def test_each_range_has_its_own_part_of_the_range() -> None:
    block = {"accuracy": "1 % + 0.2 % FS", "ranges": [
        {"full_scale": "60 mA", "resolution": "10 µA"}, {"full_scale": "6 A", "resolution": "1 mA"},
    ]}  # fmt: skip
    assert instrument.meter(block, "A", 0.06).half_width(0.05) == pytest.approx(0.0005 + 0.00012)
    assert instrument.meter(block, "A", 6).half_width(0.05) == pytest.approx(0.0005 + 0.012)


def test_a_part_of_the_range_takes_the_range_that_a_log_names() -> None:
    block = {"accuracy": "1 % + 0.2 % FS", "resolution": "1 mA"}
    assert instrument.meter(block, "A", 6).half_width(0.0) == pytest.approx(0.012)


def test_a_part_of_no_range_is_refused() -> None:
    with pytest.raises(ValueError, match="full_scale"):
        instrument.meter({"accuracy": "1 % + 0.2 % FS", "resolution": "1 mA"}, "A")


def test_a_statement_finer_than_half_a_count_leaves_the_display_out() -> None:
    block = {"accuracy": "50 ppm + 10 ppm FS", "resolution": "1 mV", "full_scale": "6 V"}
    assert not instrument.meter(block, "V").states_counts
