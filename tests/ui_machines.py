"""Small machines for the tests of user-interface states: random ones, and an oracle that only enumerates."""

from __future__ import annotations

import functools
import itertools
import random

from reviewkit.ui_states import Event, Machine, State, Transition

LONGEST = 8
"""Long enough for four states: at most three steps to a charging state, one that loses power, three more,
and one that brings power back."""

EVENTS = {
    event.name: event
    for event in (
        Event("power lost", "outside", "power lost"),
        Event("power back", "outside", "power back"),
        Event("charge complete", "outside", "charge complete"),
        Event("time passed", "outside"),
        Event("press", "hand"),
        Event("turn the ring", "hand"),
    )
}


def machine(transitions, *, states=None, leave_in=None, events=EVENTS, impossible=()):
    """Return a machine from (state, event, next) triples; states are dark unless given."""
    edges = tuple(Transition(*item) for item in transitions)
    names = dict.fromkeys(name for item in transitions for name in (item[0], item[2]))
    known = states or {}
    every = {name: known.get(name, State(name)) for name in dict.fromkeys([*known, *names])}
    return Machine(every, dict(events), edges, frozenset(impossible), tuple(leave_in or every))


@functools.cache
def random_machine(seed):
    """Return four states with random attributes and a few random outcomes, some not unique."""
    draw = random.Random(seed)
    names = "pqrs"
    states = {
        name: State(
            name,
            light_percent=draw.choice([0, 0, 0, 10, 100]),
            charging=draw.choice([True, True, False, None]),
            locked=draw.choice([True, False, False, None]),
        )
        for name in names
    }
    pairs = draw.sample([(name, event) for name in names for event in EVENTS], k=draw.randint(4, 8))
    triples = {(*pair, draw.choice(names)) for pair in pairs}
    triples |= {(*pair, draw.choice(names)) for pair in pairs if draw.random() < 0.2}
    return machine(sorted(triples), states=states, leave_in=names)


def paths(made, start):
    """Give every path of outside events from `start`, up to the longest that matters."""
    leaving = {
        name: [edge for edge in made.edges if edge.state == name and EVENTS[edge.event].outside]
        for name in made.states
    }
    found = [()]
    for path in found:
        if len(path) < LONGEST:
            found += [(*path, edge) for edge in leaving[path[-1].next if path else start]]
    return found


_known = {}


def hazards(made, start):
    """Return what the definitions say of every path: {(hazard, end): fewest steps}."""
    key = (made.edges, tuple(made.states.values()), start)
    if key not in _known:
        _known[key] = {}
        for path in paths(made, start):
            for name in _met(made, start, path):
                # Shorter paths come first.
                _known[key].setdefault((name, path[-1].next), len(path))
    return _known[key]


def _met(made, start, path):
    states = [made.states[name] for name in (start, *(edge.next for edge in path))]
    if not path:
        return
    rises = [
        place
        for place in range(1, len(states))
        if states[place].light_percent > states[place - 1].light_percent
    ]
    if rises and any(all(state.light_percent > 0 for state in states[place:]) for place in rises):
        yield "light comes on by itself"
    if path[-1].event == "charge complete" and states[-1].charging is True:
        yield "charging never ends"
    if (
        path[-1].event == "power back"
        and states[-1].charging is False
        and _waiting(made, start, path, states)
    ):
        yield "charging does not come back after power does"
    if states[-1].locked is False and _locked_before(states):
        yield "protection not recovered"


def _waiting(made, start, path, states):
    """Whether power was lost while charging, after the last time that power came back."""
    before = path[:-1]
    since = max((place + 1 for place, edge in enumerate(before) if edge.event == "power back"), default=0)
    lost = any(
        edge.event == "power lost" and states[place].charging is True
        for place, edge in enumerate(before)
        if place >= since
    )
    led_here = states[0].charging is False and any(
        edge.event == "power lost" and edge.next == start and made.states[edge.state].charging is True
        for edge in made.edges
    )
    return lost or (since == 0 and led_here)


def _locked_before(states):
    """Whether the last state before this one in which a lock has a meaning was locked."""
    told = [state.locked for state in states[:-1] if state.locked is not None]
    return bool(told) and told[-1]


def safe(made, start):
    """Whether no path from `start` meets a hazard, and its light is off."""
    return made.states[start].light_percent == 0 and not hazards(made, start)


def precautions(made, start, longest=4):
    """Return {length: [(sequence of hand events, keeps it charging)]} where every outcome is safe.

    Looks at every sequence; none is left out because it leads where another led.
    """
    hand = [name for name, event in EVENTS.items() if not event.outside]
    found = {}
    for length in range(1, longest + 1):
        for do in itertools.product(hand, repeat=length):
            ends = _ends(made, start, do)
            if ends and all(safe(made, name) for name in ends):
                keeps = all(made.states[name].charging for name in ends)
                found.setdefault(length, []).append((do, keeps))
    return found


def _ends(made, start, do):
    ends = {start}
    for event in do:
        outcomes = [
            {edge.next for edge in made.edges if (edge.state, edge.event) == (name, event)} for name in ends
        ]
        if not all(outcomes):
            return set()
        ends = set().union(*outcomes)
    return ends
