"""Plans of a bench session against physics, closed forms, and what the sections themselves ask for."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pybamm_charges
import pytest
from published_values import published

from reviewkit import bench_day, figures, planning
from reviewkit.bench_day.entering import values
from reviewkit.errors import Faults
from reviewkit.findings.sentences import CAUTIONS
from reviewkit.metrology import conformity
from reviewkit.planning import Session
from reviewkit.planning.charges import _sooner_s, charge_time_s
from reviewkit.planning.inputs import minutes, volts

EXAMPLES = Path(__file__).parents[1] / "examples"
RANGES = [
    {"full_scale": "600 µA", "resolution": "0.1 µA", "burden_ohm": 100},
    {"full_scale": "6 mA", "resolution": "1 µA", "burden_ohm": 100},
    {"full_scale": "600 mA", "resolution": "0.1 mA", "burden_ohm": 1.8},
    {"full_scale": "10 A", "resolution": "1 mA", "burden_ohm": 0.03},
]
GIVEN: dict[str, Any] = {
    "cell": {"chemistry": "NMC", "rated_capacity_Ah": 3.0},
    "voltmeter": {"accuracy": "±(0.05 % + 2)", "resolution": "1 mV"},
    "ammeter": {"accuracy": "±(1.0 % + 3)", "leads_ohm": 0.02, "ranges": RANGES},
    "charge_current_A": 0.8,
    "charge_stop_A": 0.08,
}


def session(**more: Any) -> Session:
    return planning.inputs(**{**GIVEN, **more})


def plain(answer: Any) -> str:
    text: str = answer._repr_mimebundle_()["text/plain"]
    return text.replace("\u00a0", " ").replace("\u202f", "")


# --- the charge -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("cell", "capacity_Ah"), [("Chen2020", 5.0), ("Mohtat2020", 5.0), ("Ai2020", 2.28)])
@pytest.mark.parametrize("rate", [0.3, 0.6])
def test_a_simulated_charge_takes_no_longer_than_the_plan_allows(
    cell: str, capacity_Ah: float, rate: float
) -> None:
    """Oracle: physics-based cells of PyBaMM with its published parameter sets."""
    true = pybamm_charges.charge(
        cell, scale=1.0, plateau_A=rate * capacity_Ah, set_V=4.2, stop_A=capacity_Ah / 30, start_soc=0.05
    )
    least, most = charge_time_s(
        session(
            cell={"rated_capacity_Ah": capacity_Ah},
            charge_current_A=rate * capacity_Ah,
            charge_stop_A=capacity_Ah / 30,
        )
    )
    assert true.duration_s < most
    assert true.duration_s > 0.85 * least


@pytest.mark.parametrize(("cell", "capacity_Ah"), [("Chen2020", 5.0), ("Mohtat2020", 5.0), ("Ai2020", 2.28)])
def test_a_resistance_in_line_costs_a_simulated_charge_what_is_foretold(
    cell: str, capacity_Ah: float
) -> None:
    """Oracle: the same physics-based charge with and without the resistance."""
    ohm, plateau_A, stop_A = 0.1 / capacity_Ah, 0.3 * capacity_Ah, capacity_Ah / 30
    with_rig, bare = (
        pybamm_charges.charge(
            cell, scale=1.0, plateau_A=plateau_A, set_V=4.2, stop_A=stop_A, series_ohm=one, start_soc=0.05
        )
        for one in (ohm, 0.0)
    )
    planned = session(
        cell={"rated_capacity_Ah": capacity_Ah},
        ammeter={"accuracy": "1 %", "resolution": "1 mA", "burden_ohm": ohm},
        charge_current_A=plateau_A,
        charge_stop_A=stop_A,
    )
    (meter,) = planned.ranges()
    low, high = sorted(_sooner_s(meter, planned))
    later = math.log(plateau_A / stop_A) - 1
    assert low < bare.knee_s - with_rig.knee_s < high
    assert low * later < with_rig.duration_s - bare.duration_s < high * later


def test_the_example_whose_truth_is_known_lies_in_the_foretold_span() -> None:
    """Alder: 50 mΩ of ammeter and leads, 3.0 Ah, 0.8 A down to 0.08 A."""
    truth = json.loads(
        (Path(__file__).resolve().parents[1] / "examples" / "truth" / "alder.json").read_text("utf-8")
    )["charge"]
    truth = truth.get("wall_adapter", truth)
    planned = session()
    best = planned.ranges()[-1]
    low, high = sorted(_sooner_s(best, planned))
    later = math.log(10) - 1
    assert low * later < truth["termination_time"] - truth["time_without_rig"] < high * later


def test_the_foretold_taper_is_the_closed_form() -> None:
    """Closed form: from I0 to I_end with one time constant τ·ln(I0/I_end), and τ·(I0 − I_end) of charge."""
    known = published("cv_taper")
    share = known["I_end_A"] / known["I0_A"]
    planned = session(charge_current_A=known["I0_A"], charge_stop_A=known["I_end_A"])
    bare = planning.foretold(planned).bare
    taper_s = bare.end_s - bare.knee_s
    scale = taper_s / known["t_s"]
    late = bare.time_s >= bare.knee_s
    held_C = np.trapezoid(bare.current_A[late], bare.time_s[late])
    assert held_C == pytest.approx(known["Q_C"] * scale, rel=1e-3)
    assert taper_s == pytest.approx(600 * math.log(1 / share))
    whole_C = np.trapezoid(bare.current_A, bare.time_s)
    assert whole_C == pytest.approx(3600 * planned.capacity_Ah, rel=1e-3)


def test_the_charge_log_is_as_long_as_its_parts() -> None:
    answer = planning.charge_log(session())
    assert [name for name, _ in answer.rows][1] == "charge from empty, allow"
    hours = [int(text.split()[0]) * 60 if "h" in text else 0 for _, text in answer.rows]
    rest = [int(text.split()[-2]) for _, text in answer.rows]
    told = f"{(sum(hours) + sum(rest)) // 60} h {(sum(hours) + sum(rest)) % 60:02d} min"
    assert told in plain(answer)


def test_only_ranges_that_pass_the_current_are_offered_in_line() -> None:
    assert [row[0].replace("\u00a0", " ") for row in planning.burden(session()).rows] == ["10 A"]
    both = planning.burden(session(charge_current_A=0.45)).rows
    assert [row[0].replace("\u00a0", " ") for row in both] == ["0.6 A", "10 A"]
    none = planning.burden(session(charge_current_A=20))
    assert "no range that passes 20 A" in plain(none)


def test_a_burden_that_nobody_declared_is_not_called_none() -> None:
    told = planning.burden(session(ammeter={"accuracy": "1 % + 3", "resolution": "1 mA"}))
    assert "is not known" in plain(told)
    assert told.rows[0][1:] == ("not declared", "?", "?", "?")


def test_no_time_is_foretold_for_a_cell_whose_voltage_hardly_rises() -> None:
    told = planning.burden(session(cell={"chemistry": "LFP", "rated_capacity_Ah": 3.0}))
    assert "no time is foretold" in plain(told)
    assert told.rows[0][-2:] == ("?", "?")
    assert told.rows[0][2] == "40\u00a0mV"


def test_the_foretold_charge_is_drawn() -> None:
    chart = figures.plan_charge(planning.foretold(session()))
    assert len(chart.figure.data) == 2
    assert "sooner" in chart.answer
    assert list(chart.table.columns) == ["charge from empty", "constant current until", "ends after"]


# --- the readout ------------------------------------------------------------------------------------------


def test_readings_halve_the_step_until_the_width_is_reached() -> None:
    """Bisection: 100 mV after the first reading, half after each more, and the meter's own doubt."""
    answer = planning.readings(session(readout_wanted_width_V=0.02))
    widths_mV = [float(row[2].split()[0]) for row in answer.rows]
    # Display's step and half-width of the accuracy at the middle of the range, both ways.
    floor_mV = 2 * (0.0005 * 3600 + 2)
    halved = [100 / 2**number for number in range(5)]
    assert widths_mV == pytest.approx([one + floor_mV for one in halved], abs=0.5)
    assert widths_mV[-1] <= 20 < widths_mV[-2]
    assert "10 readings, half of them near each end" in plain(answer)
    # A readout may have a gain: one pair of readings lies a step inside either end of 3.0 to 4.2 V.
    assert plain(answer).count("set 3.100 V and 4.100 V") == 1


