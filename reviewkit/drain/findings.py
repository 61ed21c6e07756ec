"""The section's findings, each with its note."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from reviewkit.drain import sentences
from reviewkit.drain.features import Feature
from reviewkit.drain.inputs import DrainInputs
from reviewkit.drain.sentences import say
from reviewkit.drain.states import Days, Drain, StateDrain
from reviewkit.findings import Finding, Findings, measured, not_tested
from reviewkit.metrology import Measured
from reviewkit.metrology.conformity import Limit, Verdict

_FEATURES = (
    ("base", "base level", "A"),
    ("pulse_height", "pulse height above the base", "A"),
    ("pulse_width", "pulse width", "s"),
    ("pulse_period", "pulse period", "s"),
)


def findings(result: Drain) -> Findings:
    """Return every state's findings; with no state, the standby ones as not tested.

    Examples
    --------
    >>> print(findings(drained)["drain.standby.mean"].text)
    45.00 µA ± 0.73 µA
    """
    found = [item for state in result for item in _of_state(result.bench, state)]
    names = (("mean", "mean drain", "A"), ("days_on_shelf", "days on the shelf", "d"))
    if not found:
        why = say("no_states")
        found = [
            not_tested(f"drain.standby.{name}", f"standby: {words}", why, unit)
            for name, words, unit in (*names, ("days_to_empty", "days to empty", "d"))
        ]
    return Findings(tuple(found))


def _of_state(bench: DrainInputs, state: StateDrain) -> Iterator[Finding]:
    percent = f"{bench.drain_level_percent:g} %"
    found = (
        *(_feature(state, *names) for names in _FEATURES),
        *_pattern(state),
        _mean(bench, state),
        _days(bench, state, "on_shelf", "days until a full cell is empty, its own loss included"),
        _days(bench, state, "to_level", f"days until a full cell is at {percent}, by the drain alone"),
        _days(bench, state, "to_empty", "days until a full cell is empty, by the drain alone"),
    )
    for item in found:
        yield replace(item, inputs=state.inputs)


def _named(state: StateDrain, name: str, words: str) -> tuple[str, str]:
    return f"drain.{state.slug}.{name}", f"{state.name}: {words}"


def _feature(state: StateDrain, name: str, words: str, unit: str) -> Finding:
    named, split = _named(state, name, words), state.split
    if split is None:
        return not_tested(*named, sentences.lost(state) or say("single"), unit)
    if name != "base" and not split.detection.pulses and split.pattern.kind == "steady":
        return not_tested(*named, sentences.no_pulse(split), unit)
    feature: Feature = getattr(split.features, name.removeprefix("pulse_"))
    found = _found(named, unit, feature, sentences.not_resolved(split, feature))
    fit = state.base_fit if name == "base" else state.mean_fit
    if fit is not None and ((name == "base" and not fit.fit) or (name == "pulse_height" and fit.drops)):
        return replace(found, verdict="inconclusive", note=fit.advice)
    if name == "pulse_period" and feature.resolved:
        return replace(found, note=sentences.period_note(split))
    return found


def _found(named: tuple[str, str], unit: str, feature: Feature, note: str) -> Finding:
    if feature.value is not None:
        return measured(*named, feature.value)
    low, high = feature.low, feature.high
    return Finding(*named, unit=unit, low=low, high=high, verdict="inconclusive", note=note)


def _pattern(state: StateDrain) -> Iterator[Finding]:
    """Give what kind of current the rows show, and what is told of a kind that has no base and pulses."""
    split = state.split
    if split is None:
        return
    kind = say("pattern_name", kind=split.kind, drifting=split.drift_A is not None)
    yield Finding(*_named(state, "pattern", "what the rows show"), value=kind, note=say("pattern_note"))
    if split.kind == "bursts" and split.pattern.group is not None:
        number, low, high = split.pattern.group
        yield Finding(*_named(state, "pulses_in_group", "pulses in each group"), value=number)
        named = _named(state, "group_period", "time from group to group")
        yield Finding(*named, unit="s", low=max(low, 0.0), high=high)
    ends = ("lowest", split.features.lowest), ("highest", split.features.highest)
    for name, value in ends:
        if value is not None:
            yield measured(*_named(state, name, f"{name} reading"), value)


def _mean(bench: DrainInputs, state: StateDrain) -> Finding:
    named, limit = _named(state, "mean", "mean drain"), bench.limit(state.state)
    if state.fault:
        return not_tested(*named, sentences.lost(state), "A", limit)
    note = sentences.mean_note(state)
    # A drain is judged by its amount: one below zero is not "at most" anything.
    either_way = limit and Limit(_either(limit), limit.high, limit.source)
    if state.mean.value is None:
        low, high = state.mean.bounds
        verdict = _honest(state, _bounded(low, high, either_way))
        return Finding(*named, unit="A", low=low, high=high, limit=limit, verdict=verdict, note=note)
    found = measured(*named, state.mean.value, limit=either_way, note=note)
    verdict = "inconclusive" if not state.can_tell else _honest(state, found.verdict)
    return replace(found, verdict=verdict, limit=limit)


def _either(limit: Limit) -> float | None:
    return limit.low if limit.low is not None or limit.high is None else -limit.high


def _honest(state: StateDrain, verdict: Verdict | None) -> Verdict | None:
    """Return a verdict as inconclusive where the range was not fit, or a pass where the drain is negative."""
    most = state.mean.bounds[1]
    negative = most is not None and most < 0
    unfit = verdict in ("pass", "fail") and not state.mean_fit.fit
    return "inconclusive" if unfit or (negative and verdict == "pass") else verdict


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


def _days(bench: DrainInputs, state: StateDrain, name: str, words: str) -> Finding:
    named = _named(state, f"days_{name}", words)
    days: Days = getattr(state, name)
    limit = bench.claim(named[0], "d")
    why = sentences.lost(state) or sentences.no_days(bench, days)
    if why:
        return not_tested(*named, why, "d", limit)
    note = sentences.days_note(bench, state, alone=name != "on_shelf")
    open_ended = state.changing or not state.can_tell
    if days.value is not None and days.symmetric:
        found = measured(*named, days.value, limit=limit, note=note)
        return replace(found, verdict="inconclusive") if open_ended else found
    verdict = _bounded(days.low, days.high, limit) if limit or open_ended else None
    value: Measured | None = days.value
    return Finding(
        *named,
        value=None if value is None else value.value,
        unit="d",
        low=days.low,
        high=days.high,
        limit=limit,
        verdict="inconclusive" if state.changing else _honest(state, verdict),
        note=note,
        budget=() if value is None else value.components,
    )
