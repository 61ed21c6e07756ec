"""The one change of the device's behaviour that would remove the most hazards: what to ask the maker for.

A change sends one outside event, in one state, to another state than today. Only changes that a device
could make are looked at: it can't move its cable, can't charge without power, and can't tell a chance
press from a wanted one unless it is locked.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from reviewkit.ui_states import reach
from reviewkit.ui_states.model import Machine, State, Transition
from reviewkit.ui_states.reach import Hazard
from reviewkit.ui_states.rules import Rule


@dataclass(frozen=True)
class Change:
    """One outcome to send elsewhere.

    Parameters
    ----------
    state, event, now, instead : str
    removes : tuple of (leave_in, hazard)
        What can no longer happen.
    remains : int
        How many hazards (state left in, kind) are left.
    """

    state: str
    event: str
    now: str
    instead: str
    removes: tuple[tuple[str, str], ...]
    remains: int

    def to_dict(self) -> dict[str, object]:
        """Return the change as a finding's value holds it."""
        removes = [{"leave_in": left, "hazard": hazard} for left, hazard in self.removes]
        return {
            "state": self.state,
            "event": self.event,
            "now": self.now,
            "instead": self.instead,
            "removes": removes,
            "remains": self.remains,
        }


def changes(machine: Machine, rules: Sequence[Rule], found: Sequence[Hazard]) -> tuple[Change, ...]:
    """Return the change that removes most hazards and adds none; several where they are as good.

    Parameters
    ----------
    machine : Machine
    rules : sequence of Rule
    found : sequence of Hazard
        The hazards today.

    Returns
    -------
    tuple of Change
        Of those that remove most, the ones that alter least in what the device does.
    """
    today = {(item.leave_in, item.hazard) for item in found}
    candidates = [
        (change, _difference(machine, edge, change.instead))
        for edge in _on_the_way(machine, found)
        for change in _redirected(machine, rules, edge, today)
    ]
    if not candidates:
        return ()
    # Most removed first; of those the least altered, so that a sensible change comes before an odd one.
    best = min((-len(change.removes), apart) for change, apart in candidates)
    return tuple(change for change, apart in candidates if (-len(change.removes), apart) == best)


def _on_the_way(machine: Machine, found: Sequence[Hazard]) -> tuple[Transition, ...]:
    """Return the outside outcomes that start where a hazard's path may lead."""
    names = set(reach.reachable(machine, [item.leave_in for item in found]))
    return tuple(edge for edge in machine.edges if edge.state in names and machine.events[edge.event].outside)


def _redirected(
    machine: Machine, rules: Sequence[Rule], edge: Transition, today: set[tuple[str, str]]
) -> Iterator[Change]:
    for instead in machine.states.values():
        if instead.name == edge.next or not _possible(machine, edge, instead):
            continue
        others = [other for other in machine.edges if other is not edge]
        changed = machine.with_edges([*others, replace(edge, next=instead.name)])
        then = {(item.leave_in, item.hazard) for item in reach.hazards(changed, rules, machine.leave_in)}
        if then < today:
            removes = tuple(sorted(today - then))
            yield Change(edge.state, edge.event, edge.next, instead.name, removes, len(then))


def _possible(machine: Machine, edge: Transition, instead: State) -> bool:
    before, now, role = machine.states[edge.state], machine.states[edge.next], machine.role(edge)
    if role == "chance press" and before.locked is not True:
        return False
    if instead.cable != now.cable or (instead.locked is None) != (now.locked is None):
        return False
    if instead.charging and role != "power back" and not before.charging:
        return False
    return not (role == "power lost" and instead.charging)


def _difference(machine: Machine, edge: Transition, instead: str) -> tuple[int, float]:
    """Return how far the new outcome is from the state before the event, and from today's outcome."""
    before, now, then = (machine.states[name] for name in (edge.state, edge.next, instead))
    return _apart(then, before) + _apart(then, now), abs(then.light_percent - now.light_percent)


def _apart(one: State, other: State) -> int:
    names = ("charging", "cable", "locked", "error")
    dark = (one.light_percent > 0) != (other.light_percent > 0)
    return int(dark) + sum(int(getattr(one, name) != getattr(other, name)) for name in names)
