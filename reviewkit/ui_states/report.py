"""The findings of this section, and what it lists beside them: precautions, changes, trials, signals, a note.

Their sentences stand in ``templates/words/ui_states.j2``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, Literal

from reviewkit.findings import Finding, Findings, measured, not_tested, sentences, with_inputs
from reviewkit.findings.displays import Answer, ExtraPage, plain
from reviewkit.metrology import formatting
from reviewkit.metrology.conformity import Verdict
from reviewkit.tables import csv_table, keys
from reviewkit.ui_states import signals
from reviewkit.ui_states.analysis import Assessment, NothingObserved
from reviewkit.ui_states.evidence import evidence, weakest
from reviewkit.ui_states.model import Event, Transition
from reviewkit.ui_states.precautions import Precaution
from reviewkit.ui_states.reach import Hazard

LABELS = {
    "ui.hazards": "ways it can go wrong with no one there",
    "ui.safe_to_leave": "states from which no hazard follows",
    "ui.precautions": "precautions before leaving it",
    "ui.change_to_ask_for": "change of behaviour to ask the maker for",
    "ui.untested": "events not tried",
    "ui.unreached": "states not yet reached",
    "ui.pair_coverage": "share of (state, event) pairs tried",
    "ui.sequence_coverage": "share of two-event sequences made in one go",
    "ui.next_trials": "trials most worth making next",
    "ui.trial_plan": "walk through all trials still to make",
    "ui.evidence": "outcomes with their trials",
    "ui.contradictions": "events with more than one outcome",
    "ui.not_undone": "changes that the opposite event does not undo",
    "ui.ambiguous_signals": "signals that can be mistaken",
    "ui.silent_errors": "faults without any signal",
}
"""Keys and what a reader calls them."""

say = sentences.of("ui_states")


def findings(result: Assessment | NothingObserved) -> Findings:
    """Return the findings; lists are told in words by their notes.

    Returns
    -------
    Findings
        Keys ``ui.…``; without any states each is not tested and says what to supply.

    Examples
    --------
    >>> round(findings(result)["ui.pair_coverage"].value)
    98
    """
    if isinstance(result, NothingObserved):
        return Findings(tuple(not_tested(key, label, say("supply")) for key, label in LABELS.items()))
    made = [make(result) for make in _MAKERS]
    return with_inputs([*made, *_flash_rates(result)], result.machine.files)


def _list(key: str, value: Sequence[Any], note: str, video_s: float | None = None) -> Finding:
    return Finding(key=key, label=LABELS[key], value=list(value), note=note, video_s=video_s)


def _open(key: str, value: Sequence[Any], note: str) -> Finding:
    """Return a list of what is left to do: not tested unless it is empty."""
    verdict: Verdict | None = "not tested" if value else None
    return Finding(key=key, label=LABELS[key], value=list(value), note=note, verdict=verdict)


def _hazards(result: Assessment) -> Finding:
    key = "ui.hazards"
    if not result.machine.leave_in:
        return not_tested(key, LABELS[key], say("nowhere_left"))
    if not result.hazards:
        note = say("no_hazard", left=result.machine.leave_in, open=result.coverage.untested)
        return _list(key, [], note)
    moments = [step.video_s for step in result.hazards[0].steps if step.video_s is not None]
    value = [item.to_dict() for item in result.hazards]
    return _list(key, value, told(result), moments[0] if moments else None)


def told(result: Assessment) -> str:
    """Return every kind of hazard in the words of what one sees, and what prevents it."""
    kinds: dict[str, list[Hazard]] = {}
    for item in result.hazards:
        kinds.setdefault(item.hazard, []).append(item)
    said = [line for group in kinds.values() for line in _kind(result, group)]
    return " ".join(dict.fromkeys(said + _prevention(result)))


def _kind(result: Assessment, group: Sequence[Hazard]) -> Iterator[str]:
    """Give the sentences of one kind: the gravest way into it, where else it can come from, what helps."""
    item, states = group[0], result.machine.states
    others = dict.fromkeys(other.leave_in for other in group if other.leave_in != item.leave_in)
    yield say(
        "hazard",
        hazard=item,
        end=states[item.ends_in],
        events=_events(result, (step.event for step in item.steps)),
        **_shown(item.steps),
        brighter=bool(item.steps) and states[item.steps[-1].state].light_percent > 0,
        others=list(others),
    )
    for help_ in result.spared:
        if help_.hazard == item:
            locks = not states[item.leave_in].locked and bool(states[help_.action.next].locked)
            yield say("spared", item=help_, locks=locks, **_shown((help_.action, *help_.steps)))
    for lock in result.relocks:
        if item.steps and lock.lost == item.steps[-1] and item.hazard == "protection not recovered":
            event = result.machine.events[lock.lost.event]
            yield say("lock_again", event=event, do=_events(result, (step.event for step in lock.do)))


def _shown(path: Sequence[Transition]) -> dict[str, Any]:
    """Return the evidence of a path, and whether all its steps were tried and seen as often."""
    return {"found": weakest(path), "alike": len({(step.seen, step.tried) for step in path}) == 1}


def _prevention(result: Assessment) -> list[str]:
    """Return the precautions for what nothing else was said to help against."""
    again = {lock.lost for lock in result.relocks if lock.do}
    helped = {item.hazard.leave_in for item in result.spared}
    by_lock = {item.leave_in for item in result.hazards if again & set(item.steps)}
    helped |= by_lock - {item.leave_in for item in result.hazards if not again & set(item.steps)}
    lines = [_precaution(result, item) for item in result.precautions if item.leave_in not in helped]
    return lines + [say("helpless", left=left) for left in result.helpless if left not in helped]


def _precaution(result: Assessment, item: Precaution) -> str:
    return say("precaution", item=item, events=_events(result, item.do))


def _events(result: Assessment, names: Iterable[str]) -> list[Event]:
    return [result.machine.events[name] for name in names]


def _safe(result: Assessment) -> Finding:
    open_ = [name for name in result.safe if name not in result.shown_safe]
    return _list("ui.safe_to_leave", result.shown_safe, say("safe", shown=result.shown_safe, open=open_))


def precaution_sentences(result: Assessment) -> list[str]:
    """Return what to do before leaving the device, why that is enough, and what is not shown."""
    lines = [_precaution(result, item) for item in result.precautions]
    for lock in result.relocks:
        event = result.machine.events[lock.lost.event]
        lines.append(say("relock", event=event, do=_events(result, (step.event for step in lock.do))))
    return lines + [say("helpless", left=left) for left in result.helpless]


def _precautions(result: Assessment) -> Finding:
    note = " ".join(precaution_sentences(result)) or say("none_needed")
    return _list("ui.precautions", [item.to_dict() for item in result.precautions if item.shown], note)


def _changes(result: Assessment) -> Finding:
    note = " Or: ".join(say("change", item=item) for item in result.changes)
    note = note or say("no_change", hazards=bool(result.hazards))
    return _list("ui.change_to_ask_for", [item.to_dict() for item in result.changes], note)


def _untested(result: Assessment) -> Finding:
    items = result.coverage.untested
    return _open("ui.untested", [list(pair) for pair in items], say("untested", items=items))


def _unreached(result: Assessment) -> Finding:
    names = result.coverage.unreached
    return _open("ui.unreached", names, say("unreached", names=names))


def _pair_coverage(result: Assessment) -> Finding:
    done, total = result.coverage.tested, len(result.coverage.pairs)
    return _share("ui.pair_coverage", done, total, say("pair_coverage", done=done, total=total))


def _sequence_coverage(result: Assessment) -> Finding:
    done, total = result.coverage.sequences_done, result.coverage.sequences
    key = "ui.sequence_coverage"
    if not result.walks:
        return not_tested(key, LABELS[key], say("no_walks", total=total), unit="%")
    return _share(key, done, total, say("sequence_coverage", done=done, total=total))


def _share(key: str, done: int, total: int, note: str) -> Finding:
    if not total:
        return not_tested(key, LABELS[key], say("nothing_to_try"), unit="%")
    return Finding(key=key, label=LABELS[key], value=100 * done / total, unit="%", note=note)


def _next_trials(result: Assessment) -> Finding:
    items = result.next_trials
    value = [
        {
            "state": item.state,
            "event": item.event,
            "could_reveal": item.could_reveal,
            "why": say("why", code=item.why),
        }
        for item in items
    ]
    return _list("ui.next_trials", value, say("next_trials", items=items) if items else say("nothing_left"))


def _trial_plan(result: Assessment) -> Finding:
    plan = result.plan
    value = [{"state": step.state, "event": step.event, "trial": step.trial} for step in plan.steps]
    if not value and not plan.out_of_reach:
        return _list("ui.trial_plan", value, say("nothing_left"))
    return _list(
        "ui.trial_plan", value, say("plan", plan=plan, trials=sum(step.trial for step in plan.steps))
    )


def _evidence(result: Assessment) -> Finding:
    steps = {step for item in result.hazards for step in item.steps}
    counted = [item.transition for item in result.evidence if item.transition.seen]
    # What a hazard rests on matters most; without hazards, whatever was shown least.
    asked = [item for item in counted if item in steps] or counted
    found = weakest(asked)
    note = say("weakest", found=found, of_hazards=bool(steps)) if found else say("not_counted")
    return _list("ui.evidence", [item.to_dict() for item in result.evidence], note)


def _contradictions(result: Assessment) -> Finding:
    note = " ".join(say("contradiction", item=item) for item in result.contradictions)
    value = [item.to_dict() for item in result.contradictions]
    return _list("ui.contradictions", value, note or say("no_contradiction"))


def _not_undone(result: Assessment) -> Finding:
    note = " ".join(say("not_undone", item=item) for item in result.not_undone)
    return _list("ui.not_undone", [item.to_dict() for item in result.not_undone], note or say("none_seen"))


def _ambiguous(result: Assessment) -> Finding:
    note = " ".join(say("ambiguous", item=item) for item in result.ambiguous)
    value = [item.to_dict() for item in result.ambiguous]
    return _list("ui.ambiguous_signals", value, note or say("none_ambiguous"))


def _silent(result: Assessment) -> Finding:
    key = "ui.silent_errors"
    if not any(state.error for state in result.machine.states.values()):
        return not_tested(key, LABELS[key], say("no_fault_state"))
    return _list(key, result.silent_errors, say("silent", names=result.silent_errors))


_MAKERS: tuple[Callable[[Assessment], Finding], ...] = (
    _hazards,
    _safe,
    _precautions,
    _changes,
    _untested,
    _unreached,
    _pair_coverage,
    _sequence_coverage,
    _next_trials,
    _trial_plan,
    _evidence,
    _contradictions,
    _not_undone,
    _ambiguous,
    _silent,
)


def _flash_rates(result: Assessment) -> Iterator[Finding]:
    for name, signal in result.signals.items():
        yield _flash_rate(name, signal)


def _flash_rate(name: str, signal: signals.Signal) -> Finding:
    key = f"ui.{keys.key(name) or 'signal'}.flash_rate"
    label = f"flash rate of ‘{name}’"
    note = say("rate", signal=signal, too_fast=signals.flashes_too_fast(signal))
    if not signal.regular:
        return Finding(key=key, label=label, unit="Hz", note=note)
    if signal.rate is None:
        return not_tested(key, label, note, unit="Hz")
    return measured(key, label, signal.rate, note=note)


def _listed(items: Iterable[str], otherwise: str, form: Literal["bullets", "steps"] = "bullets") -> Answer:
    found = tuple(items)
    return Answer(found, form=form) if found else Answer((otherwise,))


def _nothing() -> Answer:
    return Answer((say("nothing"),))


def precaution_list(result: Assessment | NothingObserved) -> Answer:
    """Return what to do before leaving the device, and why that is enough.

    Examples
    --------
    >>> precaution_list(result).sentences[0]
    'Changing the cell removes the lock. Lock it again after every change (turn the ring).'
    """
    if isinstance(result, NothingObserved):
        return _nothing()
    return _listed(precaution_sentences(result), say("none_needed"))


def change_list(result: Assessment | NothingObserved) -> Answer:
    """Return the one change of behaviour to ask the maker for.

    Examples
    --------
    >>> change_list(result).sentences[0]
    'In locked, on cell changed by someone else: go to locked instead of standby; no hazard is left.'
    """
    if isinstance(result, NothingObserved):
        return _nothing()
    otherwise = say("no_change", hazards=bool(result.hazards))
    return _listed((say("change", item=item) for item in result.changes), otherwise)


def trial_list(result: Assessment | NothingObserved) -> Answer:
    """Return the walk through all trials still to make.

    Examples
    --------
    >>> trial_list(result).sentences[0]
    'In standby: cable in, to get to charging.'
    """
    if isinstance(result, NothingObserved):
        return _nothing()
    return _listed((say("step", item=item) for item in result.plan.steps), say("nothing_left"), "steps")


def signal_table(result: Assessment | NothingObserved) -> Answer:
    """Return every signal: where it shows, how fast it flashes, whether it is too fast for a film.

    Examples
    --------
    >>> signal_table(result).columns
    ('shows', 'in', 'flash rate', 'more than three in a second')
    """
    if isinstance(result, NothingObserved):
        return Answer((say("nothing"),))
    states = result.machine.states.values()
    rows = [
        (
            shows,
            formatting.listed(state.name for state in states if state.shows == shows),
            *_rate(result.signals.get(shows)),
        )
        for shows in dict.fromkeys(state.shows for state in states if state.shows)
    ]
    if not rows:
        return Answer((say("no_signal"),))
    return Answer((), ("shows", "in", "flash rate", "more than three in a second"), tuple(rows))


def _rate(signal: signals.Signal | None) -> tuple[str, str]:
    if signal is None:
        return "not counted", "not counted"
    fast = signals.flashes_too_fast(signal)
    if not signal.regular:
        return say("not_alike"), fast
    if signal.rate is None:
        return "not counted", fast
    return formatting.quantity(signal.rate.value, signal.rate.expanded, "Hz"), fast


def note_to_maker(result: Assessment | NothingObserved) -> ExtraPage | None:
    """Return a page for the maker: each hazard with its steps, trials, expected behaviour and severity.

    None where nothing was observed: there is nothing to write.

    Examples
    --------
    >>> note_to_maker(result).name
    'note-to-the-maker'
    """
    if isinstance(result, NothingObserved):
        return None
    device = str(result.device.get("name") or "the device")
    return ExtraPage(
        name="note-to-the-maker",
        title=say("note_title", device=device),
        markdown="\n\n".join(_paragraphs(result, device)) + "\n",
    )


def _paragraphs(result: Assessment, device: str) -> Iterator[str]:
    details = [f"{name} {result.device[name]}" for name in ("firmware", "serial") if result.device.get(name)]
    size = {"states": len(result.machine.states), "outcomes": len(result.machine.edges)}
    kinds = _grouped(result.hazards)
    yield _plain("note_opening", device=device, details=details, kinds=len(kinds), **size)
    if not kinds:
        yield _plain("note_none")
    for number, group in enumerate(kinds, start=1):
        yield f"## {number}. {plain(group[0].hazard).capitalize()}"
        yield from _one(result, group)
    if result.changes:
        yield "## What would help"
        yield from (f"- {_plain('note_change', item=item)}" for item in result.changes)
    if result.ambiguous or result.silent_errors:
        yield "## Signals"
    yield from (f"- {_plain('note_ambiguous', item=item)}" for item in result.ambiguous)
    yield from (f"- {_plain('note_silent', name=name)}" for name in result.silent_errors)
    yield "## What was not tried"
    yield _plain("note_untested", items=result.coverage.untested)
    yield _plain("note_end")


def _plain(name: str, /, **values: Any) -> str:
    return plain(say(name, **values))


def _grouped(hazards: Iterable[Hazard]) -> list[list[Hazard]]:
    """Return the hazards by kind, gravest first."""
    kinds: dict[str, list[Hazard]] = {}
    for item in hazards:
        kinds.setdefault(item.hazard, []).append(item)
    return list(kinds.values())


def _one(result: Assessment, group: list[Hazard]) -> Iterator[str]:
    item, end = group[0], result.machine.states[group[0].ends_in]
    yield "Steps to reproduce:"
    steps = [_plain("note_left", state=item.leave_in), *(_step(step) for step in item.steps)]
    yield "\n".join(f"{number}. {line}" for number, line in enumerate(steps, start=1))
    yield _plain("note_happens", hazard=item, end=end)
    yield _plain("note_expected", hazard=item)
    yield _plain("note_severity", hazard=item, end=end)
    others = dict.fromkeys(other.leave_in for other in group if other.leave_in != item.leave_in)
    if others:
        yield _plain("note_others", names=list(others))


def _step(step: Transition) -> str:
    shown = "" if step.video_s is None else csv_table.stamp(step.video_s)
    return _plain("note_step", step=step, found=evidence(step), shown=shown)
