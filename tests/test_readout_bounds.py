"""The readout's arithmetic and bounds, each by hand, by brute force or on both sides."""

from __future__ import annotations

import importlib
import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from reviewkit import readout
from reviewkit.errors import Faults, InputError
from reviewkit.metrology.conformity import Limit
from reviewkit.metrology.meter import Meter, meter
from reviewkit.readout import analysis, model, report, table
from reviewkit.readout.feasible_region import Region, solve
from reviewkit.readout.model import Interval, Model, Reading, Reference

METER = {"accuracy": "±(0.05 % + 3)", "resolution": "1 mV", "full_scale": "6 V"}
F = Fraction
fit = importlib.import_module("reviewkit.readout.fit")
posterior = importlib.import_module("reviewkit.readout.posterior")


def device(step: str = "0.1", bound: str = "0", reference: Reference | None = None) -> Model:
    return Model(F(step), F(3), F("4.2"), F(bound), reference or Reference())


def read(*pairs: tuple[str, str], noise: str = "0") -> list[Reading]:
    return [Reading(row, F(x), F(shown), F(noise)) for row, (x, shown) in enumerate(pairs, start=2)]


def written(
    folder: Path, *rows: str, heading: str = "reference (V),shown", **more: Any
) -> readout.ReadoutInputs:
    (folder / "readout.csv").write_text("\n".join([heading, *rows]) + "\n", encoding="utf-8")
    return readout.inputs(**({"voltmeter": METER, "readout_table": "readout.csv"} | more))


def tabled(folder: Path, *rows: str, **more: Any) -> table.Table:
    found = table.read(written(folder, *rows, **more), folder)
    assert found is not None
    return found


# ------------------------------------------------------------------ parameters


@pytest.mark.parametrize(
    ("name", "good", "bad"),
    [
        ("readout_resolution_V", [0.001, 0.6], [0, 2.1]),
        ("readout_resolution_V", [2.0], [-0.1]),
        ("readout_offset_bound_V", [0.01], [0]),
        ("readout_gain_bound_percent", [0, 20], [-0.1, 20.1]),
        ("readout_wanted_width_V", [0.001], [0]),
        ("readout_cell_ohm", [0, 10], [-0.01, 10.1]),
        (
            "readout_range_V",
            [[3.0, 3.11], [0.5, 6.0], [3.0, 4.2]],
            [[3.0, 3.09], [3.0, 6.1], [0, 3], [-1, 3], [4, 3]],
        ),
    ],
)
def test_parameters_lie_within_their_bounds(name: str, good: list[Any], bad: list[Any]) -> None:
    for value in good:
        assert readout.inputs(**{name: value})
    for value in bad:
        with pytest.raises(Faults):
            readout.inputs(**{name: value})


@pytest.mark.parametrize(("bound", "good"), [(0.05, True), (0.051, False)])
def test_an_offset_is_bounded_by_half_a_step(bound: float, good: bool) -> None:
    given = {"readout_resolution_V": 0.1, "readout_offset_bound_V": bound}
    if good:
        assert readout.inputs(**given)
    else:
        with pytest.raises(Faults, match="at most half"):
            readout.inputs(**given)


def test_what_is_not_given_is_taken_as_usual() -> None:
    bench = readout.inputs()
    assert (bench.readout_gain_bound_percent, bench.readout_wanted_width_V) == (4.0, 0.02)
    assert readout.inputs(cell={"chemistry": "NMC"}).range_V == (3.0, 4.2)
    assert readout.inputs(cell={"chemistry": "LFP"}).range_V[0] == 2.5
    assert F("0.04") == model.USUAL_GAIN_BOUND
    assert device(bound="0.03").widened_bound == F("0.06")
    assert device(bound="0.01").widened_bound == F("0.04")


def test_the_smallest_range_that_shows_the_highest_voltage_is_in_use() -> None:
    ranges = [{"full_scale": "60 V", "resolution": "10 mV"}, {"full_scale": "6 V", "resolution": "1 mV"}]
    block = {"accuracy": "±(0.05 % + 3)", "ranges": ranges}
    for highest, scale in ((4.2, 6.0), (7.0, 60.0)):
        found = readout.inputs(voltmeter=block).meter_for(highest)
        assert found is not None
        assert found.full_scale == scale


def test_a_claim_is_that_of_the_largest_error() -> None:
    claims = [
        {"about": "readout.gain", "at_most": 1.0},
        {"about": "readout.largest_error", "at_most": "50 mV"},
    ]
    assert readout.inputs(claims=claims).claim_V() == (pytest.approx(0.05), "the maker's claim")
    assert readout.inputs(claims=claims[:1]).claim_V() is None


@pytest.mark.parametrize(
    ("low_open", "high_open", "value", "inside"),
    [
        (False, False, 1, True),
        (True, False, 1, False),
        (False, False, 3, True),
        (False, True, 3, False),
        (True, True, 2, True),
        (False, False, F("0.9"), False),
        (False, False, F("3.1"), False),
    ],
)
def test_an_interval_holds_its_ends_where_they_are_closed(
    low_open: bool, high_open: bool, value: Any, inside: bool
) -> None:
    one = Interval(F(1), F(3), low_open, high_open)
    assert one.holds(F(value)) == inside
    assert one.touches(F(value), F(value)) == inside
    assert (one.width, one.middle) == (2, 2)
    if value in (1, 3):
        assert one.touches(*((F(value), F(9)) if value == 3 else (F(-9), F(value)))) == inside


def test_intervals_are_mirrored_swapped_and_joined_with_their_ends() -> None:
    one = Interval(F(1), F(3), True, False)
    assert one.mirrored(F(10)) == Interval(F(7), F(9), False, True)
    assert one.swapped() == Interval(F(1), F(3), False, True)
    assert model.around([one, Interval(F(1), F(3), False, True)]) == Interval(F(1), F(3), False, False)
    assert model.around([one, Interval(F(0), F(2), True, True)]) == Interval(F(0), F(3), True, False)


def test_offsets_are_what_the_rules_need_for_one_transition_level() -> None:
    """Level 0.03 V of steps of 0.1 V: 0.05 − 0.03, 0.1 − 0.03, 0 − 0.03."""
    for rule, offset in (("nearest", "0.02"), ("down", "0.07"), ("up", "-0.03")):
        assert model.offset_of(rule, F("0.03"), F("0.1")) == F(offset)
    level = Interval(F("0.03"), F("0.04"))
    assert model.possible_rules(model.offsets(level, F("0.1")), F("0.02")) == ("nearest",)
    assert model.possible_rules(model.offsets(level, F("0.1")), F("0.03")) == ("nearest",)
    # Rounding up displays the lower value at the transition itself: 0.03 V is not reached.
    assert model.possible_rules(model.offsets(level, F("0.1")), F("0.031")) == ("nearest", "up")
    assert model.possible_rules(model.offsets(level, F("0.1")), F("0.009")) == ()


