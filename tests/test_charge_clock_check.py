"""Clocks held against the knee that both logs show, and what is not read from a log: charges by hand."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from reviewkit import charge
from reviewkit.charge import analysis
from reviewkit.charge.series_resistance import correlation_length
from reviewkit.metrology import Component, Measured, meter

VOLTMETER = meter.meter({"accuracy": "±(0.05 % + 2)", "resolution": "1 mV"}, "V")
AMMETER = meter.meter({"accuracy": "±(0.5 % + 3)", "resolution": "1 mA"}, "A")
SHIFT_S = 80.0


def shifted(
    shift_s: float = SHIFT_S,
    *,
    knee_s: float = 4000.0,
    plateau_s: float = 0.0,
    end_s: float = 8000.0,
    every_s: float = 4.0,
    noise_V: float = 3e-4,
    wrong_beyond_s: float = math.inf,
    known_s: float = 0.0,
    seed: int = 3,
    step_V: float = 1e-6,
) -> tuple[Any, Any]:
    """Return a charge whose current log has to move by so much: V + 0.2 Ω·I rises to the knee, then is level.

    Farther from the knee than `wrong_beyond_s` the voltages are wrong by half a volt, the farther the more.
    """
    time = np.arange(0.0, 8000.0, every_s)
    after = np.maximum(time - knee_s, 0)
    current = np.where(time < knee_s, 1.0, np.exp(-after / 600))
    volts = 4.2 - 1e-4 * np.maximum(knee_s - time, 0) - 0.2 * current
    volts += np.random.default_rng(seed).normal(0, noise_V, len(time)) if noise_V else 0.0
    away = np.abs(time - (knee_s - shift_s))
    volts += np.where(away > wrong_beyond_s, 0.5 + away / 1000, 0.0)
    record: Any = SimpleNamespace(
        voltage_V=pd.Series(volts, time),
        time_s=time - shift_s,
        current=current,
        voltmeter=SimpleNamespace(resolution=step_V),
        clock_offset=Measured(0.0, "s", (Component("clocks", known_s, "s"),) if known_s else ()),
    )
    phases: Any = SimpleNamespace(
        knee=Measured(knee_s - shift_s, "s"), end_s=end_s - shift_s, plateau_start_s=plateau_s - shift_s
    )
    return record, phases


def moved(**more: Any) -> float | None:
    found = analysis._moved(*shifted(**more))
    return found[0] if found else None


@pytest.mark.parametrize(
    "more",
    [
        # A quarter of an hour to either side.
        {"wrong_beyond_s": 901.0},
        # Half of what follows the knee: 700 s of 1400 s.
        {"end_s": 5400.0, "wrong_beyond_s": 701.0},
        # Four fifths of the plateau: 640 s of 800 s.
        {"plateau_s": 3200.0, "wrong_beyond_s": 641.0},
    ],
)
def test_clocks_are_told_by_the_rows_about_the_knee_alone(more: dict[str, float]) -> None:
    assert moved(**more) == pytest.approx(SHIFT_S, abs=5)


@pytest.mark.parametrize(
    ("shift_s", "some"), [(290.0, True), (-290.0, True), (320.0, False), (-320.0, False)]
)
def test_a_log_is_moved_by_a_third_of_those_rows_at_most(shift_s: float, some: bool) -> None:
    """Of 900 s; what would have to move by more lies at the edge, and no minimum was found."""
    found = moved(shift_s=shift_s, noise_V=1e-4)
    assert (found is not None) is some
    if found is not None:
        assert found == pytest.approx(shift_s, abs=5)


@pytest.mark.parametrize(("every_s", "some"), [(45.0, True), (47.0, False)])
def test_forty_rows_about_the_knee_tell(every_s: float, some: bool) -> None:
    """1800 s of 45 s rows are 41 or 40, of 47 s rows 38."""
    assert (moved(every_s=every_s, shift_s=90.0, noise_V=2e-5) is not None) is some


def test_a_move_is_known_by_the_scatter_that_the_display_leaves() -> None:
    """Noise well within the display: the squares grow by k·m² with a move, of variance (δ²/12)/k.

    k from the sums of squares at 10 s to either side of the truth.
    """
    record, phases = shifted(noise_V=1e-3, step_V=0.01)
    time, volts = record.voltage_V.index.to_numpy(), record.voltage_V.to_numpy()
    near = np.abs(time - phases.knee.value) <= 900
    left = [
        analysis._left(record, time[near], volts[near], phases.knee.value, 900.0, SHIFT_S + away)
        for away in (-10.0, 0.0, 10.0)
    ]
    sums = [float(one @ one) for one in left]
    curvature = (sums[0] + sums[2] - 2 * sums[1]) / 2 / 10**2
    found = analysis._moved(record, phases)
    assert found is not None
    assert found[0] == pytest.approx(SHIFT_S, abs=3)
    alike = correlation_length(left[1])
    assert found[1] == pytest.approx(2 * math.sqrt(0.01**2 / 12 * alike / curvature), rel=0.1)


def test_moves_of_many_charges_scatter_as_each_says() -> None:
    """Forty charges of the same clocks: white noise, rows of 8 s; each states two standard deviations."""
    found = [analysis._moved(*shifted(noise_V=3e-3, every_s=8.0, seed=seed)) for seed in range(40)]
    moves, spreads = np.array([one for one in found if one is not None]).T
    assert len(moves) == 40
    assert moves.mean() == pytest.approx(SHIFT_S, abs=3 * moves.std() / math.sqrt(40) + 1)
    assert 2 * moves.std() / spreads.mean() == pytest.approx(1.0, abs=0.25)


@pytest.mark.parametrize(("noise_V", "some"), [(0.012, True), (0.015, False)])
def test_a_move_counts_from_three_standard_deviations_on(noise_V: float, some: bool) -> None:
    """The same noise in two sizes: the move is 3.3 or 2.4 of its own standard deviations."""
    record, phases = shifted(noise_V=noise_V, every_s=8.0)
    assert (analysis._moved(record, phases) is not None) is some


@pytest.mark.parametrize(("known_s", "some"), [(30.0, True), (45.0, False)])
def test_a_move_within_what_the_clocks_are_known_to_is_none(known_s: float, some: bool) -> None:
    """Twice 30 s and the move's own few seconds are less than 80 s; twice 45 s are more."""
    assert (moved(known_s=known_s) is not None) is some