def test_a_width_below_the_meters_own_accuracy_is_refused() -> None:
    coarse = {"accuracy": "±(0.5 % + 2)", "resolution": "1 mV"}
    told = planning.readings(session(voltmeter=coarse, readout_wanted_width_V=0.02))
    assert "can’t place" in plain(told)
    assert not told.rows


# --- the drain --------------------------------------------------------------------------------------------


def test_the_finest_range_that_fits_is_chosen() -> None:
    told = planning.drain_ranges(session(drain_mean_A=70e-6, drain_highest_A=450e-6))
    assert "on the 600 µA range" in plain(told)
    assert [row[-1] for row in told.rows] == ["yes", "yes", "no: too few counts", "no: too few counts"]


def test_pulses_too_high_for_the_fine_range_send_to_the_next() -> None:
    told = planning.drain_ranges(session(drain_mean_A=70e-6, drain_highest_A=550e-6, drain_notice_V=0.06))
    assert "on the 6 mA range" in plain(told)
    assert told.rows[0][-1] == "no: can’t pass the pulses"


@pytest.mark.parametrize("example", ["alder", "birch"])
def test_a_drain_is_planned_for_the_meter_that_reads_it(example: str) -> None:
    """By the list of what is left, by the sheet and by a plan alike, whichever meter logs the charge."""
    coarse = {"accuracy": "±(1.0 % + 3)", "ranges": RANGES[-1:]}
    fine = {"accuracy": "±(1.0 % + 3)", "leads_ohm": 0.02, "ranges": RANGES[:1]}
    small = {"ammeter": coarse, "drain_mean_A": 70e-6, "drain_highest_A": 450e-6}
    assert "No range does" in plain(planning.drain_ranges(session(**small)))
    told = session(**small, drain_ammeter=fine)
    assert "on the 600 µA range" in plain(planning.drain_ranges(told))
    assert [one.full_scale for one in told.ranges()] == [10.0]
    assert session(drain_ammeter={}).drain_ranges() == session().drain_ranges()
    folder = EXAMPLES / example
    held = bench_day.session(folder=folder).drain_ranges()
    assert held == session(ammeter=values(folder)["drain_ammeter"]).ranges()


