"""What counts as a hazard, and what outside events alone can bring about.

A rule follows a path of outside events and remembers what it needs (its *memory*, a short word). It says
after each step whether the device is now in the hazard. The rules, exactly:

light comes on by itself
    An outside event raised the light level on the way, and the light is still on. A lamp left alight is no
    hazard by this rule until an outside event makes it brighter.
charging does not come back after power does
    Power was lost while the device charged, whatever else happened meanwhile, and the moment power is back
    the device does not charge. A state to which a loss of power while charging leads counts as waiting for
    power, also where it is the state that the device was left in.
charging never ends
    The charge is complete, and the device goes on charging.
protection not recovered
    The device was locked, when left or later on the way, and an outside event led to a state that is not
    locked. A state in which a lock has no meaning (no cell in it) is passed over; coming back locked from
    it is recovery.
an author's own
    The state reached (or the state left in) satisfies `when`; with `after`, at the end of that event.

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
from typing import Protocol

from reviewkit.ui_states import expression
from reviewkit.ui_states.model import Machine, Pair, State, Transition


class Rule(Protocol):
    """A hazard's name, and how it follows a path."""

    @property
    def name(self) -> str:
        """What a reader calls the hazard."""

    @property
    def rank(self) -> int:
        """How grave the kind is; 0 is the gravest."""

    def start(self, machine: Machine, state: State) -> str:
        """Return the memory on walking away from the device in `state`."""

    def step(self, machine: Machine, memory: str, edge: Transition) -> str:
        """Return the memory after one more outside event."""

    def met(self, memory: str, state: State) -> bool:
        """Whether the device is in the hazard."""

    def over(self, state: State) -> bool:
        """Whether `state`, reached later, ends it."""


@dataclass(frozen=True)
class LightComesOn:
    """The light comes on, or gets brighter, with no one there."""

    name: str = "light comes on by itself"
    rank: int = 1

    def start(self, machine: Machine, state: State) -> str:
        """Nothing has risen yet."""
        return ""

    def step(self, machine: Machine, memory: str, edge: Transition) -> str:
        """Remember a rise until the light is off again."""
        before, after = machine.states[edge.state].light_percent, machine.states[edge.next].light_percent
        return "risen" if after > before or (memory and after > 0) else ""

    def met(self, memory: str, state: State) -> bool:
        """On, after a rise."""
        return memory == "risen"

    def over(self, state: State) -> bool:
        """Whether the light is off."""
        return state.light_percent == 0


@dataclass(frozen=True)
class ChargingNotBack:
    """Power is back, charging isn't."""

    name: str = "charging does not come back after power does"
    rank: int = 3

    def start(self, machine: Machine, state: State) -> str:
        """Wait for power in a state that losing it while charging leads to."""
        if state.charging is not False:
            return ""
        losses = (edge for edge in machine.edges if edge.next == state.name and self._loss(machine, edge))
        return "waiting" if any(losses) else ""

    def _loss(self, machine: Machine, edge: Transition) -> bool:
        return machine.role(edge) == "power lost" and machine.states[edge.state].charging is True

    def step(self, machine: Machine, memory: str, edge: Transition) -> str:
        """Wait from the loss of power until it is back."""
        if self._loss(machine, edge):
            return "waiting"
        if memory != "waiting":
            return ""
        if machine.role(edge) != "power back":
            return "waiting"
        return "not back" if machine.states[edge.next].charging is False else ""

    def met(self, memory: str, state: State) -> bool:
        """At the moment power is back."""
        return memory == "not back"

    def over(self, state: State) -> bool:
        """Whether it charges after all."""
        return state.charging is True


@dataclass(frozen=True)
class ChargingNeverEnds:
    """The charge is complete and goes on."""

    name: str = "charging never ends"
    rank: int = 0

    def start(self, machine: Machine, state: State) -> str:
        """Nothing is complete yet."""
        return ""

    def step(self, machine: Machine, memory: str, edge: Transition) -> str:
        """Only the last event counts."""
        complete = machine.role(edge) == "charge complete"
        return "goes on" if complete and machine.states[edge.next].charging is True else ""

    def met(self, memory: str, state: State) -> bool:
        """Right after the charge was complete."""
        return memory == "goes on"

    def over(self, state: State) -> bool:
        """Whether it stopped charging."""
        return state.charging is False


@dataclass(frozen=True)
class LockLost:
    """It was locked, and no longer is."""

    name: str = "protection not recovered"
    rank: int = 4

    def start(self, machine: Machine, state: State) -> str:
        """Only what is locked can lose its lock."""
        return "locked" if state.locked is True else ""

    def step(self, machine: Machine, memory: str, edge: Transition) -> str:
        """Lost at the first state that is not locked; later ones say nothing new."""
        locked = machine.states[edge.next].locked
        if locked is True:
            return "locked"
        if memory == "locked":
            return "lost" if locked is False else "locked"
        return ""

    def met(self, memory: str, state: State) -> bool:
        """At the first state without the lock."""
        return memory == "lost"

    def over(self, state: State) -> bool:
        """Whether it is locked again."""
        return state.locked is True


@dataclass(frozen=True)
class OwnRule:
    """A rule of the author's."""

    name: str
    when: str
    after: str = ""
    rank: int = 2

    def start(self, machine: Machine, state: State) -> str:
        """No event yet."""
        return ""

    def step(self, machine: Machine, memory: str, edge: Transition) -> str:
        """Remember the last event, where the rule asks for one."""
        return edge.event if self.after else ""

    def met(self, memory: str, state: State) -> bool:
        """Whether the comparison holds, at the end of the right event."""
        return memory == self.after and expression.read(self.when)(state) is True

    def over(self, state: State) -> bool:
        """Whether the comparison no longer holds."""
        return expression.read(self.when)(state) is False


DEFAULT: tuple[Rule, ...] = (ChargingNeverEnds(), LightComesOn(), ChargingNotBack(), LockLost())


def rules(own: Sequence[OwnRule] = ()) -> tuple[Rule, ...]:
    """Return the rules that always hold and the author's own, gravest first."""
    return tuple(sorted((*DEFAULT, *own), key=lambda rule: rule.rank))


@dataclass(frozen=True)
class Hazard:
    """One thing that can go wrong with no one there.

    Parameters
    ----------
    leave_in : str
        The state a person walks away from.
    hazard : str
        Name of the rule.
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
    rank: int
    light_percent: float
    stops_by: tuple[Transition, ...]

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
