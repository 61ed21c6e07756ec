"""Every readout that the readings allow, exactly: switching place, gain, switching points.

In the reference's own scale a reading is two linear conditions on (place, gain). The accuracy that all
readings share then moves that whole polygon at once, along one line: readings cannot shrink it, and it
cannot hide a contradiction between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from reviewkit.readout import polygon
from reviewkit.readout.model import Interval, Model, Reading
from reviewkit.readout.polygon import HalfPlane, Point

_FAR = Fraction(1000)


def conditions(reading: Reading, model: Model, *, lower_at_tie: bool = False) -> tuple[HalfPlane, HalfPlane]:
    """Return what one reading says about (place, gain) in the reference's own scale.

    Parameters
    ----------
    reading : Reading
    model : Model
    lower_at_tie : bool
        Whether the device shows the lower value exactly at a switching point, as rounding up does.
        Rounding half up and cutting off show the upper one.
    """
    middle, one = model.middle_V, Fraction(1)
    above = reading.reference_V + reading.noise_V - middle
    below = reading.reference_V - reading.noise_V - middle
    return (
        HalfPlane(-one, above, middle - reading.shown_V + model.step_V, strict=lower_at_tie),
        HalfPlane(one, -below, reading.shown_V - middle, strict=not lower_at_tie),
    )


def start(model: Model) -> list[Point]:
    """Return the corners before any reading: any place, every gain that bound and accuracy allow."""
    slope, bound = model.reference.slope, model.gain_bound
    low, high = (1 - bound) * (1 - slope), (1 + bound) * (1 + slope)
    return polygon.hull([(-_FAR, low), (_FAR, low), (_FAR, high), (-_FAR, high)])


@dataclass(frozen=True)
class Region:
    """The readouts that a set of readings leaves.

    Parameters
    ----------
    model : Model
    scale_corners : tuple of Point
        Corners (place, gain) in the reference's own scale.
    planes : tuple of HalfPlane
        The readings' conditions in that scale.
    corners : tuple of Point
        Corners (place, gain) in true volts: the above, moved by every shared error of the reference.
    """

    model: Model
    scale_corners: tuple[Point, ...]
    planes: tuple[HalfPlane, ...]
    corners: tuple[Point, ...]

    @property
    def place(self) -> Interval:
        """Switching place at the middle of the working range [V]."""
        return self._interval(0)

    @property
    def scale_place(self) -> Interval:
        """The place if the reference had no shared error: what the readings alone leave open [V]."""
        places = [corner[0] for corner in self.scale_corners]
        return Interval(min(places), max(places))

    @property
    def gain(self) -> Interval:
        """Gain about the middle of the working range [1]."""
        return self._interval(1)

    def _interval(self, axis: int) -> Interval:
        values = [corner[axis] for corner in self.corners]
        low, high = min(values), max(values)
        ends = [polygon.centre([c for c in self.corners if c[axis] == end]) for end in (low, high)]
        return Interval(low, high, not self.holds(ends[0]), not self.holds(ends[1]))

    def switching_point(self, step: int) -> tuple[float, float]:
        """Return the lowest and highest true voltage at which k·r changes to (k + 1)·r [V]."""
        middle, lower = self.model.middle_V, step * self.model.step_V
        points = [float(middle + (lower + place - middle) / gain) for place, gain in self.corners]
        return min(points), max(points)

    def holds(self, point: Point) -> bool:
        """Whether a readout of this (place, gain) in true volts shows all that was read.

        Notes
        -----
        Some shared error of the reference must fit every reading: with u = gain·θ each condition is
        linear in u, so the possible u form an interval, and its middle decides about open ends.
        """
        gain = point[1]
        reach, slope = self.model.reach_V, self.model.reference.slope
        if abs(gain - 1) > self.model.gain_bound:
            return False
        low, high = -gain, gain
        moved = []
        for plane in self.planes:
            per_u = plane.place_factor * reach - plane.gain_factor * slope
            value = plane.at(point)
            moved.append((value, per_u, plane.strict))
            if per_u > 0:
                low = max(low, -value / per_u)
            elif per_u < 0:
                high = min(high, -value / per_u)
        middle = (low + high) / 2
        sides = ((value + per_u * middle, strict) for value, per_u, strict in moved)
        return low <= high and all(side > 0 or (side == 0 and not strict) for side, strict in sides)


def solve(readings: Sequence[Reading], model: Model, *, lower_at_tie: bool = False) -> Region | None:
    """Return every readout that shows what was read, or None if there is none.

    Parameters
    ----------
    readings : sequence of Reading
        At least one.
    model : Model
    lower_at_tie : bool
        See `conditions`.
    """
    planes: list[HalfPlane] = []
    corners = start(model)
    for reading in readings:
        pair = conditions(reading, model, lower_at_tie=lower_at_tie)
        planes += pair
        for plane in pair:
            corners = polygon.clip(corners, plane)
    if polygon.is_empty(corners, planes):
        return None
    return Region(model, tuple(corners), tuple(planes), tuple(_in_true_volts(corners, model)))


def _in_true_volts(corners: Sequence[Point], model: Model) -> list[Point]:
    """Return the polygon moved by every shared error, cut to the gains that the bound allows."""
    reach, slope = model.reach_V, model.reference.slope
    moved = [
        (place - u * reach, gain + u * slope)
        for place, gain in corners
        for u in (-gain / (1 + slope), gain / (1 - slope))
    ]
    one, bound = Fraction(1), model.gain_bound
    left = polygon.clip(polygon.hull(moved), HalfPlane(Fraction(), one, bound - 1))
    return polygon.clip(left, HalfPlane(Fraction(), -one, 1 + bound))
