"""Medians, lines, amounts, voltages and the cell's circuit: by hand, numpy and scipy, on small logs."""

from __future__ import annotations

import importlib
import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

from reviewkit.charge import cell_model, delivered, record, statistics, voltages
from reviewkit.charge.cell_model import CellModel, Limits, State
from reviewkit.charge.profile import Block
from reviewkit.charge.regimes import Phase
from reviewkit.errors import Faults
from reviewkit.logs.log import Gap
from reviewkit.metrology import Component, Measured
from reviewkit.metrology.meter import meter
from reviewkit.schema.blocks import Cell

given = importlib.import_module("reviewkit.charge.inputs")
AMMETER = meter({"name": "A", "accuracy": "±(1 % + 3)", "resolution": "1 mA"}, "A")
UNSTATED = meter({"name": "A", "accuracy": "±1 %", "resolution": "1 mA"}, "A")
VOLTMETER = meter({"name": "V", "accuracy": "±(0.05 % + 2)", "resolution": "1 mV"}, "V")


# ------------------------------------------------------------------ statistics


def test_a_reading_stands_half_way_to_its_neighbours_and_for_no_gap() -> None:
    assert statistics.weights(np.array([0.0, 1.0, 3.0, 4.0])) == pytest.approx([1.0, 1.5, 1.5, 1.0])
    time = np.array([0.0, 1, 2, 3, 4, 5, 6, 7, 50, 51, 52])
    # A gap counts as two and a half intervals.
    assert statistics.weights(time)[7:9] == pytest.approx([1.75, 1.75])
    assert statistics.weights(np.array([3.0])).tolist() == [1.0]


@pytest.mark.parametrize(
    ("values", "weight", "median"),
    [
        ([1.0, 2.0, 3.0], [1, 1, 1], 2.0),
        ([1.0, 2.0], [1, 3], 2 + (0.25 / 0.75 - 0.5)),
        ([5.0, 5.0], [1, 2], 5.0),
        ([1.0, 2.0, 2.0, 3.0], [1, 1, 1, 2], 2 + (0.3 / 0.4 - 0.5)),
        ([1.0, 2.0], [1, 1], 1.5),
        # numpy.median of the readings: halfway between those in the middle.
        ([1.0, 5.0], [1, 1], 3.0),
        ([1.0, 2.0, 7.0, 7.0], [1, 1, 1, 1], 4.5),
        ([1.02, 0.98, 2.0], [1, 3, 1], 0.99 + (0.5 / 0.8 - 0.5)),
    ],
)
def test_a_median_of_grouped_readings_lies_within_its_step_where_half_of_the_time_does(
    values: list[float], weight: list[float], median: float
) -> None:
    found = statistics.weighted_median(np.array(values), np.array(weight, dtype=float), 1.0)
    assert found == pytest.approx(median)


def test_a_line_is_that_of_least_squares_with_its_standard_error() -> None:
    """scipy's linregress; a value's standard error by numpy's covariance."""
    time = np.array([0.0, 1, 2, 4, 7, 9])
    values = np.array([1.0, 1.1, 1.3, 1.2, 1.6, 1.9])
    found = statistics.line(time, values)
    fit = stats.linregress(time, values)
    assert (found.slope, found.at(0.0)) == pytest.approx((fit.slope, fit.intercept))
    left = values - fit.intercept - fit.slope * time
    assert found.residual == pytest.approx(np.sqrt((left**2).sum() / 4))
    _, covariance = np.polyfit(time, values, 1, cov=True)
    there = np.array([12.0, 1.0])
    assert found.standard_at(12.0, 0.0) == pytest.approx(np.sqrt(there @ covariance @ there))
    assert found.standard_at(found.centre_s, 9.0) == pytest.approx(9.0 / np.sqrt(6))
    assert (found.dof, found.thin, found.rows) == (4.0, 1.0, 6)
    weight = np.array([1.0, 2, 1, 3, 1, 1])
    heavy = statistics.line(time, values, weight)
    expected = np.polyfit(time, values, 1, w=np.sqrt(weight))
    assert (heavy.slope, heavy.at(0.0)) == pytest.approx(tuple(expected))
    level = statistics.line(np.zeros(4), np.array([1.0, 2, 3, 4]))
    assert (level.slope, level.middle) == (0.0, 2.5)
    assert level.standard_at(5.0, 0.0) == pytest.approx(level.residual / 2)


@pytest.mark.parametrize(("rows", "thinned"), [(20, False), (21, True)])
def test_repeats_among_more_than_twenty_readings_count_as_fewer(rows: int, thinned: bool) -> None:
    values = np.repeat([0.0, 1.0, 0.0, 1.0, 0.0, 1.0], 5)[:rows]
    found = statistics.line(np.arange(float(rows)), values)
    assert (found.thin > 1) == thinned
    assert found.thin <= rows / 3
    assert found.dof == pytest.approx(max(1.0, rows / found.thin - 2))


