"""How much the trials prove: coverage, exact limits, contradictions, what is not undone.

References
----------
Chow, Testing Software Design Modeled by Finite-State Machines, IEEE Trans. Softw. Eng. SE-4(3) (1978):
n-switch cover. Coverage is what was exercised over what there is (ISO/IEC/IEEE 29119-4, from memory).
Clopper and Pearson, Biometrika 26 (1934) 404: exact limits of a share.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from reviewkit.metrology.conformity import clopper_pearson, upper_bound
from reviewkit.ui_states.model import Machine, Pair, Transition

Walk = Sequence[str]
"""A state, then the events done in it one after the other, without a reset between them."""


@dataclass(frozen=True)
class Coverage:
    """Pairs and sequences, tried and to be tried.

    Parameters
    ----------
    pairs : tuple of (state, event)
        All that can occur.
    untested : tuple of (state, event)
        Those never tried, in the order of the review file.
    unreached : tuple of str
        States to which nothing was yet seen to lead; the first needs nothing.
    sequences : int
        Sequences of two observed outcomes that follow each other: the 1-switches.
    sequences_done : int
        Those that a recorded walk made in one go.
    """

    pairs: tuple[Pair, ...]
    untested: tuple[Pair, ...]
    unreached: tuple[str, ...]
    sequences: int
    sequences_done: int

    @property
    def tested(self) -> int:
        """Number of pairs tried at least once."""
        return len(self.pairs) - len(self.untested)


def coverage(machine: Machine, walks: Iterable[Walk] = ()) -> Coverage:
    """Return what was tried of what can occur.

    Parameters
    ----------
    walks : iterable of sequences of str
        Trials made in one go: a state, then events. A walk counts up to the first event of which several
        outcomes were seen, since it doesn't say which came.
    """
    possible = one_switches(machine.edges)
    done = {pair for walk in walks for pair in _done(machine, walk)}
    reached = {edge.next for edge in machine.edges if edge.next != edge.state}
    unreached = tuple(name for name in list(machine.states)[1:] if name not in reached)
    return Coverage(machine.pairs, machine.untested, unreached, len(possible), len(done & set(possible)))


def one_switches(edges: Sequence[Transition]) -> tuple[tuple[Transition, Transition], ...]:
    """Return each pair of outcomes of which the second starts where the first ends."""
    return tuple((first, second) for first in edges for second in edges if first.next == second.state)


def _done(machine: Machine, walk: Walk) -> Iterable[tuple[Transition, Transition]]:
    """Give the sequences of a walk, as far as each outcome in it is beyond doubt."""
    state, before = walk[0], None
    for event in walk[1:]:
        outcomes = machine.of_pair(state, event)
        if len(outcomes) != 1:
            return
        if before is not None:
            yield before, outcomes[0]
        before, state = outcomes[0], outcomes[0].next


@dataclass(frozen=True)
class Evidence:
    """What the trials say about one outcome.

    Parameters
    ----------
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


def weakest(path: Iterable[Transition]) -> Evidence | None:
    """Return the evidence of a path: that of its weakest outcome; None for a path without steps.

    A step whose trials were not counted is weaker than any that were.
    """
    found = [evidence(item) for item in path]
    return max(found, key=_weakness) if found else None


def _weakness(found: Evidence) -> float:
    return 100.1 if found.otherwise is None else found.otherwise


@dataclass(frozen=True)
class Contradiction:
    """The same event in the same state led to different states."""

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
    found = [Contradiction(*pair, machine.of_pair(*pair)) for pair in pairs]
    return tuple(item for item in found if len(item.outcomes) > 1)


@dataclass(frozen=True)
class NotUndone:
    """Doing something and undoing it does not lead back: the device remembers (hysteresis).

    Parameters
    ----------
    state : str
        Where it began.
    loses_lock : bool
        Whether it was locked before and is not afterwards.
    """

    state: str
    there: Transition
    back: Transition
    loses_lock: bool = False

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
    states = machine.states
    return tuple(
        NotUndone(there.state, there, back, bool(states[there.state].locked) and not states[back.next].locked)
        for there in machine.edges
        for back in machine.edges
        if back.state == there.next
        and OPPOSITES.get(machine.role(there)) == machine.role(back)
        and back.next != there.state
    )