@pytest.mark.parametrize(
    ("accuracy", "floor"), [("±(0.5 % + 3)", "0.0025"), ("±0.5 %", "0"), ("±(0.5 % + 1)", "0.0005")]
)
def test_half_a_step_is_taken_out_of_counts_only(accuracy: str, floor: str) -> None:
    found = Reference.of(meter({"accuracy": accuracy, "resolution": "1 mV"}, "V"))
    assert (found.slope, found.floor, found.noise_V) == (F("0.005"), F(floor), F("0.0005"))
    assert found.half_width(F(-4)) == F("0.02") + F(floor)


# ------------------------------------------------------------------ the table


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("3 blinks, pause, 9 blinks", "3.9"),
        ("3 blinks, 10 blinks", None),
        ("3 blinks", None),
        ("1 blink, 2 blinks, 3 blinks", None),
        ("9 blinks, 9 blinks", "9.9"),
        ("3/9", "3.9"),
        ("3.90", "3.9"),
    ],
)
def test_a_pattern_of_two_digits_is_a_voltage(text: str, value: str | None) -> None:
    assert table.volts(text) == (None if value is None else F(value))


def test_a_common_step_is_the_largest_that_all_values_are_multiples_of() -> None:
    for values, step, count in (
        (["3.6", "3.9", "4.2"], "0.3", 1),
        (["3.65", "3.9"], "0.05", 2),
        (["3", "4"], "1", 0),
        (["0.125"], "0.125", 3),
        (["3.60", "3.62"], "0.02", 2),
    ):
        assert table.common_step([F(value) for value in values]) == F(step)
        assert table.decimals([F(value) for value in values]) == count
    assert table.common_step([F(0)]) is None


@pytest.mark.parametrize(
    ("step", "low", "high", "words"),
    [
        ("0.001", 3.0, 4.2, None),
        ("0.0009", 3.0, 4.2, "nothing coarser"),
        ("0.6", 3.0, 4.2, None),
        ("0.61", 3.0, 4.2, "less than two steps"),
    ],
)
def test_a_step_is_at_least_a_millivolt_and_at_most_half_the_range(
    step: str, low: float, high: float, words: str | None
) -> None:
    bench = readout.inputs(readout_range_V=[low, high], readout_table="readout.csv")
    if words is None:
        table._coarse_enough(F(step), bench)
    else:
        with pytest.raises(InputError, match=words):
            table._coarse_enough(F(step), bench)


def test_without_a_declared_step_zeros_are_taken_for_tenths() -> None:
    assert table.step_of([F(0)], readout.inputs()) == F("0.1")
    assert table.step_of([F("3.6"), F("4.0")], readout.inputs()) == F("0.4")


@pytest.mark.parametrize(
    ("row", "good"), [("0.5,0.5", True), ("0.49,0.5", False), ("6,6.0", True), ("6.01,6.0", False)]
)
def test_a_cell_has_between_half_a_volt_and_six(row: str, good: bool, tmp_path: Path) -> None:
    wide = {**METER, "full_scale": "60 V"}
    inputs = written(tmp_path, "3.62,3.6", "3.71,3.7", row, voltmeter=wide, readout_shows="volts")
    told = " ".join(fault.message for fault in readout.check(inputs, tmp_path))
    assert ("no voltage of a lithium-ion cell" in told) != good


def test_a_reading_beyond_the_meters_range_is_told(tmp_path: Path) -> None:
    inputs = written(tmp_path, "3.62,3.6", "4.1,4.1", voltmeter={**METER, "full_scale": "4 V"})
    assert "beyond the meter's range" in readout.check(inputs, tmp_path)[0].message


@pytest.mark.parametrize(("count", "told"), [(2, 2), (3, 1), (4, 1)])
def test_what_is_wrong_in_every_one_of_three_rows_or_more_is_told_once(
    count: int, told: int, tmp_path: Path
) -> None:
    rows = [f"3.6{number},3.65" for number in range(count)]
    assert len(readout.check(written(tmp_path, *rows, readout_resolution_V=0.1), tmp_path)) == told
    most = [*rows, "3.71,3.7"]
    assert len(readout.check(written(tmp_path, *most, readout_resolution_V=0.1), tmp_path)) == count


@pytest.mark.parametrize(
    ("stated", "words"), [("-0.001", "negative"), ("1.01", "of 1.01"), ("1", None), ("0", None)]
)
def test_an_uncertainty_lies_between_0_and_1_volt(stated: str, words: str | None, tmp_path: Path) -> None:
    inputs = written(
        tmp_path, f"3.62,3.6,{stated}", "3.71,3.7,0.01", heading="reference (V),shown,uncertainty"
    )
    faults = readout.check(inputs, tmp_path)
    assert [words in fault.message for fault in faults] == [True] * (words is not None)


def test_a_rows_own_error_is_what_the_meter_leaves_of_the_stated_one_and_at_least_half_its_step(
    tmp_path: Path,
) -> None:
    """±(0.05 % + 3): at 3.6 V 1.8 mV + 2.5 mV shared; of 10 mV 5.7 are left, of 4 mV or none half a step."""
    rows = ("3.6,3.6,0.01", "3.6,3.6,0.004", "3.6,3.6,")
    found = tabled(tmp_path, *rows, heading="reference (V),shown,uncertainty")
    assert found.noise_V.to_list() == [0.0057, 0.0005, 0.0005]
    assert found.shared_V.to_list() == pytest.approx([0.0043] * 3)
    alone = tabled(tmp_path, *rows[:2], heading="reference (V),shown,uncertainty", voltmeter=None)
    assert alone.noise_V.to_list() == [0.01, 0.004]
    with pytest.raises(InputError, match="how accurate"):
        tabled(tmp_path, *rows, heading="reference (V),shown,uncertainty", voltmeter=None)


