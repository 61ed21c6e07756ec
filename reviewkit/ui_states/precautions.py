"""What a hand can do against a hazard: precautions that end in rest, and what was seen to help beside them.

A precaution is done before leaving the device and ends in rest: dark, and neither charging nor brought to
charge by what comes from outside. On its way nothing is put on charge, kept charging or unlocked. It is
*shown* where the outcome of every pair (state, event) on its way, and of every outside event in the states
that it can then get into, is known. What keeps a charge going is told as an observation, never as advice.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from reviewkit.ui_states import reach
from reviewkit.ui_states.model import Machine, Pair, Transition
from reviewkit.ui_states.reach import Hazard, LockLost, Rule

LONGEST = 6
"""Most hand actions in a row that are looked at. Chosen: no one does more before leaving."""


@dataclass(frozen=True)
class Precaution:
    """A sequence of hand actions and its proof.

    Parameters
    ----------
    do : tuple of str
        Events by hand, in order.
    ends_in : tuple of str
        Where they lead; several where an action was seen to have several outcomes.
    reachable : tuple of str
        Every state that outside events can then bring about; none is a hazard, all are at rest.
    not_tried : tuple of (state, event)
        Pairs on its way of which the outcome is not known; empty where it is shown.
    gives_up_charging : bool
        Whether the device charged before.
    """

    leave_in: str
    do: tuple[str, ...]
    ends_in: tuple[str, ...]
    reachable: tuple[str, ...]
    not_tried: tuple[Pair, ...] = ()
    gives_up_charging: bool = False

    @property
    def shown(self) -> bool:
        """Whether every pair on its way was tried."""
        return not self.not_tried

    def to_dict(self) -> dict[str, object]:
        """Return the precaution as a finding's value holds it."""
        return {"leave_in": self.leave_in, "do": list(self.do)}


def precautions(machine: Machine, rules: Sequence[Rule], leave_in: Iterable[str]) -> tuple[Precaution, ...]:
    """Return the precautions with the fewest actions for each state that needs one.

    Parameters
    ----------
    leave_in : iterable of str
        States with a hazard.

    Returns
    -------
    tuple of Precaution
        For each state all shown ones with the fewest actions; where none is shown, those with the fewest
        actions that further trials could show.
    """
    found = [item for left in leave_in for item in _fewest(machine, rules, left)]
    return tuple(sorted(found, key=lambda item: (not item.shown, len(item.do))))


def _fewest(machine: Machine, rules: Sequence[Rule], left: str) -> list[Precaution]:
    not_shown: list[Precaution] = []
    for group in _sequences(machine, left):
        found = [_proved(machine, left, way) for way in group if _is_rest(machine, rules, way)]
        shown = [item for item in found if item.shown]
        if shown:
            return shown
        not_shown = not_shown or found
    return not_shown


@dataclass(frozen=True)
class _Way:
    """Hand actions, the states (with the lock rule's memory) they may lead to, and pairs not all told."""

    do: tuple[str, ...]
    beliefs: frozenset[tuple[str, str]]
    doubtful: frozenset[Pair] = frozenset()

    @property
    def ends(self) -> frozenset[str]:
        return frozenset(name for name, _ in self.beliefs)


_LOCK = LockLost()


def _sequences(machine: Machine, left: str) -> Iterator[list[_Way]]:
    """Give the sequences of one, two, … actions; of those that come to the same only the shortest."""
    start = frozenset({(left, _LOCK.start(machine, machine.states[left]))})
    group, known = [_Way((), start)], {(start, frozenset[Pair]())}
    hand = [name for name, event in machine.events.items() if not event.outside]
    for _ in range(LONGEST):
        further = (_after(machine, way, event) for way in group for event in hand)
        group = [way for way in further if way and (way.beliefs, way.doubtful) not in known]
        known |= {(way.beliefs, way.doubtful) for way in group}
        if not group:
            return
        yield group


def _after(machine: Machine, way: _Way, event: str) -> _Way | None:
    """Return the way with one more action; None where it is not known to lead on, charges or unlocks."""
    after: set[tuple[str, str]] = set()
    for state, memory in way.beliefs:
        edges = machine.of_pair(state, event)
        new = {(edge.next, _LOCK.step(machine, memory, edge)) for edge in edges}
        if not new or any(lock == "lost" or not _is_off(machine, name) for name, lock in new):
            return None
        after |= new
    open_now = {(state, event) for state in way.ends} & machine.open_pairs
    return _Way((*way.do, event), frozenset(after), way.doubtful | open_now)


