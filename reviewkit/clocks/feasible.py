"""Offsets and rates that every pair of step and jump allows: a polygon, found by its corners."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reviewkit.clocks.steps import Array

QUARTZ = 50e-6
"""How far the rates of two quartz clocks differ at most: common practice, no source."""

ANY_CLOCK = 1e-3


@dataclass(frozen=True)
class Bounds:
    """What is left open.

    Parameters
    ----------
    low_s, high_s : float [s]
        Ends of the shift at the reference time.
    rate_low, rate_high : float
        Ends of the relative difference of the clocks' rates.
    scatter_s : float [s]
        By how much the pairs had to be widened to agree.
    """

    low_s: float
    high_s: float
    rate_low: float
    rate_high: float
    scatter_s: float


def bounds(since_s: Array, low_s: Array, high_s: Array, *, most_scatter_s: float) -> Bounds | None:
    """Return the shifts and rates that satisfy ``low ≤ shift + rate · since ≤ high`` for all pairs.

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
        corners = _corners(since_s, low_s, high_s, fastest)
        if len(corners):
            return _of(corners, 0.0)
    if not len(_corners(since_s, low_s - most_scatter_s, high_s + most_scatter_s, ANY_CLOCK)):
        return None
    few, many = 0.0, most_scatter_s
    for _ in range(20):
        middle = (few + many) / 2
        there = len(_corners(since_s, low_s - middle, high_s + middle, ANY_CLOCK)) > 0
        few, many = (few, middle) if there else (middle, many)
    # The widening that lets them just agree leaves a point; twice as much leaves room for the truth.
    return _of(_corners(since_s, low_s - 2 * many, high_s + 2 * many, ANY_CLOCK), many)


def _of(corners: Array, scatter_s: float) -> Bounds:
    (low, rate_low), (high, rate_high) = corners.min(axis=0), corners.max(axis=0)
    return Bounds(float(low), float(high), float(rate_low), float(rate_high), scatter_s)


def _corners(since_s: Array, low_s: Array, high_s: Array, fastest: float) -> Array:
    """Return the corners (shift, rate) of the polygon; no row where it is empty."""
    one, none = np.ones_like(since_s), np.zeros(1)
    # Rates are scaled so that both unknowns are of the same size.
    scale = max(1.0, float(np.abs(since_s).max(initial=0.0)))
    left = np.column_stack(
        [np.r_[one, -one, none, none], np.r_[since_s / scale, -since_s / scale, np.ones(1), -np.ones(1)]]
    )
    right = np.r_[high_s, -low_s, fastest * scale, fastest * scale]
    first, second = np.triu_indices(len(right), 1)
    det = left[first, 0] * left[second, 1] - left[first, 1] * left[second, 0]
    cross = np.abs(det) > 1e-12
    first, second, det = first[cross], second[cross], det[cross]
    shift = (right[first] * left[second, 1] - right[second] * left[first, 1]) / det
    rate = (left[first, 0] * right[second] - left[second, 0] * right[first]) / det
    points = np.column_stack([shift, rate])
    inside = (points @ left.T <= right + 1e-9).all(axis=1)
    return np.asarray(points[inside] / np.array([1.0, scale]))
