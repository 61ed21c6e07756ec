"""The cell as a small circuit, against the closed forms of circuits that can be solved by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from reviewkit.charge import cell_model
from reviewkit.charge.cell_model import CellModel, Circuit, Limits, State

RISE = 0.4
"""Volts of the open-circuit curve per ampere-hour."""


def linear(*, ohmic: float = 0.1, slow_ohm: float = 0.0, lag_s: float = 300.0) -> CellModel:
    """3.6 V when empty, 0.4 V more per ampere-hour, known up to 2 A.h."""
    charge = np.linspace(0.0, 2.0, 400)
    return CellModel(charge, 3.6 + RISE * charge, ohmic, np.array([slow_ohm]), np.array([lag_s]), 0.0)


def start(charge_Ah: float = 0.0) -> State:
    return State(0.0, charge_Ah, np.zeros(1))


def test_a_cell_without_memory_tapers_exponentially() -> None:
    """U(q) linear, R alone: the knee is at U + R·I = 4.2 V, then I falls with τ = 3600·R/(dU/dq)."""
    limits = Limits(1.0, 4.2, 0.05, 0.1)
    ran = cell_model.run(linear(), start(), limits, step_s=1.0)
    knee_s = 3600 * (4.2 - 0.15 - 3.6) / RISE
    tau_s = 3600 * 0.15 / RISE
    assert ran.knee_s == pytest.approx(knee_s, abs=2)
    assert ran.duration_s == pytest.approx(knee_s + tau_s * math.log(10), abs=3)
    late = ran.time_s > knee_s + 10
    expected = np.exp(-(ran.time_s[late] - knee_s) / tau_s)
    assert ran.current_A[late] == pytest.approx(expected, abs=2e-3)
    # At the cell, the drop over the series resistance is missing.
    assert ran.voltage_V[late] == pytest.approx(4.2 - 0.05 * expected, abs=2e-4)
    assert (ran.current_A[ran.time_s < knee_s - 2] == 1.0).all()
    assert ran.charge_Ah[0] == 0.0
    assert ran.charge_Ah[-1] == pytest.approx(np.trapezoid(ran.current_A, ran.time_s) / 3600, rel=1e-3)


def test_a_charge_that_never_falls_to_its_stop_is_given_up() -> None:
    ran = cell_model.run(linear(), start(), Limits(1.0, 4.2, 0.05, 0.0), step_s=10.0, most_s=9000.0)
    assert ran.duration_s == ran.time_s[-1] == pytest.approx(9000, abs=10)
    assert ran.knee_s == pytest.approx(4050, abs=20)
    low = cell_model.run(linear(), start(), Limits(1.0, 9.0, 0.05, 0.1), step_s=10.0, most_s=9000.0)
    assert math.isnan(low.knee_s)
    assert low.duration_s == pytest.approx(9000, abs=10)


def test_a_cell_that_starts_full_is_at_its_voltage_limit_at_once() -> None:
    ran = cell_model.run(linear(), start(1.4), Limits(1.0, 4.2, 0.0, 0.1), step_s=1.0)
    assert ran.knee_s == 0.0
    assert ran.current_A[0] == pytest.approx((4.2 - 3.6 - RISE * 1.4) / 0.1)
    over = cell_model.run(linear(), start(1.6), Limits(1.0, 4.2, 0.0, 0.1), step_s=1.0)
    assert (over.duration_s, over.current_A[0]) == (0.0, 0.0)


def test_memory_follows_a_step_like_a_resistor_beside_a_capacitor() -> None:
    """Closed form: x(t) = R·I·(1 − exp(−t/τ)); block-wise, step by step and from a log alike."""
    model, step_s = linear(slow_ohm=0.08), 10.0
    expected = 0.08 * 0.7 * (1 - np.exp(-np.arange(60) * step_s / 300.0))
    single, volts = Circuit(model, start(), step_s), []
    for _ in range(60):
        volts.append(single.resting_V() - 3.6 - RISE * single.charge_Ah)
        single.advance(0.7)
    assert volts == pytest.approx(expected, abs=1e-12)
    resting, charge = Circuit(model, start(), step_s).steady(0.7, 99.0, 60)
    assert resting - 3.6 - RISE * charge == pytest.approx(expected, abs=1e-12)
    assert charge == pytest.approx(0.7 * step_s / 3600 * np.arange(60))
    time = np.arange(0.0, 601.0, step_s)
    there = cell_model.state_at(model, time, np.full(61, 0.7), 500.0)
    assert there.time_s == 500.0
    assert there.slow_V == pytest.approx([0.08 * 0.7 * (1 - math.exp(-50 * step_s / 300))], rel=1e-9)
    assert there.charge_Ah == pytest.approx(0.7 * 510 / 3600, rel=1e-9)
    few = cell_model.state_at(model, time, np.full(61, 0.7), 25.0)
    assert (few.charge_Ah, few.slow_V.tolist()) == (0.0, [0.0])
    assert cell_model.state_at(model, time, np.full(61, 0.7), 30.0).charge_Ah > 0


def test_a_long_plateau_is_run_in_blocks_that_join() -> None:
    """3,000 steps pass the block's 1,024 twice; the bound stops between two steps."""
    model = linear(slow_ohm=0.08)
    whole, _ = Circuit(model, start(), 1.0).steady(0.5, 99.0, 3000)
    assert len(whole) == 3000
    assert np.diff(whole).max() == pytest.approx(np.diff(whole)[0], rel=1e-9)
    assert (np.diff(whole) > 0).all()
    stopped = Circuit(model, start(), 1.0)
    volts, charge = stopped.steady(0.5, float(whole[2000]) - 1e-9, 9999)
    assert len(volts) == len(charge) == 2000
    assert stopped.resting_V() == pytest.approx(whole[2000], rel=1e-12)


