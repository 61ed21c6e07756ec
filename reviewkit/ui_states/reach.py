"""What outside events alone can bring about, and the shortest way there.

A path is followed together with the memory of one rule, so that "power was lost while it charged" is known
when power comes back. The search is breadth first: the first way found to a state is a shortest one.
Where an event was seen to lead to two states, both are followed.

References
----------
Checking that nothing bad is ever reached is reachability of bad states, with a finite path as the
counter-example: Baier and Katoen, Principles of Model Checking (2008), chapter 3.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from reviewkit.ui_states.model import Machine, Pair, Transition
from reviewkit.ui_states.rules import Rule


@dataclass(frozen=True)
class Hazard:
    """One thing that can go wrong with no one there.

    Parameters
    ----------
    leave_in : str
        The state a person walks away from.
    hazard : str
        Name of the rule.
    ends_in : str
    steps : tuple of Transition
        A shortest sequence of outside events; empty where the state left in is the hazard itself.
    rank : int
        0 is the gravest kind.
    light_percent : float [%]
        Light level at the end.
    stops_by : tuple of Transition
        A shortest sequence of outside events after which the light is off or the device charges no
        longer (or again), whichever the hazard is about; empty where none does.
    """

    leave_in: str
    hazard: str
    ends_in: str
    steps: tuple[Transition, ...]
    rank: int = 9
    light_percent: float = 0.0
    stops_by: tuple[Transition, ...] = ()

    @property
    def stops_by_itself(self) -> bool:
        """Whether outside events alone can end it."""
        return bool(self.stops_by)

    def to_dict(self) -> dict[str, object]:
        """Return the hazard as a finding's value holds it."""
        steps = [{"event": step.event, "to": step.next} for step in self.steps]
        return {"leave_in": self.leave_in, "hazard": self.hazard, "ends_in": self.ends_in, "steps": steps}


def reachable(machine: Machine, start: Iterable[str]) -> tuple[str, ...]:
    """Return the states that outside events alone can lead to, those of `start` first."""
    found = list(dict.fromkeys(start))
    for state in found:
        found.extend(edge.next for edge in machine.outside_from(state) if edge.next not in found)
    return tuple(found)


def open_outside(machine: Machine, states: Iterable[str]) -> frozenset[Pair]:
    """Return the outside events in these states of which the outcome is not known: it may be anything."""
    outside = [name for name, event in machine.events.items() if event.outside]
    return frozenset((state, name) for state in states for name in outside) & machine.open_pairs


def is_shown_safe(machine: Machine, rules: Sequence[Rule], state: str) -> bool:
    """Whether `state` is safe and no outside event on any way from it is left to try."""
    return is_safe(machine, rules, state) and not open_outside(machine, reachable(machine, [state]))


def hazards(machine: Machine, rules: Sequence[Rule], leave_in: Iterable[str]) -> tuple[Hazard, ...]:
    """Return every hazard, gravest first: kind, light level, whether it stops by itself, fewest steps.

    Parameters
    ----------
    machine : Machine
    rules : sequence of Rule
    leave_in : iterable of str
        States a person may walk away from.

    Returns
    -------
    tuple of Hazard
        One for each state left in, rule and state it ends in, with a shortest sequence of steps.
    """
    found = [
        _hazard(machine, rule, left, path)
        for left in leave_in
        for rule in rules
        for path in _bad_ends(machine, rule, left)
    ]
    return tuple(sorted(found, key=_gravity))


def _gravity(hazard: Hazard) -> tuple[float, ...]:
    return hazard.rank, -hazard.light_percent, hazard.stops_by_itself, len(hazard.steps)


def is_safe(machine: Machine, rules: Sequence[Rule], state: str) -> bool:
    """Whether no rule's hazard can be reached from `state` by outside events, and its light is off."""
    dark = machine.states[state].light_percent == 0
    return dark and not any(next(_bad_ends(machine, rule, state), None) is not None for rule in rules)


_Path = tuple[Transition, ...]


def _bad_ends(machine: Machine, rule: Rule, left: str) -> Iterator[_Path]:
    """Give a shortest path to each state in which the rule is met, nearest first; () for the start."""
    begin = (left, rule.start(machine, machine.states[left]))
    paths: dict[tuple[str, str], _Path] = {begin: ()}
    queue, ends = deque([begin]), set()
    while queue:
        state, memory = node = queue.popleft()
        if rule.met(memory, machine.states[state]) and state not in ends:
            ends.add(state)
            yield paths[node]
        for edge in machine.outside_from(state):
            after = (edge.next, rule.step(machine, memory, edge))
            if after not in paths:
                paths[after] = (*paths[node], edge)
                queue.append(after)


def _hazard(machine: Machine, rule: Rule, left: str, path: _Path) -> Hazard:
    steps = path or ()
    end = machine.states[steps[-1].next if steps else left]
    return Hazard(
        left, rule.name, end.name, steps, rule.rank, end.light_percent, _stops_by(machine, rule, end.name)
    )


def _stops_by(machine: Machine, rule: Rule, end: str) -> _Path:
    """Return a shortest path of outside events out of the hazard; empty where there is none."""
    paths: dict[str, _Path] = {end: ()}
    queue = [end]
    for state in queue:
        for edge in machine.outside_from(state):
            if edge.next in paths:
                continue
            paths[edge.next] = (*paths[state], edge)
            if rule.over(machine.states[edge.next]):
                return paths[edge.next]
            queue.append(edge.next)
    return ()
