"""What counts as a hazard: four rules that always hold, and the author's own.

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
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from reviewkit.ui_states import expression
from reviewkit.ui_states.model import Machine, State, Transition


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
