"""Time at neither limit is measured, found and named."""

from __future__ import annotations

import numpy as np
import pytest

from reviewkit.charge import limit_time

PLATEAU_A, SET_V = 0.8, 4.2
TIME_S = np.arange(0.0, 9000.0, 2.0)
KNEE_S = 6000.0


def clean() -> tuple[np.ndarray, np.ndarray]:
    """A charge at its limits throughout: plateau, then an exponential taper at the set voltage."""
    taper = TIME_S >= KNEE_S
    current = np.where(taper, PLATEAU_A * np.exp(-(TIME_S - KNEE_S) / 1200), PLATEAU_A)
    voltage = np.where(taper, SET_V, 3.5 + 0.7 * TIME_S / KNEE_S)
    return voltage, current


def adherence(voltage: np.ndarray, current: np.ndarray) -> limit_time.Adherence:
    return limit_time.adherence(TIME_S, voltage, current, plateau_A=PLATEAU_A, set_V=SET_V)


def test_a_charge_at_its_limits_adheres_throughout():
    result = adherence(*clean())
    assert result.share == 100.0
    assert result.stretches == ()


def test_an_early_taper_is_found_where_it_was_planted():
    voltage, current = clean()
    early = (TIME_S >= 4800) & (TIME_S < KNEE_S)
    current = np.where(early, PLATEAU_A * (1 - 0.4 * (TIME_S - 4800) / 1200), current)
    current = np.where(TIME_S >= KNEE_S, 0.6 * current, current)
    (stretch,) = adherence(voltage, current).stretches
    assert stretch.shape == "early taper"
    # It leaves the 3 % band 0.03 / 0.4 of the way down, and comes within 10 mV of the set voltage 86 s early.
    assert stretch.start_s == pytest.approx(4800 + 0.075 * 1200, abs=4)
    assert stretch.end_s == pytest.approx(KNEE_S - 0.010 / 0.7 * KNEE_S, abs=4)
    assert adherence(voltage, current).share == pytest.approx(
        100 * (1 - stretch.length_s / TIME_S[-1]), abs=0.1
    )


@pytest.mark.parametrize(
    ("name", "planted"),
    [
        ("foldback", lambda t: np.full_like(t, 0.5)),
        ("steps", lambda t: np.where(t < 3500, 0.6, 0.4)),
        ("pulsing", lambda t: np.where((t // 20) % 2 < 1, 0.75, 0.1)),
        ("droop", lambda t: 0.77 - 0.04 * (t - 3000) / 1000),
    ],
)
def test_what_the_current_does_is_named(name, planted):
    voltage, current = clean()
    there = (TIME_S >= 3000) & (TIME_S < 4000)
    current = np.where(there, planted(TIME_S), current)
    (stretch,) = adherence(voltage, current).stretches
    assert stretch.shape == name
    assert stretch.start_s == pytest.approx(3000, abs=40)
    assert stretch.end_s == pytest.approx(4000, abs=40)


def test_the_rig_makes_the_cell_miss_the_limit_that_the_charger_keeps():
    """With 50 mΩ in series the cell is over 10 mV low early in the taper; the regulation point is not."""
    voltage, current = clean()
    at_cell = np.where(TIME_S >= KNEE_S, voltage - 0.05 * current, voltage - 0.05 * PLATEAU_A)
    away_s = 1200 * np.log(0.05 * PLATEAU_A / 0.010) - 1200 * np.log(1 / 0.97)
    at_the_cell = adherence(at_cell, current)
    assert at_the_cell.share == pytest.approx(100 * (1 - away_s / TIME_S[-1]), abs=0.2)
    assert [one.shape for one in at_the_cell.stretches] == ["early taper"]
    assert adherence(at_cell + 0.05 * current, current).share == 100.0
