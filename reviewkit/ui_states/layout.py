"""Where each state and each line of the state graph is drawn, in pixels of a narrow screen.

States stand in rows by their distance from the first one, at most three beside each other. Lines bend
around the states between their ends; their short labels keep clear of states and of each other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from reviewkit.metrology import formatting
from reviewkit.ui_states import plan
from reviewkit.ui_states.analysis import Assessment
from reviewkit.ui_states.model import Machine
from reviewkit.ui_states.reach import Hazard

WIDTH = 340.0
"""Width of the drawing [px]."""
ROW = 112.0
"""Distance of the rows [px]."""
HALF_WIDTH, HALF_HEIGHT = 48.0, 24.0
"""Half the size of a state's box [px]."""

Point = tuple[float, float]
FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Node:
    """A state on the drawing: middle of its box [px], y downwards negative."""

    name: str
    x: float
    y: float


@dataclass(frozen=True)
class Line:
    """All events of one kind from one state to another, as one line; by hand, also those back.

    Parameters
    ----------
    events, back : tuple of str
        What leads there, and what leads back.
    text : str
        Short labels: numbers for events by hand, capital letters for those from outside; with arrows
        where it is a line both ways.
    hazardous : bool
        Whether it is a step of a hazard's shortest path.
    points : tuple of (x, y) [px]
    label : (x, y) [px]
    """

    state: str
    next: str
    events: tuple[str, ...]
    back: tuple[str, ...]
    text: str
    outside: bool
    hazardous: bool
    points: tuple[Point, ...]
    label: Point

    @property
    def kept_free(self) -> tuple[Point, ...]:
        """Where no other label may lie: on its label and its arrowheads."""
        return (self.label, self.points[-1], *self.points[: 1 if self.back else 0])

    @property
    def words(self) -> str:
        """What it says in full: "press: standby → low"."""
        there = f"{formatting.listed(self.events, last='or')}: {self.state} → {self.next}"
        back = f"{formatting.listed(self.back, last='or')}: {self.next} → {self.state}"
        return f"{there}; {back}" if self.back else there


BESIDE = 3
"""Most states in a row."""


@dataclass(frozen=True)
class Drawing:
    """The state graph, placed.

    Parameters
    ----------
    lines : tuple of Line
        Events that change nothing are left out.
    codes : dict of str to str
        Each event's short label.
    height : float [px]
    """

    nodes: tuple[Node, ...]
    lines: tuple[Line, ...]
    codes: dict[str, str]
    height: float


def drawing(result: Assessment) -> Drawing:
    """Return where the state graph of an assessment puts its states and lines.

    Examples
    --------
    >>> drawing(result).codes["press"]
    '1'
    """
    return draw(result.machine, result.hazards)


def draw(machine: Machine, hazards: Sequence[Hazard] = ()) -> Drawing:
    """Return where everything goes.

    Examples
    --------
    >>> draw(result.machine).nodes[0].name
    'standby'
    """
    rows = _rows(machine)
    nodes = tuple(
        Node(name, WIDTH * (place + 0.5) / len(row), -ROW * (depth + 0.5))
        for depth, row in enumerate(rows)
        for place, name in enumerate(row)
    )
    codes = event_codes(machine)
    return Drawing(nodes, _lines(machine, hazards, nodes, codes), codes, ROW * len(rows))


