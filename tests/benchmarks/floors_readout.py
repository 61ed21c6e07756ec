"""Floors of the readout's findings: every readout that the readings and the reference allow.

A linear programme over switching place, gain and the reference's one error, to first order in the gain's
small difference from 1; it shares nothing with the kit's own polygons.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog
from simulate.whole import Whole
from simulate.whole_readout import GAIN_BOUND_PERCENT, HIGH_V, LOW_V, DrawnReadout

_STEP = 0.1
_MIDDLE = (LOW_V + HIGH_V) / 2
_HALF_COUNT = 0.0005
_GAIN_BOUND = max(2 * GAIN_BOUND_PERCENT, 4.0) / 100
"""Twice the bound, at least 4 %: so far a gain is allowed for where the readings would fit one."""
_LOWEST, _HIGHEST = 30, 41
"""Steps that the working range touches, counted in tenths of a volt."""


def of(whole: Whole) -> dict[str, float]:
    """Return the readout's floors by key."""
    above, limits = _rows(whole.readout)

    def width(goal: tuple[float, ...]) -> float:
        return _most(above, limits, goal) + _most(above, limits, tuple(-one for one in goal))

    place = width((1.0, 0.0, 0.0, 0.0)) / 2
    names = ("switching_place", "offset_if_nearest", "offset_if_down", "offset_if_up")
    found = dict.fromkeys(names, place) | {
        "gain": width((0.0, 1.0, 0.0, 0.0)) / 2,
        "largest_error": _largest(above, limits, whole.readout.known()["switching_place"]),
    }
    return {f"readout.{name}": value for name, value in found.items()}


def _rows(drawn: DrawnReadout) -> tuple[np.ndarray, np.ndarray]:
    """Return the rows of ``above @ (place, gain − 1, error, 0) <= limits``."""
    above, limits = [], []
    for number, cell in enumerate(drawn.cells_V):
        if number == drawn.misread:
            continue
        shown, read = float(drawn.lamp.shows(cell)), float(drawn.reads(cell))
        reach = float(drawn.percent) / 100 * read + (float(drawn.counts) - 0.5) * 0.001
        # shown − step + place <= read + gain·(read − middle) − error·reach ± half a count < shown + place
        above += [[1.0, -(read - _MIDDLE), reach, 0.0], [-1.0, read - _MIDDLE, -reach, 0.0]]
        limits += [read + _HALF_COUNT - shown + _STEP, shown - read + _HALF_COUNT]
    return np.array(above), np.array(limits)


def _most(above: np.ndarray, limits: np.ndarray, goal: tuple[float, ...]) -> float:
    bounds = ((None, None), (-_GAIN_BOUND, _GAIN_BOUND), (-1.0, 1.0), (0.0, None))
    found = linprog([-one for one in goal], above, limits, bounds=bounds)
    return float(-found.fun) if found.success else float("nan")


def _ends(place_V: float) -> np.ndarray:
    """Return the readout's error at the ends of the range: rows of place and gain, and a constant."""
    low, high = (-(_STEP * number + place_V - _MIDDLE) for number in (_LOWEST, _HIGHEST))
    return np.array(
        [[1.0, low, 0.0, 0.0], [1.0, high, 0.0, 0.0], [-1.0, -low, 0.0, _STEP], [-1.0, -high, 0.0, _STEP]]
    )


def _largest(above: np.ndarray, limits: np.ndarray, place_V: float) -> float:
    """Return half of the range of the largest error: its highest end by end, its lowest at once."""
    ends = _ends(place_V)
    high = max(_most(above, limits, (*end[:3], 0.0)) + end[3] for end in ends)
    below = np.vstack([above, np.column_stack([ends[:, :3], -np.ones(len(ends))])])
    low = -_most(below, np.concatenate([limits, -ends[:, 3]]), (0.0, 0.0, 0.0, -1.0))
    return (high - low) / 2