@pytest.mark.parametrize(
    ("loads", "ohm", "how", "drop"),
    [
        (["", ""], 0.1, "not said", 0.0),
        (["0", ""], 0.1, "not said", 0.0),
        (["0", "0"], 0.1, "none", 0.0),
        (["0.5", ""], None, "together", 0.0),
        (["0.5", "-1"], 0.1, "taken off", 0.1),
    ],
)
def test_a_load_is_taken_off_where_the_cells_resistance_is_known(
    loads: list[str], ohm: float | None, how: str, drop: float, tmp_path: Path
) -> None:
    rows = [f"{3.62 + 0.1 * number:.2f},{3.6 + 0.1 * number:.1f},{load}" for number, load in enumerate(loads)]
    more = {} if ohm is None else {"readout_cell_ohm": ohm}
    found = tabled(tmp_path, *rows, heading="reference (V),shown,load (A)", **more)
    assert (found.load, found.most_drop_V) == (how, pytest.approx(drop))
    if drop:
        assert found.reference_V.to_list() == [3.57, 3.62]
        # A tenth of the drop may be wrong.
        assert found.noise_V.to_list() == [0.0055, 0.0105]


@pytest.mark.parametrize(("load", "good"), [(31.1, True), (31.3, False)])
def test_a_load_leaves_half_a_volt(load: float, good: bool, tmp_path: Path) -> None:
    heading = "reference (V),shown,load (A)"
    inputs = written(tmp_path, f"3.62,3.6,{load}", "3.7,3.7,0", heading=heading, readout_cell_ohm=0.1)
    told = " ".join(fault.message for fault in readout.check(inputs, tmp_path))
    assert ("would leave" in told) != good


@pytest.mark.parametrize(
    ("shown", "marks"),
    [
        (["3", "4", "3"], False),
        (["2.5", "2.5", "3"], True),
        (["2.7", "2.7", "9"], False),
        (["x", "x", "3"], True),
        (["x", "3", "3"], False),
    ],
)
def test_what_is_mostly_a_volt_or_more_off_or_no_number_is_a_mark(
    shown: list[str], marks: bool, tmp_path: Path
) -> None:
    rows = [f"3.6{number},{value}" for number, value in enumerate(shown)]
    values = {row: table.volts(value) for row, value in enumerate(shown)}
    reference = pd.Series([3.6, 3.61, 3.62])
    assert table._are_marks(values, reference) == marks
    if marks:
        assert tabled(tmp_path, *rows).readings == ()
        forced = written(tmp_path, *rows, readout_shows="volts", readout_resolution_V=0.5)
        assert "x" not in shown or readout.check(forced, tmp_path)
    assert tabled(tmp_path, *rows, readout_shows="marks").readings == ()


def test_two_readings_are_a_table_and_one_is_told_in_the_singular(tmp_path: Path) -> None:
    assert len(tabled(tmp_path, "3.62,3.6", "3.71,3.7").readings) == 2
    with pytest.raises(InputError, match=r"the table has 1 reading\b"):
        tabled(tmp_path, "3.62,3.6")
    assert tabled(tmp_path, "3912,3.9", "3962,4.0", heading="reference (mV),shown").reference_V.to_list() == [
        3.912,
        3.962,
    ]


# ------------------------------------------------------------------ regions and errors


def test_a_region_is_what_two_readings_leave_of_level_and_gain() -> None:
    """Within a gain of 1 ± 0.02 readings 0.5 V from the middle: by linear programming."""
    region = solve(read(("3.12", "3.1"), ("4.12", "4.1")), device(bound="0.02"))
    assert region is not None
    from scipy.optimize import linprog

    rows, limits = [], []
    for x, shown in ((3.12, 3.1), (4.12, 4.1)):
        # shown − 3.6 + p ≤ g·(x − 3.6) < shown − 3.6 + 0.1 + p.
        rows += [[1.0, -(x - 3.6)], [-1.0, x - 3.6]]
        limits += [-(shown - 3.6) + 0.1, shown - 3.6]
    for axis, found in ((0, region.transition), (1, region.gain)):
        for sign, end in ((1, found.low), (-1, found.high)):
            cost = [0.0, 0.0]
            cost[axis] = sign
            best = linprog(cost, A_ub=rows, b_ub=limits, bounds=[(-9, 9), (0.98, 1.02)])
            assert float(end) == pytest.approx(best.x[axis], abs=1e-9)


def test_a_transition_voltage_is_moved_by_level_and_gain() -> None:
    region = Region(device(), (), ((F("0.05"), F("0.98")), (F("0.07"), F("1.02"))))
    ends = [3.6 + (4.0 + level - 3.6) / gain for level, gain in ((0.05, 0.98), (0.07, 1.02))]
    assert region.transition_voltage(40) == pytest.approx((min(ends), max(ends)))


def test_the_maximum_error_of_a_region_is_bounded_by_its_corners() -> None:
    """Half a step, what the level is off, and half the range times what the gain is."""
    point = Region(device(), (), ((F("0.07"), F("1.02")),))
    low, high = point.maximum_error()
    assert high == pytest.approx(0.05 + 0.02 + 0.6 * 0.02)
    assert low == pytest.approx(high - 0.1 * 0.02 / 1.02)
    square = tuple(
        (F(level), F(gain))
        for level, gain in (("0.04", "0.99"), ("0.08", "0.99"), ("0.08", "1.03"), ("0.04", "1.03"))
    )
    low, high = Region(device(), (), square).maximum_error()
    assert low == pytest.approx(0.05)
    assert high == pytest.approx(0.05 + 0.03 + 0.6 * 0.03)


# ------------------------------------------------------------------ the likelihood view


def test_gains_of_the_reference_hold_bound_and_percent() -> None:
    from reviewkit.readout.feasible_region import gain_range

    one = device(bound="0.02", reference=Reference(F("0.01")))
    assert gain_range(one) == (F("0.98") * F("0.99"), F("1.02") * F("1.01"))


@pytest.mark.parametrize(
    ("step", "values", "pairs"),
    [
        ("0.1", 12, "3.62 3.6, 3.66 3.7, 3.12 3.2, 4.02 4.0, 3.88 3.9"),
        ("0.1", 12, "3.62 3.6, 3.66 3.7, 3.12 3.6, 4.02 4.0, 3.88 3.9"),
        ("0.5", 2.4, "3.05 3.0, 3.30 3.5, 3.80 3.5, 3.95 4.0, 3.40 4.0"),
        # A misreading has one other value at least to be taken for.
        ("0.8", 2, "3.05 3.2, 3.30 3.2, 3.80 3.2, 3.95 4.0, 3.40 4.0"),
    ],
)
def test_weights_are_prior_times_misreadings_with_levels_alike_in_each_combination(
    step: str, values: float, pairs: str
) -> None:
    """Every cell's weight by plain sums over the cells that have the same rows wrong."""
    one = device(step, bound="0.02")
    readings = read(*(tuple(pair.split()) for pair in pairs.split(", ")))
    cells = posterior.feasible_cells(readings, one.with_gain_bound(one.widened_bound), more=2)
    found = posterior._weights(cells, one)
    area = cells.gain_width * (cells.high_V - cells.low_V)
    # A gain lies within its bound in two standard deviations.
    prior = stats.norm.pdf(cells.gain, 1.0, 0.02 / 2) / stats.norm.pdf(1.0, 1.0, 0.02 / 2)
    expected = np.zeros(len(found))
    for number, wrong in enumerate(cells.wrong):
        alike = (cells.wrong == wrong).all(axis=1)
        rates = sum(
            share * stats.binom.pmf(wrong.sum(), 5, rate) / math.comb(5, wrong.sum())
            for rate, share in ((0.001, 0.6), (0.01, 0.3), (0.1, 0.1))
        )
        slip = np.prod([0.5 / values + (0.25 if near else 0.0) for near in cells.near[number][wrong]])
        within = area[number] * prior[number] / (area * prior)[alike].sum()
        expected[number] = rates * slip * prior[alike].max() * within
    assert found == pytest.approx(expected / expected.sum())
    assert cells.wrong.sum(axis=1).max() == cells.wrong.sum(axis=1).min() + 2


