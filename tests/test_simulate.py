"""The simulator behind the examples: its physics against closed forms, its truth against its own traces."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from published_values import published
from simulate import (
    STYLES,
    Cell,
    Charger,
    Fold,
    Lapse,
    LoggingMeter,
    Pause,
    Pulses,
    Rig,
    Scenario,
    course_of,
    draw,
    look,
)
from simulate.cell import CellState
from simulate.charger import Mode

from reviewkit import logs

NO_RIG = Rig(0.0, 0.0)


def test_a_rested_cell_shows_its_open_circuit_voltage() -> None:
    for chemistry in ("NMC", "LFP"):
        cell = Cell(chemistry=chemistry)
        for state in (0.02, 0.3, 0.7, 1.0):
            volts = float(cell.open_circuit_V(state))
            assert CellState(cell, state, 1.0).inner_V == pytest.approx(volts, abs=2e-4)
            assert cell.charge_state_at(volts) == pytest.approx(state, abs=2e-3)


@pytest.mark.parametrize("chemistry", ["NMC", "LFP"])
def test_the_open_circuit_voltage_always_rises(chemistry: str) -> None:
    states = np.linspace(0.0, 1.04, 2000)
    assert np.all(np.diff(Cell(chemistry=chemistry).open_circuit_V(states)) > 0)  # type: ignore[arg-type]


def test_a_lag_settles_as_a_resistor_and_a_capacitor_do() -> None:
    """Textbook step response, R·(1 − exp(−t/τ)); a large cell keeps its open-circuit voltage meanwhile."""
    cell = Cell(capacity_Ah=1e9, fast_ohm=0.02, fast_s=30.0, slow_ohm=0.03, slow_s=500.0, empty_extra=0.0)
    state = CellState(cell, 0.5, 1.0)
    rested = state.inner_V
    for _ in range(200):
        state.step(1.5)
    expected = 1.5 * (0.02 * -math.expm1(-200 / 30) + 0.03 * -math.expm1(-200 / 500))
    assert state.inner_V - rested == pytest.approx(expected, rel=1e-7)


class LinearCell(Cell):
    """A cell whose open-circuit voltage is a straight line: 3.0 V empty, 1.2 V more when full."""

    def open_circuit_V(self, charge_state: npt.ArrayLike) -> npt.NDArray[np.float64]:
        return 3.0 + 1.2 * np.asarray(charge_state, dtype=float)


def test_the_taper_behind_a_resistance_is_an_exponential() -> None:
    """τ = R·C with C = capacity / slope: 0.4 Ω · 3600 A·s / 1.2 V = 1200 s; the rest in closed form."""
    known = published("cv_taper")
    cell = LinearCell(capacity_Ah=1.0, series_ohm=0.25, fast_ohm=0.0, slow_ohm=0.0, empty_extra=0.0)
    charger = Charger(
        plateau_A=known["I0_A"], set_V=4.0, stop_A=known["I_end_A"], device_ohm=0.10, precharge_A=0.0
    )
    course = course_of(cell, charger, Rig(0.03, 0.02), charge_state=0.3, plugged_s=9000.0, after_s=0.0)
    held = course.main & (course.mode == Mode.VOLTAGE.value)
    assert held.sum() == pytest.approx(known["t_s"], rel=1e-3)
    assert course.current_A[held].sum() == pytest.approx(known["Q_C"], rel=1e-3)
    current = course.current_A[held]
    assert current[1200] / current[0] == pytest.approx(math.exp(-1), rel=1e-3)


def test_charge_is_conserved() -> None:
    scenario = Scenario()
    run = scenario.run()
    states = run.course.current_A.sum() / 3600 / scenario.cell.capacity_Ah
    end = scenario.charge_state + states
    settled = run.course.cell_V[-1]
    assert run.truth.delivered == pytest.approx(states * scenario.cell.capacity_Ah, rel=1e-9)
    # The slow lag has not quite settled, so the cell still stands a little above its rested voltage.
    assert 0 <= settled - float(scenario.cell.open_circuit_V(end)) < 0.002


def test_the_truth_obeys_the_definitions() -> None:
    run = Scenario().run()
    known, course = run.truth, run.course
    assert known.plateau_current == pytest.approx(0.8)
    assert known.set_voltage == 4.20
    assert known.series_resistance == pytest.approx(0.10)
    assert known.knee_time is not None
    assert known.termination_time is not None
    assert known.termination_current == pytest.approx(0.08, rel=0.002)
    knee = int(known.charge_start + known.knee_time)
    assert course.regulation_V[knee] == pytest.approx(4.20, abs=1e-9)
    assert course.regulation_V[knee - 2] < 4.20
    held = course.regulation_V[(course.mode == Mode.VOLTAGE.value) & course.main]
    assert np.ptp(held) < 1e-9
    assert known.peak_voltage == pytest.approx(4.20 - 0.1 * known.termination_current, abs=1e-3)
    assert known.limit_adherence == 100.0
    assert known.time_to_80 < known.termination_time


def test_the_rig_makes_the_charge_longer() -> None:
    run = Scenario(rig=Rig(0.06, 0.04)).run()
    assert run.time_without_rig_s is not None
    assert run.truth.termination_time is not None
    assert run.time_without_rig_s < run.truth.termination_time - 300
    assert Scenario(rig=NO_RIG).run().truth.termination_time == run.time_without_rig_s


def test_precharge_folds_pauses_top_ups_and_a_charge_without_end() -> None:
    empty = Scenario(
        charge_state=0.002,
        plugged_s=10 * 3600.0,
        charger=Charger(
            precharge_A=0.1,
            folds=(Fold(3000.0, 0.7),),
            pauses=(Pause(5000.0, 120.0),),
            idle_A=0.02,
            recharge_below_V=4.16,
        ),
    ).run()
    known = empty.truth
    assert known.precharge_current == pytest.approx(0.1)
    assert known.precharge_end is not None
    assert known.precharge_end > 60
    assert known.interruptions == 1
    assert known.top_ups >= 1
    assert known.limit_adherence is not None
    assert known.limit_adherence < 95
    assert known.delivered_with_top_ups > known.delivered
    assert known.current_after == pytest.approx(-0.02)
    endless = Scenario(charger=Charger(stop_A=None), plugged_s=9 * 3600.0).run().truth
    assert not endless.terminates
    assert endless.termination_time is None
    assert endless.duration == 9 * 3600.0


def test_pulses_switch_the_current() -> None:
    scenario = Scenario(charger=Charger(pulses=Pulses(20.0, 0.5)), plugged_s=3600.0)
    course = scenario.run().course
    inside = course.current_A[course.main][:600]
    assert set(np.round(inside, 6)) == {0.0, 0.8}
    assert inside.mean() == pytest.approx(0.4)


def test_a_meter_stays_within_its_statement_and_is_off_by_one_and_the_same_share() -> None:
    meter = LoggingMeter(percent=0.5, counts=3, error_share=1.0, noise=0.0)
    time = np.arange(1000.0)
    seen = look(meter, time, np.full(1000, 0.8), np.random.default_rng(1))
    assert np.abs(seen.shown - 0.8).max() <= 0.005 * 0.8 + 3e-3
    assert np.ptp(seen.shown) == 0.0
    assert seen.shown[0] == pytest.approx(0.8065, abs=0.51e-3)


def test_a_meters_clock_gaps_and_overloads() -> None:
    meter = LoggingMeter(
        interval_s=2.0,
        jitter_s=0.2,
        starts_s=10.0,
        clock_offset_s=5.25,
        clock_rate_ppm=100.0,
        stamp_step_s=1.0,
        gaps=(Lapse(100.0, 50.0),),
        overloads=(Lapse(300.0, 9.0),),
    )
    time = np.arange(20_000.0)
    seen = look(meter, time, np.ones(20_000), np.random.default_rng(2))
    assert np.all(seen.clock_s % 1.0 == 0.0)
    lag = seen.true_s * (1 + 1e-4) + 5.25 - seen.clock_s
    assert lag.min() >= -1e-6
    assert lag.max() < 1.0
    assert not np.any((seen.true_s >= 100) & (seen.true_s < 150))
    assert np.array_equal(np.isnan(seen.shown), (seen.true_s >= 300) & (seen.true_s < 309))


def test_the_same_seed_draws_the_same_bench() -> None:
    first, second = (draw(np.random.default_rng(7)) for _ in range(2))
    assert first == second
    assert np.array_equal(first.run().voltage.shown, second.run().voltage.shown)
    assert draw(np.random.default_rng(8)) != first


@pytest.mark.parametrize("seed", range(6))
def test_drawn_benches_charge_and_end(seed: int) -> None:
    known = draw(np.random.default_rng(seed)).run().truth
    assert known.terminates
    assert known.plateau_current is not None
    assert known.settled_voltage_60min is not None
    assert 0.3 < known.time_to_80 / known.duration < 1.0


@pytest.mark.parametrize("name", STYLES)
def test_every_style_is_read_back_as_it_was_written(name: str, tmp_path: Path) -> None:
    """Readings, times and overload marks survive each way of writing a log."""
    style = STYLES[name]
    if name == "ranges":
        style = replace(style, other_unit="mA")
    meter = LoggingMeter(
        interval_s=3.0,
        stamp_step_s=0.0 if style.time_decimals else 1.0,
        noise=0.02,
        overload_chance=0.01,
        fine_below=0.5 if style.unit_heading else 0.0,
        fine_resolution=1e-5 if style.unit_heading else 0.0,
    )
    bench = Scenario(
        plugged_s=5400.0,
        after_s=600.0,
        ammeter=meter,
        current_style=replace(style, value_heading=style.value_heading.replace("Voltage", "Current")),
        current_unit="A" if style.unit_heading else "mA",
        started=datetime(2026, 2, 10, 23, 10, 0),
    )
    done = bench.run()
    done.write_logs(tmp_path, voltage="v.csv", current="i.csv")
    read = logs.read("i.csv", "A", folder=tmp_path)
    shown = done.current.shown
    assert read.report.overloads == int(np.isnan(shown).sum())
    assert read.series.to_numpy() == pytest.approx(shown, abs=1e-9, nan_ok=True)
    stamps = done.current_A.index.to_numpy(dtype=float)
    assert read.time_s - read.time_s[0] == pytest.approx(
        stamps - stamps[0], abs=0.5 * 10.0**-style.time_decimals + 0.5 * 10.0**-style.time_decimals + 1e-6
    )


def test_a_written_scenario_is_a_review_folder(tmp_path: Path) -> None:
    done = draw(np.random.default_rng(3)).write(tmp_path)
    assert {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()} == {
        "logs/voltage.csv",
        "logs/current.csv",
        "review.yaml",
        "truth.json",
    }
    volts = logs.read("logs/voltage.csv", "V", folder=tmp_path)
    assert volts.series.to_numpy() == pytest.approx(done.voltage.shown, abs=1e-9)