def test_beyond_what_was_measured_the_curve_goes_on_along_its_end() -> None:
    """The last slope: 0.4 V per ampere-hour; before the first row the curve stands still."""
    for charge_Ah, volts in ((1.0, 4.0), (2.5, 3.6 + RISE * 2.5), (-0.5, 3.6)):
        circuit = Circuit(linear(), start(charge_Ah), 5.0)
        assert circuit.resting_V() == pytest.approx(volts, abs=1e-9)
        assert circuit.steady(0.1, 99.0, 1)[0] == pytest.approx([volts], abs=1e-9)
    bent = linear().open_circuit_V.copy()
    bent[0] = 3.5
    bent[-12:] = bent[-12] + 0.01 * np.arange(12)
    pitch = 2.0 / 399
    model = CellModel(linear().charge_Ah, bent, 0.1, np.zeros(1), np.array([300.0]), 0.0)
    assert Circuit(model, start(0.25 * pitch), 5.0).resting_V() == pytest.approx(3.5 + 0.25 * (bent[1] - 3.5))
    assert Circuit(model, start(2.0 + 5 * pitch), 5.0).resting_V() == pytest.approx(bent[-1] + 0.05, abs=1e-9)


def test_a_larger_cell_has_more_charge_and_less_resistance() -> None:
    """Twice the electrode area: every ampere-hour twice, every ohm half."""
    twice = linear(slow_ohm=0.08).scaled(2.0)
    assert twice.charge_Ah[-1] == 4.0
    assert (twice.ohmic, twice.slow_ohm.tolist()) == (0.05, [0.04])
    assert linear(ohmic=0.1, slow_ohm=0.08).resistance == pytest.approx(0.18)


