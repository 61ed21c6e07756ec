"""What to try next, and in which order the bench can do all of it without a reset."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from reviewkit.ui_states import graph, reach
from reviewkit.ui_states.coverage import Pair
from reviewkit.ui_states.model import Machine, State, Transition
from reviewkit.ui_states.rules import Rule


@dataclass(frozen=True)
class Trial:
    """A trial worth making.

    Parameters
    ----------
    state, event : str
    could_reveal : int
        How many further hazards (state left in, kind) its worst outcome would open; for an action by
        hand, for how many states left in it could be a precaution.
    why : str
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
    start : str
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
    machine: Machine, rules: Sequence[Rule], untested: Iterable[Pair], count: int = 3
) -> tuple[Trial, ...]:
    """Return the untested pairs worth most, the one that could reveal most first.

    Parameters
    ----------
    machine : Machine
    rules : sequence of Rule
    untested : iterable of (state, event)
    count : int
    """
    today = {(item.leave_in, item.hazard) for item in reach.hazards(machine, rules, machine.leave_in)}
    trials = [_trial(machine, rules, pair, today) for pair in untested]
    outside = {name: event.outside for name, event in machine.events.items()}
    ordered = sorted(trials, key=lambda item: (-item.could_reveal, not outside[item.event]))
    return tuple(ordered[:count])


def _trial(machine: Machine, rules: Sequence[Rule], pair: Pair, today: set[tuple[str, str]]) -> Trial:
    state, event = pair
    if contradicts(machine.states[state], machine.events[event].role):
        return Trial(state, event, 0, "it seems that it cannot occur there: if so, enter 'n/a'")
    if not machine.events[event].outside:
        helped = {left for left, _ in today if state in _by_hand(machine, left)}
        why = "it could be a precaution" if helped else "no one has looked"
        return Trial(state, event, len(helped), why)
    worst = max(
        (len(_with(machine, rules, pair, to) - today) for to in machine.states),
        default=0,
    )
    why = "it can happen with no one there" if worst else "no hazard can follow from it, as far as is known"
    return Trial(state, event, worst, why)


def _with(machine: Machine, rules: Sequence[Rule], pair: Pair, to: str) -> set[tuple[str, str]]:
    """Return the hazards if the untested pair led to the state `to`."""
    more = machine.with_edges([*machine.edges, Transition(*pair, to)])
    return {(item.leave_in, item.hazard) for item in reach.hazards(more, rules, machine.leave_in)}


def _by_hand(machine: Machine, left: str) -> tuple[str, ...]:
    found = [left]
    for state in found:
        found.extend(edge.next for edge in machine.hand_from(state) if edge.next not in found)
    return tuple(found)


def contradicts(state: State, role: str) -> bool:
    """Whether an event of this role can't occur in a state with these attributes."""
    return (
        (role == "cable in" and state.cable is True)
        or (state.cable is False and role in ("cable out", "power lost", "power back"))
        or (role == "charge complete" and state.charging is False)
    )


def plan(machine: Machine, untested: Sequence[Pair], start: str) -> Plan:
    """Return the shortest walk from `start` that comes through every state with an untested pair.

    Parameters
    ----------
    machine : Machine
    untested : sequence of (state, event)
    start : str
        The state in which the bench begins.
    """
    routes = graph.routes(machine)
    targets = [name for name in dict.fromkeys(state for state, _ in untested) if name in routes[start]]
    order, shortest = graph.order(routes, start, targets)
    steps: list[Step] = []
    here = start
    for state in order:
        steps += [Step(edge.state, edge.event, trial=False, to=edge.next) for edge in routes[here][state]]
        steps += [Step(state, event, trial=True) for where, event in untested if where == state]
        here = state
    missed = tuple(pair for pair in untested if pair[0] not in order)
    return Plan(start, tuple(steps), shortest and not missed, missed)