def test_what_arithmetic_leaves_of_equal_readings_is_no_scatter() -> None:
    time = np.arange(30.0)
    assert statistics.line(time, 1.0 + 5e-13 * (-1) ** time).residual == 0.0
    assert statistics.line(time, 1.0 + 2e-12 * (-1) ** time).residual > 0.0
    assert statistics.line(np.arange(2.0), np.array([1.0, 2.0])).residual == 0.0


def test_a_medians_scatter_is_the_means_times_the_root_of_half_pi() -> None:
    """Normal readings (Laplace); only those within 3 % of the median, or three steps, are its own."""
    draw = np.random.default_rng(11)
    values = draw.normal(1.0, 0.005, 500)
    time = np.arange(500.0)
    part, *more = statistics.scatter("x", time, values, AMMETER, median=1.0)
    fitted = statistics.line(time, values)
    assert part.size == pytest.approx(math.sqrt(math.pi / 2) * fitted.residual * math.sqrt(fitted.thin / 500))
    assert part.dof == fitted.dof
    assert more == []
    for off, own in ((0.029, 501), (0.031, 500)):
        beside = statistics.scatter("x", np.arange(501.0), np.append(values, 1 - off), AMMETER, median=1.0)[0]
        whole = statistics.line(np.arange(501.0)[:own], np.append(values, 1 - off)[:own])
        assert beside.size == pytest.approx(
            math.sqrt(math.pi / 2) * whole.residual * math.sqrt(whole.thin / own)
        )
    near = statistics.scatter(
        "x", np.arange(5.0), np.array([0.0, 0.0029, 0.0, 0.0029, 0.0031]), AMMETER, median=0.0
    )[0]
    four = statistics.line(np.arange(4.0), np.array([0.0, 0.0029, 0.0, 0.0029]))
    assert near.size == pytest.approx(math.sqrt(math.pi / 2) * four.residual / 2)
    step = statistics.scatter("x", np.arange(4.0), np.ones(4), UNSTATED, median=1.0)
    assert [(one.size, one.distribution) for one in step] == [(0.0005, "rectangular")]
    # Fewer than three beside it: all count.
    all_of_them = statistics.scatter(
        "x", np.arange(4.0), np.array([1.0, 1.0, 2.0, 2.0]), AMMETER, median=1.0
    )[0]
    assert all_of_them.size > 0.1


def test_a_gap_is_carried_on_a_line_and_hides_half_of_what_its_ends_make_of_the_median() -> None:
    """30 s at 1 A, 60 s of gap, 30 s at 2 A: the middle of the line, and 1 or 2 A if all of it was."""
    time = np.concatenate((np.arange(30.0), 90 + np.arange(30.0)))
    values = np.repeat([1.0, 2.0], 30)
    value, hidden = statistics.across_gaps(time, values, (Gap(29.0, 90.0),), 1.0, 0.001)
    assert value == pytest.approx(1.5, abs=0.02)
    assert hidden == pytest.approx(0.5, abs=0.002)
    assert statistics.across_gaps(time, values, (), 1.0, 0.001)[1] == 0.0
    assert statistics.across_gaps(time, values, (Gap(200.0, 300.0), Gap(-50.0, -9.0)), 1.0, 0.001)[1] == 0.0
    # Medians of five readings are the ends: one odd reading beside the gap is none.
    values[29], values[30] = 9.0, 0.0
    assert statistics.across_gaps(time, values, (Gap(29.0, 90.0),), 1.0, 0.001)[0] == pytest.approx(
        1.5, abs=0.02
    )


# ------------------------------------------------------------------ rows of a record


@pytest.mark.parametrize(("longest", "gaps"), [(2.4, 0), (2.6, 1)])
def test_a_gap_is_two_and_a_half_usual_intervals(longest: float, gaps: int) -> None:
    time = np.concatenate((np.arange(10.0), 9 + longest + np.arange(10.0)))
    found = record.gaps_in(time, 1.0)
    assert [(gap.start_s, gap.length_s) for gap in found] == [(9.0, pytest.approx(longest))] * gaps
    assert record.gaps_in(time, 0.0) == ()


def test_what_is_usual_is_so_where_an_interval_lies() -> None:
    """Seven intervals about each: a log that goes from 1 s to 10 s has no gap there."""
    time = np.concatenate((np.arange(20.0), 19 + 10 * np.arange(1.0, 21.0)))
    local = record.local_intervals(time, 1.0)
    assert local.tolist() == [1.0] * 19 + [10.0] * 20
    assert record.gaps_in(time, 1.0) == ()
    assert record.local_intervals(np.arange(5.0), 1.0).tolist() == [1.0] * 4
    burst = np.cumsum([0.0] + [1.0] * 9 + [10.0] * 3 + [1.0] * 9)
    assert record.local_intervals(burst, 1.0).max() == 1.0
    # Four of seven are usual, four of more are not.
    longer = np.cumsum([0.0] + [1.0] * 19 + [10.0] * 4 + [1.0] * 19)
    assert record.local_intervals(longer, 1.0).max() == 10.0
    assert record.usual_interval(np.array([0.0, 0.0, 2.0, 4.0])) == 2.0
    assert record.usual_interval(np.array([0.0])) == 0.0


