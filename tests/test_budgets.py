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
    told, lacking = budgets.review(seed)
    assert len(told) > 20
    assert not lacking
    assert [one for one in told if not one.adds_up] == []


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
    halves = budgets.drawn_half_widths(parts, np.random.default_rng(1))
    assert halves == pytest.approx((0.04, 0.04), rel=0.02)


def test_few_degrees_of_freedom_widen_it() -> None:
    """t for 4 degrees of freedom and 95.45 %: 2.87 (GUM Table G.2); nothing bounded, so both ways agree."""
    parts = (Component("scatter", 1.0, "V", dof=4),)
    halves = budgets.drawn_half_widths(parts, np.random.default_rng(1))
    assert halves == pytest.approx((2.87, 2.87), rel=0.03)
