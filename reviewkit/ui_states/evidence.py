"""How much the trials prove: coverage, exact limits, contradictions, what is not undone; what to try next.

References
----------
Chow, Testing Software Design Modeled by Finite-State Machines, IEEE Trans. Softw. Eng. SE-4(3) (1978):
n-switch cover. Coverage is what was exercised over what there is (ISO/IEC/IEEE 29119-4, from memory).
Clopper and Pearson, Biometrika 26 (1934) 404: exact limits of a share.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING

from reviewkit.metrology.conformity import clopper_pearson, upper_bound
from reviewkit.ui_states import reach
from reviewkit.ui_states.model import Machine, Pair, Transition
from reviewkit.ui_states.reach import Rule

if TYPE_CHECKING:
    import networkx as nx

Walk = Sequence[str]
"""A state, then the events done in it one after the other, without a reset between them."""


@dataclass(frozen=True)
class Coverage:
    """Pairs and sequences, tried and to be tried.

    Parameters
    ----------
    pairs : tuple of (state, event)
        All that can occur.
    untested : tuple of (state, event)
        Those never tried, in the order of the review file.
    unreached : tuple of str
        States to which nothing was yet seen to lead; the first needs nothing.
    sequences : int
        Sequences of two observed outcomes that follow each other: the 1-switches.
    sequences_done : int
        Those that a recorded walk made in one go.
    """

    pairs: tuple[Pair, ...]
    untested: tuple[Pair, ...]
    unreached: tuple[str, ...]
    sequences: int
    sequences_done: int

    @property
    def tested(self) -> int:
        """Number of pairs tried at least once."""
        return len(self.pairs) - len(self.untested)


def coverage(machine: Machine, walks: Iterable[Walk] = ()) -> Coverage:
    """Return what was tried of what can occur.

    Parameters
    ----------
    walks : iterable of sequences of str
        Trials made in one go: a state, then events. A walk counts up to the first event of which several
        outcomes were seen, since it doesn't say which came.
    """
    possible = one_switches(machine.edges)
    done = {pair for walk in walks for pair in _done(machine, walk)}
    reached = {edge.next for edge in machine.edges if edge.next != edge.state}
    unreached = tuple(name for name in list(machine.states)[1:] if name not in reached)
    return Coverage(machine.pairs, machine.untested, unreached, len(possible), len(done & set(possible)))


def one_switches(edges: Sequence[Transition]) -> tuple[tuple[Transition, Transition], ...]:
    """Return each pair of outcomes of which the second starts where the first ends."""
    return tuple((first, second) for first in edges for second in edges if first.next == second.state)


def _done(machine: Machine, walk: Walk) -> Iterable[tuple[Transition, Transition]]:
    """Give the sequences of a walk, as far as each outcome in it is beyond doubt."""
    state, before = walk[0], None
    for event in walk[1:]:
        outcomes = machine.of_pair(state, event)
        if len(outcomes) != 1:
            return
        if before is not None:
            yield before, outcomes[0]
        before, state = outcomes[0], outcomes[0].next


@dataclass(frozen=True)
class Evidence:
    """What the trials say about one outcome.

    Parameters
    ----------
    low, high : float or None [%]
        95 % limits of how often the event leads there: exact, two-sided; for an outcome never seen `high`
        is the one-sided limit. None where the table gives no counts.
    otherwise : float or None [%]
        One-sided 95 % limit of how often something else may happen.
    """

    transition: Transition
    low: float | None
    high: float | None
    otherwise: float | None

    def to_dict(self) -> dict[str, object]:
        """Return the evidence as a finding's value holds it."""
        item = self.transition
        limits = {
            name: None if value is None else round(value, 4)
            for name, value in (
                ("low_percent", self.low),
                ("high_percent", self.high),
                ("otherwise_at_most_percent", self.otherwise),
            )
        }
        return {
            "state": item.state,
            "event": item.event,
            "next": item.next,
            "seen": item.seen,
            "tried": item.tried,
            **limits,
        }