def event_codes(machine: Machine) -> dict[str, str]:
    """Return short labels: 1, 2, 3 for events by hand, A, B, C for those from outside."""
    hand = [name for name, event in machine.events.items() if not event.outside]
    outside = [name for name, event in machine.events.items() if event.outside]
    letters = {name: chr(ord("A") + place % 26) + "’" * (place // 26) for place, name in enumerate(outside)}
    return {name: str(place) for place, name in enumerate(hand, start=1)} | letters


def _rows(machine: Machine) -> list[list[str]]:
    """Return the states in rows, ordered so that neighbours stand near each other."""
    ranks = plan.ranks(machine)
    rows: list[list[str]] = []
    for rank in sorted(set(ranks.values())):
        names = [name for name in machine.states if ranks[name] == rank]
        count = math.ceil(len(names) / BESIDE)
        size = math.ceil(len(names) / count)
        rows += [names[start : start + size] for start in range(0, len(names), size)]
    near = {name: _neighbours(machine, name) for name in machine.states}
    for _ in range(8):
        for row in (*rows, *reversed(rows)):
            place = {name: (spot + 0.5) / len(line) for line in rows for spot, name in enumerate(line)}
            row.sort(key=lambda name: _mean([place[other] for other in near[name]], place[name]))
    return rows


def _neighbours(machine: Machine, name: str) -> set[str]:
    return {
        other
        for edge in machine.edges
        for here, other in ((edge.state, edge.next), (edge.next, edge.state))
        if here == name and other != name
    }


def _mean(values: Sequence[float], otherwise: float) -> float:
    # The same in whatever order they come, so that the drawing is the same in every run.
    return math.fsum(values) / len(values) if values else otherwise


@dataclass(frozen=True)
class _Bundle:
    one: Node
    other: Node
    events: tuple[str, ...]
    back: tuple[str, ...]
    outside: bool
    hazardous: bool

    @property
    def order(self) -> tuple[bool, bool, float]:
        """Hazards get the best places, then outside events; short lines before long ones."""
        length = math.hypot(self.one.x - self.other.x, self.one.y - self.other.y)
        return not self.hazardous, not self.outside, length


def _lines(
    machine: Machine, hazards: Sequence[Hazard], nodes: Sequence[Node], codes: dict[str, str]
) -> tuple[Line, ...]:
    made: list[Line] = []
    for item in sorted(_bundles(machine, hazards, nodes), key=lambda bundle: bundle.order):
        points = _curve(item.one, item.other, nodes, made)
        made.append(
            Line(
                item.one.name,
                item.other.name,
                item.events,
                item.back,
                _text(item, codes),
                item.outside,
                item.hazardous,
                points,
                _label(points, nodes, [spot for line in made for spot in line.kept_free]),
            )
        )
    return tuple(made)


def _bundles(machine: Machine, hazards: Sequence[Hazard], nodes: Sequence[Node]) -> list[_Bundle]:
    by_name = {node.name: node for node in nodes}
    bad = {(step.state, step.next, step.event) for item in hazards for step in item.steps}
    ways: dict[tuple[str, str, bool, bool], list[str]] = {}
    for edge in machine.edges:
        if edge.next != edge.state:
            hazardous = (edge.state, edge.next, edge.event) in bad
            key = (edge.state, edge.next, machine.events[edge.event].outside, hazardous)
            ways.setdefault(key, []).append(edge.event)
    found = []
    for (one, other, outside, hazardous), events in ways.items():
        back = [] if outside else ways.get((other, one, False, False), [])
        if back and one > other:
            continue
        found.append(_Bundle(by_name[one], by_name[other], tuple(events), tuple(back), outside, hazardous))
    return found


def _text(item: _Bundle, codes: dict[str, str]) -> str:
    there, back = (" ".join(codes[name] for name in events) for events in (item.events, item.back))
    if not back or there == back:
        return there
    if item.one.y != item.other.y:
        down, up = (there, back) if item.one.y > item.other.y else (back, there)
        return f"{down}↓ {up}↑"
    right, left = (there, back) if item.one.x < item.other.x else (back, there)
    return f"{right}→ {left}←"


_BENDS = (0.0, 16.0, -16.0, 30.0, -30.0, 48.0, -48.0, 70.0, -70.0, 100.0, -100.0, 140.0, -140.0)
_POINTS = 41
_ALONG = [step / (_POINTS - 1) for step in range(_POINTS)]
_WEIGHTS = np.array([((1 - t) ** 2, 2 * t * (1 - t), t**2) for t in _ALONG]).T
"""Share of the start, of the bend and of the end in each point of a line, shape (3, points)."""


def _curve(one: Node, other: Node, nodes: Sequence[Node], made: Sequence[Line]) -> tuple[Point, ...]:
    """Return the bent line that hits the fewest states and keeps off lines already drawn."""
    others = [node for node in nodes if node.name not in (one.name, other.name)]
    ways = _bent(one, other)
    middles = [line.points[len(line.points) // 2] for line in made]
    hits = np.sum([np.count_nonzero(_inside(ways, node, 6), axis=1) for node in others], axis=0)
    out = np.sum(~((ways[..., 0] > 4) & (ways[..., 0] < WIDTH - 4)), axis=1)
    close = [_crowding(way[_POINTS // 2], middles) for way in ways]
    outside = ~(_inside(ways, one, 2) | _inside(ways, other, 4))
    # Between neighbours of one row a straight line has no room for its label.
    short = np.maximum(0, 12 - np.maximum(2, np.sum(outside, axis=1)))
    penalty = 40 * hits + 12 * short + 60 * out + 6 * np.array(close) + 9 * _crossings(ways, made)
    best = int(np.argmin(penalty + np.abs(_BENDS)))
    return _clipped(ways[best], outside[best])


def _bent(one: Node, other: Node) -> FloatArray:
    """Return the line with each bend, shape (bends, points, 2)."""
    dx, dy = other.x - one.x, other.y - one.y
    length = math.hypot(dx, dy) or 1.0
    bends = np.array(_BENDS)[:, None]
    middle_x = (one.x + other.x) / 2 - 2 * bends * dy / length
    middle_y = (one.y + other.y) / 2 + 2 * bends * dx / length
    start, bend, end = _WEIGHTS
    return np.stack(
        [
            start * one.x + bend * middle_x + end * other.x,
            start * one.y + bend * middle_y + end * other.y,
        ],
        axis=-1,
    )


def _crowding(middle: FloatArray, middles: Sequence[Point]) -> float:
    """Return how near the middles of other lines are; between the same two states it is the same place."""
    x, y = middle.tolist()
    return sum(max(0.0, 22 - math.hypot(x - mx, y - my)) for mx, my in middles)


def _crossings(ways: FloatArray, made: Sequence[Line]) -> npt.NDArray[np.int64]:
    """Return how often each way crosses the lines already drawn, shape (bends,)."""
    if not made:
        return np.zeros(len(ways), dtype=np.int64)
    first = _segments(ways)[:, :, None]
    second = np.concatenate([_segments(np.array(line.points)) for line in made])
    apart = _sides(first, second[:, 0, :]) * _sides(first, second[:, 1, :]) < 0
    also = _sides(second, first[..., 0, :]) * _sides(second, first[..., 1, :]) < 0
    return np.asarray(np.count_nonzero(apart & also, axis=(1, 2)))


def _segments(points: FloatArray) -> FloatArray:
    """Return lines as a few straight pieces: start and end of each, shape (…, pieces, 2, 2)."""
    corners = points[..., ::5, :]
    return np.stack([corners[..., :-1, :], corners[..., 1:, :]], axis=-2)


def _sides(piece: FloatArray, point: FloatArray) -> FloatArray:
    """Return on which side of the pieces the points lie, as a sign."""
    along, to = piece[..., 1, :] - piece[..., 0, :], point - piece[..., 0, :]
    return np.asarray(along[..., 0] * to[..., 1] - along[..., 1] * to[..., 0])


def _inside(points: FloatArray, node: Node, margin: float) -> npt.NDArray[np.bool_]:
    """Return which points lie in a state's box or nearer to it than the margin [px]."""
    wide = np.abs(points[..., 0] - node.x) < HALF_WIDTH + margin
    high = np.abs(points[..., 1] - node.y) < HALF_HEIGHT + margin
    return np.asarray(wide & high)


def _clipped(points: FloatArray, outside: npt.NDArray[np.bool_]) -> tuple[Point, ...]:
    """Return the part of a line outside both boxes; never fewer than two points."""
    kept = points[outside] if np.count_nonzero(outside) > 1 else points[[0, -1]]
    return tuple((x, y) for x, y in kept.tolist())


def _label(points: Sequence[Point], nodes: Iterable[Node], labels: Sequence[Point]) -> Point:
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
