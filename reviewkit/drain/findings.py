"""The section's findings, each with its note."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from reviewkit.drain import sentences
from reviewkit.drain.features import Feature
from reviewkit.drain.inputs import DrainInputs
from reviewkit.drain.state import StateDrain
from reviewkit.drain.storage import Days
from reviewkit.findings import Finding, Findings, measured, not_tested
from reviewkit.metrology.conformity import Limit, Verdict

_PULSES = (
    ("pulse_height", "pulse height above the base", "A", "height"),
    ("pulse_width", "pulse width", "s", "width"),
    ("pulse_period", "pulse period", "s", "period"),
)
NO_STATES = (
    "no state is listed under 'drain_states' in the review file: give each a name and a log, or one reading, "
    "and the meter's range"
)


def all_findings(bench: DrainInputs, states: Iterable[StateDrain]) -> Findings:
    """Return every state's findings; with no state, the standby ones as not tested."""
    found = [item for state in states for item in state_findings(bench, state)]
    if not found:
        found = [
            not_tested("drain.standby.mean", "standby: mean drain", NO_STATES, "A"),
            not_tested("drain.standby.days_to_empty", "standby: days to empty", NO_STATES, "d"),
        ]
    return Findings(tuple(found))


def state_findings(bench: DrainInputs, state: StateDrain) -> Sequence[Finding]:
    """Return one state's findings."""
    level = f"days until a full cell is at {bench.drain_level_percent:g} %"
    found = (
        _base(state),
        *(_pulse(state, *names) for names in _PULSES),
        _mean(bench, state),
        _days(bench, state, "days_to_level", level, state.to_level),
        _days(bench, state, "days_to_empty", "days until a full cell is empty", state.to_empty),
    )
    return tuple(replace(item, inputs=state.inputs) for item in found)


def _key(state: StateDrain, name: str) -> str:
    return f"drain.{state.slug}.{name}"


def _label(state: StateDrain, words: str) -> str:
    return f"{state.name}: {words}"


def _base(state: StateDrain) -> Finding:
    key, label = _key(state, "base"), _label(state, "base level")
    if state.split is None:
        return not_tested(key, label, sentences.SINGLE, "A")
    found = _feature(key, label, "A", state.split.features.base)
    fit = state.base_fit
    if fit is None or fit.fit:
        return found
    return replace(found, verdict="inconclusive", note=fit.advice)


def _pulse(state: StateDrain, name: str, words: str, unit: str, attribute: str) -> Finding:
    key, label = _key(state, name), _label(state, words)
    if state.split is None:
        return not_tested(key, label, sentences.SINGLE, unit)
    if not state.split.seen.pulses:
        return not_tested(key, label, sentences.no_pulse(state.split), unit)
    feature: Feature = getattr(state.split.features, attribute)
    found = _feature(key, label, unit, feature)
    if attribute == "height" and not state.mean_fit.fit and state.mean_fit.drops:
        return replace(found, verdict="inconclusive", note=state.mean_fit.advice)
    if attribute == "period" and feature.resolved:
        return replace(found, note=sentences.period_note(state.split))
    return found


def _feature(key: str, label: str, unit: str, feature: Feature) -> Finding:
    if feature.value is not None:
        return measured(key, label, feature.value)
    note = f"Not resolved: {feature.why}."
    return Finding(
        key, label, unit=unit, low=feature.low, high=feature.high, verdict="inconclusive", note=note
    )


def _mean(bench: DrainInputs, state: StateDrain) -> Finding:
    key, label = _key(state, "mean"), _label(state, "mean drain")
    limit = bench.limit(state.state)
    note = sentences.mean_note(state)
    if state.mean.value is None:
        low, high = state.mean.low, state.mean.high
        return Finding(
            key,
            label,
            unit="A",
            low=low,
            high=high,
            limit=limit,
            verdict=_bounded(low, high, limit),
            note=note,
        )
    return _told(state, measured(key, label, state.mean.value, limit=limit, note=note))


def _told(state: StateDrain, found: Finding) -> Finding:
    """Return a finding as inconclusive where the meter was not fit for it."""
    return found if state.can_tell else replace(found, verdict="inconclusive")


def _bounded(low: float | None, high: float | None, limit: Limit | None) -> Verdict:
    """Return the verdict on bounds: certain only if all between them is inside, or outside."""
    if limit is None:
        return "inconclusive"
    top, bottom = limit.high, limit.low
    if (top is not None and low is not None and low > top) or (
        bottom is not None and high is not None and high < bottom
    ):
        return "fail"
    below = top is None or (high is not None and high <= top)
    above = bottom is None or (low is not None and low >= bottom)
    return "pass" if below and above else "inconclusive"


def _days(bench: DrainInputs, state: StateDrain, name: str, words: str, days: Days) -> Finding:
    key, label = _key(state, name), _label(state, words)
    limit = bench.claim(key, "d")
    why = sentences.no_days(bench, state)
    if why:
        return not_tested(key, label, why, "d", limit)
    note = sentences.days_note(bench, state)
    if days.value is not None and days.symmetric:
        return _told(state, measured(key, label, days.value, limit=limit, note=note))
    verdict = _bounded(days.low, days.high, limit) if limit or not state.can_tell else None
    value = None if days.value is None else days.value.value
    budget = () if days.value is None else days.value.components
    return Finding(
        key,
        label,
        value,
        "d",
        None,
        days.low,
        days.high,
        limit,
        verdict,
        note,
        budget,
    )
