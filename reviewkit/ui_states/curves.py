"""Lines of the state graph: bent around states, clear of each other, with room for their labels."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from reviewkit.ui_states.drawn import HALF_HEIGHT, HALF_WIDTH, WIDTH, FloatArray, Line, Node, Point

_BENDS = (0.0, 16.0, -16.0, 30.0, -30.0, 48.0, -48.0, 70.0, -70.0, 100.0, -100.0, 140.0, -140.0)


def curve(one: Node, other: Node, nodes: Sequence[Node], made: Sequence[Line]) -> tuple[Point, ...]:
    """Return the bent line that hits the fewest states and keeps off lines already drawn."""
    others = [node for node in nodes if node.name not in (one.name, other.name)]
    # A line between the same two states the other way round runs through the same middle.
    drawn = np.concatenate([_segments(line.points) for line in made]) if made else np.empty((0, 2, 2))
    middles = [line.points[len(line.points) // 2] for line in made]

    def penalty(bend: float) -> float:
        points = _bent(one, other, bend)
        hits = sum(_inside(point, node, 6) for point in points for node in others)
        out = sum(not 4 < x < WIDTH - 4 for x, _ in points)
        x, y = points[len(points) // 2]
        close = sum(max(0.0, 22 - math.hypot(x - mx, y - my)) for mx, my in middles)
        crossed = _crossings(_segments(points), drawn) if made else 0
        # Between neighbours of one row a straight line has no room for its label.
        short = max(0, 12 - len(_clipped(points, one, other)))
        return 40 * hits + 12 * short + 60 * out + 6 * close + 9 * crossed + abs(bend)

    return _clipped(_bent(one, other, min(_BENDS, key=penalty)), one, other)


def _segments(points: Sequence[Point]) -> FloatArray:
    """Return a line as a few straight pieces: start and end of each, shape (pieces, 2, 2)."""
    corners = np.asarray(points[::5], dtype=float)
    return np.stack([corners[:-1], corners[1:]], axis=1)


def _crossings(first: FloatArray, second: FloatArray) -> int:
    """Return how often the pieces of one line cross those of others."""
    one, other = first[:, None], second[None, :]
    apart = _sides(one, other[..., 0, :]) * _sides(one, other[..., 1, :]) < 0
    also = _sides(other, one[..., 0, :]) * _sides(other, one[..., 1, :]) < 0
    return int(np.count_nonzero(apart & also))


def _sides(piece: FloatArray, point: FloatArray) -> FloatArray:
    """Return on which side of the pieces the points lie, as a sign."""
    along, to = piece[..., 1, :] - piece[..., 0, :], point - piece[..., 0, :]
    return np.asarray(along[..., 0] * to[..., 1] - along[..., 1] * to[..., 0])


def _bent(one: Node, other: Node, bend: float, count: int = 41) -> list[Point]:
    dx, dy = other.x - one.x, other.y - one.y
    length = math.hypot(dx, dy) or 1.0
    middle = ((one.x + other.x) / 2 - 2 * bend * dy / length, (one.y + other.y) / 2 + 2 * bend * dx / length)
    return [
        (
            (1 - t) ** 2 * one.x + 2 * t * (1 - t) * middle[0] + t**2 * other.x,
            (1 - t) ** 2 * one.y + 2 * t * (1 - t) * middle[1] + t**2 * other.y,
        )
        for t in (step / (count - 1) for step in range(count))
    ]


def _inside(point: Point, node: Node, margin: float) -> bool:
    return abs(point[0] - node.x) < HALF_WIDTH + margin and abs(point[1] - node.y) < HALF_HEIGHT + margin


def _clipped(points: Sequence[Point], one: Node, other: Node) -> tuple[Point, ...]:
    """Return the part of a line outside both boxes; never fewer than two points."""
    kept = tuple(point for point in points if not _inside(point, one, 2) and not _inside(point, other, 4))
    return kept if len(kept) > 1 else (points[0], points[-1])


def label(points: Sequence[Point], nodes: Iterable[Node], labels: Sequence[Point]) -> Point:
    """Return the place on a line that is farthest from states and other labels, near its middle."""
    boxes = list(nodes)

    def room(place: int) -> float:
        x, y = points[place]
        free = min((math.hypot(x - lx, y - ly) for lx, ly in labels), default=99.0)
        box = min(max(abs(x - node.x) - HALF_WIDTH, abs(y - node.y) - HALF_HEIGHT) for node in boxes)
        off = abs(place / len(points) - 0.45)
        # Its own arrowhead stays free too.
        free = min(free, math.dist(points[place], points[-1]))
        return min(free, 26.0) + 1.5 * min(box, 10.0) - 8 * off

    return points[max(range(len(points)), key=room)]
