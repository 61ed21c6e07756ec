"""Where each state and each line of the state graph is drawn, in pixels of a narrow screen.

States stand in rows by their distance from the first one, at most three beside each other. Lines bend
around the states between their ends; their short labels keep clear of states and of each other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.ui_states import curves, plan
from reviewkit.ui_states.assess import Assessment
from reviewkit.ui_states.curves import ROW, WIDTH, Line, Node
from reviewkit.ui_states.model import Machine
from reviewkit.ui_states.reach import Hazard

BESIDE = 3
"""Most states in a row."""


@dataclass(frozen=True)
class Drawing:
    """The state graph, placed.

    Parameters
    ----------
    nodes : tuple of Node
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
    """Return where the state graph of an assessment puts its states and lines."""
    return draw(result.machine, result.hazards)


def draw(machine: Machine, hazards: Sequence[Hazard] = ()) -> Drawing:
    """Return where everything goes."""
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
        points = curves.curve(item.one, item.other, nodes, made)
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
                curves.label(points, nodes, [spot for line in made for spot in line.kept_free]),
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
