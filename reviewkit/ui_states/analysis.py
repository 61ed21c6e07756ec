"""The whole assessment of a user interface, and the one change that would remove the most hazards.

A change sends one outside event, in one state, to another state than today. Only changes that a device
could make are looked at: it can't move its cable, can't charge without power, and can't tell a chance
press from a wanted one unless it is locked.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from reviewkit.ui_states import evidence as planning
from reviewkit.ui_states import evidence as proving
from reviewkit.ui_states import precautions as guarding
from reviewkit.ui_states import reach, reading
from reviewkit.ui_states import signals as showing
from reviewkit.ui_states.inputs import UiInputs
from reviewkit.ui_states.model import Machine, Pair, State, Transition
from reviewkit.ui_states.reach import Hazard, Rule


@dataclass(frozen=True)
class Change:
    """One outcome to send elsewhere.

    Parameters
    ----------
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


@dataclass(frozen=True)
class Assessment:
    """What a device does when no one is there, and what was not tried.

    Parameters
    ----------
    hazards : tuple of Hazard
        Gravest first.
    safe : tuple of str
        States from which nothing that was tried leads to a hazard.
    shown_safe : tuple of str
        Those of them of which every outside event on the way was tried.
    walks : int
        How many walks were recorded.
    """

    machine: Machine
    rules: tuple[reach.Rule, ...]
    hazards: tuple[reach.Hazard, ...]
    safe: tuple[str, ...]
    shown_safe: tuple[str, ...]
    precautions: tuple[guarding.Precaution, ...]
    spared: tuple[guarding.Spared, ...]
    relocks: tuple[guarding.Relock, ...]
    changes: tuple[Change, ...]
    coverage: proving.Coverage
    next_trials: tuple[planning.Trial, ...]
    plan: planning.Plan
    evidence: tuple[proving.Evidence, ...]
    contradictions: tuple[proving.Contradiction, ...]
    not_undone: tuple[proving.NotUndone, ...]
    signals: Mapping[str, showing.Signal]
    ambiguous: tuple[showing.Ambiguity, ...]
    silent_errors: tuple[str, ...]
    walks: int
    device: Mapping[str, object]

    @property
    def helpless(self) -> tuple[str, ...]:
        """States left in from which a hazard can be reached and no precaution is known."""
        helped = {item.leave_in for item in self.precautions}
        return tuple(dict.fromkeys(item.leave_in for item in self.hazards if item.leave_in not in helped))


@dataclass(frozen=True)
class NothingObserved:
    """The section of a review without any observed states."""


def analyse(inputs: UiInputs, *, folder: str | Path = "") -> Assessment | NothingObserved:
    """Return what the observed states and transitions tell.

    Parameters
    ----------
    inputs : UiInputs
        As `inputs` gives them.
    folder : str or Path
        Where logs and tables lie. Default: the current folder, in a notebook its own.

    Raises
    ------
    Faults
        Everything wrong in the table or the states at once.

    Examples
    --------
    >>> result = analyse(ui.inputs())
    >>> type(result).__name__
    'NothingObserved'
    """
    if inputs.empty:
        return NothingObserved()
    return of_machine(
        reading.machine(inputs, folder=Path(folder).expanduser()),
        own=inputs.own_rules,
        counted=inputs.signals,
        walks=inputs.ui_walks,
        device=inputs.device,
    )


def of_machine(
    machine: Machine,
    *,
    own: Sequence[reach.OwnRule] = (),
    counted: Mapping[str, showing.Signal] | None = None,
    walks: Sequence[proving.Walk] = (),
    device: Mapping[str, object] | None = None,
) -> Assessment:
    """Return the assessment of a device given as a `Machine`.

    Examples
    --------
    >>> of_machine(result.machine).safe == result.safe
    True
    """
    asked = reach.rules(own)
    found = reach.hazards(machine, asked, machine.leave_in)
    in_danger = tuple(dict.fromkeys(item.leave_in for item in found))
    tried = proving.coverage(machine, walks)
    before = guarding.precautions(machine, asked, in_danger)
    return Assessment(
        machine=machine,
        rules=asked,
        hazards=found,
        safe=tuple(name for name in machine.states if reach.is_safe(machine, asked, name)),
        shown_safe=tuple(name for name in machine.states if reach.is_shown_safe(machine, asked, name)),
        precautions=before,
        spared=guarding.spared(machine, asked, found),
        relocks=guarding.relocks(machine, found),
        changes=changes(machine, asked, found),
        coverage=tried,
        next_trials=planning.next_trials(machine, asked, tried.untested, _wanted(before)),
        plan=planning.plan(machine, tried.untested, next(iter(machine.states))),
        evidence=tuple(proving.evidence(item) for item in machine.transitions),
        contradictions=proving.contradictions(machine),
        not_undone=proving.not_undone(machine),
        signals=counted or {},
        ambiguous=showing.ambiguous(machine, counted or {}),
        silent_errors=showing.silent_errors(machine.states.values()),
        walks=len(walks),
        device=device or {},
    )


def _wanted(before: Sequence[guarding.Precaution]) -> dict[Pair, list[str]]:
    """Return the pairs without which a precaution is not shown, with the states left in that it is for."""
    wanted: dict[Pair, list[str]] = {}
    for item in before:
        for pair in item.not_tried:
            if item.leave_in not in wanted.setdefault(pair, []):
                wanted[pair].append(item.leave_in)
    return wanted