def test_a_rise_that_bends_and_ends_at_the_knee_is_explained() -> None:
    """V = a + b·t + c·t² up to the knee, level from there on, less R·I: nothing is left, but a minute off."""
    time = np.arange(-600.0, 601.0, 5.0)
    rising = np.minimum(time / 600, 0.0)
    current = np.where(time < 0, 1.0, np.exp(-np.maximum(time, 0) / 400))
    volts = 4.1 + 0.05 * rising - 0.03 * rising**2 - 0.15 * current
    record: Any = SimpleNamespace(time_s=time, current=current)
    assert np.abs(analysis._left(record, time, volts, 0.0, 600.0, 0.0)).max() < 1e-9
    assert np.abs(analysis._left(record, time, volts, 0.0, 600.0, 60.0)).max() > 1e-3


# ------------------------------------------------------------------ what is not read


@pytest.mark.parametrize(("share", "some"), [(0.981, True), (0.979, False)])
def test_an_energy_needs_a_voltage_for_98_percent_of_the_charge(
    share: float, some: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(analysis.delivered, "covered", lambda record, cut: share)
    monkeypatch.setattr(analysis.delivered, "energy", lambda amounts: Measured(1.0, "W.h"))
    nothing: Any = None
    assert (analysis._energy(nothing, nothing, nothing) is not None) is some


@pytest.mark.parametrize("held", [True, False])
def test_the_limits_are_asked_of_the_regulation_point_and_of_the_cell(
    held: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The cell itself has nothing between it and its voltmeter; nor has what was never held."""
    time = np.arange(-120.0, 7200.0, 5.0)
    current = np.where(time < 3600, 1.0, np.exp(-np.maximum(time - 3600, 0) / 1200)) * (time >= 0)
    volts = np.where(time < 0, 3.5, np.minimum(4.1, 4.1 - 0.6 * (3600 - time) / 3600) + 0.1 * (1 - current))
    kept = time < (7000 if held else 3000)
    record = charge.on_one_clock(
        pd.Series(np.round(volts, 3)[kept], time[kept]),
        pd.Series(np.round(current, 3)[kept], time[kept]),
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
    )
    asked: list[tuple[float, float | None]] = []
    monkeypatch.setattr(
        analysis.limit_time,
        "at_limits",
        lambda record, cut, *, plateau_A, set_V, series_ohm: asked.append((series_ohm, set_V)),
    )
    result = charge.analyse_one(record)
    assert result.phases is not None
    (at_point, set_V), (at_cell, hold_V) = asked
    assert at_cell == 0.0
    if held:
        assert at_point == pytest.approx(0.1, abs=0.02)
        assert set_V == pytest.approx(4.2, abs=0.003)
        assert hold_V == pytest.approx(4.19, abs=0.02)
    else:
        assert (at_point, set_V, hold_V) == (0.0, None, None)
