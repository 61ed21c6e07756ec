"""Hand actions that, done before leaving the device, put every hazard out of reach."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from reviewkit.ui_states import reach
from reviewkit.ui_states.model import Machine
from reviewkit.ui_states.rules import Rule

LONGEST = 6
"""Most hand actions in a row that are looked at: no one does more before leaving."""


@dataclass(frozen=True)
class Precaution:
    """A sequence of hand actions and its proof.

    Parameters
    ----------
    leave_in : str
    do : tuple of str
        Events by hand, in order.
    ends_in : tuple of str
        Where they lead; several where an action was seen to have several outcomes.
    reachable : tuple of str
        Every state that outside events can then bring about; none is a hazard.
    keeps_charging : bool
        Whether it charges afterwards as it did before.
    gives_up_charging : bool
        Whether it charged and afterwards does not.
    """

    leave_in: str
    do: tuple[str, ...]
    ends_in: tuple[str, ...]
    reachable: tuple[str, ...]
    keeps_charging: bool
    gives_up_charging: bool = False

    def to_dict(self) -> dict[str, object]:
        """Return the precaution as a finding's value holds it."""
        return {"leave_in": self.leave_in, "do": list(self.do)}


def precautions(machine: Machine, rules: Sequence[Rule], leave_in: Iterable[str]) -> tuple[Precaution, ...]:
    """Return the shortest precautions for each state that needs one.

    All sequences with the fewest actions are returned; where those give up charging, the shortest that
    keep it too. A sequence counts only if every outcome seen of each action leads to a state that is safe,
    its light off; events never tried in a state are not relied on.

    Parameters
    ----------
    machine : Machine
    rules : sequence of Rule
    leave_in : iterable of str
        States with a hazard.

    Returns
    -------
    tuple of Precaution
        Fewest actions first; of as many, those that keep it charging.
    """
    found = [item for left in leave_in for item in _shortest(machine, rules, left)]
    return tuple(sorted(found, key=lambda item: (len(item.do), not item.keeps_charging)))


def _shortest(machine: Machine, rules: Sequence[Rule], left: str) -> list[Precaution]:
    found: list[Precaution] = []
    must_keep = False
    charges = machine.states[left].charging is True
    for length_group in _sequences(machine, left):
        safe = [_proved(machine, left, do, ends) for do, ends in length_group if _safe(machine, rules, ends)]
        new = [item for item in safe if item.keeps_charging or not must_keep]
        found += new
        if any(item.keeps_charging for item in new) or (found and not charges):
            break
        must_keep = bool(found)
    return found


_Sequence = tuple[tuple[str, ...], frozenset[str]]


def _sequences(machine: Machine, left: str) -> Iterator[list[_Sequence]]:
    """Give the sequences of one, two, … actions; of those that lead to the same states only the shortest."""
    groups: list[_Sequence] = [((), frozenset({left}))]
    known = {frozenset({left})}
    for _ in range(LONGEST):
        groups = [
            ((*do, event), after)
            for do, ends in groups
            for event in machine.events
            if (after := _after(machine, ends, event)) is not None and after not in known
        ]
        known |= {ends for _, ends in groups}
        if not groups:
            return
        yield groups


def _after(machine: Machine, states: frozenset[str], event: str) -> frozenset[str] | None:
    """Return every state the action may lead to; None where it was not seen in one of `states`."""
    if machine.events[event].outside:
        return None
    outcomes = [machine.outcomes(state, event) for state in sorted(states)]
    return frozenset(name for names in outcomes for name in names) if all(outcomes) else None


def _safe(machine: Machine, rules: Sequence[Rule], states: Iterable[str]) -> bool:
    return all(reach.is_safe(machine, rules, state) for state in states)


def _proved(machine: Machine, left: str, do: tuple[str, ...], ends: frozenset[str]) -> Precaution:
    in_order = tuple(name for name in machine.states if name in ends)
    charges = machine.states[left].charging is True
    keeps = charges and all(machine.states[name].charging for name in ends)
    reachable = reach.reachable(machine, in_order)
    return Precaution(left, do, in_order, reachable, keeps, charges and not keeps)