def logged(
    lag_s: float, *, every_s: float = 4.0, wave_V: float = 0.05, waves: float = 0.57, noise_V: float = 0.0
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return time, charge, open circuit and voltage of 0.8 A for 4000 s and a rest of 3200 s.

    By a circuit of 60 mΩ, and 40 mΩ with a lag; the open-circuit curve waves so often over its 0.889 A.h.
    """
    time = np.arange(0.0, 7200.0, every_s)
    current = np.where(time < 4000, 0.8, 0.0)
    charge = np.concatenate([[0.0], np.cumsum(current[:-1])]) * every_s / 3600
    slow = np.zeros(len(time))
    for row in range(1, len(time)):
        pull = 0.04 * current[row - 1] - slow[row - 1]
        slow[row] = slow[row - 1] + (1 - math.exp(-every_s / lag_s)) * pull
    open_circuit = 3.5 + 0.5 * charge + wave_V * np.sin(2 * math.pi * waves * charge / charge[-1])
    noise = noise_V * np.random.default_rng(1).standard_normal(len(time))
    return time, charge, open_circuit, open_circuit + 0.06 * current + slow + noise


def fitted(lag_s: float, **more: float) -> CellModel:
    time, _, _, volts = logged(lag_s, **more)
    return cell_model.fit(time, volts, np.where(time < 4000, 0.8, 0.0))


@pytest.mark.parametrize("lag_s", [15.0, 80.0, 400.0, 2000.0])
def test_a_fit_finds_the_circuit_that_made_the_log(lag_s: float) -> None:
    """Each of the lags that a fit knows, as if alone: found to a milliohm or two, and no other's."""
    found = fitted(lag_s)
    assert found.ohmic == pytest.approx(0.06, abs=1e-3)
    assert found.resistance == pytest.approx(0.10, abs=2e-3)
    assert found.slow_ohm.max() == pytest.approx(0.04, abs=2e-3)
    assert found.time_constants_s[np.argmax(found.slow_ohm)] == lag_s
    assert found.residual_V < 5e-4
    _, charge, open_circuit, _ = logged(lag_s)
    inside = np.interp(found.charge_Ah, charge, open_circuit)
    assert found.open_circuit_V == pytest.approx(inside, abs=2e-3)
    assert found.charge_Ah[-1] == pytest.approx(0.8 * 4000 / 3600, rel=2e-3)
    assert found.charge_Ah[0] == 0.0


def test_what_a_fit_leaves_is_the_logs_own_noise() -> None:
    assert fitted(400.0, noise_V=0.002).residual_V == pytest.approx(0.002, rel=0.05)


@pytest.mark.parametrize(("waves", "followed"), [(7.0, True), (16.0, False)])
def test_a_curve_of_two_dozen_pieces_follows_no_finer_wave(waves: float, followed: bool) -> None:
    """Seven waves have more than three pieces each; sixteen have no two, and of 5 mV most is left: 3.5 mV."""
    left_V = fitted(400.0, wave_V=0.005, waves=waves).residual_V
    assert left_V < 5e-4 if followed else left_V > 2e-3


@pytest.mark.parametrize(("every_s", "lags"), [(9.9, 4), (10.1, 3)])
def test_a_lag_of_one_and_a_half_rows_is_not_seen(every_s: float, lags: int) -> None:
    assert len(fitted(400.0, every_s=every_s).time_constants_s) == lags


def test_a_run_is_stepped_finely_enough_and_given_up_after_days() -> None:
    """By hand 4053 s to the knee: found within 5 s. A limit that is never reached ends a run after 111 h."""
    reached_V = 3.6 + 0.15 + RISE * 4053 / 3600
    ran = cell_model.run(linear(), start(), Limits(1.0, reached_V, 0.05, 0.1))
    assert 0 <= ran.knee_s - 4053 < 5
    assert cell_model.run(linear(), start(), Limits(0.001, 9.0, 0.05, 0.0)).duration_s == pytest.approx(
        111.1 * 3600, rel=1e-3
    )


@pytest.mark.parametrize("before", [(), ((0.0, 4.0, 1.0, 0.0),)])
def test_a_stop_between_the_first_two_steps_lies_on_a_line(before: tuple[tuple[float, ...], ...]) -> None:
    rows = [*before, (5.0, 4.0, 1.0, 0.0), (15.0, 4.0, 0.5, 0.0)]
    assert cell_model._crossing(rows, 0.75) == 10.0
    assert cell_model._crossing(rows[-1:], 0.75) == 15.0


def test_readings_are_averaged_onto_an_even_grid() -> None:
    """Rows a second apart over 8,000 s make 4,000 of 2 s; a cell of the grid without any lies on a line."""
    time = np.arange(0.0, 8001.0)
    centre, volts, amps, step = cell_model.resample(time, time, -time)
    assert step == 2.0
    assert centre[:3] == pytest.approx([1.0, 3.0, 5.0])
    assert volts[:3] == pytest.approx([0.5, 2.5, 4.5])
    assert amps == pytest.approx(-volts)
    kept = (time < 100) | (time > 200)
    _, holed, _, _ = cell_model.resample(time[kept], time[kept], -time[kept])
    assert np.diff(holed) == pytest.approx(2.0, abs=0.6)