def _is_off(machine: Machine, name: str) -> bool:
    """Whether a state is known not to charge."""
    state = machine.states[name]
    return state.charging is False or (state.charging is None and state.cable is False)


def _is_rest(machine: Machine, rules: Sequence[Rule], way: _Way) -> bool:
    """Whether nothing from outside leads to a hazard, a charge or a fault, nor takes the lock it had."""
    if not all(reach.is_safe(machine, rules, name) for name in way.ends):
        return False
    beliefs = list(way.beliefs)
    for state, memory in beliefs:
        if memory == "lost" or not machine.states[state].rests:
            return False
        after = ((edge.next, _LOCK.step(machine, memory, edge)) for edge in machine.outside_from(state))
        beliefs += [belief for belief in dict.fromkeys(after) if belief not in beliefs]
    return True


def _proved(machine: Machine, left: str, way: _Way) -> Precaution:
    in_order = tuple(name for name in machine.states if name in way.ends)
    reachable = reach.reachable(machine, in_order)
    missing = way.doubtful | reach.open_outside(machine, reachable)
    not_tried = tuple(pair for pair in machine.pairs if pair in missing)
    charges = machine.states[left].charging is True
    return Precaution(left, way.do, in_order, reachable, not_tried, charges)


@dataclass(frozen=True)
class Spared:
    """What was seen when a hand action came first: the same events, the charge going on, and no hazard.

    An observation: it tells what the device does, not what to do.

    Parameters
    ----------
    action : Transition
        The one action by hand, in the state left in.
    steps : tuple of Transition
        The hazard's events from there on.
    """

    hazard: Hazard
    action: Transition
    steps: tuple[Transition, ...]


def spared(machine: Machine, rules: Sequence[Rule], hazards: Sequence[Hazard]) -> tuple[Spared, ...]:
    """Return, for hazards in which a charge is cut short, the action after which it was not."""
    return tuple(
        Spared(item, action, steps)
        for item in hazards
        for action in machine.hand_from(item.leave_in)
        if (steps := _spared_by(machine, rules, item, action))
    )


def _spared_by(
    machine: Machine, rules: Sequence[Rule], item: Hazard, action: Transition
) -> tuple[Transition, ...]:
    """Return the hazard's events after the action, where they lead to no hazard; else ()."""
    left, then = machine.states[item.leave_in], machine.states[action.next]
    goes_on = left.charging is True and then.charging is True and action.next != item.leave_in
    keeps = left.locked is not True or then.locked is True
    alone = len(machine.of_pair(action.state, action.event)) == 1
    reachable = reach.reachable(machine, [action.next])
    known = (
        not reach.open_outside(machine, reachable) and (action.state, action.event) not in machine.open_pairs
    )
    if not (goes_on and keeps and alone and known and reach.is_safe(machine, rules, action.next)):
        return ()
    steps: list[Transition] = []
    for before in item.steps:
        outcomes = machine.of_pair(steps[-1].next if steps else action.next, before.event)
        if len(outcomes) != 1:
            return ()
        steps.append(outcomes[0])
    return tuple(steps)


@dataclass(frozen=True)
class Relock:
    """A lock that an outside event removes, and the hand actions that put it back.

    Parameters
    ----------
    lost : Transition
        The outcome without the lock.
    do : tuple of Transition
        A shortest sequence of actions, each with one outcome, to a locked state; empty: none was seen.
    """

    lost: Transition
    do: tuple[Transition, ...]


def relocks(machine: Machine, hazards: Sequence[Hazard]) -> tuple[Relock, ...]:
    """Return what puts each lock back that an outside event removes."""
    lost = dict.fromkeys(item.steps[-1] for item in hazards if item.hazard == _LOCK.name)
    return tuple(Relock(edge, _locked_again(machine, edge.next)) for edge in lost)


def _locked_again(machine: Machine, start: str) -> tuple[Transition, ...]:
    paths: dict[str, tuple[Transition, ...]] = {start: ()}
    queue = deque([start])
    while queue:
        here = queue.popleft()
        for edge in machine.hand_from(here):
            end = machine.states[edge.next]
            sure = (
                len(machine.of_pair(here, edge.event)) == 1 and (here, edge.event) not in machine.open_pairs
            )
            if edge.next in paths or not sure or not end.rests:
                continue
            paths[edge.next] = (*paths[here], edge)
            if end.locked is True and end.light_percent == 0:
                return paths[edge.next]
            queue.append(edge.next)
    return ()
