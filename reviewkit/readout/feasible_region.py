"""Every readout that the readings allow: transition level, gain, maximum error.

In the reference's own scale a reading is two linear conditions on (transition level, gain), so what
several readings leave is a convex polygon. The accuracy that all readings share then moves that whole
polygon at once: readings cannot shrink it, and it cannot hide a contradiction between them. Corners are
rational and nothing is rounded, so a reading that lies right on a transition comes out right.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from reviewkit.readout.model import Interval, Model, Reading

FloatArray = npt.NDArray[np.float64]

Point = tuple[Fraction, Fraction]
"""A transition level [V] and a gain [1]."""


@dataclass(frozen=True)
class HalfPlane:
    """The condition ``level_factor·level + gain_factor·gain + constant ≥ 0``, or ``> 0``.

    Parameters
    ----------
    strict : bool
        Whether the edge itself is left out.
    """

    level_factor: Fraction
    gain_factor: Fraction
    constant: Fraction
    strict: bool = False

    def at(self, point: Point) -> Fraction:
        """Return the left side at a point: negative outside."""
        return self.level_factor * point[0] + self.gain_factor * point[1] + self.constant

    def edge(self, gain: Fraction) -> Point:
        """Return the point of the edge at a gain."""
        return -(self.gain_factor * gain + self.constant) / self.level_factor, gain

    def holds(self, point: Point) -> bool:
        """Whether the point fulfils the condition, the edge counted as it should be."""
        value = self.at(point)
        return value > 0 or (value == 0 and not self.strict)


def conditions(reading: Reading, model: Model) -> tuple[HalfPlane, HalfPlane]:
    """Return what one reading says about (level, gain) in the reference's own scale.

    Notes
    -----
    The device displays the upper value right at a transition, as rounding half up and cutting off do. One
    that rounds up displays the lower: the same with closed and open ends exchanged.
    """
    middle, one = model.middle_V, Fraction(1)
    above = reading.reference_V + reading.noise_V - middle
    below = reading.reference_V - reading.noise_V - middle
    return (
        HalfPlane(-one, above, middle - reading.displayed_V + model.step_V),
        HalfPlane(one, -below, reading.displayed_V - middle, strict=True),
    )


def gain_range(model: Model) -> tuple[Fraction, Fraction]:
    """Return the gains that bound and accuracy allow in the reference's own scale [1]."""
    slope, bound = model.reference.slope, model.gain_bound
    return (1 - bound) * (1 - slope), (1 + bound) * (1 + slope)


@dataclass(frozen=True)
class Region:
    """The readouts that a set of readings leaves.

    Parameters
    ----------
    planes : tuple of HalfPlane
        The readings' conditions in the reference's own scale.
    corners : tuple of Point
        Corners (level, gain) in true volts: moved from that scale by every shared error of the reference.
    """

    model: Model
    planes: tuple[HalfPlane, ...]
    corners: tuple[Point, ...]

    @property
    def transition(self) -> Interval:
        """Transition level at the middle of the working range [V]."""
        return self._interval(0)

    @property
    def gain(self) -> Interval:
        """Gain about the middle of the working range [1]."""
        return self._interval(1)

    def _interval(self, axis: int) -> Interval:
        values = [corner[axis] for corner in self.corners]
        low, high = min(values), max(values)
        if self.model.reach_V:  # somewhere within the accuracy lies the end itself
            return Interval(low, high)
        ends = [_centre([c for c in self.corners if c[axis] == end]) for end in (low, high)]
        first, last = (not all(plane.holds(end) for plane in self.planes) for end in ends)
        return Interval(low, high, first, last)

    def transition_voltage(self, step: int) -> tuple[float, float]:
        """Return the lowest and highest true voltage at which k·r gives way to (k + 1)·r [V]."""
        middle, lower = self.model.middle_V, step * self.model.step_V
        points = [float(middle + (lower + level - middle) / gain) for level, gain in self.corners]
        return min(points), max(points)

    def maximum_error(self) -> tuple[float, float]:
        """Return the least and the greatest maximum error of the readouts left [V].

        Notes
        -----
        The displayed value less the true one at v lies within ``e(v) … e(v) + r``, ``e(v) = m − p +
        g·(v − m) − v``, and comes arbitrarily close to both at each transition. e is linear in v, so the
        ends of the working range hold the greatest. A transition lies within r/g of each end, where e
        is by up to ``|g − 1|·r/g`` smaller: so much the maximum may fall short of that.
        """
        half = (self.model.high_V - self.model.low_V) / 2
        balanced, one = self.model.step_V / 2, Fraction(1)
        errors = []
        # In each quarter about (r/2, 1) the error at the ends is linear: corners hold its extremes.
        for side, way in ((side, way) for side in (-one, one) for way in (-one, one)):
            quarter = _clip(self.corners, HalfPlane(side, Fraction(), -side * balanced))
            quarter = _clip(quarter, HalfPlane(Fraction(), way, -way))
            errors += [abs(balanced - level) + balanced + half * abs(gain - 1) for level, gain in quarter]
        short = self.model.step_V * max(abs(gain - 1) / gain for _, gain in self.corners)
        return float(max(min(errors) - short, balanced)), float(max(errors))


