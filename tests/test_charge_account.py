"""The account of a charge on bins made by hand: levels, slopes and the voltage limit are told apart."""

from __future__ import annotations

import numpy as np
import pytest

from reviewkit.charge import segmentation
from reviewkit.charge.profile import Bins
from reviewkit.charge.segmentation import HELD, LEVEL, SLOPE

OHM, SET_V = 0.1, 4.2


def bins(current: np.ndarray, held: np.ndarray, *, rise_V: float = 0.7, seed: int = 1) -> Bins:
    """Bins of 30 s: the regulation point rises up to its set voltage, and stays there where held."""
    rng = np.random.default_rng(seed)
    count = len(current)
    first = int(np.argmax(held)) if held.any() else count
    regulation = SET_V - rise_V * np.maximum(first - np.arange(count), 0.0) / count - 0.003 * ~held
    volts = regulation - OHM * current + 0.0003 * rng.standard_normal(count)
    return Bins(
        30.0 * np.arange(count),
        np.full(count, 30.0),
        current + 0.0002 * rng.standard_normal(count),
        volts,
        np.full(count, 0.0004),
        np.full(count, 0.001),
        np.zeros(count, dtype=int),
        np.zeros(count, dtype=bool),
    )


def taper(count: int) -> np.ndarray:
    return np.exp(-np.arange(1, count + 1) / 40.0)


def test_a_plateau_and_a_taper_give_resistance_set_voltage_and_knee() -> None:
    current = np.concatenate([np.ones(150), taper(100)])
    found = segmentation.account(bins(current, np.arange(250) >= 150), rig_ohm=0.0)
    assert [one.kind for one in found.stretches] == [LEVEL, HELD]
    assert found.stretches[1].first == pytest.approx(150, abs=1)
    assert found.ohm == pytest.approx(OHM, abs=0.003)
    assert found.set_V == pytest.approx(SET_V, abs=0.001)
    assert int(np.argmin(found.knee_costs)) == found.stretches[1].first


def test_steps_and_a_slope_are_no_voltage_limit() -> None:
    slope = np.linspace(0.7, 0.5, 60)
    current = np.concatenate([np.ones(60), np.full(40, 0.7), slope, 0.5 * taper(90)])
    found = segmentation.account(bins(current, np.arange(250) >= 160), rig_ohm=0.0)
    assert [one.kind for one in found.stretches] == [LEVEL, LEVEL, SLOPE, HELD]
    assert found.stretches[-1].first == pytest.approx(160, abs=2)


def test_a_charge_that_never_reaches_its_limit_has_none() -> None:
    found = segmentation.account(bins(np.ones(200), np.zeros(200, dtype=bool)), rig_ohm=0.0)
    assert found.set_V is None
    assert [one.kind for one in found.stretches] == [LEVEL]


def test_a_steady_trickle_is_still_at_the_voltage_limit() -> None:
    current = np.concatenate([np.ones(100), np.maximum(taper(200), 0.02)])
    found = segmentation.account(bins(current, np.arange(300) >= 100), rig_ohm=0.0)
    assert [one.kind for one in found.stretches] == [LEVEL, HELD]


def test_no_stretch_crosses_a_gap() -> None:
    current = np.concatenate([np.ones(150), taper(100)])
    whole = bins(current, np.arange(250) >= 150)
    whole.group[200:] = 1
    found = segmentation.account(whole, rig_ohm=0.0)
    assert [one.first for one in found.stretches][-1] == 200
    assert found.stretches[-1].kind == HELD


def test_another_resistance_to_start_from_leads_to_the_same_account() -> None:
    current = np.concatenate([np.ones(150), taper(100)])
    one = bins(current, np.arange(250) >= 150)
    far = segmentation.account(one, rig_ohm=0.6)
    assert far.ohm == pytest.approx(segmentation.account(one, rig_ohm=0.0).ohm, abs=0.001)