def test_a_wrong_reading_is_near_if_it_is_less_than_a_step_off() -> None:
    one = device()
    readings = read(("3.62", "3.6"), ("3.62", "3.6"), ("3.62", "3.7"), ("3.62", "3.9"))
    cells = posterior.feasible_cells(readings, one, more=0)
    assert cells.wrong.tolist() == [[False, False, True, True]] * len(cells.wrong)
    assert cells.near.tolist() == [[False, False, True, False]] * len(cells.near)
    below = read(("3.62", "3.6"), ("3.62", "3.6"), ("3.62", "3.5"), ("3.62", "3.3"))
    assert posterior.feasible_cells(below, one).near.tolist() == [[False, False, True, False]]


def test_levels_are_what_each_reading_leaves_at_a_gain() -> None:
    """3.6 − shown + g·(x − 3.6), by g·noise less, and by as much and a step more."""
    low, high = posterior._levels(read(("3.92", "3.9"), noise="0.01"), device(), np.array([0.9, 1.1]))
    assert low[:, 0] == pytest.approx([-0.3 + 0.9 * 0.31, -0.3 + 1.1 * 0.31])
    assert high[:, 0] == pytest.approx([-0.3 + 0.9 * 0.33 + 0.1, -0.3 + 1.1 * 0.33 + 0.1])


def test_stretches_of_gain_cover_the_range_without_a_gap() -> None:
    readings = read(("3.02", "3.0"), ("4.12", "4.1"), ("3.55", "3.6"))
    gains, widths = posterior._gains(readings, device(bound="0.04"))
    assert widths.sum() == pytest.approx(0.08)
    edges = np.append(gains - widths / 2, gains[-1] + widths[-1] / 2)
    assert edges[0] == pytest.approx(0.96)
    assert np.diff(edges) == pytest.approx(widths)
    # 201 edges at least: a level moves by less than a millivolt from one to the next.
    assert widths.max() * 0.6 < 1e-3
    assert 200 <= len(gains) <= 220
    # The gains at which two readings' ends meet are edges.
    for (x, shown), (other, also) in ((((3.02, 3.0)), (4.12, 4.1)), ((3.02, 3.0), (3.55, 3.6))):
        for step in (-0.1, 0.0, 0.1):
            meeting = (shown - also + step) / (x - other)
            if 0.96 < meeting < 1.04:
                assert np.abs(edges - meeting).min() < 1e-12
    alone, width = posterior._gains(readings, device())
    assert (alone.tolist(), width.tolist()) == ([1.0], [1e-12])


def test_points_are_spread_evenly_by_the_root_of_x5_x_1() -> None:
    """Root by numpy; discrepancy of each axis of 4096 points below that of any random draw."""
    roots = np.roots([1, 0, 0, 0, -1, -1])
    root = float(roots[np.isreal(roots)].real.max())
    points = posterior._even(4096)
    expected = (0.5 + root ** -np.arange(1.0, 5.0)[:, None] * np.arange(4096)) % 1.0
    assert points == pytest.approx(expected, abs=1e-9)
    for axis in points:
        assert np.abs(np.sort(axis) - (np.arange(4096) + 0.5) / 4096).max() < 3e-3


def test_a_posterior_moves_levels_by_every_shared_error_alike() -> None:
    """A meter of ±10 mV without percent: the level is that of the readings less an even ±10 mV."""
    one = device(reference=Reference(F(0), F("0.01")))
    state = posterior.posterior(read(("3.62", "3.6"), ("3.6201", "3.7")), one)
    off = state.level_V - state.scale_level_V
    assert np.sort(off) == pytest.approx(np.linspace(-0.01, 0.01, len(off)), abs=4e-5)
    assert state.gain == pytest.approx(np.ones(len(off)))
    assert len(off) == 4096
    low, high = state.interval()
    # 95.45 % of an even ±10 mV about 0.02 V.
    assert (low, high) == pytest.approx((0.02 - 0.009545, 0.02 + 0.009545), abs=2e-4)
    assert state.interval(np.arange(101.0), 0.9) == pytest.approx((5.0, 95.0))


def test_a_gain_of_which_no_reading_tells_is_as_probable_as_before() -> None:
    """A normal one about 1 with half its bound: one reading at the middle of the range."""
    state = posterior.posterior(read(("3.6", "3.6")), device(bound="0.02"))
    assert state.scale_gain.mean() == pytest.approx(1.0, abs=2e-6)
    assert state.scale_gain.std() == pytest.approx(0.01, rel=1e-3)
    assert state.scale_gain == pytest.approx(state.gain)


def test_what_looks_like_a_gain_is_the_meters_percent_where_none_was_allowed() -> None:
    """±1 % of the reading: scale gain 1 − 0.01·θ, and an error of 0.01·θ·3.6 V at the middle."""
    one = device(reference=Reference(F("0.01")))
    state = posterior.posterior(read(("3.62", "3.6"), ("3.6201", "3.7")), one)
    assert state.gain == pytest.approx(np.ones(4096))
    assert state.scale_level_V - state.level_V == pytest.approx((1 - state.scale_gain) * 3.6)
    assert np.ptp(state.scale_gain) == pytest.approx(0.02, abs=2e-4)


def test_a_gain_is_the_scales_over_one_less_the_meters_percent() -> None:
    one = device(bound="0.02", reference=Reference(F("0.01")))
    state = posterior.posterior(
        read(("3.62", "3.6"), ("3.6201", "3.7"), ("3.12", "3.1"), ("4.12", "4.1")), one
    )
    percent = (1 - state.scale_gain / state.gain) / 0.01
    assert np.sort(percent) == pytest.approx(np.linspace(-1, 1, 4096), abs=2e-3)
    assert state.scale_level_V - state.level_V == pytest.approx(state.gain * 0.01 * percent * 3.6)


