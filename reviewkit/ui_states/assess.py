"""The whole assessment of a device's user interface, from its observed states."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from reviewkit.ui_states import changes as changing
from reviewkit.ui_states import evidence as proving
from reviewkit.ui_states import plan as planning
from reviewkit.ui_states import precautions as guarding
from reviewkit.ui_states import reach, reading, rules
from reviewkit.ui_states import signals as showing
from reviewkit.ui_states.inputs import UiInputs
from reviewkit.ui_states.model import Machine, Pair


@dataclass(frozen=True)
class Assessment:
    """What a device does when no one is there, and what was not tried.

    Parameters
    ----------
    machine : Machine
    rules : tuple of Rule
    hazards : tuple of Hazard
        Gravest first.
    safe : tuple of str
        States from which nothing that was tried leads to a hazard.
    shown_safe : tuple of str
        Those of them of which every outside event on the way was tried.
    precautions : tuple of Precaution
    spared : tuple of Spared
    relocks : tuple of Relock
    changes : tuple of Change
    coverage : Coverage
    next_trials : tuple of Trial
    plan : Plan
    evidence : tuple of Evidence
    contradictions : tuple of Contradiction
    not_undone : tuple of NotUndone
    signals : dict of str to Signal
    ambiguous : tuple of Ambiguity
    silent_errors : tuple of str
    walks : int
        How many walks were recorded.
    device : dict
    """

    machine: Machine
    rules: tuple[rules.Rule, ...]
    hazards: tuple[reach.Hazard, ...]
    safe: tuple[str, ...]
    shown_safe: tuple[str, ...]
    precautions: tuple[guarding.Precaution, ...]
    spared: tuple[guarding.Spared, ...]
    relocks: tuple[guarding.Relock, ...]
    changes: tuple[changing.Change, ...]
    coverage: proving.Coverage
    next_trials: tuple[planning.Trial, ...]
    plan: planning.Plan
    evidence: tuple[proving.Evidence, ...]
    contradictions: tuple[proving.Contradiction, ...]
    not_undone: tuple[proving.NotUndone, ...]
    signals: Mapping[str, showing.Signal]
    ambiguous: tuple[showing.Ambiguity, ...]
    silent_errors: tuple[str, ...]
    walks: int = 0
    device: Mapping[str, object] = field(default_factory=dict)

    @property
    def helpless(self) -> tuple[str, ...]:
        """States left in from which a hazard can be reached and no precaution is known."""
        helped = {item.leave_in for item in self.precautions}
        return tuple(dict.fromkeys(item.leave_in for item in self.hazards if item.leave_in not in helped))


@dataclass(frozen=True)
class NothingObserved:
    """The section of a review without any observed states."""


def assess(inputs: UiInputs, *, folder: Path = Path()) -> Assessment | NothingObserved:
    """Return what the observed states and transitions tell.

    Parameters
    ----------
    inputs : UiInputs
        As `inputs` gives them.
    folder : Path
        The review folder.

    Raises
    ------
    Faults
        Everything wrong in the table or the states at once.

    Examples
    --------
    >>> result = assess(ui.inputs())
    >>> type(result).__name__
    'NothingObserved'
    """
    if inputs.empty:
        return NothingObserved()
    return of_machine(
        reading.machine(inputs, folder=folder),
        own=inputs.own_rules,
        counted=inputs.signals,
        walks=inputs.ui_walks,
        device=inputs.device,
    )


def of_machine(
    machine: Machine,
    *,
    own: Sequence[rules.OwnRule] = (),
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
    asked = rules.rules(own)
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
        changes=changing.changes(machine, asked, found),
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
