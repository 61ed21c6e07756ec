"""How much the trials prove, and where two of them disagree."""

from __future__ import annotations

from dataclasses import dataclass

from reviewkit.metrology.conformity import clopper_pearson, upper_bound
from reviewkit.ui_states.model import Machine, Transition


@dataclass(frozen=True)
class Evidence:
    """What the trials say about one outcome.

    Parameters
    ----------
    transition : Transition
    low, high : float or None [%]
        95 % limits of how often the event leads there: exact, two-sided; for an outcome never seen `high`
        is the one-sided limit. None where the table gives no counts.
    otherwise : float or None [%]
        One-sided 95 % limit of how often something else may happen.
    """

    transition: Transition
    low: float | None
    high: float | None
    otherwise: float | None

    def to_dict(self) -> dict[str, object]:
        """Return the evidence as a finding's value holds it."""
        item = self.transition
        limits = {
            name: None if value is None else round(value, 4)
            for name, value in (
                ("low_percent", self.low),
                ("high_percent", self.high),
                ("otherwise_at_most_percent", self.otherwise),
            )
        }
        return {
            "state": item.state,
            "event": item.event,
            "next": item.next,
            "seen": item.seen,
            "tried": item.tried,
            **limits,
        }


def evidence(item: Transition) -> Evidence:
    """Return the exact limits (Clopper and Pearson) of one outcome's share of the tries."""
    if item.seen is None or not item.tried:
        return Evidence(item, None, None, None)
    low, high = clopper_pearson(item.seen, item.tried)
    if item.seen == 0:
        high = upper_bound(0, item.tried)
    return Evidence(item, 100 * low, 100 * high, 100 * upper_bound(item.tried - item.seen, item.tried))


@dataclass(frozen=True)
class Contradiction:
    """The same event in the same state led to different states.

    Parameters
    ----------
    state, event : str
    outcomes : tuple of Transition
    """

    state: str
    event: str
    outcomes: tuple[Transition, ...]

    def to_dict(self) -> dict[str, object]:
        """Return the contradiction as a finding's value holds it."""
        return {
            "state": self.state,
            "event": self.event,
            "next": [item.next for item in self.outcomes],
            "seen": [item.seen for item in self.outcomes],
            "tried": self.outcomes[0].tried,
        }


def contradictions(machine: Machine) -> tuple[Contradiction, ...]:
    """Return every pair of which several outcomes were seen."""
    pairs = dict.fromkeys((edge.state, edge.event) for edge in machine.edges)
    found = [
        Contradiction(*pair, tuple(edge for edge in machine.edges if (edge.state, edge.event) == pair))
        for pair in pairs
    ]
    return tuple(item for item in found if len(item.outcomes) > 1)


@dataclass(frozen=True)
class NotUndone:
    """Doing something and undoing it does not lead back: the device remembers (hysteresis).

    Parameters
    ----------
    state : str
        Where it began.
    there, back : Transition
    """

    state: str
    there: Transition
    back: Transition

    def to_dict(self) -> dict[str, object]:
        """Return it as a finding's value holds it."""
        return {
            "state": self.state,
            "events": [self.there.event, self.back.event],
            "by_way_of": self.there.next,
            "ends_in": self.back.next,
        }


OPPOSITES = {"power lost": "power back", "cable in": "cable out", "lock": "unlock"}


def not_undone(machine: Machine) -> tuple[NotUndone, ...]:
    """Return where an event and its opposite don't lead back to where it began."""
    return tuple(
        NotUndone(there.state, there, back)
        for there in machine.edges
        for back in machine.edges
        if back.state == there.next
        and OPPOSITES.get(machine.role(there)) == machine.role(back)
        and back.next != there.state
    )
