"""The findings of this section."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from reviewkit.findings import Finding, Findings, measured, not_tested, with_inputs
from reviewkit.metrology import formatting
from reviewkit.tables import keys
from reviewkit.ui_states import signals, words
from reviewkit.ui_states.assess import Assessment

LABELS = {
    "ui.hazards": "ways it can go wrong with no one there",
    "ui.safe_to_leave": "states safe to leave it in",
    "ui.precautions": "precautions before leaving it",
    "ui.change_to_ask_for": "change of behaviour to ask the maker for",
    "ui.untested": "events not tried",
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

_SUPPLY = (
    "No states and transitions were recorded: name the states under 'ui_states' and list what was observed "
    "in a table, 'ui_transitions'."
)


def nothing() -> Findings:
    """Return all findings as not tested, each saying what to supply."""
    return Findings(tuple(not_tested(key, label, _SUPPLY) for key, label in LABELS.items()))


def findings(result: Assessment) -> Findings:
    """Return the findings; lists are told in words by their notes."""
    made = [make(result) for make in _MAKERS]
    return with_inputs([*made, *_flash_rates(result)], result.machine.files)


def _list(key: str, value: Sequence[Any], note: str, video_s: float | None = None) -> Finding:
    return Finding(key=key, label=LABELS[key], value=list(value), note=note, video_s=video_s)


def _hazards(result: Assessment) -> Finding:
    left = formatting.listed(result.machine.leave_in, last="or")
    if not result.machine.leave_in:
        return not_tested(
            "ui.hazards",
            LABELS["ui.hazards"],
            "No state charges, and 'ui_leave_in' names none in which a person walks away: name one.",
        )
    if not result.hazards:
        note = f"Left in {left}, no outside event that was tried leads to a hazard.{_open_pairs(result)}"
        return _list("ui.hazards", [], note)
    sentences = [words.path(result.machine, item) for item in result.hazards]
    shown = " ".join(sentences[:4]) + (f" And {len(sentences) - 4} more." if len(sentences) > 4 else "")
    moments = [step.video_s for step in result.hazards[0].steps if step.video_s is not None]
    value = [item.to_dict() for item in result.hazards]
    return _list("ui.hazards", value, shown, moments[0] if moments else None)


def _open_pairs(result: Assessment) -> str:
    if not result.coverage.untested:
        return ""
    return f" Not tried: {words.pairs(result.coverage.untested)}."


def _safe(result: Assessment) -> Finding:
    note = (
        f"From {formatting.listed(result.safe)} no outside event that was tried leads to a hazard."
        if result.safe
        else "From every state an outside event that was tried leads to a hazard."
    )
    return _list("ui.safe_to_leave", result.safe, note)


def _precautions(result: Assessment) -> Finding:
    sentences = [words.precaution(item) for item in result.precautions]
    sentences += [words.helpless(left) for left in result.helpless]
    note = " ".join(sentences) or "None is needed: no hazard was found."
    return _list("ui.precautions", [item.to_dict() for item in result.precautions], note)


def _changes(result: Assessment) -> Finding:
    note = " Or: ".join(words.change(item) for item in result.changes)
    if not note:
        note = "No single change removes a hazard." if result.hazards else "None is needed."
    return _list("ui.change_to_ask_for", [item.to_dict() for item in result.changes], note)


def _untested(result: Assessment) -> Finding:
    untested = result.coverage.untested
    note = (
        f"Not tried: {words.pairs(untested)}."
        if untested
        else "Every event was tried in every state where it can occur."
    )
    return _list("ui.untested", [list(pair) for pair in untested], note)


def _pair_coverage(result: Assessment) -> Finding:
    done, total = result.coverage.tested, len(result.coverage.pairs)
    return _share(
        "ui.pair_coverage", done, total, f"{done} of the {total} pairs that can occur were tried (0-switch)."
    )


def _sequence_coverage(result: Assessment) -> Finding:
    done, total = result.coverage.sequences_done, result.coverage.sequences
    key = "ui.sequence_coverage"
    if not result.walks:
        why = (
            f"{total} sequences of two observed outcomes exist (1-switch); which of them were made in one go "
            "is not recorded: list them as 'ui_walks', a state and then the events."
        )
        return not_tested(key, LABELS[key], why, unit="%")
    return _share(
        key, done, total, f"{done} of the {total} sequences of two outcomes were made in one go (1-switch)."
    )


def _share(key: str, done: int, total: int, note: str) -> Finding:
    if not total:
        return not_tested(key, LABELS[key], "There is nothing to try.", unit="%")
    return Finding(key=key, label=LABELS[key], value=100 * done / total, unit="%", note=note)


def _next_trials(result: Assessment) -> Finding:
    value = [
        {"state": item.state, "event": item.event, "could_reveal": item.could_reveal, "why": item.why}
        for item in result.next_trials
    ]
    note = "; ".join(f"{item.event} in {item.state}: {item.why}" for item in result.next_trials)
    return _list("ui.next_trials", value, f"{note}." if note else "Nothing is left to try.")


def _trial_plan(result: Assessment) -> Finding:
    value = [{"state": step.state, "event": step.event, "trial": step.trial} for step in result.plan.steps]
    trials = sum(step.trial for step in result.plan.steps)
    if not value and not result.plan.out_of_reach:
        return _list("ui.trial_plan", value, "Nothing is left to try.")
    kind = "the shortest walk" if result.plan.shortest else "a short walk"
    note = f"From {result.plan.start}, {kind}: {len(value)} events, {trials} of them trials."
    if result.plan.out_of_reach:
        note += f" No sure way leads to these: {words.pairs(result.plan.out_of_reach)}."
    return _list("ui.trial_plan", value, note)


def _evidence(result: Assessment) -> Finding:
    steps = {step for item in result.hazards for step in item.steps}
    counted = [item for item in result.evidence if item.otherwise is not None and item.transition.seen]
    # What a hazard rests on matters most; without hazards, whatever was tried least.
    asked = [item for item in counted if item.transition in steps] or counted
    note = "No trials were counted."
    if asked:
        weakest = max(asked, key=lambda item: item.otherwise or 0.0).transition
        of = "of the hazards\u2019 steps " if steps else ""
        way = f"{weakest.event} in {weakest.state} to {weakest.next}"
        note = f"The weakest {of}is {way}, {words.trials(weakest)}."
    return _list("ui.evidence", [item.to_dict() for item in result.evidence], note)


def _contradictions(result: Assessment) -> Finding:
    note = " ".join(words.contradiction(item) for item in result.contradictions)
    value = [item.to_dict() for item in result.contradictions]
    return _list("ui.contradictions", value, note or "Every event had one outcome in each state.")


def _not_undone(result: Assessment) -> Finding:
    note = " ".join(words.undone(item) for item in result.not_undone)
    return _list("ui.not_undone", [item.to_dict() for item in result.not_undone], note or "None was seen.")


def _ambiguous(result: Assessment) -> Finding:
    note = " ".join(
        f"{item.states[0]} and {item.states[1]} show {_shown(item)}: {item.why}." for item in result.ambiguous
    )
    value = [item.to_dict() for item in result.ambiguous]
    return _list(
        "ui.ambiguous_signals", value, note or "No two signals that call for different actions are alike."
    )


def _shown(item: signals.Ambiguity) -> str:
    return formatting.listed(f"‘{text}’" for text in dict.fromkeys(item.shows))


def _silent(result: Assessment) -> Finding:
    faults = [state.name for state in result.machine.states.values() if state.error]
    key = "ui.silent_errors"
    if not faults:
        why = "No state is marked as a fault: mark one with 'error: true' to have its signal looked at."
        return not_tested(key, LABELS[key], why)
    silent = formatting.listed(result.silent_errors)
    return _list(
        key, result.silent_errors, f"{silent}: nothing shows it." if silent else "Every fault shows itself."
    )


_MAKERS: tuple[Callable[[Assessment], Finding], ...] = (
    _hazards,
    _safe,
    _precautions,
    _changes,
    _untested,
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
    caution = {
        "yes": " More than three flashes in a second: warn viewers before showing it (WCAG 2.3.1).",
        "the count can’t tell": " Whether it is more than three flashes in a second the count can’t tell "
        "(WCAG 2.3.1): warn viewers before showing it.",
    }.get(signals.flashes_too_fast(signal), "")
    if not signal.regular:
        why = f"Its flashes are not alike ({len(signal.lit_s)} in a cycle): it has no one rate.{caution}"
        return Finding(key=key, label=label, unit="Hz", note=why)
    rate = signal.rate
    if rate is None:
        return not_tested(key, label, "Not counted: give 'flashes' and 'seconds'.", unit="Hz")
    return measured(key, label, rate, note=f"{_counted(signal)}.{caution}")


def _counted(signal: signals.Signal) -> str:
    if signal.flashes is None:
        return "From the lit and dark times of one cycle in the video"
    how = "by eye and stopwatch" if signal.frame_s is None else "in the video"
    return f"{signal.flashes} flashes in {signal.seconds:g}{formatting.NO_BREAK}s, counted {how}"