def test_where_no_range_does_it_is_said_what_would() -> None:
    """50 mV over 3 mA leaves 16.7 Ω, 60 µA over 20 counts a step of 3 µA."""
    told = plain(planning.drain_ranges(session(drain_mean_A=60e-6, drain_highest_A=3e-3)))
    assert "No range does" in told
    assert "a step of 3 µA or finer and at most 16.7 Ω" in told


def test_the_drain_log_is_fast_enough_for_the_blink_and_long_enough_for_many() -> None:
    told = plain(planning.drain_log(session(drain_pulse_s=0.3, drain_period_s=120)))
    assert "1 h 00 min" in told
    assert "each 0.15 s" in told
    assert "once each 120 s" in told
    assert "30 min" in plain(planning.drain_log(session()))


def test_connecting_begins_on_the_highest_range() -> None:
    steps = planning.connecting(session())
    assert "10 A" in steps.sentences[1].replace("\u00a0", " ")
    assert steps._repr_mimebundle_()["text/markdown"].startswith("1. ")


# --- trials and cautions ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bound", "tries"), published("clopper_pearson")["zero_events"]["tries_needed_for_upper_95_below"].items()
)
def test_trials_needed_are_the_fewest(bound: str, tries: int) -> None:
    """Exact 1 − 0.05^(1/n), the rule of three; and Clopper–Pearson's own limits on both sides."""
    share = float(bound)
    assert conformity.trials_needed(share) == tries
    assert conformity.upper_bound(0, tries) < share <= conformity.upper_bound(0, tries - 1)


@pytest.mark.parametrize("bound", [0.0, 1.0, -0.1])
def test_a_bound_that_no_number_of_trials_proves_is_refused(bound: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        conformity.trials_needed(bound)


def test_trials_are_told_for_each_bound() -> None:
    told = planning.trials(session(trials_bound_percent=(10, 5, 1)))
    assert [row[1] for row in told.rows] == ["29", "59", "299"]


def test_cautions_are_those_of_every_page() -> None:
    assert planning.cautions().sentences == CAUTIONS


# --- what was typed ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"cell": {"chemistry": "NMC"}}, "rated_capacity_Ah"),
        ({"charge_stop_A": 0.9}, "charge_stop_A is below"),
        ({"readout_range_V": (4.2, 3.0)}, "from the lower to the higher"),
        ({"drain_mean_A": 1.0}, "drain_highest_A"),
        ({"drain_mean": 1.0}, "Did you mean 'drain_mean_A'"),
        ({"trials_bound_percent": (0.0,)}, "over 0 %"),
        ({"voltmeter": {"resolution": "1 mV"}}, "accuracy"),
    ],
)
def test_a_fault_in_the_parameter_cell_is_named(more: dict[str, Any], words: str) -> None:
    with pytest.raises(Faults, match=words):
        session(**more)


def test_quantities_may_be_typed_with_units() -> None:
    assert session(charge_current_A="800 mA").charge_current_A == pytest.approx(0.8)


@pytest.mark.parametrize(
    ("value", "text"),
    [(3.6, "3.600 V"), (0.04, "40 mV"), (0.0125, "12.5 mV"), (0.00606, "6.1 mV"), (0.3, "300 mV")],
)
def test_voltages_are_told_to_the_millivolt(value: float, text: str) -> None:
    assert volts(value).replace("\u00a0", " ") == text


def test_a_span_runs_from_the_lower_to_the_higher_end() -> None:
    assert minutes((1200, 300)).replace("\u00a0", " ") == "5 to 20 min"
    assert minutes((30, 300)).replace("\u00a0", " ") == "0.5 to 5.0 min"