@pytest.mark.parametrize(("count", "fits"), [(7, False), (8, True)])
def test_a_quarter_of_the_readings_may_be_doubted(count: int, fits: bool) -> None:
    """Two of them contradict all others, in ways that no gain explains."""
    good = [
        (f"{3.02 + 0.17 * number:.2f}", f"{math.floor((3.02 + 0.17 * number) * 10) / 10:.1f}")
        for number in range(count - 2)
    ]
    readings = read(*good, ("3.05", "3.6"), ("4.0", "3.3"))
    assert bool(posterior.explain(readings, device()).carried) == fits
    assert posterior.explain(readings, device(), most=2).carried
    assert not posterior.explain(readings, device(), most=1).carried


# ------------------------------------------------------------------ the fit


def test_both_ends_were_read_where_the_outer_quarters_hold_a_reading() -> None:
    for low, high, both in (("3.29", "3.91", True), ("3.31", "3.91", False), ("3.29", "3.89", False)):
        pairs = [(one, f"{math.floor(float(one) * 10) / 10:.1f}") for one in (low, high)]
        assert fit.fit_readings(read(*pairs), device()).read_at_both_ends == both


def test_a_level_holds_both_views_and_its_errors_to_a_nanovolt() -> None:
    found = fit.fit_readings(read(("3.62", "3.6"), ("3.96", "4.0")), device())
    assert float(found.hard_transition.low) == pytest.approx(0.02)
    low, mean, high = found.maximum_error
    assert (low, high) == (pytest.approx(0.05), pytest.approx(0.08))
    assert low <= mean <= high
    assert (round(low, 9), round(high, 9)) == (low, high)
    # One of them may be misread.
    assert found.probability_of_error_up_to(0.08) == pytest.approx(0.994, abs=2e-3)
    assert found.probability_of_error_up_to(0.049) == 0.0
    # Levels of 0.02 to 0.06 V are as probable: errors up to 0.07 V from 0.03 V on.
    assert found.probability_of_error_up_to(0.07) == pytest.approx(0.75, abs=0.01)
    assert found.views_agree


def test_a_width_has_a_least_and_each_reading_halves_the_rest() -> None:
    """±2.5 mV shared and ±0.5 mV own: 6 mV are left whatever is read."""
    one = device(reference=Reference(F(0), F("0.0025"), F("0.0005")))
    found = fit.fit_readings(read(("3.62", "3.6"), noise="0.0005"), one)
    assert found.least_width_V == pytest.approx(0.006)
    now = float(found.transition.width)
    for wanted, number in (
        (now, 0),
        (now - 1e-6, 1),
        (0.006 + (now - 0.006) / 2, 1),
        (0.006 + (now - 0.006) / 2.001, 2),
        (0.006 + (now - 0.006) / 8, 3),
        (0.006, None),
        (0.0061, 10),
    ):
        assert found.readings_to(wanted) == number


def test_a_row_is_named_that_is_wrong_in_every_way_and_probably_so() -> None:
    assert fit.SURE == 0.95
    pairs = [(f"{3.02 + 0.1 * number:.2f}", f"{3.0 + 0.1 * number:.1f}") for number in range(11)]
    found = fit.fit_readings(read(*pairs, ("3.6", "4.1")), device())
    assert found.doubted == frozenset({13})
    assert found.contradictory
    unsure = replace(found, explanations=found.explanations)
    unsure.__dict__["posterior"] = replace(found.posterior, wrong={**found.posterior.wrong, 13: 0.94})
    assert unsure.doubted == frozenset()
    sure = replace(found, explanations=found.explanations)
    sure.__dict__["posterior"] = replace(found.posterior, wrong={**found.posterior.wrong, 13: 0.96})
    assert sure.doubted == frozenset({13})


def test_rows_count_from_one_or_by_their_index_and_displayed_values_are_multiples() -> None:
    found = readout.fit([3.62, 3.71], [3.6, 3.7], resolution_V=0.1)
    assert [one.row for one in found.readings] == [1, 2]
    assert (found.model.low_V, found.model.high_V, found.model.gain_bound) == (F(3), F("4.2"), F(0))
    own = readout.fit(pd.Series([3.62, 3.71], [7, 9]), [3.6, 3.7], resolution_V=0.1)
    assert [one.row for one in own.readings] == [7, 9]
    with pytest.raises(ValueError, match="no multiple"):
        readout.fit([3.62, 3.71], [3.6, 3.75], resolution_V=0.1)


def expected_bits(device_steps: np.ndarray, deviation: float) -> float:
    """Return what one reading tells, by the normal distribution's share of every value of every readout."""
    codes = np.arange(math.floor(device_steps.min()) - 3, math.floor(device_steps.max()) + 4)
    share = stats.norm.cdf((codes + 1 - device_steps[:, None]) / deviation) - stats.norm.cdf(
        (codes - device_steps[:, None]) / deviation
    )
    return float(stats.entropy(share.mean(axis=0), base=2) - stats.entropy(share, axis=1, base=2).mean())


@pytest.mark.parametrize("deviation", [0.003, 0.03, 0.08])
def test_a_readings_worth_is_the_entropy_of_what_it_shows_less_that_of_its_noise(deviation: float) -> None:
    """Brute force over every displayed value with scipy's entropy."""
    draws = np.random.default_rng(8).uniform(-0.4, 1.7, (3, 500)) + np.array([[0.0], [10.3], [-4.0]])
    found = fit._mutual_information(draws, deviation)
    assert found == pytest.approx([expected_bits(row, deviation) for row in draws], abs=2e-9)
    assert fit._mutual_information(np.full((1, 20), 0.5), 0.01) == pytest.approx([0.0])


def test_a_readings_worth_is_told_for_its_own_noise() -> None:
    """Half a step of 1 mV is ±0.5 mV evenly spread: 0.5/√3 mV as a normal one, of steps of 0.1 V."""
    found = fit.fit_readings(read(("3.62", "3.6")), device(reference=Reference(F(0), F(0), F("0.02"))))
    worth = found.information
    number = int(np.argmin(np.abs(worth.voltage_V - 3.67)))
    level, _ = fit._nodes(found.posterior)
    assert len(level) == 600
    steps = (worth.voltage_V[number] - level) / 0.1
    assert worth.bits[number] == pytest.approx(expected_bits(steps, 0.02 / math.sqrt(3) / 0.1), abs=1e-6)
    assert worth.best_bits == worth.bits.max()