def evidence(item: Transition) -> Evidence:
    """Return the exact limits (Clopper and Pearson) of one outcome's share of the tries."""
    if item.seen is None or not item.tried:
        return Evidence(item, None, None, None)
    low, high = clopper_pearson(item.seen, item.tried)
    if item.seen == 0:
        high = upper_bound(0, item.tried)
    return Evidence(item, 100 * low, 100 * high, 100 * upper_bound(item.tried - item.seen, item.tried))


def weakest(path: Iterable[Transition]) -> Evidence | None:
    """Return the evidence of a path: that of its weakest outcome; None for a path without steps.

    A step whose trials were not counted is weaker than any that were.
    """
    found = [evidence(item) for item in path]
    return max(found, key=_weakness) if found else None


def _weakness(found: Evidence) -> float:
    return math.inf if found.otherwise is None else found.otherwise


@dataclass(frozen=True)
class Contradiction:
    """The same event in the same state led to different states."""

    state: str
    event: str
    outcomes: tuple[Transition, ...]

    def to_dict(self) -> dict[str, object]:
        """Return the contradiction as a finding's value holds it."""
        return {
            "state": self.state,
            "event": self.event,
            "next": [item.next for item in self.outcomes],
            "seen": [item.seen for item in self.outcomes],
            "tried": self.outcomes[0].tried,
        }


def contradictions(machine: Machine) -> tuple[Contradiction, ...]:
    """Return every pair of which several outcomes were seen."""
    pairs = dict.fromkeys((edge.state, edge.event) for edge in machine.edges)
    found = [Contradiction(*pair, machine.of_pair(*pair)) for pair in pairs]
    return tuple(item for item in found if len(item.outcomes) > 1)


@dataclass(frozen=True)
class NotUndone:
    """Doing something and undoing it does not lead back: the device remembers (hysteresis).

    Parameters
    ----------
    state : str
        Where it began.
    loses_lock : bool
        Whether it was locked before and is not afterwards.
    """

    state: str
    there: Transition
    back: Transition
    loses_lock: bool = False

    def to_dict(self) -> dict[str, object]:
        """Return it as a finding's value holds it."""
        return {
            "state": self.state,
            "events": [self.there.event, self.back.event],
            "by_way_of": self.there.next,
            "ends_in": self.back.next,
        }


OPPOSITES = {"power lost": "power back", "cable in": "cable out", "lock": "unlock"}


def not_undone(machine: Machine) -> tuple[NotUndone, ...]:
    """Return where an event and its opposite don't lead back to where it began."""
    states = machine.states
    return tuple(
        NotUndone(there.state, there, back, bool(states[there.state].locked) and not states[back.next].locked)
        for there in machine.edges
        for back in machine.edges
        if back.state == there.next
        and OPPOSITES.get(machine.role(there)) == machine.role(back)
        and back.next != there.state
    )


@dataclass(frozen=True)
class Trial:
    """A trial worth making.

    Parameters
    ----------
    could_reveal : int
        How many further hazards (state left in, kind) its worst outcome would open; for an action by
        hand, for how many states left in it could be a precaution.
    why : {"would show", "outside", "harmless", "precaution", "unseen"}
        It would show a precaution; it can happen with no one there and could open a hazard, or none as far
        as is known; by hand it could be a precaution; by hand no one has looked.
    """

    state: str
    event: str
    could_reveal: int
    why: str


@dataclass(frozen=True)
class Step:
    """One step of a plan: an event to bring about, on the way or as the trial itself."""

    state: str
    event: str
    trial: bool
    to: str = ""


@dataclass(frozen=True)
class Plan:
    """A walk through all untested pairs.

    Parameters
    ----------
    steps : tuple of Step
        A trial is taken to leave the device where it was; where it doesn't, the table gets a row and the
        plan is made anew.
    shortest : bool
        Whether no shorter walk exists; False where there are too many states to be certain.
    out_of_reach : tuple of (state, event)
        Pairs in states to which no observed, unique outcome leads.
    """

    start: str
    steps: tuple[Step, ...]
    shortest: bool
    out_of_reach: tuple[Pair, ...]


