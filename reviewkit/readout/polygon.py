"""Convex polygons with rational corners: what several linear conditions on two unknowns leave.

Nothing here is rounded, and edges may belong to the set or not, so a reading that lies exactly on a
switching point comes out right.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

Point = tuple[Fraction, Fraction]
"""A switching place [V] and a gain [1]."""


@dataclass(frozen=True)
class HalfPlane:
    """The condition ``place_factor·place + gain_factor·gain + constant ≥ 0``, or ``> 0``.

    Parameters
    ----------
    place_factor, gain_factor, constant : Fraction
    strict : bool
        Whether the edge itself is left out.
    """

    place_factor: Fraction
    gain_factor: Fraction
    constant: Fraction
    strict: bool = False

    def at(self, point: Point) -> Fraction:
        """Return the left side at a point: negative outside."""
        return self.place_factor * point[0] + self.gain_factor * point[1] + self.constant

    def holds(self, point: Point) -> bool:
        """Whether the point fulfils the condition, the edge counted as it should be."""
        value = self.at(point)
        return value > 0 or (value == 0 and not self.strict)


def clip(corners: Sequence[Point], plane: HalfPlane) -> list[Point]:
    """Return the corners of what a half plane, edge included, leaves of a convex polygon.

    Parameters
    ----------
    corners : sequence of Point
        In order around the polygon; one or two for a point or a stretch of a line.
    plane : HalfPlane
    """
    values = [plane.at(corner) for corner in corners]
    kept: list[Point] = []
    for place, (corner, value) in enumerate(zip(corners, values, strict=True)):
        if value >= 0:
            kept.append(corner)
        after, value_after = corners[place - len(corners) + 1], values[place - len(corners) + 1]
        if (value > 0 > value_after) or (value < 0 < value_after):
            share = value / (value - value_after)
            kept.append(
                (corner[0] + share * (after[0] - corner[0]), corner[1] + share * (after[1] - corner[1]))
            )
    return list(dict.fromkeys(kept))


def centre(corners: Sequence[Point]) -> Point:
    """Return the mean of the corners: a point inside, or within the stretch if the polygon is flat."""
    count = len(corners)
    return (
        sum((corner[0] for corner in corners), Fraction()) / count,
        sum((corner[1] for corner in corners), Fraction()) / count,
    )


def is_empty(corners: Sequence[Point], planes: Iterable[HalfPlane]) -> bool:
    """Whether no point fulfils every condition, given the corners that remain with all edges included.

    A condition that fails at the centre holds with equality on the whole polygon (it is linear and
    nowhere negative there), so the centre decides.
    """
    if not corners:
        return True
    middle = centre(corners)
    return not all(plane.holds(middle) for plane in planes)


def hull(points: Iterable[Point]) -> list[Point]:
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
