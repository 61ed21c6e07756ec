"""How far off the shown value can be anywhere in the working range.

Just below a switching point the readout is ``k·r − T_k`` off, just above it ``(k + 1)·r − T_k``; between
switching points the error lies between those. With ``t_k = T_k − k·r`` the largest error is the larger
of ``max t_k`` and ``r − min t_k``; half a step of it is the price of the resolution, whatever the
firmware does.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt

from reviewkit.readout.model import Model
from reviewkit.readout.region import Region

FloatArray = npt.NDArray[np.float64]


def largest_error(place_V: FloatArray, gain: FloatArray, model: Model) -> FloatArray:
    """Return the largest absolute error at any switching point of the working range [V].

    Parameters
    ----------
    place_V, gain : array, same shape
        Switching place [V] and gain [1] of one or many readouts.
    model : Model
        Every step that the working range touches counts.
    """
    step, middle = float(model.step_V), float(model.middle_V)
    ends = [
        middle + (place_V - middle) / gain + number * step * (1 / gain - 1)
        for number in (model.steps[0], model.steps[-1])
    ]
    highest, lowest = np.maximum(*ends), np.minimum(*ends)
    return np.maximum(highest, step - lowest)


def bounds(regions: Sequence[Region]) -> tuple[float, float]:
    """Return the smallest and the largest of the largest errors that the regions allow [V].

    Notes
    -----
    In 1/gain and place/gain the largest error is the maximum of linear functions: convex, so its maximum
    lies at a corner and its minimum is found by narrowing down.
    """
    low, high = [], []
    for region in regions:
        place, gain = np.array([(float(p), float(g)) for p, g in region.corners]).T
        high.append(float(largest_error(place, gain, region.model).max()))
        low.append(_least(region))
    return round(min(low), 9), round(max(high), 9)


def _least(region: Region) -> float:
    corners = [(float(place), float(gain)) for place, gain in region.corners]
    gains = [gain for _, gain in corners]
    step, middle, steps = float(region.model.step_V), float(region.model.middle_V), region.model.steps

    def at(gain: float) -> float:
        """Return the least error at a gain: where the ends balance, or as near as the slice allows."""
        shifts = [middle + number * step * (1 / gain - 1) for number in (steps[0], steps[-1])]
        places = _slice(corners, gain)
        balanced = middle + gain * (step - sum(shifts)) / 2
        own = (min(max(balanced, min(places)), max(places)) - middle) / gain
        return max(own + max(shifts), step - own - min(shifts))

    return _narrowed(at, min(gains), max(gains))


def _slice(corners: Sequence[tuple[float, float]], gain: float) -> list[float]:
    """Return the places at which the polygon's edges cross a gain."""
    places = []
    for number, (place, at) in enumerate(corners):
        before, at_before = corners[number - 1]
        low, high = min(at, at_before), max(at, at_before)
        if low == high:
            places += [place, before] if abs(gain - at) < 1e-12 else []
        elif low <= gain <= high:
            places.append(before + (place - before) * (gain - at_before) / (at - at_before))
    return places or [min(corners, key=lambda corner: abs(corner[1] - gain))[0]]


def _narrowed(function: Callable[[float], float], low: float, high: float) -> float:
    """Return the minimum of a function that first falls and then rises."""
    for _ in range(60 if high > low else 0):
        third = (high - low) / 3
        if function(low + third) <= function(high - third):
            high -= third
        else:
            low += third
    return function((low + high) / 2)
