"""A device's user interface as it was observed: states, events, and what leads from one to the next.

An event has a *kind* (who causes it) and may have a *role* (what it stands for), which the hazard rules
ask for. Usual names have both; any other name needs its kind in the review file.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

Kind = Literal["hand", "outside"]
Role = Literal[
    "",
    "power lost",
    "power back",
    "charge complete",
    "cable in",
    "cable out",
    "lock",
    "unlock",
    "chance press",
]

_NAMES: dict[Role, str] = {
    "power lost": "power lost|power off|power fails|power failure|power cut|mains lost|generator stops",
    "power back": "power back|power on|power returns|power restored|mains back|generator starts",
    "charge complete": "charge complete|charge completed|charge done|charge ends|charged|cell full",
    "cable in": "cable in|plug in|cable plugged in|cable connected",
    "cable out": "cable out|unplug|cable pulled|pull cable|cable unplugged|cable disconnected",
    "lock": "lock|lock out",
    "unlock": "unlock",
}
_ROLES: dict[str, Role] = {name: role for role, names in _NAMES.items() for name in names.split("|")}
_OUTSIDE_ROLES: tuple[Role, ...] = ("power lost", "power back", "charge complete", "chance press")
_OUTSIDE = re.compile(
    r"\b(someone else|by itself|bag|pocket|timeout|time passes|time passed|time|cell inserted|cell changed"
    r"|cell empty|cell low|temperature|too hot|too cold|cools|warms)\b"
)
_HAND = re.compile(
    r"^(\d+ )?(short |long |double |triple )?(press|presses|click|clicks|hold|tap|switch|turn|slide)\b"
    r"|^(cell removed|cell out|take the cell out|remove cell)$"
)
_CHANCE = re.compile(r"\b(press|presses|pressed|click|clicks|clicked|button)\b.*\b(bag|pocket)\b")


@dataclass(frozen=True)
class Event:
    """Something that happens to the device.

    Parameters
    ----------
    name : str
        As the reviewer writes it.
    kind : {"hand", "outside"}
        Outside events need no one at the device: power lost, power back, charge complete, time passed,
        a cell inserted by someone else, a press in a bag.
    role : str
        What the event stands for, where its name says so; "" otherwise.
    """

    name: str
    kind: Kind
    role: Role = ""

    @property
    def outside(self) -> bool:
        """Whether it comes without the user's hand."""
        return self.kind == "outside"


def plain(name: str) -> str:
    """Return an event's name as it is compared: small letters, one space between words."""
    return " ".join(re.sub(r"[\W_]+", " ", name.casefold()).split())


def usual(name: str) -> Event | None:
    """Return the event that a usual name stands for, or None where its kind must be declared.

    A name that could be either (``cell inserted``) counts as outside: that finds more hazards, not fewer.
    """
    words = plain(name)
    role = _role(words)
    if role:
        return Event(name, "outside" if role in _OUTSIDE_ROLES else "hand", role)
    if _OUTSIDE.search(words):
        return Event(name, "outside")
    return Event(name, "hand") if _HAND.search(words) else None


def _role(words: str) -> Role:
    return "chance press" if _CHANCE.search(words) else _ROLES.get(words, "")


def event(name: str, declared: Mapping[str, tuple[Kind, Role]]) -> Event | None:
    """Return the event of a name: what the review file declares wins over the usual meaning.

    Parameters
    ----------
    declared : mapping of str to (kind, role)
        From `ui_events`; a role of "" leaves the usual one, if the name has any.

    Returns
    -------
    Event or None
        None where the kind is neither declared nor usual.
    """
    by_name = {plain(known): meaning for known, meaning in declared.items()}
    if plain(name) not in by_name:
        return usual(name)
    kind, role = by_name[plain(name)]
    return Event(name, kind, role or _role(plain(name)))


@dataclass(frozen=True)
class State:
    """One thing the device can be doing.

    Parameters
    ----------
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
    power : bool or None
        Whether its source gives power; None: as its other attributes and the outcomes tell.
    """

    name: str
    light_percent: float = 0.0
    charging: bool | None = False
    cable: bool | None = False
    locked: bool | None = False
    error: bool = False
    shows: str = ""
    action: str = ""
    power: bool | None = None

    @property
    def rests(self) -> bool:
        """Whether it neither charges nor may charge, nor has noticed a fault."""
        return (
            self.charging is not True and (self.charging is False or self.cable is False) and not self.error
        )

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
    seen, tried : int or None
        How often this outcome was seen, of how many tries; None where the table gives no count.
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