def maximum_error(level_V: FloatArray, gain: FloatArray, model: Model) -> FloatArray:
    """Return the largest absolute error anywhere in the working range [V].

    Parameters
    ----------
    level_V, gain : array, same shape
        Transition level [V] and gain [1] of one or many readouts.

    Notes
    -----
    Taken at both ends of the range and on both sides of its first and its last transition: between those
    the error changes linearly from transition to transition.
    """
    low, high, middle, step = (float(v) for v in (model.low_V, model.high_V, model.middle_V, model.step_V))

    def steps_at(voltage: float) -> FloatArray:
        return np.asarray((middle + gain * (voltage - middle) - level_V) / step)

    def voltage_of(number: FloatArray) -> FloatArray:
        return np.asarray(middle + (number * step + level_V - middle) / gain)

    first, last = np.ceil(steps_at(low)), np.floor(steps_at(high))
    errors = [np.abs((np.floor(steps_at(end)) + 1) * step - end) for end in (low, high)]
    for number in (first, last):
        for shown in (number, number + 1):
            error = np.abs(shown * step - voltage_of(number))
            errors.append(np.where(first <= last, error, 0.0))
    return np.asarray(np.max(errors, axis=0))


def solve(readings: Sequence[Reading], model: Model) -> Region | None:
    """Return every readout that displays what was read, or None if there is none.

    Parameters
    ----------
    readings : sequence of Reading
        At least one.
    """
    planes = [plane for reading in readings for plane in conditions(reading, model)]
    # What the first reading leaves is bounded already.
    corners = _hull(plane.edge(gain) for gain in gain_range(model) for plane in planes[:2])
    for plane in planes[2:]:
        corners = _clip(corners, plane)
    # A condition that fails at the centre holds with equality on the whole polygon: the centre decides.
    if not corners or not all(plane.holds(_centre(corners)) for plane in planes):
        return None
    return Region(model, tuple(planes), tuple(_in_true_volts(corners, model)))


def _in_true_volts(corners: Sequence[Point], model: Model) -> list[Point]:
    """Return the polygon moved by every shared error, cut to the gains that the bound allows."""
    slope, floor = model.reference.slope, model.reference.floor
    moved = []
    for level, scale_gain in corners:
        for share in (-1, 1):
            gain = scale_gain / (1 - share * slope)
            moved += [
                (level - gain * (share * slope * model.middle_V + other * floor), gain) for other in (-1, 1)
            ]
    one, bound = Fraction(1), model.gain_bound
    left = _clip(_hull(moved), HalfPlane(Fraction(), one, bound - 1))
    return _clip(left, HalfPlane(Fraction(), -one, 1 + bound))


def _clip(corners: Sequence[Point], plane: HalfPlane) -> list[Point]:
    """Return the corners of what a half plane, edge included, leaves of a convex polygon.

    Parameters
    ----------
    corners : sequence of Point
        In order around the polygon; one or two for a point or a stretch of a line.
    """
    values = [plane.at(corner) for corner in corners]
    left: list[Point] = []
    for index, (corner, value) in enumerate(zip(corners, values, strict=True)):
        if value >= 0:
            left.append(corner)
        after, value_after = corners[index - len(corners) + 1], values[index - len(corners) + 1]
        if (value > 0 > value_after) or (value < 0 < value_after):
            share = value / (value - value_after)
            left.append(
                (corner[0] + share * (after[0] - corner[0]), corner[1] + share * (after[1] - corner[1]))
            )
    return list(dict.fromkeys(left))


def _centre(corners: Sequence[Point]) -> Point:
    """Return the mean of the corners: a point inside, or within the stretch if the polygon is flat."""
    count = len(corners)
    return (
        sum((corner[0] for corner in corners), Fraction()) / count,
        sum((corner[1] for corner in corners), Fraction()) / count,
    )


def _hull(points: Iterable[Point]) -> list[Point]:
    """Return the corners of the smallest convex polygon around the points, counter-clockwise."""
    ordered = sorted(set(points))
    if len(ordered) <= 2:
        return ordered
    lower, upper = _chain(ordered), _chain(ordered[::-1])
    return lower[:-1] + upper[:-1]


def _chain(points: Sequence[Point]) -> list[Point]:
    chain: list[Point] = []
    for point in points:
        while len(chain) >= 2 and _turn(chain[-2], chain[-1], point) <= 0:
            chain.pop()
        chain.append(point)
    return chain


def _turn(first: Point, second: Point, third: Point) -> Fraction:
    return (second[0] - first[0]) * (third[1] - first[1]) - (second[1] - first[1]) * (third[0] - first[0])