def test_candidates_lie_a_fiftieth_of_a_step_apart() -> None:
    """Of a step of 0.1 V 2 mV; at most 3000 across the range, and no finer than 0.1 mV."""
    for step, low, high, spacing in (
        ("0.1", "3", "4.2", 0.002),
        ("0.01", "3", "4.2", 0.0004),
        ("0.001", "3.5", "3.6", 0.0001),
    ):
        found = fit._candidates(Model(F(step), F(low), F(high)))
        assert np.diff(found) == pytest.approx(np.full(len(found) - 1, spacing), abs=1e-9)
        assert (found[0], found[-1]) == (float(F(low)), pytest.approx(float(F(high))))


def test_the_best_voltage_is_found_to_a_tenth_of_a_millivolt() -> None:
    """A parabola's best within 0.998 of it lies evenly about its top; at most 61 voltages are looked at."""
    seen: list[int] = []

    def bits_at(voltage: np.ndarray) -> np.ndarray:
        seen.append(len(voltage))
        return 1 - ((voltage - 3.61234) / 0.01) ** 2

    assert fit._refined(np.array([3.610, 3.612, 3.614]), bits_at) == pytest.approx(3.6123, abs=1.1e-4)
    assert fit._refined(np.array([3.5, 3.7]), bits_at) == pytest.approx(3.6123, abs=4e-3)
    assert fit._refined(np.array([3.6123, 3.61235]), bits_at) == pytest.approx(3.6123, abs=1e-4)
    assert seen == [41, 61, 3]
    edge = fit._refined(
        np.array([3.60, 3.606]), lambda voltage: np.where(voltage < 3.6, 0.0, 1 - 100 * (voltage - 3.6))
    )
    # Within 0.002 of the best: up to 0.02 mV off it.
    assert edge == 3.6


def test_voltages_that_are_nearly_as_good_are_weighed_by_what_is_least_known() -> None:
    assert fit.NEARLY_BEST == 0.97
    one = device(bound="0.03")
    found = fit.fit_readings(read(("3.62", "3.6"), ("3.6499", "3.6"), ("3.651", "3.7")), one)
    worth = found.information
    assert worth.bits[np.argmin(np.abs(worth.voltage_V - worth.next_V))] >= 0.96 * worth.best_bits
    level, gain = fit._nodes(found.posterior)
    steps = fit._steps_above(worth.voltage_V, level, gain, one)
    good = worth.bits >= 0.97 * worth.best_bits
    spread = np.round(steps[good].std(axis=1) * 0.1 / 0.001)
    best = worth.voltage_V[good][spread == spread.max()]
    assert np.abs(worth.next_V - best).min() < 0.003


def test_a_plan_halves_what_the_reference_leaves_open() -> None:
    """±2.5 mV + ±0.5 mV: 6 mV are left, 14 mV to be halved to; 100/14 takes three halvings."""
    three = meter({"accuracy": "±(0 % + 3)", "resolution": "1 mV"}, "V")
    plan = readout.plan(meter=three)
    assert plan.least_width_V == pytest.approx(0.006)
    assert (plan.resolution_V, plan.first_V, plan.readings) == (0.1, (3.6,), 4)
    assert plan.changes_V == pytest.approx((0.05, 0.025, 0.0125))
    assert len(plan.all_at_once_V) == math.ceil(0.1 / 0.014)
    exactly = readout.plan(wanted_width_V=0.025)
    assert (exactly.readings, len(exactly.all_at_once_V)) == (3, 4)
    assert exactly.all_at_once_V == pytest.approx((3.55, 3.575, 3.6, 3.625))
    wide = readout.plan(wanted_width_V=0.3)
    assert (wide.readings, wide.changes_V) == (1, ())
    percent = meter({"accuracy": "±(1 % + 3)", "resolution": "1 mV"}, "V")
    assert readout.plan(meter=percent, wanted_width_V=0.1).least_width_V == pytest.approx(0.006 + 2 * 0.036)
    low = readout.plan(range_V=(3.0, 3.1), wanted_width_V=0.05)
    assert low.all_at_once_V == (3.0, 3.05)
    for bad in ({"resolution_V": 0}, {"wanted_width_V": 0}, {"range_V": (3.0, 3.0)}):
        with pytest.raises(ValueError, match="positive step"):
            readout.plan(**bad)
    assert readout.plan(resolution_V=1e-3, wanted_width_V=0.5e-3).readings == 2
    assert not readout.plan(meter=three, wanted_width_V=0.006).reachable


def test_a_plan_for_a_gain_leaves_room_for_a_step_or_a_quarter_of_the_range() -> None:
    assert readout.plan(gain=True, resolution_V=0.5).first_V == (3.3, 3.9)
    assert readout.plan(gain=True, resolution_V=0.2).first_V == (3.2, 4.0)
    assert readout.plan(gain=True, resolution_V=0.2, range_V=(3.0001, 4.2)).first_V == (3.2, 4.0)


# ------------------------------------------------------------------ marks, steps, transitions


def bracketed(reference: list[float], below: list[bool], noise: float = 0.002) -> analysis.Bracket:
    index = range(2, 2 + len(reference))
    own, shared = pd.Series(noise, index), pd.Series(0.003, index)
    return analysis.bracket(
        "low", pd.Series(reference, index), pd.Series(below, index), noise_V=own, shared_V=shared
    )


def test_a_threshold_lies_between_the_highest_below_and_the_lowest_above() -> None:
    found = bracketed([3.3, 3.4, 3.5, 3.6], [True, True, False, False])
    assert (found.low_V, found.high_V) == (pytest.approx(3.395), pytest.approx(3.505))
    assert (found.overlap_V, found.rows) == (0.0, (3, 4))
    assert (bracketed([3.3], [True]).low_V, bracketed([3.3], [True]).high_V) == (pytest.approx(3.295), None)
    assert bracketed([3.3], [False]).low_V is None


@pytest.mark.parametrize(("apart", "overlap"), [(0.0039, 0.0), (0.0041, 0.0041), (0.0, 0.0)])
def test_marks_overlap_by_more_than_both_readings_scatter(apart: float, overlap: float) -> None:
    found = bracketed([3.4 + apart, 3.4], [True, False])
    assert found.overlap_V == pytest.approx(overlap)
    assert (found.low_V, found.high_V) == (pytest.approx(3.395), pytest.approx(3.405 + apart))


