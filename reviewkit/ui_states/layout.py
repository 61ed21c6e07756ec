"""Where each state, and each way that outside events open, is drawn, in pixels of a narrow screen.

At most three states stand beside each other, placed so that few lines cross and none runs behind a state;
what a device is left in stands as high as that allows. States that no outside event leaves or leads to come
last. Lines bend around the states between their ends; their short labels keep clear of states and of each
other. Events by hand are not drawn: with no one there they do not happen.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from reviewkit.metrology import formatting
from reviewkit.ui_states import evidence
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
    """All outside events from one state to another, as one line.

    Parameters
    ----------
    events : tuple of str
        What leads there.
    text : str
        Their short labels, capital letters.
    hazardous : bool
        Whether it is a step of a hazard's shortest path.
    points : tuple of (x, y) [px]
    label : (x, y) [px]
    """

    state: str
    next: str
    events: tuple[str, ...]
    text: str
    hazardous: bool
    points: tuple[Point, ...]
    label: Point

    @property
    def kept_free(self) -> tuple[Point, ...]:
        """Where no other label may lie: on its label and its arrowhead."""
        return self.label, self.points[-1]

    @property
    def words(self) -> str:
        """What it says in full: "power lost: charging → no power"."""
        return f"{formatting.listed(self.events, last='or')}: {self.state} → {self.next}"


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
    codes = event_codes(machine)
    tried = [(nodes, _lines(machine, hazards, nodes, codes)) for nodes in _placings(machine)]
    nodes, lines = min(tried, key=lambda one: _faults(*one))
    height = max(-node.y for node in nodes) + HALF_HEIGHT + _EDGE
    return Drawing(nodes, lines, codes, height)


def event_codes(machine: Machine) -> dict[str, str]:
    """Return short labels: 1, 2, 3 for events by hand, A, B, C for those from outside."""
    hand = [name for name, event in machine.events.items() if not event.outside]
    outside = [name for name, event in machine.events.items() if event.outside]
    letters = {name: chr(ord("A") + index % 26) + "’" * (index // 26) for index, name in enumerate(outside)}
    return {name: str(index) for index, name in enumerate(hand, start=1)} | letters


_EDGE = 34.0
"""Room above the first row and below the last one [px]."""
_BARE_ROW = 2 * HALF_HEIGHT + 12
"""Distance of rows between which no line runs [px]."""


def _placings(machine: Machine) -> list[tuple[Node, ...]]:
    """Return good places for every state, found from several orders to begin with."""
    ways = _ways(machine)
    joined = [name for name in machine.states if any(name in way for way in ways)]
    left_in, ranks = frozenset(machine.leave_in), evidence.ranks(machine)
    starts = (sorted(joined, key=ranks.__getitem__), joined, joined[::-1])
    grids = [_untangled(order, ways, left_in) for order in starts]
    different = {tuple(sorted(slots.items())): slots for slots in grids}
    return [_placed(machine, slots) for slots in different.values()]


def _placed(machine: Machine, slots: dict[str, int]) -> tuple[Node, ...]:
    """Return every state in its place: those that lines join first, then the others."""
    rows = {row: index for index, row in enumerate(sorted({slot // BESIDE for slot in slots.values()}))}
    top = -_EDGE - HALF_HEIGHT
    nodes = [Node(name, _across(slot), top - ROW * rows[slot // BESIDE]) for name, slot in slots.items()]
    if nodes:
        top = min(node.y for node in nodes) - _BARE_ROW - _EDGE / 2
    others = [name for name in machine.states if name not in slots]
    nodes += [
        Node(name, _across(index), top - _BARE_ROW * (index // BESIDE)) for index, name in enumerate(others)
    ]
    by_name = {node.name: node for node in nodes}
    return tuple(by_name[name] for name in machine.states)


def _faults(nodes: Sequence[Node], lines: Sequence[Line]) -> int:
    """Return how much of a drawing is hard to read: points behind a state, and lines that cross."""
    points = [np.array(line.points) for line in lines]
    behind = sum(
        int(np.count_nonzero(_inside(points[number], node, -8)))
        for number, line in enumerate(lines)
        for node in nodes
        if node.name not in (line.state, line.next)
    )
    crossing = sum(
        int(_crossings(points[number][None], lines[:number])[0]) for number in range(1, len(lines))
    )
    return 6 * behind + crossing


def _across(slot: int) -> float:
    return WIDTH * (slot % BESIDE + 0.5) / BESIDE


def _ways(machine: Machine) -> list[tuple[str, str]]:
    """Return from which state to which outside events lead, each pair once."""
    outside = (
        edge for edge in machine.edges if machine.events[edge.event].outside and edge.next != edge.state
    )
    return list(dict.fromkeys((edge.state, edge.next) for edge in outside))


def _untangled(
    order: Sequence[str], ways: Sequence[tuple[str, str]], left_in: frozenset[str]
) -> dict[str, int]:
    """Return a place for each state.

    From an order on, two places are exchanged for as long as that makes the drawing plainer.
    """
    count = BESIDE * math.ceil((len(order) + 4) / BESIDE)
    grid: list[str | None] = [*order, *[None] * (count - len(order))]
    best, changed = _tangle(grid, ways, left_in), True
    while changed:
        changed = False
        for one, other in combinations(range(count), 2):
            if grid[one] is grid[other]:
                continue
            grid[one], grid[other] = grid[other], grid[one]
            cost = _tangle(grid, ways, left_in)
            if cost < best - 1e-9:
                best, changed = cost, True
            else:
                grid[one], grid[other] = grid[other], grid[one]
    return {name: slot for slot, name in enumerate(grid) if name is not None}


_CROSSING, _BEHIND, _LEVEL, _LONG, _UPWARD, _LOW = 4.0, 20.0, 1.0, 2.5, 0.3, 0.15
"""What makes a drawing hard to read, in rows of a line's length: two lines that cross, a line behind a
state, a line between neighbours of one row, one that passes a row by, one that runs upwards, and a state
that the device is left in, for each row above it. Chosen."""


def _tangle(grid: Sequence[str | None], ways: Sequence[tuple[str, str]], left_in: frozenset[str]) -> float:
    """Return how hard a placing is to read, by straight lines between the states."""
    at = {name: (slot % BESIDE, slot // BESIDE) for slot, name in enumerate(grid) if name is not None}
    taken = set(at.values())
    lines = [(at[one], at[other]) for one, other in ways]
    cost = sum(_LOW * at[name][1] for name in left_in if name in at)
    for (x, y), (u, v) in lines:
        cost += math.hypot(u - x, v - y) + _UPWARD * (v < y) + _LEVEL * (v == y)
        cost += _LONG * max(0, abs(v - y) - 1) ** 2
        cost += _BEHIND * sum(spot in taken for spot in _between((x, y), (u, v)))
    return cost + _CROSSING * sum(_cross(one, other) for one, other in combinations(lines, 2))


_Spot = tuple[int, int]


def _between(one: _Spot, other: _Spot) -> list[_Spot]:
    """Return the places of the grid that a straight line runs over."""
    (x, y), (u, v) = one, other
    parts = math.gcd(u - x, v - y)
    return [(x + (u - x) * part // parts, y + (v - y) * part // parts) for part in range(1, parts)]


def _cross(first: tuple[_Spot, _Spot], second: tuple[_Spot, _Spot]) -> bool:
    """Whether two straight lines cross, other than at a state that both end in."""
    (a, b), (c, d) = first, second
    return _side(a, b, c) * _side(a, b, d) < 0 and _side(c, d, a) * _side(c, d, b) < 0


def _side(one: _Spot, other: _Spot, point: _Spot) -> int:
    return (other[0] - one[0]) * (point[1] - one[1]) - (other[1] - one[1]) * (point[0] - one[0])


@dataclass(frozen=True)
class _Bundle:
    one: Node
    other: Node
    events: tuple[str, ...]
    hazardous: bool

    @property
    def order(self) -> tuple[bool, float]:
        """Hazards get the best places; short lines before long ones."""
        return not self.hazardous, math.hypot(self.one.x - self.other.x, self.one.y - self.other.y)


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
                " ".join(codes[name] for name in item.events),
                item.hazardous,
                points,
                _label(points, nodes, made),
            )
        )
    return tuple(made)


def _bundles(machine: Machine, hazards: Sequence[Hazard], nodes: Sequence[Node]) -> list[_Bundle]:
    by_name = {node.name: node for node in nodes}
    bad = {(step.state, step.next, step.event) for item in hazards for step in item.steps}
    ways: dict[tuple[str, str, bool], list[str]] = {}
    for edge in machine.edges:
        if edge.next != edge.state and machine.events[edge.event].outside:
            hazardous = (edge.state, edge.next, edge.event) in bad
            ways.setdefault((edge.state, edge.next, hazardous), []).append(edge.event)
    return [
        _Bundle(by_name[one], by_name[other], tuple(events), hazardous)
        for (one, other, hazardous), events in ways.items()
    ]


_BENDS = (0.0, 16.0, -16.0, 30.0, -30.0, 48.0, -48.0, 70.0, -70.0, 100.0, -100.0, 140.0, -140.0)
_POINTS = 41
_SEEN = 18
"""Points of a line that are seen at least, where a bend can do it: room for arrowhead and label."""
_ALONG = [step / (_POINTS - 1) for step in range(_POINTS)]
_WEIGHTS = np.array([((1 - t) ** 2, 2 * t * (1 - t), t**2) for t in _ALONG]).T
"""Share of the start, of the bend and of the end in each point of a line, shape (3, points)."""


def _curve(one: Node, other: Node, nodes: Sequence[Node], made: Sequence[Line]) -> tuple[Point, ...]:
    """Return the bent line that hits the fewest states and keeps off lines already drawn."""
    ways = _bent(one, other)
    # What of it lies outside both boxes; more room at the arrowhead.
    outside = ~(_inside(ways, one, 2) | _inside(ways, other, 4))
    others = [node for node in nodes if node.name not in (one.name, other.name)]
    foot = min(node.y for node in nodes) - HALF_HEIGHT - _EDGE
    best = int(np.argmin(_penalties(ways, outside, others, foot, made)))
    return _clipped(ways[best], outside[best])


def _penalties(
    ways: FloatArray,
    outside: npt.NDArray[np.bool_],
    others: Sequence[Node],
    foot: float,
    made: Sequence[Line],
) -> FloatArray:
    """Return what is to be said against each bend of a line, in pixels of its bend, shape (bends,).

    Chosen: a point on another state weighs most, then one off the drawing, which ends at `foot`.
    """
    middles = [line.points[len(line.points) // 2] for line in made]
    hits = np.sum([np.count_nonzero(_inside(ways, node, 6), axis=1) for node in others], axis=0)
    across, down = ways[..., 0], ways[..., 1]
    off = (across < 4) | (across > WIDTH - 4) | (down > -8) | (down < foot + 8)
    out = np.sum(off, axis=1)
    close = [_crowding(way[_POINTS // 2], middles) for way in ways]
    # Between neighbours of one row a straight line has no room for its label.
    short = _SEEN - np.minimum(_SEEN, np.sum(outside, axis=1))
    penalty = 90 * hits + 12 * short + 60 * out + 6 * np.array(close) + 9 * _crossings(ways, made)
    return np.asarray(penalty + np.abs(_BENDS))


def _bent(one: Node, other: Node) -> FloatArray:
    """Return the line with each bend, shape (bends, points, 2)."""
    dx, dy = other.x - one.x, other.y - one.y
    length = math.hypot(dx, dy)
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


def _label(points: Sequence[Point], nodes: Iterable[Node], made: Sequence[Line]) -> Point:
    """Return the place on a line that is farthest from states, labels and other lines, near its middle."""
    return points[int(np.argmax(_rooms(np.array(points), list(nodes), made)))]


def _rooms(points: FloatArray, nodes: Sequence[Node], made: Sequence[Line]) -> FloatArray:
    """Return how good a place for its label each point of a line is, in pixels of free room. Chosen.

    Its own arrowhead stays free too.
    """
    x, y = points.T
    free = _nearest(points, [(x[-1], y[-1]), *(spot for line in made for spot in line.kept_free)])
    boxes = np.min(
        [np.maximum(abs(x - node.x) - HALF_WIDTH, abs(y - node.y) - HALF_HEIGHT) for node in nodes],
        axis=0,
    )
    line = _nearest(points, [point for line in made for point in line.points])
    off = abs(np.arange(len(points)) / len(points) - 0.45)
    room = np.minimum(free, 26.0) + 1.5 * np.minimum(boxes, 10.0) + 1.2 * np.minimum(line, 12.0)
    return np.asarray(room - 8 * off)


def _nearest(points: FloatArray, spots: Sequence[Point]) -> FloatArray:
    """Return how far each point is from the nearest of these spots; infinitely far from none."""
    x, y = ([spot[axis] for spot in spots] for axis in range(2))
    return np.asarray(np.hypot(points[:, :1] - x, points[:, 1:] - y).min(axis=1, initial=np.inf))
