"""What was tried: single events in each state, and sequences of two.

References
----------
Chow, Testing Software Design Modeled by Finite-State Machines, IEEE Trans. Softw. Eng. SE-4(3) (1978):
n-switch cover. Coverage is what was exercised over what there is (ISO/IEC/IEEE 29119-4, from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from reviewkit.ui_states.model import Machine, Transition

Pair = tuple[str, str]
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
    sequences : int
        Sequences of two observed outcomes that follow each other: the 1-switches.
    sequences_done : int
        Those that a recorded walk made in one go.
    """

    pairs: tuple[Pair, ...]
    untested: tuple[Pair, ...]
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
    machine : Machine
    walks : iterable of sequences of str
        Trials made in one go: a state, then events. A walk counts up to the first event of which several
        outcomes were seen, since it doesn't say which came.
    """
    tried = {(item.state, item.event) for item in machine.transitions if item.tried != 0}
    untested = tuple(pair for pair in machine.pairs if pair not in tried)
    possible = one_switches(machine.edges)
    done = {pair for walk in walks for pair in _done(machine, walk)}
    return Coverage(machine.pairs, untested, len(possible), len(done & set(possible)))


def one_switches(edges: Sequence[Transition]) -> tuple[tuple[Transition, Transition], ...]:
    """Return each pair of outcomes of which the second starts where the first ends."""
    return tuple((first, second) for first in edges for second in edges if first.next == second.state)


def _done(machine: Machine, walk: Walk) -> Iterable[tuple[Transition, Transition]]:
    """Give the sequences of a walk, as far as each outcome in it is beyond doubt."""
    state, before = walk[0], None
    for event in walk[1:]:
        outcomes = [edge for edge in machine.edges if edge.state == state and edge.event == event]
        if len(outcomes) != 1:
            return
        if before is not None:
            yield before, outcomes[0]
        before, state = outcomes[0], outcomes[0].next