def test_a_warning_shows_below_or_above_by_the_mean_of_its_readings() -> None:
    index = range(2, 8)
    reference = pd.Series([3.0, 3.2, 3.4, 3.6, 3.8, 4.0], index)
    noise = pd.Series(0.0, index)
    noted = pd.Series(["low", "low", "", "full", "full", "?"], index)
    low, full = sorted(
        analysis.warnings(noted, reference, noise_V=noise, shared_V=noise), key=lambda one: one.name
    )[::-1]
    assert (low.name, low.shows_below, low.low_V, low.high_V) == ("low", True, 3.2, 3.4)
    assert (full.shows_below, full.low_V, full.high_V) == (False, 3.4, 3.6)


def test_marks_change_between_neighbours_in_the_order_of_their_numbers() -> None:
    index = range(2, 8)
    reference = pd.Series([3.0, 3.2, 3.4, 3.6, 3.8, 4.0], index)
    noise = pd.Series(0.0, index)
    shown = pd.Series(["2 bars", "2 bars", "10 bars", "10 bars", "11 bars", "11 bars"], index)
    found = analysis.thresholds(shown, reference, noise_V=noise, shared_V=noise)
    assert [(one.name, one.low_V, one.high_V) for one in found] == [
        ("2 bars to 10 bars", 3.2, 3.4),
        ("10 bars to 11 bars", 3.6, 3.8),
    ]
    assert found[0].rows == (3, 4)


def shown_on(step: int, count: int, first: int = 30) -> list[tuple[str, str]]:
    """Return readings of a device in steps of `step` tenths of a volt that rounds down."""
    values = [first + step * number for number in range(count)]
    return [(f"{value / 10 + 0.02:.2f}", f"{value / 10:.1f}") for value in values]


@pytest.mark.parametrize(("count", "suspicious"), [(3, False), (4, True)])
def test_four_values_on_a_coarser_step_call_the_step_in_question(count: int, suspicious: bool) -> None:
    fitted = fit.fit_readings(read(*shown_on(2, count)), device())
    assert analysis._doubts_of_step(fitted) == (None, 0.2 if suspicious else None)
    assert analysis._doubts_of_step(fit.fit_readings(read(*shown_on(1, 5)), device())) == (None, None)


def test_a_coarser_step_that_divides_all_values_and_fits_them_is_named() -> None:
    """Steps of 0.6 V taken for 0.1 V: 0.2, 0.3 and 0.6 V divide them, and what is contradicted decides."""
    pairs = [("3.05", "3.0"), ("3.55", "3.0"), ("3.65", "3.6"), ("4.15", "3.6")]
    fitted = fit.fit_readings(read(*pairs), device())
    assert not fitted.consistent
    assert analysis._doubts_of_step(fitted) == (0.6, None)
    two = fit.fit_readings(read(("3.02", "3.0"), ("3.18", "3.0"), ("3.22", "3.2"), ("3.38", "3.2")), device())
    assert analysis._doubts_of_step(two)[0] == 0.2


def test_a_summary_speaks_of_doubt_where_rows_contradict_each_other_and_nowhere_else(tmp_path: Path) -> None:
    more = {"readout_resolution_V": 0.1, "readout_gain_bound_percent": 0}
    rows = ["3.62,3.6", "3.66,3.7", "3.71,3.7", "3.79,3.8", "3.91,3.9"]
    clean = readout.summary(readout.analyse(written(tmp_path, *rows, **more), tmp_path)).sentences
    doubtful = readout.summary(
        readout.analyse(written(tmp_path, *rows, "4.02,4.3", **more), tmp_path)
    ).sentences
    assert (len(clean), len(doubtful)) == (4, 5)
    assert not any("Row 7" in one for one in clean)
    assert "Row 7" in doubtful[2]


def test_a_claim_of_no_error_at_all_is_not_kept(tmp_path: Path) -> None:
    claims = [{"about": "readout.largest_error", "at_most": "0 V"}]
    more = {"readout_resolution_V": 0.1, "claims": claims}
    result = readout.analyse(written(tmp_path, "3.62,3.6", "3.66,3.7", **more), tmp_path)
    found = readout.findings(result)["readout.largest_error"]
    assert (found.limit.high, found.verdict) == (0.0, "fail")


def test_steps_and_transitions_of_a_whole_table(tmp_path: Path) -> None:
    rows = ["3.62,3.6", "3.66,3.7", "3.78,3.8", "3.91,3.9", "3.98,4.0"]
    result = readout.analyse(written(tmp_path, *rows), tmp_path)
    assert result.finer_step_V is None
    assert not result.step_declared
    assert result.fit is not None
    assert result.bound_V == F("0.025")
    assert [one.lower_V for one in result.transitions] == pytest.approx([3.5, 3.6, 3.7, 3.8, 3.9, 4.0])
    first, second = result.transitions[:2]
    assert (first.upper_V, first.read_low_V, first.read_high_V) == (pytest.approx(3.6), None, None)
    half = 0.0005 * 3.62 + 0.003
    assert second.read_low_V == pytest.approx(3.62 - half)
    assert second.read_high_V == pytest.approx(3.66 + 0.0005 * 3.66 + 0.003)
    level = result.fit.transition
    assert 3.6 + float(level.low) - 1e-9 <= second.low_V <= second.high_V <= 3.6 + float(level.high) + 1e-9
    coarse = readout.analyse(written(tmp_path, "3.62,3.60", "3.82,3.80", "4.02,4.05"), tmp_path)
    assert coarse.finer_step_V == 0.01
    declared = readout.analyse(written(tmp_path, *rows, readout_resolution_V=0.1), tmp_path)
    assert declared.finer_step_V is None
    assert declared.fit is not None
    assert declared.fit.model.gain_bound == F("0.04")
    given = readout.analyse(
        written(tmp_path, *rows, readout_offset_bound_V=0.01, readout_resolution_V=0.1), tmp_path
    )
    assert given.bound_V == F("0.01")


# ------------------------------------------------------------------ findings


@pytest.mark.parametrize(
    ("probability", "text"),
    [(0.9991, "more than 99.9"), (0.9989, "99.9"), (0.0009, "less than 0.1"), (0.0011, "0.1"), (0.5, "50.0")],
)
def test_a_probability_is_told_to_a_tenth_of_a_percent(probability: float, text: str) -> None:
    assert report._percent(probability).rstrip("%\u2009\u202f") == text