def test_noise_is_the_root_mean_square_of_trimmed_differences() -> None:
    draw = np.random.default_rng(12)
    values = 1.0 + draw.normal(0, 0.01, 20_000)
    steps = np.abs(np.diff(values))
    limit = np.quantile(steps, 0.95)
    assert record.noise_of(values, 0.001) == pytest.approx(
        np.sqrt(np.mean(np.minimum(steps, limit) ** 2) / 2)
    )
    assert record.noise_of(np.ones(9), 0.012) == pytest.approx(0.012 / np.sqrt(12))
    assert record.noise_of(np.array([1.0, 5.0]), 0.012) == pytest.approx(0.012 / np.sqrt(12))
    # A current that is switched all the time: its switchings are no noise, what is left of them is.
    switched = np.where(np.arange(2000) // 5 % 2, 1.0, 0.0) + draw.normal(0, 0.002, 2000)
    assert record.noise_of(switched, 0.0001) == pytest.approx(0.002, rel=0.15)
    seldom = np.where(np.arange(2000) // 200 % 2, 1.0, 0.0) + draw.normal(0, 0.002, 2000)
    assert record.noise_of(seldom, 0.0001) == pytest.approx(0.002, rel=0.15)


# ------------------------------------------------------------------ amounts


def a_record(
    current: Any, volts: Any = 4.0, *, every_s: float = 10.0, gaps: tuple[Gap, ...] = (), **more: Any
) -> Any:
    current = np.asarray(current, dtype=float)
    time = every_s * np.arange(len(current))
    voltage = np.broadcast_to(np.asarray(volts, dtype=float), len(current)).copy()
    made = {
        "time_s": time,
        "current": current,
        "voltage": voltage,
        "voltage_V": pd.Series(voltage, time),
        "noise_V": 5e-4,
        "interval_s": every_s,
        "voltage_interval_s": every_s,
        "ammeter": AMMETER,
        "voltmeter": VOLTMETER,
        "gaps": gaps,
        "voltage_gaps": (),
        "clock_offset": None,
        "clock_is_declared": False,
        "clock_components": tuple,
        "noise_A": 1e-3,
        "cable_out_s": None,
    }
    return SimpleNamespace(**(made | more))


def phases_of(
    first: int, last: int, *, every_s: float = 10.0, edges: int = 0, resolved: bool = True, **more: Any
) -> Any:
    block = Block(first, last, first * every_s, last * every_s, (first - 1) * every_s, (last + 1) * every_s)
    count = last + 50
    made = {
        "main": (block,),
        "top_ups": (),
        "first_sample_s": block.first_s,
        "end_s": (last + 0.5) * every_s,
        "start": Measured(
            (first - 0.5) * every_s, "s", (Component("start", every_s / 2, "s", "rectangular"),)
        ),
        "end": Measured((last + 0.5) * every_s, "s"),
        "knee": None,
        "knee_at_start": False,
        "plateau_A": 1.0,
        "threshold_A": 0.01,
        "ending": "terminated",
        "pulsed": False,
        "other_knees": (),
        "set_V": 4.2,
        "profile": SimpleNamespace(
            edges=edges,
            resolved=resolved,
            pulsing=np.zeros(count, dtype=bool),
            on=np.ones(count, dtype=bool),
            time_s=every_s * np.arange(count),
        ),
        "named": lambda name: (),
    }
    return SimpleNamespace(**(made | more))


RAMP = np.concatenate((np.zeros(3), np.linspace(1.0, 0.2, 100), np.zeros(5)))


def test_charge_and_energy_are_those_of_the_trapezoidal_rule() -> None:
    """scipy's trapezoid, from the row before the start to the one after the end, which counts as none."""
    current = RAMP.copy()
    current[103] = 0.05
    volts = np.linspace(3.6, 4.2, 108)
    one = a_record(current, volts)
    found = delivered.integrate(one, phases_of(3, 102))
    current[103] = 0.0
    rows = slice(2, 104)
    assert found.time_s.tolist() == one.time_s[rows].tolist()
    assert found.total_Ah == pytest.approx(integrate.trapezoid(current[rows], one.time_s[rows]) / 3600)
    assert found.energy_Wh[-1] == pytest.approx(
        integrate.trapezoid((current * volts)[rows], one.time_s[rows]) / 3600
    )
    assert found.at(500.0) == pytest.approx(integrate.trapezoid(current[2:51], one.time_s[2:51]) / 3600)
    assert found.when(found.at(500.0)) == pytest.approx(500.0)
    assert found.stop_A == pytest.approx(np.median(current[97:102]))
    short = delivered.integrate(a_record(current[:8]), phases_of(3, 5))
    assert short.stop_A == pytest.approx(current[5])
    spans = (Phase("constant current", 100.0, 300.0), Phase("constant current", 400.0, 450.0))
    named = delivered.integrate(one, phases_of(3, 102, named=lambda name: spans))
    whole = found.at(300.0) - found.at(100.0) + found.at(450.0) - found.at(400.0)
    assert named.of_phase("constant current") == pytest.approx(whole)
    # A log that ends while it charges has no row after the end.
    open_end = delivered.integrate(a_record(RAMP[:103]), phases_of(3, 102))
    assert open_end.current_A[-1] == RAMP[102]


def test_the_voltage_is_carried_on_at_the_ends_of_its_log() -> None:
    assert delivered._filled(np.array([np.nan, 4.0, np.nan, 4.2, np.nan])).tolist() == pytest.approx(
        [4.0, 4.0, 4.1, 4.2, 4.2]
    )
    assert np.isnan(delivered._filled(np.full(3, np.nan))).all()
    half = np.where(np.arange(108) < 53, 4.0, np.nan)
    assert delivered.covered(a_record(RAMP, half), phases_of(3, 102)) == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("volts", "hidden_Ah"),
    [(4.0, 0.15), (np.nan, 0.8), ("jump", 0.8), ("step", 0.15)],
)
def test_a_gap_hides_half_of_the_change_where_the_voltage_stands_and_else_all_of_the_larger_end(
    volts: Any, hidden_Ah: float
) -> None:
    """An hour's gap from 0.8 A to 0.5 A; a voltage that stands lies within 4 mV of a straight line."""
    time = np.array([0.0, 10.0, 3610.0, 3620.0])
    shown_s = 10.0 * np.arange(363)
    shown = np.full(363, 4.0) if isinstance(volts, str) else np.full(363, volts)
    if isinstance(volts, str):
        shown[100] += 0.0041 if volts == "jump" else 0.0039
    keep = np.isfinite(shown)
    one = SimpleNamespace(
        time_s=time,
        current=np.array([0.8, 0.8, 0.5, 0.5]),
        voltage_interval_s=10.0,
        voltage_V=pd.Series(shown[keep], shown_s[keep]),
        voltmeter=VOLTMETER,
    )
    assert delivered.hidden(one, Gap(10.0, 3610.0)) == pytest.approx(hidden_Ah)
    coarse = SimpleNamespace(**(vars(one) | {"voltmeter": SimpleNamespace(resolution=0.002)}))
    assert delivered.hidden(coarse, Gap(10.0, 3610.0)) == pytest.approx(
        0.8 if isinstance(volts, float) and np.isnan(volts) else 0.15
    )
    # In pulses the highest current within a minute and a half of it.
    assert delivered.hidden(one, Gap(10.0, 3610.0), pulsing=True) == pytest.approx(0.8)
    holed = SimpleNamespace(
        **(vars(one) | {"voltage_V": pd.Series(np.full(4, 4.0), [0.0, 10.0, 36.0, 3610.0])})
    )
    assert delivered.hidden(holed, Gap(10.0, 3610.0)) == pytest.approx(0.8)


@pytest.mark.parametrize(("step", "stands"), [(24.0, True), (26.0, False)])
def test_a_voltage_log_runs_through_a_gap_without_a_gap_of_its_own(step: float, stands: bool) -> None:
    shown_s = np.concatenate((10.0 * np.arange(20), 190 + step + 10.0 * np.arange(20)))
    one = SimpleNamespace(
        voltage_V=pd.Series(np.full(40, 4.0), shown_s), voltage_interval_s=10.0, voltmeter=VOLTMETER
    )
    assert delivered._voltage_stands(one, Gap(50.0, 350.0)) == stands
    assert delivered._voltage_stands(one, Gap(50.0, 55.0))
    assert not delivered._voltage_stands(one, Gap(-500.0, -490.0))


def test_an_amounts_budget_has_accuracy_edges_gaps_and_switchings() -> None:
    one = a_record(RAMP)
    found = delivered.integrate(one, phases_of(3, 102, edges=8))
    charge = delivered.charge(found)
    accuracy, start, end, switched = charge.components
    hours = 1000.0 / 3600
    assert (accuracy.size, accuracy.sensitivity) == (
        pytest.approx(0.01 * found.total_Ah / hours + 0.003),
        pytest.approx(hours),
    )
    assert start.size == pytest.approx(10 / 2 * np.median(RAMP[3:8]) / 3600)
    assert end.size == pytest.approx(10 / 2 * found.stop_A / 3600)
    # Each hides half a row of the plateau; scattered they add as roots, in step with the rows as they are.
    assert switched.size == pytest.approx(math.sqrt(8) * 10 / 2 / 3600)
    in_step = delivered.integrate(one, phases_of(3, 102, edges=8, resolved=False))
    assert delivered.charge(in_step).components[-1].size == pytest.approx(8 * 10 / 2 / 3600)
    energy = delivered.energy(found)
    amps, volts, *rest = energy.components
    assert energy.value == pytest.approx(4.0 * found.total_Ah)
    assert amps.sensitivity == pytest.approx(hours * 4.0)
    assert amps.size == pytest.approx(0.01 * found.total_Ah / hours + 0.003)
    assert (volts.size, volts.sensitivity) == (
        pytest.approx(0.0005 * 4 + 0.002),
        pytest.approx(found.total_Ah),
    )
    assert [part.sensitivity for part in rest] == pytest.approx([4.0] * 3)


@pytest.mark.parametrize("count", [1, 2])
def test_gaps_are_rectangular_alone_and_normal_together(count: int) -> None:
    gaps = (Gap(100.0, 200.0), Gap(400.0, 500.0))[:count]
    one = a_record(
        RAMP, np.nan, gaps=(*gaps, Gap(2000.0, 3000.0)), voltage_V=pd.Series([4.0, 4.0], [0.0, 1.0])
    )
    found = delivered.integrate(one, phases_of(3, 102))
    each = [delivered.hidden(one, gap) for gap in gaps]
    assert found.hidden_Ah == pytest.approx(math.sqrt(sum(value**2 / 3 for value in each)))
    part = delivered.charge(found).components[-1]
    assert part.name.startswith(f"{count} gap")
    assert ("gaps" in part.name) == (count == 2)
    assert f"{100 * count} s together" in part.name
    assert part.size == pytest.approx(found.hidden_Ah * (math.sqrt(3) if count == 1 else 1.0))


def test_the_share_before_the_knee_moves_with_the_knee_and_the_ammeters_counts() -> None:
    """d(share) = 100·I/Q per second, and an offset of all readings adds t/Q − q·T/Q² of its charge."""
    one = a_record(RAMP)
    found = delivered.integrate(
        one, phases_of(3, 102, knee=Measured(500.0, "s", (Component("knee", 0.0, "s"),)))
    )
    share = delivered.before_knee(found)
    assert share is not None
    total, so_far, current = found.total_Ah, found.at(500.0), np.interp(500.0, found.time_s, found.current_A)
    assert share.value == pytest.approx(100 * so_far / total)
    knee, counts = share.components
    assert knee.sensitivity == pytest.approx(100 * current / 3600 / total)
    hours, whole = (500.0 - 25.0) / 3600, 1000.0 / 3600
    assert (counts.size, counts.sensitivity) == (
        0.003,
        pytest.approx(100 * (hours / total - so_far * whole / total**2)),
    )
    wide = Measured(500.0, "s", (Component("knee", 100.0, "s"),))
    spread = delivered.before_knee(delivered.integrate(one, phases_of(3, 102, knee=wide)))
    assert spread is not None
    reach = wide.expanded
    larger = max(current, 3600 * (so_far - found.at(500 - reach)) / reach)
    assert spread.components[0].sensitivity == pytest.approx(100 * larger / 3600 / total)
    at_once = delivered.before_knee(
        delivered.integrate(one, phases_of(3, 102, knee=wide, knee_at_start=True))
    )
    assert at_once is not None
    assert (at_once.value, len(at_once.components)) == (0.0, 1)
    assert at_once.components[0].sensitivity == pytest.approx(100 / total)
    assert delivered.before_knee(delivered.integrate(one, phases_of(3, 102))) is None


def test_a_time_to_a_share_moves_with_start_and_counts() -> None:
    one = a_record(RAMP)
    found = delivered.integrate(one, phases_of(3, 102))
    time = delivered.time_to(found, 0.8)
    moment = found.when(0.8 * found.total_Ah)
    assert time.value == pytest.approx(moment - 25.0)
    start, counts = time.components
    assert (start.size, start.sensitivity) == (5.0, -1.0)
    current = np.interp(moment, found.time_s, found.current_A)
    assert counts.sensitivity == pytest.approx(3600 * (0.8 * 1000 / 3600 - (moment - 25) / 3600) / current)
    late = delivered.time_to(delivered.integrate(one, phases_of(3, 102, threshold_A=5.0)), 0.8)
    assert late.components[1].sensitivity == pytest.approx(counts.sensitivity * current / 5.0)


# ------------------------------------------------------------------ voltages


def test_a_start_voltage_is_the_median_of_the_minute_before_the_start() -> None:
    """Rows of 10 s: those from 60 s before the start up to half a row before it."""
    volts = np.concatenate((np.full(20, 3.0), np.full(5, 3.5), [3.9], np.full(82, 4.0)))
    one = a_record(np.zeros(108), volts)
    assert voltages.start(one, phases_of(26, 102)).value == pytest.approx(3.5)
    assert voltages.start(one, None).value == pytest.approx(3.0)
    declared = a_record(
        np.zeros(108),
        volts,
        clock_is_declared=True,
        clock_offset=Measured(0.0, "s", (Component("c", 12.0, "s"),)),
    )
    assert voltages.start(declared, phases_of(27, 102)).value == pytest.approx(3.5, abs=1e-3)


def test_a_knee_voltage_is_the_median_about_it_and_moves_with_it() -> None:
    """±30 s with rows of 10 s; 1 mV/s before it, by which its own doubt counts."""
    time = 10.0 * np.arange(108)
    volts = np.minimum(3.7 + 1e-3 * time, 4.2)
    knee = Measured(500.0, "s", (Component("knee", 7.0, "s"),))
    found = voltages.at_knee(a_record(np.ones(108), volts), phases_of(3, 102, knee=knee))
    assert found is not None
    assert found.value == pytest.approx(np.median(volts[47:54]), abs=1e-3)
    moved = next(part for part in found.components if part.name == "knee")
    before = slice(21, 52)
    assert moved.sensitivity == pytest.approx(abs(np.polyfit(time[before], volts[before], 1)[0]))
    assert voltages.at_knee(a_record(np.ones(108), volts), phases_of(3, 102)) is None


def test_between_two_readings_far_apart_a_knees_voltage_lies_between_both() -> None:
    one = a_record(np.ones(108), 4.0, voltage_V=pd.Series([3.6, 4.0, 4.2], [0.0, 400.0, 600.0]))
    found = voltages._between_rows(one, phases_of(3, 102), 500.0)
    assert found is not None
    assert (found.value, found.components[1].size) == (pytest.approx(4.1), pytest.approx(0.1))
    assert voltages._between_rows(one, phases_of(3, 102), 700.0) is None
    assert voltages._between_rows(one, phases_of(3, 102), 100.0) is None
    level = a_record(np.ones(108), 4.0, voltage_V=pd.Series([4.1, 4.1], [100.0, 600.0]))
    equal = voltages._between_rows(level, phases_of(3, 102), 500.0)
    assert equal is not None
    assert len(equal.components) == 1


@pytest.mark.parametrize(("rows", "peak"), [(2, 4.2), (3, 4.25)])
def test_a_peak_stands_for_three_rows_of_five(rows: int, peak: float) -> None:
    volts = np.full(108, 4.2)
    volts[50 : 50 + rows] = 4.25
    volts[0] = 9.0
    found = voltages.peak(a_record(RAMP, volts), phases_of(3, 102))
    assert found.value == pytest.approx(peak)
    assert found.components[1].size == 5e-4
    volts[90:] = 4.4
    assert voltages.peak(a_record(RAMP, volts, cable_out_s=800.0), phases_of(3, 102)).value == pytest.approx(
        peak
    )


def test_within_a_gap_the_voltage_may_have_gone_on_rising_up_to_the_limit() -> None:
    """0.1 mV/s for 300 s of gap: 30 mV, no more than up to the set voltage."""
    time = 10.0 * np.arange(60)
    volts = 4.0 + 1e-4 * time
    one = a_record(np.ones(60), volts, voltage_gaps=(Gap(590.0, 890.0),))
    hidden = voltages._peak_hidden(one, phases_of(3, 102), 4.059, 2000.0)
    assert hidden == pytest.approx(4.0 + 1e-4 * 890 - 4.059, abs=1e-9)
    assert voltages._peak_hidden(one, phases_of(3, 102, set_V=4.07), 4.059, 2000.0) == pytest.approx(0.011)
    assert voltages._peak_hidden(one, phases_of(3, 102), 4.059, 700.0) == pytest.approx(4.0 + 0.07 - 4.059)
    assert voltages._peak_hidden(one, phases_of(3, 102), 4.059, 500.0) == 0.0
    falling = a_record(np.ones(60), volts[::-1], voltage_gaps=(Gap(590.0, 890.0),))
    assert voltages._peak_hidden(falling, phases_of(3, 102), 4.059, 2000.0) == 0.0


@pytest.mark.parametrize(
    ("length_s", "found", "carried"),
    [(1100, True, False), (590, True, True), (151, True, True), (149, False, False)],
)
def test_a_settled_voltage_is_read_or_carried_on_from_a_quarter_of_the_time(
    length_s: int, found: bool, carried: bool
) -> None:
    """Ten minutes after the end at 1020 s; a relaxation with one time constant, by its closed form."""
    time = 1.0 * np.arange(1020 + length_s + 1)
    volts = np.where(time < 1020, 4.2, 4.1 + 0.1 * np.exp(-(time - 1020) / 60.0))
    one = a_record(np.ones(len(time)), volts, every_s=1.0)
    value, extrapolated = voltages.settled(one, phases_of(30, 1020, every_s=1.0), 10.0)
    assert ((value is not None), extrapolated) == (found, carried)
    if value is not None:
        assert value.value == pytest.approx(4.1 + 0.1 * math.exp(-10.0), abs=1e-3)
    assert voltages.settled(one, phases_of(30, 1020, every_s=1.0, ending="log ended"), 10.0) == (None, False)
    assert voltages.settled(one, phases_of(30, 1020, every_s=1.0, ending="never"), 10.0) == (None, False)


@pytest.mark.parametrize(("left", "carried"), [(2, False), (1, True)])
def test_two_readings_about_its_moment_are_a_settled_voltage(left: int, carried: bool) -> None:
    """Rows of 1 s for 1100 s after the end; about ten minutes after it all but so few are missing."""
    time = 1.0 * np.arange(2121)
    about = (np.abs(time - 1620) <= 30) & ~np.isin(time, [1610, 1630][:left])
    volts = pd.Series(np.full(2121, 4.1), time)[~about]
    one = a_record(np.ones(2121), 4.1, every_s=1.0, voltage_V=volts)
    assert voltages.settled(one, phases_of(30, 1020, every_s=1.0), 10.0)[1] == carried


def test_a_relaxation_is_a_sum_of_exponentials_of_positive_weight() -> None:
    time = np.arange(0.0, 300.0)
    volts = 4.0 + 0.05 * np.exp(-time / 20) + 0.03 * np.exp(-time / 200)
    assert voltages._relaxed(time, volts, [20.0, 60.0, 200.0], 600.0) == pytest.approx(
        4.0 + 0.03 * math.exp(-3), abs=1e-6
    )
    carried = voltages._extrapolated(a_record(np.ones(9)), time, volts, 600.0)
    assert carried.value == pytest.approx(4.0 + 0.03 * math.exp(-3), abs=2e-3)
    doubt = carried.components[1]
    left = abs(carried.value - volts[-15:].mean())
    assert doubt.size >= 0.5 * left - 1e-12
    averaged, means = statistics.averaged(np.arange(1500.0), 2 * np.arange(1500.0), 500)
    assert (len(averaged), averaged[0], means[0]) == (500, 1.0, 2.0)
    assert len(statistics.averaged(np.arange(999.0), np.arange(999.0), 500)[0]) == 999


# ------------------------------------------------------------------ the cell as a circuit

MODEL = CellModel(
    np.linspace(0.0, 2.0, 401),
    np.linspace(3.6, 4.1, 401),
    0.05,
    np.array([0.02, 0.03]),
    np.array([40.0, 400.0]),
    0.0,
)


def test_a_lag_of_first_order_has_its_closed_form() -> None:
    followed = cell_model._follow(np.ones(50), 5.0, 40.0)
    assert followed == pytest.approx(1 - np.exp(-5.0 * np.arange(50) / 40.0))
    assert MODEL.resistance == pytest.approx(0.1)
    twice = MODEL.scaled(2.0)
    assert (twice.ohmic, twice.charge_Ah[-1]) == (0.025, 4.0)
    assert twice.slow_ohm == pytest.approx([0.01, 0.015])


def test_a_charge_under_two_limits_ends_where_an_ode_solver_ends_it() -> None:
    """scipy's solve_ivp of the same circuit: knee, voltage and duration."""
    limits = Limits(1.0, 4.15, 0.1, 0.1)

    def open_V(charge: float) -> float:
        return 3.6 + 0.25 * charge

    def current(state: np.ndarray) -> float:
        resting = open_V(state[0]) + state[1] + state[2]
        return float(np.clip((limits.set_V - resting) / 0.15, 0.0, 1.0))

    def rates(time: float, state: np.ndarray) -> list[float]:
        amps = current(state)
        return [amps / 3600, (0.02 * amps - state[1]) / 40, (0.03 * amps - state[2]) / 400]

    def stopped(time: float, state: np.ndarray) -> float:
        return current(state) - 0.1

    stopped.terminal = True  # type: ignore[attr-defined]
    truth = integrate.solve_ivp(rates, (0, 20_000), [0.0, 0.0, 0.0], events=stopped, max_step=5.0, rtol=1e-7)
    found = cell_model.run(MODEL, State(0.0, 0.0, np.zeros(2)), limits, step_s=1.0)
    assert found.duration_s == pytest.approx(truth.t_events[0][0], abs=5.0)
    amps = np.array([current(state) for state in truth.y.T])
    assert found.knee_s == pytest.approx(truth.t[int(np.argmax(amps < 1.0))], abs=8.0)
    assert found.charge_Ah[-1] == pytest.approx(truth.y[0, -1], abs=2e-3)
    assert found.voltage_V[10] == pytest.approx(
        3.6 + 0.25 * 10 / 3600 + 0.02 * (1 - math.exp(-10 / 40)) + 0.03 * (1 - math.exp(-10 / 400)) + 0.05
    )
    never = cell_model.run(MODEL, State(0.0, 0.0, np.zeros(2)), limits, step_s=1.0, most_s=500.0)
    assert never.duration_s == never.time_s[-1]
    assert math.isnan(never.knee_s)


def test_a_stop_lies_on_the_line_between_two_steps() -> None:
    assert cell_model._crossing([(0.0, 0, 0.3, 0), (10.0, 0, 0.1, 0)], 0.15) == pytest.approx(7.5)
    assert cell_model._crossing([(0.0, 0, 0.1, 0), (10.0, 0, 0.1, 0)], 0.1) == 10.0
    assert cell_model._crossing([(3.0, 0, 0.1, 0)], 0.1) == 3.0


def test_readings_on_an_even_grid_are_averaged_and_filled() -> None:
    time = np.array([0.0, 1.0, 2.0, 3.0, 8.0, 9.0])
    centre, volts, amps, step = cell_model.resample(time, 2 * time, time)
    assert step == 1.0
    assert centre == pytest.approx(np.arange(10) + 0.5)
    assert amps[[0, 3, 8]] == pytest.approx([0.0, 3.0, 8.0])
    assert amps[5] == pytest.approx(5.0)
    assert volts == pytest.approx(2 * amps)
    long = np.arange(0.0, 8001.0)
    assert cell_model.resample(long, long, long)[3] == pytest.approx(2.0)
    assert len(cell_model.resample(long, long, long)[0]) == 4001


def test_a_circuit_is_found_again_from_its_own_charge() -> None:
    """Simulated with the circuit itself, read without noise."""
    limits = Limits(1.0, 4.15, 0.1, 0.1)
    run = cell_model.run(MODEL, State(0.0, 0.0, np.zeros(2)), limits, step_s=5.0)
    rest_s = run.time_s[-1] + 5 * np.arange(1.0, 400.0)
    slow = np.array([0.02, 0.03]) * 0.1
    rest_V = (
        3.6
        + 0.25 * run.charge_Ah[-1]
        + (slow * np.exp(-np.subtract.outer(rest_s, [run.time_s[-1]]) / [40.0, 400.0])).sum(axis=1)
    )
    found = cell_model.fit(
        np.append(run.time_s, rest_s),
        np.append(run.voltage_V, rest_V),
        np.append(run.current_A, np.zeros(399)),
    )
    assert found.residual_V < 2e-3
    assert found.resistance == pytest.approx(0.1, abs=0.02)
    assert len(found.charge_Ah) == 400
    inner = slice(40, 360)
    assert found.open_circuit_V[inner] == pytest.approx(3.6 + 0.25 * found.charge_Ah[inner], abs=0.02)
    coarse = cell_model.fit(run.time_s[::8], run.voltage_V[::8], run.current_A[::8])
    # A lag of less than one and a half rows is none that they show.
    assert coarse.time_constants_s.tolist() == [80.0, 400.0, 2000.0]


def test_where_a_measured_charge_stood_is_its_charge_and_its_memory() -> None:
    time, amps = 5.0 * np.arange(200), np.ones(200)
    state = cell_model.state_at(MODEL, time, amps, 500.0)
    assert state.charge_Ah == pytest.approx(505 / 3600)
    assert state.slow_V == pytest.approx(
        [0.02 * (1 - math.exp(-500 / 40)), 0.03 * (1 - math.exp(-500 / 400))]
    )
    assert cell_model.state_at(MODEL, time, amps, 14.0).charge_Ah == 0.0
    assert cell_model.state_at(MODEL, time, amps, 15.0).charge_Ah > 0.0


def test_beyond_what_was_measured_a_curve_goes_on_along_its_last_slope() -> None:
    for charge, volts in ((0.0, 3.6), (1.0, 3.85), (2.0, 4.1), (2.4, 4.2), (-1.0, 3.6)):
        circuit = cell_model.Circuit(MODEL, State(0.0, charge, np.zeros(2)), 5.0)
        assert circuit.resting_V() == pytest.approx(volts)


# ------------------------------------------------------------------ inputs


@pytest.mark.parametrize(
    ("cell", "low", "high"),
    [
        (Cell(), None, None),
        (Cell(rated_capacity_Ah=3.0), 0.06, 0.3),
        (Cell(rated_capacity_Ah=3.0, max_termination_A=0.05), None, 0.05),
        (Cell(rated_capacity_Ah=3.0, max_termination_A=0.1), 0.06, 0.1),
        (Cell(rated_capacity_Ah=3.0, min_termination_A=0.1), 0.1, 0.3),
        (Cell(rated_capacity_Ah=3.0, min_termination_A=0.2), 0.2, 0.3),
        (Cell(rated_capacity_Ah=3.0, min_termination_A=0.4), 0.4, None),
    ],
)
def test_a_charge_ends_between_c_50_and_c_10_where_nothing_else_is_declared(
    cell: Cell, low: float | None, high: float | None
) -> None:
    """Common practice, no source."""
    found = given.termination_limit(cell)
    if low is None and high is None:
        assert found is None
    else:
        assert found is not None
        assert (found.low, found.high) == (
            low if low is None else pytest.approx(low),
            high if high is None else pytest.approx(high),
        )


def test_a_readers_capacities_go_from_1_5_to_5_ampere_hours() -> None:
    assert given.ChargeInputs().reader_capacities_Ah == (1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0)
    assert given.TRICKLE_SHARE == 1e-3
    assert given.COLD_START_V == 2.5


@pytest.mark.parametrize(
    "name", ["source_limit_A", "cable_out_s", "voltage_full_scale_V", "current_full_scale_A"]
)
def test_sizes_of_a_run_are_above_zero(name: str) -> None:
    run = {"source": "x", "voltage": "a.csv", "current": "a.csv"}
    for value, good in ((0.5, True), (0, name == "cable_out_s"), (-1, False)):
        if good:
            assert given.inputs(charge_runs=[{**run, name: value}])
        else:
            with pytest.raises(Faults):
                given.inputs(charge_runs=[{**run, name: value}])


def test_limits_of_source_precharge_and_a_full_cell_are_those_of_their_standards() -> None:
    """USB 2.0, USB 3.x, Battery Charging 1.2 and USB Type-C (IEC 63002 4.4 lists them); C/10, C/1000."""
    amps = {kind: most for kind, (most, _) in given.SOURCE_LIMITS_A.items()}
    assert amps == {
        "usb 2.0 before configuration": 0.1,
        "usb 2.0": 0.5,
        "usb 3": 0.9,
        "usb charging port": 1.5,
        "type-c 1.5 A": 1.5,
        "type-c 3 A": 3.0,
    }
    assert given.precharge_limit(3.0).high == pytest.approx(0.3)
    assert given.precharge_limit(None) is None
    full = given.afterwards_limit(None, 2.0)
    assert (full.low, full.high) == (pytest.approx(-0.002), pytest.approx(0.002))
