"""What brings a device from one state to the next: a person's hand, or something outside.

An event has a *kind* (who causes it) and may have a *role* (what it stands for), which the hazard rules
ask for. Usual names have both; any other name needs its kind in the review file.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
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
    name : str
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