@pytest.mark.parametrize(
    ("count", "limit", "probability", "verdict"),
    [
        (12, 0.2, 0.99, "pass"),
        (12, 0.06, 0.99, "inconclusive"),
        (12, 0.01, 0.01, "fail"),
        (12, 0.06, 0.01, "inconclusive"),
        (7, 0.2, 0.99, "inconclusive"),
        (8, 0.2, 0.99, "pass"),
        (12, 0.06, 0.5, "inconclusive"),
    ],
)
def test_a_claim_is_kept_or_not_where_both_views_say_so_and_one_in_eight_at_most_is_doubted(
    count: int, limit: float, probability: float, verdict: str
) -> None:
    good = [(f"{3.02 + 0.1 * number:.2f}", f"{3.0 + 0.1 * number:.1f}") for number in range(count - 1)]
    found = fit.fit_readings(read(*good, ("3.05", "3.6")), device())
    assert len(found.ways[0]) == 1
    low, _, high = found.maximum_error
    assert low < 0.06 < high
    assert report._verdict(Limit(high=limit, source="x"), probability, found) == verdict


def test_a_budget_parts_the_readings_from_the_references_shared_error(tmp_path: Path) -> None:
    result = readout.analyse(
        written(
            tmp_path,
            "3.62,3.6",
            "3.66,3.7",
            readout_resolution_V=0.1,
            claims=[{"about": "readout.largest_error", "at_most": "60 mV"}],
        ),
        tmp_path,
    )
    fitted, found = result.fit, readout.findings(result)
    assert fitted is not None
    level = found["readout.switching_place"]
    readings, shared = level.budget
    assert shared.size == pytest.approx(0.0005 * 3.6 + 0.0025)
    assert readings.size == pytest.approx(float(fitted.transition.width) / 2 - shared.size)
    assert (readings.sensitivity, readings.distribution) == (1.0, "rectangular")
    for rule in ("nearest", "down", "up"):
        assert found[f"readout.offset_if_{rule}"].budget[0].sensitivity == -1.0
    low, mean, high = fitted.maximum_error
    largest, mendable = found["readout.largest_error"], found["readout.mendable_error"]
    assert (largest.value, largest.low, largest.high) == (mean, low, high)
    assert mendable.value == pytest.approx(mean - 0.05)
    assert (mendable.low, mendable.high) == (pytest.approx(max(0.0, low - 0.05)), pytest.approx(high - 0.05))
    assert found["readout.quantisation_error"].value == 0.05
    assert largest.limit is not None
    assert found["readout.gain"].limit is None
    # A level below the middle of the step makes the error grow as it falls.
    middle = float(fitted.transition.middle)
    assert largest.budget[0].sensitivity == (1.0 if middle >= 0.05 else -1.0)
    low_level = readout.analyse(
        written(tmp_path, "3.601,3.6", "3.63,3.7", readout_resolution_V=0.1), tmp_path
    )
    assert readout.findings(low_level)["readout.largest_error"].budget[0].sensitivity == -1.0
    high_level = readout.analyse(
        written(tmp_path, "3.67,3.6", "3.699,3.7", readout_resolution_V=0.1), tmp_path
    )
    assert readout.findings(high_level)["readout.largest_error"].budget[0].sensitivity == 1.0


@pytest.mark.parametrize(("width_mV", "decimals"), [(50, 2), (30, 2), (16, 3), (3, 3), (0.01, 3)])
def test_an_offset_in_a_sentence_has_two_or_three_decimals(
    width_mV: float, decimals: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: dict[str, Any] = {}
    exact = {"accuracy": "±0.0001 %", "resolution": "1 uV", "full_scale": "6 V"}
    rows = ("3.65,3.6", f"{3.65 + width_mV / 1000:.6f},3.7")
    result = readout.analyse(
        written(tmp_path, *rows, readout_resolution_V=0.1, voltmeter=exact, readout_gain_bound_percent=0),
        tmp_path,
    )
    monkeypatch.setattr(report, "say", lambda name, **values: told.update(values) or name)
    assert result.fit is not None
    report._rule(result, result.fit)
    assert told["decimals"] == decimals


def test_marks_findings_have_a_lower_and_a_higher_end() -> None:
    one = analysis.Bracket("low", 3.2, None)
    low, high = report._brackets("warning", [one], ("a.csv",))
    assert (low.key, low.value, low.low, low.high) == ("readout.warning.low.low", 3.2, 3.2, None)
    assert (high.key, high.verdict) == ("readout.warning.low.high", "not tested")
    other = report._brackets("threshold", [analysis.Bracket("x", None, 3.4)], ())[1]
    assert (other.value, other.low, other.high) == (3.4, None, 3.4)
    assert report.bracket(one, "warning").startswith("“low” shows ")
    both = replace(one, high_V=3.3)
    assert "hysteresis" not in report.bracket(both, "warning")
    assert "hysteresis" in report.bracket(replace(both, overlap_V=0.01), "warning")
    assert report.bracket(one, "threshold").startswith("“low” has a threshold")


def test_what_was_taken_of_the_gain_is_told_in_percent(monkeypatch: pytest.MonkeyPatch) -> None:
    told: dict[str, Any] = {}
    monkeypatch.setattr(report, "say", lambda name, **values: told.update(values) or name)
    many = [(f"{cell / 1000:.3f}", f"{cell // 100 / 10:.1f}") for cell in range(3001, 4200, 37)]
    report._gain_taken(fit.fit_readings(read(*many), device(bound="0.01")))
    assert (told["bound"], told["widened"], told["reached"]) == (1.0, 4.0, False)
    report._gain_taken(fit.fit_readings(read(("3.62", "3.6"), ("3.66", "3.7")), device(bound="0.01")))
    assert told["reached"]
    report._gain_taken(fit.fit_readings(read(("3.62", "3.6"), ("3.66", "3.7")), device(bound="0.04")))
    assert (told["bound"], told["widened"]) == (4.0, 8.0)


def test_more_explanations_than_six_are_counted(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    told: dict[str, Any] = {}
    rows = ["3.62,3.6", "3.67,3.6", "3.63,3.7", "3.91,3.9"]
    result = readout.analyse(
        written(tmp_path, *rows, readout_resolution_V=0.1, readout_gain_bound_percent=0), tmp_path
    )
    assert result.fit is not None
    monkeypatch.setattr(report, "say", lambda name, **values: told.update(values) or name)
    ways = tuple((row,) for row in (2, 3, 4, 5)) * 2
    crowd = replace(
        result.fit,
        explanations=posterior.Explanations(
            tuple(posterior.Explanation(way, result.fit.regions[0]) for way in ways)
        ),
    )
    report._doubt(result, crowd)
    assert (told["more"], len(told["ways"])) == (2, 6)
    report._doubt(result, result.fit)
    assert told["more"] == 0


def test_a_meter_of_the_bench_is_one() -> None:
    assert isinstance(meter(METER, "V"), Meter)