Pair = tuple[str, str]
"""A state, and an event in it."""


def _powered(state: State, ways: set[str]) -> bool | None:
    """Return whether a state has power: declared, or it charges, or by the roles of what led to it."""
    if state.power is not None:
        return state.power
    if state.charging:
        return True
    lost, there = "power lost" in ways, bool(ways & {"power back", "charge complete"})
    return None if lost is there else there


@dataclass(frozen=True)
class Machine:
    """States, events and outcomes of one device.

    Parameters
    ----------
    states : dict of str to State
        In the order of the review file; the first is where a plan of trials starts.
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
    files: tuple[str, ...] = ()

    @cached_property
    def edges(self) -> tuple[Transition, ...]:
        """Outcomes that were observed: what every path is made of."""
        return tuple(item for item in self.transitions if item.observed)

    @cached_property
    def _by_state(self) -> dict[str, tuple[Transition, ...]]:
        return {name: tuple(edge for edge in self.edges if edge.state == name) for name in self.states}

    @cached_property
    def _by_pair(self) -> dict[Pair, tuple[Transition, ...]]:
        found: dict[Pair, list[Transition]] = {}
        for item in self.transitions:
            found.setdefault((item.state, item.event), []).append(item)
        return {pair: tuple(items) for pair, items in found.items()}

    def outside_from(self, state: str) -> tuple[Transition, ...]:
        """Return what can happen to the device in `state` with no one there."""
        return tuple(edge for edge in self._by_state[state] if self.events[edge.event].outside)

    def hand_from(self, state: str) -> tuple[Transition, ...]:
        """Return what a hand can do in `state`."""
        return tuple(edge for edge in self._by_state[state] if not self.events[edge.event].outside)

    def of_pair(self, state: str, event: str) -> tuple[Transition, ...]:
        """Return the observed outcomes of an event in a state."""
        return tuple(edge for edge in self._by_pair.get((state, event), ()) if edge.observed)

    def outcomes(self, state: str, event: str) -> tuple[str, ...]:
        """Return every state that the event was seen to lead to."""
        return tuple(edge.next for edge in self.of_pair(state, event))

    def role(self, edge: Transition) -> str:
        """Return what the edge's event stands for."""
        return self.events[edge.event].role

    @cached_property
    def pairs(self) -> tuple[Pair, ...]:
        """Every (state, event) pair that can occur."""
        return tuple(
            (state, name)
            for state in self.states
            for name in self.events
            if (state, name) not in self.impossible and not self._ruled_out(state, name)
        )

    @cached_property
    def untested(self) -> tuple[Pair, ...]:
        """Pairs that can occur and were never tried, in the order of the review file."""
        return tuple(
            pair for pair in self.pairs if all(item.tried == 0 for item in self._by_pair.get(pair, ()))
        )

    @cached_property
    def open_pairs(self) -> frozenset[Pair]:
        """Pairs that can occur of which some or all outcomes are unknown: never tried, or not all told."""
        return frozenset(pair for pair in self.pairs if not self._told(self._by_pair.get(pair, ())))

    @staticmethod
    def _told(outcomes: tuple[Transition, ...]) -> bool:
        """Whether the outcomes of all tries are there; where tries weren't counted, whether one is."""
        if not outcomes:
            return False
        tried = outcomes[0].tried
        if tried is None:
            return any(item.observed for item in outcomes)
        return bool(tried) and sum(item.seen for item in outcomes if item.seen) == tried

    def _ruled_out(self, state: str, event: str) -> bool:
        """Whether the states' attributes exclude the event; what was tried all the same is not excluded."""
        if (state, event) in self._by_pair:
            return False
        about, role, power = self.states[state], self.events[event].role, self._power[state]
        return (
            (role == "cable in" and about.cable is True)
            or (about.cable is False and role in ("cable out", "power lost", "power back"))
            or (role == "charge complete" and about.charging is False)
            or (role == "power lost" and power is False)
            or (role == "power back" and power is True)
        )

    @cached_property
    def _power(self) -> dict[str, bool | None]:
        """Whether each state's source gives power, as far as attributes and the ways into it tell."""
        ways: dict[str, set[str]] = {name: set() for name in self.states}
        for edge in self.edges:
            if edge.next != edge.state:
                ways[edge.next].add(self.role(edge))
        return {name: _powered(state, ways[name]) for name, state in self.states.items()}

    def with_edges(self, edges: Iterable[Transition]) -> Machine:
        """Return the same device with other outcomes."""
        return Machine(self.states, self.events, tuple(edges), self.impossible, self.leave_in, self.files)
