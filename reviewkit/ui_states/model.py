"""A device's user interface as it was observed: states, and what leads from one to the next."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

from reviewkit.ui_states.events import Event


@dataclass(frozen=True)
class State:
    """One thing the device can be doing.

    Parameters
    ----------
    name : str
    light_percent : float [%]
        Light level, of the highest.
    charging, cable, locked : bool or None
        None: it cannot be told, or has no meaning there; no rule then finds anything in it.
    error : bool
        Whether the device has noticed a fault.
    shows : str
        What its indicator shows; "" for nothing.
    action : str
        What the user should do on seeing it.
    """

    name: str
    light_percent: float = 0.0
    charging: bool | None = False
    cable: bool | None = False
    locked: bool | None = False
    error: bool = False
    shows: str = ""
    action: str = ""

    @property
    def words(self) -> str:
        """What it does, in a few words: "light at 100 %, charging, locked"."""
        parts = [f"light at {self.light_percent:g} %" if self.light_percent else "dark"]
        parts += [name for name in ("charging", "locked", "error") if getattr(self, name)]
        return ", ".join(parts)


@dataclass(frozen=True)
class Transition:
    """One outcome of one event in one state.

    Parameters
    ----------
    state, event, next : str
    seen, tried : int or None
        How often this outcome was seen, of how many tries; None where the table gives no count.
    remark : str
    video_s : float or None [s]
        Moment of the video that shows it.
    row : str
        Where it was written: "row 12".
    """

    state: str
    event: str
    next: str
    seen: int | None = None
    tried: int | None = None
    remark: str = ""
    video_s: float | None = None
    row: str = ""

    @property
    def observed(self) -> bool:
        """Whether it happened at least once."""
        return self.seen != 0 and self.tried != 0


@dataclass(frozen=True)
class Machine:
    """States, events and outcomes of one device.

    Parameters
    ----------
    states : dict of str to State
        In the order of the review file; the first is where a plan of trials starts.
    events : dict of str to Event
    transitions : tuple of Transition
        Outcomes, those never seen among them.
    impossible : frozenset of (state, event)
        Pairs that cannot occur (``n/a``).
    leave_in : tuple of str
        States in which a person may walk away.
    """

    states: dict[str, State]
    events: dict[str, Event]
    transitions: tuple[Transition, ...]
    impossible: frozenset[tuple[str, str]] = frozenset()
    leave_in: tuple[str, ...] = ()
    files: tuple[str, ...] = field(default=())

    @cached_property
    def edges(self) -> tuple[Transition, ...]:
        """Outcomes that were observed: what every path is made of."""
        return tuple(item for item in self.transitions if item.observed)

    @cached_property
    def _by_state(self) -> dict[str, tuple[Transition, ...]]:
        return {name: tuple(edge for edge in self.edges if edge.state == name) for name in self.states}

    def outside_from(self, state: str) -> tuple[Transition, ...]:
        """Return what can happen to the device in `state` with no one there."""
        return tuple(edge for edge in self._by_state[state] if self.events[edge.event].outside)

    def hand_from(self, state: str) -> tuple[Transition, ...]:
        """Return what a hand can do in `state`."""
        return tuple(edge for edge in self._by_state[state] if not self.events[edge.event].outside)

    def outcomes(self, state: str, event: str) -> tuple[str, ...]:
        """Return every state that the event was seen to lead to."""
        return tuple(edge.next for edge in self._by_state[state] if edge.event == event)

    def role(self, edge: Transition) -> str:
        """Return what the edge's event stands for."""
        return self.events[edge.event].role

    @property
    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Every (state, event) pair that can occur."""
        return tuple(
            (state, name)
            for state in self.states
            for name in self.events
            if (state, name) not in self.impossible
        )

    def with_edges(self, edges: Iterable[Transition]) -> Machine:
        """Return the same device with other outcomes."""
        return Machine(self.states, self.events, tuple(edges), self.impossible, self.leave_in, self.files)
