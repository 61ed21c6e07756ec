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


def precautions(made, start, longest=6):
    """Return {length: {sequence of hand events: pairs on its way that are not told}} for what ends in rest.

    Looks at every sequence and every history of states; none is left out because it leads where another
    led. On the way nothing charges and no lock is lost; at the end everything is dark, safe and at rest.
    """
    hand = [name for name, event in EVENTS.items() if not event.outside]
    found = {}
    for length in range(1, longest + 1):
        for do in itertools.product(hand, repeat=length):
            histories, doubtful = _histories(made, start, do)
            ends = {history[-1] for history in histories}
            if not ends or not all(safe(made, name) for name in ends):
                continue
            after = {path[-1].next for name in ends for path in paths(made, name) if path} | ends
            if all(at_rest(made.states[name]) for name in after) and not _unlocked_later(made, histories):
                missing = {(name, event) for name in after for event in EVENTS if EVENTS[event].outside}
                missing = {pair for pair in missing if can_occur(made, *pair) and not told(made, *pair)}
                found.setdefault(length, {})[do] = missing | doubtful
    return found


def _unlocked_later(made, histories):
    """Whether what comes from outside takes a lock that was on before the hand's last action, or since."""
    for history in histories:
        for path in paths(made, history[-1]):
            states = [made.states[name] for name in (*history, *(edge.next for edge in path))]
            if states[-1].locked is False and _locked_before(states):
                return True
    return False


def _histories(made, start, do):
    """Return every sequence of states that the actions may lead through, and pairs not told on the way."""
    histories, doubtful = [(start,)], set()
    for event in do:
        longer = []
        for history in histories:
            outcomes = [
                row.next for row in made.transitions if _happened(row) and _pair(row) == (history[-1], event)
            ]
            if not outcomes:
                return [], set()
            if not told(made, history[-1], event):
                doubtful.add((history[-1], event))
            longer += [(*history, name) for name in outcomes]
        for history in longer:
            states = [made.states[name] for name in history]
            loses = states[-1].locked is False and _locked_before(states)
            if loses or not _is_off(states[-1]):
                return [], set()
        histories = longer
    return histories, doubtful


def _pair(row):
    return row.state, row.event


def _happened(row):
    return row.seen != 0 and row.tried != 0


def _is_off(state):
    return state.charging is False or (state.charging is None and state.cable is False)


def at_rest(state):
    """Whether a state neither charges, nor may be charging unknown to us, nor is a fault."""
    return _is_off(state) and not state.error


def told(made, state, event):
    """Whether the table tells what came of every try of the event in the state."""
    rows = [row for row in made.transitions if _pair(row) == (state, event)]
    if not rows or rows[0].tried == 0:
        return False
    if rows[0].tried is None:
        return any(row.seen != 0 for row in rows)
    return sum(row.seen for row in rows) == rows[0].tried


def can_occur(made, state, event):
    """Whether an event can happen in a state: as the table says, else as the attributes do."""
    if any(_pair(row) == (state, event) for row in made.transitions):
        return True
    if (state, event) in made.impossible:
        return False
    about = made.states[state]
    if event == "charge complete":
        return about.charging is not False
    if event in ("power lost", "power back"):
        return about.cable is not False and has_power(made, state) is not (event == "power back")
    return True


def has_power(made, state):
    """Whether the source gives power in a state: True, False, or None where it can't be told."""
    about = made.states[state]
    if about.power is not None or about.charging:
        return about.power if about.power is not None else True
    ways = {row.event for row in made.transitions if _happened(row) and row.next == state != row.state}
    if "power lost" in ways:
        return None if ways & {"power back", "charge complete"} else False
    return True if ways & {"power back", "charge complete"} else None


@functools.cache
def counted_machine(seed):
    """Return a random machine with counts of tries, some not all told, and most other pairs impossible."""
    draw = random.Random(seed)
    names = "pqrs"
    states = {
        name: State(
            name,
            light_percent=draw.choice([0, 0, 0, 0, 100]),
            charging=draw.choice([True, False, False, False, None]),
            cable=draw.choice([True, False, None]),
            locked=draw.choice([True, True, False, None]),
            error=draw.random() < 0.1,
            power=draw.choice([None, None, None, None, True, False]),
        )
        for name in names
    }
    every = [(name, event) for name in names for event in EVENTS]
    by_hand = [pair for pair in every if not EVENTS[pair[1]].outside]
    from_outside = [pair for pair in every if EVENTS[pair[1]].outside]
    pairs = draw.sample(by_hand, k=6) + draw.sample(from_outside, k=draw.randint(3, 4))
    rows = []
    for pair in pairs:
        ends = draw.sample(names, k=1 + (draw.random() < 0.2))
        seen = [draw.randint(0 if draw.random() < 0.1 else 1, 5) for _ in ends]
        tried = sum(seen) + (draw.random() < 0.1)
        counted = draw.random() < 0.8
        rows += [
            Transition(*pair, end, *((number, tried) if counted else (None, None)))
            for end, number in zip(ends, seen, strict=True)
        ]
    ruled_out = frozenset(pair for pair in every if pair not in pairs and draw.random() < 0.9)
    return Machine(states, dict(EVENTS), tuple(rows), ruled_out, tuple(names))
