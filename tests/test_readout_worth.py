"""What a reading is worth and what to prepare: decimals a person can set, and readings that are enough."""

from __future__ import annotations

import importlib
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest

from reviewkit import readout
from reviewkit.readout import analysis, posterior
from reviewkit.readout.model import Model, Reading, Reference

F = Fraction
fit = importlib.import_module("reviewkit.readout.fit")


def device(step: str = "0.1", bound: str = "0", reference: Reference | None = None) -> Model:
    return Model(F(step), F(3), F("4.2"), F(bound), reference or Reference())


def read(*pairs: tuple[str, str], noise: str = "0") -> list[Reading]:
    return [Reading(row, F(x), F(shown), F(noise)) for row, (x, shown) in enumerate(pairs, start=2)]


def whole(value: float, unit: float) -> bool:
    """Whether a value is a whole number of units, but for what binary arithmetic leaves."""
    return abs(value / unit - round(value / unit)) < 1e-6


def test_a_voltage_to_prepare_is_in_whole_tenths_of_a_millivolt() -> None:
    """Of a step of 7 mV a fiftieth is 0.14 mV."""
    model = Model(F("0.007"), F(3), F("3.1"))
    assert all(whole(value, 1e-4) for value in fit._candidates(model))
    for x in ("3.62", "3.6137", "3.65001"):
        found = fit.fit_readings(read((x, "3.6")), device(bound="0.02")).next_V
        assert whole(found, 1e-4)
        assert round(found, 4) == found


def test_a_plans_voltages_are_in_whole_millivolts_or_tenths_of_one() -> None:
    """3.0001 V to 4.2007 V: the middle is 3.6004 V, a step from the ends 3.1001 V and 4.1007 V."""
    uneven = (3.0001, 4.2007)
    assert readout.plan(range_V=uneven).first_V == (3.6,)
    assert readout.plan(range_V=uneven, gain=True).first_V == (3.1, 4.101)
    # A third of a step of 0.1 V.
    assert readout.plan(wanted_width_V=0.04).all_at_once_V == (3.55, 3.5833, 3.6167)


def test_ends_of_a_level_are_told_to_a_nanovolt() -> None:
    """No reference tells one: 1/3 V is 333 333 333 nV."""
    assert fit._rounded(1 / 3) == F(333_333_333, 10**9)
    found = fit.fit_readings(read(("3.62", "3.6"), ("3.66", "3.7"), ("3.3137", "3.3")), device(bound="0.02"))
    assert all(value == round(value, 9) for value in found.maximum_error[::2])


def test_what_is_least_known_is_weighed_to_a_millivolt(monkeypatch: pytest.MonkeyPatch) -> None:
    """All are worth as much; levels 1.6 mV and 2.4 mV uncertain count alike, so the middle is proposed.

    Of two readouts that differ in gain by 2·d the transition is d·|v − middle| uncertain.
    """
    monkeypatch.setattr(fit, "_mutual_information", lambda device, deviation: np.ones(len(device)))
    monkeypatch.setattr(fit, "_refined", lambda voltage, bits_at: float(np.median(voltage)))
    seen = {}
    monkeypatch.setattr(fit, "_stretch", lambda good, best, count: np.array([best]))

    def proposed(deviation: float) -> float:
        state = posterior.Posterior(
            np.zeros(2), np.ones(2), np.zeros(2), np.array([1 - deviation, 1 + deviation]), {}
        )
        return fit.information(state, device(), noise_V=0.0).next_V

    # 0.4 mV at the ends is as good as nothing; at 1.4 mV voltages from 0.5/1.4 of the way out count 1 mV.
    assert proposed(0.0004 / 0.6) == pytest.approx(3.6)
    spacing = 0.002
    assert abs(proposed(0.0014 / 0.6) - 3.6) == pytest.approx(0.6 * 0.5 / 1.4, abs=spacing)
    assert abs(proposed(0.0023 / 0.6) - 3.6) == pytest.approx(0.6 * 1.5 / 2.3, abs=spacing)
    assert seen == {}


@pytest.mark.parametrize("count", [20, 120])
def test_all_stretches_of_gain_are_looked_at_up_to_some_forty_five_readings(count: int) -> None:
    """Ends of n intervals meet up to about n² times; beyond 4000 an even choice, both outermost among it."""
    cells = np.sort(np.random.default_rng(4).uniform(3.0, 4.2, count)).round(7)
    shown = np.floor(cells * 10 + 0.5) / 10
    readings = read(*((f"{x:.7f}", f"{value:.1f}") for x, value in zip(cells, shown, strict=True)))
    gains, widths = posterior._gains(readings, device(bound="0.2"))
    edges = gains - widths / 2
    # Each end runs along 3.6 V − shown (+ a step) + g·(x − 3.6 V).
    starts = np.concatenate([3.6 - shown, 3.7 - shown])
    slopes = np.tile(cells - 3.6, 2)
    one, other = np.triu_indices(2 * count, 1)
    pairs = slopes[one] != slopes[other]
    one, other = one[pairs], other[pairs]
    meeting = (starts[other] - starts[one]) / (slopes[one] - slopes[other])
    meeting = np.sort(meeting[(meeting > 0.8) & (meeting < 1.2)])
    nearest = np.searchsorted((edges[:-1] + edges[1:]) / 2, meeting)
    met = np.abs(edges[nearest] - meeting) < 1e-9
    if count == 20:
        assert met.all()
    else:
        assert len(meeting) > 6000
        assert 4000 < len(gains) <= 4200
        assert met[0]
        assert met[-1]
        # Those looked at lie evenly among all.
        assert np.diff(np.flatnonzero(met)).max() <= len(meeting) / 4000 + 1


def test_a_step_that_explains_all_is_looked_for_among_the_parts_of_the_largest() -> None:
    """Values on 0.6 V taken for 0.1 V: of 0.2, 0.3 and 0.6 V the finest that fits is told; 0.2 V doesn't."""
    pairs = [("3.02", "3.0"), ("3.25", "3.0"), ("3.62", "3.6"), ("3.85", "3.6"), ("4.19", "4.2")]
    fitted = fit.fit_readings(read(*pairs), device())
    assert fitted.contradictory
    assert analysis._doubts_of_step(fitted) == (0.3, None)


def test_marks_without_numbers_stand_in_the_order_of_their_voltages() -> None:
    """With a number each by it: two bars come before ten, wherever they were read."""
    index = range(2, 6)
    reference = pd.Series([3.0, 3.2, 3.9, 4.1], index)
    for marks, order in (
        (["low", "mid", "mid", "full"], ["low", "mid", "full"]),
        (["half", "2 bars", "2 bars", "full"], ["half", "2 bars", "full"]),
        (["10 bars", "2 bars", "2 bars", "1 bar"], ["1 bar", "2 bars", "10 bars"]),
    ):
        assert list(analysis._ordered(pd.Series(marks, index), reference)) == order
