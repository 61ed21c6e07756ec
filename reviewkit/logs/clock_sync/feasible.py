"""Offsets and rates that every pair of step and jump allows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reviewkit.logs.clock_sync.steps import Array
from reviewkit.metrology import COVERAGE

QUARTZ = 150e-6
"""How far the rates of two quartz clocks differ at most, each up to 50 millionths off and more when warm:
common practice, no source."""

ANY_CLOCK = 1e-3
_RATE_STEP = 0.5e-6


@dataclass(frozen=True)
class Bounds:
    """What the pairs leave open, each as middle and half-width of the 95 % interval.

    Parameters
    ----------
    shift_s, shift_half_s : float [s]
        At the reference time.
    rate, rate_half : float
        Relative difference of the clocks' rates.
    scatter_s : float [s]
        By how much the pairs had to be widened to agree.
    """

    shift_s: float
    shift_half_s: float
    rate: float
    rate_half: float
    scatter_s: float = 0.0


def bounds(since_s: Array, low_s: Array, high_s: Array, *, most_scatter_s: float) -> Bounds | None:
    """Return the shifts and rates that satisfy ``low ≤ shift + rate · since ≤ high`` for all pairs.

    Every shift that the pairs allow is taken as equally likely; a small difference of the rates as
    likelier than a large one.

    Parameters
    ----------
    since_s : array [s]
        Time of each pair since the reference time.
    low_s, high_s : array [s]
        Ends of the shift that each pair allows.
    most_scatter_s : float [s]
        The bounds may be widened by so much.

    Returns
    -------
    Bounds or None
        None where the pairs contradict each other.
    """
    for fastest in (QUARTZ, ANY_CLOCK):
        found = _at_rates(since_s, low_s, high_s, fastest, 0.0)
        if found is not None:
            return found
    few, many = 0.0, most_scatter_s
    if _at_rates(since_s, low_s, high_s, ANY_CLOCK, many) is None:
        return None
    for _ in range(12):
        middle = (few + many) / 2
        fits = _at_rates(since_s, low_s, high_s, ANY_CLOCK, middle) is not None
        few, many = (few, middle) if fits else (middle, many)
    # The widening that lets them just agree leaves a point; twice as much leaves room for the truth.
    return _at_rates(since_s, low_s, high_s, ANY_CLOCK, 2 * many)


def _at_rates(since_s: Array, low_s: Array, high_s: Array, fastest: float, scatter_s: float) -> Bounds | None:
    """Return what is left open with rates up to `fastest`, tried one by one."""
    rates = np.arange(-fastest, fastest + _RATE_STEP / 2, _RATE_STEP)
    drift = rates[:, None] * since_s[None, :]
    low = np.max(low_s - scatter_s - drift, axis=1)
    high = np.min(high_s + scatter_s - drift, axis=1)
    fits = high > low
    if not fits.any():
        return None
    rates, low, high = rates[fits], low[fits], high[fits]
    weight = (1.02 - np.abs(rates) / fastest) * (high - low)
    shift_s = float(np.average((low + high) / 2, weights=weight))
    rate = float(np.average(rates, weights=weight))
    return Bounds(
        shift_s,
        _half(low - shift_s, high - shift_s, weight),
        rate,
        _half(rates - rate - _RATE_STEP / 2, rates - rate + _RATE_STEP / 2, weight),
        scatter_s,
    )


def _half(low: Array, high: Array, weight: Array) -> float:
    """Return the half-width around 0 that holds 95 % of evenly filled stretches."""
    few, many = 0.0, float(np.max(np.abs(np.r_[low, high])))
    for _ in range(30):
        half = (few + many) / 2
        inside = np.clip(np.minimum(high, half) - np.maximum(low, -half), 0.0, None) / (high - low)
        few, many = (half, many) if np.average(inside, weights=weight) < COVERAGE else (few, half)
    return many
