"""Budgets add up: drawn at random (JCGM 101), each gives the interval that stands beside its number."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent / "benchmarks"))

import budgets

from reviewkit.findings import Finding, measured
from reviewkit.metrology import Component, Measured


@pytest.mark.parametrize("seed", [2, 11])
def test_every_budget_of_a_review_gives_its_interval(seed: int) -> None:
    """A handful in a hundred may be off where the t distribution is an approximation, none by much."""
    told, lacking = budgets.review(seed)
    assert len(told) > 20
    assert not lacking
    assert [one for one in told if abs(one.ratio - 1) > 2 * budgets.MOST] == []
    assert sum(not one.adds_up for one in told) <= 0.05 * len(told)


def test_a_forgotten_term_shows() -> None:
    parts = (Component("accuracy", 0.01, "V", "rectangular"), Component("noise", 0.006, "V"))
    whole: Finding = measured("charge.hold_voltage", "hold voltage", Measured(4.2, "V", parts))
    (sound,) = budgets.sums(iter([whole]), 1)
    (short,) = budgets.sums(iter([replace(whole, budget=parts[:1])]), 1)
    assert sound.adds_up
    assert not short.adds_up


def test_what_is_shared_is_drawn_once() -> None:
    """GUM 5.2.2: two components of one unknown add up, they do not add in quadrature."""
    parts = tuple(Component("accuracy", 0.01, "V", shared="meter") for _ in range(2))
    half = budgets.drawn_half_width(parts, np.random.default_rng(1))
    assert half == pytest.approx(0.04, rel=0.02)
