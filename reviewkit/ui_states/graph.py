"""Walks and ranks over the observed states; the one module that uses networkx."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING

from reviewkit.ui_states.model import Machine, Transition

if TYPE_CHECKING:
    import networkx as nx

Routes = Mapping[str, Mapping[str, tuple[Transition, ...]]]


def multigraph(machine: Machine) -> nx.MultiDiGraph:
    """Return states and observed outcomes as a graph, each edge with its `Transition` as ``via``."""
    import networkx as nx  # a fifth of a second: not to check a review

    made = nx.MultiDiGraph()
    made.add_nodes_from(machine.states)
    for edge in machine.edges:
        made.add_edge(edge.state, edge.next, via=edge)
    return made


def routes(machine: Machine) -> dict[str, dict[str, tuple[Transition, ...]]]:
    """Return, for each two states, a shortest sequence of events with one outcome only between them."""
    import networkx as nx

    sure = nx.DiGraph()
    sure.add_nodes_from(machine.states)
    for edge in machine.edges:
        if len(machine.outcomes(edge.state, edge.event)) == 1 and not sure.has_edge(edge.state, edge.next):
            sure.add_edge(edge.state, edge.next, via=edge)
    paths = dict(nx.all_pairs_shortest_path(sure))
    return {
        one: {
            other: tuple(sure.edges[step]["via"] for step in pairwise(path)) for other, path in found.items()
        }
        for one, found in paths.items()
    }


def ranks(machine: Machine) -> dict[str, int]:
    """Return each state's distance from the first, in events; states off the graph come last."""
    import networkx as nx

    first = next(iter(machine.states))
    made = nx.Graph(multigraph(machine))
    found = nx.single_source_shortest_path_length(nx.DiGraph(multigraph(machine)), first)
    last = max(found.values(), default=0) + 1
    near = nx.single_source_shortest_path_length(made, first)
    return {name: found.get(name, near.get(name, last)) for name in machine.states}


def order(routes: Routes, start: str, targets: Sequence[str]) -> tuple[list[str], bool]:
    """Return the order in which to visit `targets` with the fewest events, and whether it is the best.

    Parameters
    ----------
    routes : mapping
        As `routes` gives it.
    start : str
    targets : sequence of str
        Each can be reached from `start`.

    Notes
    -----
    Up to eleven targets by dynamic programming over subsets (Held and Karp, 1962); beyond that by always
    going to the nearest, improved by moving single targets.
    """
    if start in targets:
        ordered, best = order(routes, start, [name for name in targets if name != start])
        return [start, *ordered], best
    if len(targets) <= 11:
        ordered = _exact(routes, start, targets)
        return ordered, len(ordered) == len(targets)
    return _near(routes, start, targets), False


def _cost(routes: Routes, one: str, other: str) -> float:
    return len(routes[one][other]) if other in routes[one] else float("inf")


def _exact(routes: Routes, start: str, targets: Sequence[str]) -> list[str]:
    @cache
    def best(here: str, left: frozenset[str]) -> tuple[int, float, tuple[str, ...]]:
        """Most targets first, then fewest events: (targets missed, events, order)."""
        options: list[tuple[int, float, tuple[str, ...]]] = [(len(left), 0.0, ())]
        for name in left:
            cost = _cost(routes, here, name)
            if cost < float("inf"):
                missed, more, rest = best(name, left - {name})
                options.append((missed, cost + more, (name, *rest)))
        return min(options)

    return list(best(start, frozenset(targets))[2])


def _near(routes: Routes, start: str, targets: Sequence[str]) -> list[str]:
    left, here, found = list(targets), start, []
    while left:
        name = min(left, key=lambda other: _cost(routes, here, other))
        if _cost(routes, here, name) == float("inf"):
            break
        left.remove(name)
        found.append(name)
        here = name
    return _improved(routes, start, found)


def _improved(routes: Routes, start: str, found: list[str]) -> list[str]:
    """Move single targets to better places until no move helps."""
    better = True
    while better:
        better = False
        for name in list(found):
            rest = [other for other in found if other != name]
            moved = min(
                ([*rest[:place], name, *rest[place:]] for place in range(len(found))),
                key=lambda tour: _length(routes, start, tour),
            )
            if _length(routes, start, moved) < _length(routes, start, found):
                found, better = moved, True
    return found


def _length(routes: Routes, start: str, tour: Sequence[str]) -> float:
    return sum(_cost(routes, one, other) for one, other in pairwise([start, *tour]))