def next_trials(
    machine: Machine,
    rules: Sequence[Rule],
    untested: Iterable[Pair],
    wanted: Mapping[Pair, Collection[str]] | None = None,
    count: int = 3,
) -> tuple[Trial, ...]:
    """Return the pairs most worth trying: what would show a precaution, then what could reveal most.

    Parameters
    ----------
    wanted : mapping of (state, event) to collection of str, optional
        Pairs that a precaution is not shown without, and the states left in that it is for.
    """
    wanted = wanted or {}
    today = {(item.leave_in, item.hazard) for item in reach.hazards(machine, rules, machine.leave_in)}
    proofs = [Trial(*pair, len(lefts), "would show") for pair, lefts in wanted.items()]
    trials = [_trial(machine, rules, pair, today) for pair in untested if pair not in wanted]
    ordered = sorted(trials, key=lambda item: (-item.could_reveal, item.why != "outside"))
    return (*proofs, *ordered)[:count]


def _trial(machine: Machine, rules: Sequence[Rule], pair: Pair, today: set[tuple[str, str]]) -> Trial:
    state, event = pair
    if not machine.events[event].outside:
        rest = machine.events[event].role not in ("cable in", "unlock")
        helped = {left for left, _ in today if rest and state in _by_hand(machine, left)}
        return Trial(state, event, len(helped), "precaution" if helped else "unseen")
    worst = max(len(_with(machine, rules, pair, to) - today) for to in machine.states)
    return Trial(state, event, worst, "outside" if worst else "harmless")


def _with(machine: Machine, rules: Sequence[Rule], pair: Pair, to: str) -> set[tuple[str, str]]:
    """Return the hazards if the untested pair led to the state `to`."""
    more = machine.with_edges([*machine.edges, Transition(*pair, to)])
    return {(item.leave_in, item.hazard) for item in reach.hazards(more, rules, machine.leave_in)}


def _by_hand(machine: Machine, left: str) -> tuple[str, ...]:
    found = [left]
    for state in found:
        found.extend(edge.next for edge in machine.hand_from(state) if edge.next not in found)
    return tuple(found)


def plan(machine: Machine, untested: Sequence[Pair], start: str) -> Plan:
    """Return the shortest walk from `start` that comes through every state with an untested pair.

    Parameters
    ----------
    machine : Machine
    untested : sequence of (state, event)
    start : str
        The state in which the bench begins.
    """
    ways = routes(machine)
    targets = [name for name in dict.fromkeys(state for state, _ in untested) if name in ways[start]]
    visits, shortest = order(ways, start, targets)
    steps: list[Step] = []
    here = start
    for state in visits:
        steps += [Step(edge.state, edge.event, trial=False, to=edge.next) for edge in ways[here][state]]
        steps += [Step(state, event, trial=True) for where, event in untested if where == state]
        here = state
    missed = tuple(pair for pair in untested if pair[0] not in visits)
    return Plan(start, tuple(steps), shortest and not missed, missed)


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


def ranks(machine: Machine) -> dict[str, float]:
    """Return each state's distance from the first, in events; states off the graph come last."""
    import networkx as nx

    first = next(iter(machine.states))
    made = nx.Graph(multigraph(machine))
    found = nx.single_source_shortest_path_length(nx.DiGraph(multigraph(machine)), first)
    near = nx.single_source_shortest_path_length(made, first)
    return {name: found.get(name, near.get(name, math.inf)) for name in machine.states}


def order(routes: Routes, start: str, targets: Sequence[str]) -> tuple[list[str], bool]:
    """Return the order in which to visit `targets` with the fewest events, and whether it is the best.

    Parameters
    ----------
    routes : mapping
        As `routes` gives it.
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
                ([*rest[:index], name, *rest[index:]] for index in range(len(found))),
                key=lambda tour: _length(routes, start, tour),
            )
            if _length(routes, start, moved) < _length(routes, start, found):
                found, better = moved, True
    return found


def _length(routes: Routes, start: str, tour: Sequence[str]) -> float:
    return sum(_cost(routes, one, other) for one, other in pairwise([start, *tour]))
