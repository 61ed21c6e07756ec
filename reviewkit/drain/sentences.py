"""What the section says in words: which sentence of ``words/drain.j2``, with which values."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

from reviewkit.drain import states
from reviewkit.drain.decompose import SHORT_SHARE, Decomposition
from reviewkit.drain.features import Feature
from reviewkit.drain.inputs import DrainInputs
from reviewkit.drain.pulse_train import ALONE_FROM_S
from reviewkit.drain.states import Days, Drain, StateDrain
from reviewkit.findings import sentences
from reviewkit.findings.displays import Answer
from reviewkit.metrology import difference, formatting
from reviewkit.metrology.formatting import rough

_USUAL_LOSS = (1.0, 3.0)
"""The cell's own loss that is taken where none is declared [% a month]: modern cells, from memory."""


def say(name: str, **values: Any) -> str:
    """Return one of the section's sentences."""
    return sentences.of("drain")(name, **values)


def summary(result: Drain) -> Answer:
    """Return one passage per state: mean, pulses, what is not resolved, the range, days.

    Examples
    --------
    >>> print(summary(drained).sentences[0][:41])
    Standby: one reading, 45.00 µA ± 0.73 µA.
    """
    return Answer(tuple(_passage(result.bench, state) for state in result) or (say("nothing_found"),))


def _passage(bench: DrainInputs, state: StateDrain) -> str:
    if state.fault:
        return say("unmeasured", state=state.name, fault=state.fault)
    parts = [_mean(state), pulses(state), settled(state), drift(state), _fit(state), _lasts(bench, state)]
    log = state.log
    report = [] if log is None else [f"{log.path}: {sentence}" for sentence in log.report.sentences()]
    return " ".join(part for part in (*parts, *report) if part)


def lost(state: StateDrain) -> str:
    """Return why a state was not measured; empty where it was."""
    return say("not_measured", fault=state.fault) if state.fault else ""


def mean_text(state: StateDrain) -> str:
    """Return the mean as a reader sees it, or its bounds."""
    if state.mean.value is not None:
        return state.mean.value.text
    return formatting.interval(*state.mean.bounds, "A") or "not known"


def _mean(state: StateDrain) -> str:
    return say(
        "mean",
        state=state.name,
        mean=mean_text(state),
        single=state.split is None,
        why=_mean_why(state),
        rows_mean=rough(state.mean.rows_mean_A, "A"),
    )


def _mean_why(state: StateDrain) -> str:
    split = state.split
    if split is None or not state.mean.why:
        return ""
    return say(
        "mean_why",
        code=state.mean.why,
        aperture=split.aperture_s,
        interval=split.samples.interval_s,
        overloads=split.samples.overloads,
        seen=split.detection.pulses > 0,
    )


def text_of(feature: Feature, unit: str) -> str:
    """Return a feature as a reader sees it: value, bounds, or that there is none."""
    if feature.value is not None:
        return feature.value.text
    return formatting.interval(feature.low, feature.high, unit) or "not known"


def why(split: Decomposition, feature: Feature) -> str:
    """Return why a feature is not resolved, as a clause; empty where it is."""
    if feature.resolved:
        return ""
    return say("why", code=feature.why, interval=split.samples.interval_s, pulses=split.detection.pulses)


def not_resolved(split: Decomposition, feature: Feature) -> str:
    """Return the note of a finding that is not resolved."""
    return say("not_resolved", why=why(split, feature))


def pulses(state: StateDrain) -> str:
    """Return what one log shows of pulses; empty for a steady level."""
    split = state.split
    if split is None or (split.kind == "steady" and not split.detection.dips):
        return ""
    shape = split.features
    lowest = "" if shape.lowest is None else shape.lowest.text
    if split.kind == "steady":
        return say("below", rows=split.detection.dips, lowest=lowest)
    group = split.pattern.group
    reason = shape.width if split.kind in ("fixed", "jittered") else shape.period
    return say(
        "pulses",
        kind=split.kind,
        period=text_of(shape.period, "s"),
        base=text_of(shape.base, "A") if shape.base.why in ("", "drift") else "",
        height=text_of(shape.height, "A"),
        width=text_of(shape.width, "s"),
        why=why(split, reason),
        group=group[0] if group else 0,
        group_period=formatting.interval(*group[1:], "s") if group else "",
        lowest=lowest,
        highest="" if shape.highest is None else shape.highest.text,
    )


def shape(state: StateDrain) -> str:
    """Return what one log shows: mean, base and pulses."""
    return " ".join(part for part in (_mean(state), pulses(state)) if part)


def folded(state: StateDrain) -> str:
    """Return what the periods laid over one another show."""
    split = state.split
    assert split is not None
    assert split.train is not None
    return say(
        "folded",
        outline=split.pattern.outline,
        periods=0 if split.train.folded else split.train.cycles,
        interval=split.samples.interval_s,
        why=why(split, split.features.period if split.train.folded else split.features.width),
    )


def settled(state: StateDrain) -> str:
    """Return where the settled part begins, if not with the first row."""
    if state.split is None or state.split.settled.from_start:
        return ""
    part = state.split.settled
    return say(
        "settled",
        start=after(state),
        before="" if part.level_before_A is None else rough(part.level_before_A, "A"),
        short_percent=f"{100 * part.share:.0f}" if part.share < SHORT_SHARE else "",
    )


def after(state: StateDrain) -> str:
    """Return how long after the log's first row the settled part begins."""
    assert state.split is not None
    assert state.log is not None
    start = state.split.settled.start_s - float(state.log.time_s[0])
    if start < 120:
        return formatting.quantity(float(round(start)), None, "s")
    return formatting.clock(start, with_seconds=True)


def drift(state: StateDrain) -> str:
    """Return how the low level moved, if it clearly did."""
    moved = None if state.split is None else state.split.drift_A
    return "" if moved is None else say("drift", begin=rough(moved[0], "A"), end=rough(moved[1], "A"))


def _fit(state: StateDrain) -> str:
    if not state.mean_fit.fit:
        return state.mean_fit.advice
    if state.base_fit is not None and not state.base_fit.fit:
        return say("base_range", advice=state.base_fit.advice)
    if state.mean_fit.burden_V is None:
        return say("no_burden")
    if state.split is not None and state.split.detection.pulses and not state.split.features.height.resolved:
        return say("burden_at_top", drop=f"{1e3 * state.mean_fit.burden_V:.2g} mV")
    return ""


def _lasts(bench: DrainInputs, state: StateDrain) -> str:
    if not state.on_shelf.known:
        return ""
    low, high = bench.drain_self_discharge_percent
    alone = "" if outlasts(bench, state.to_empty) else state.to_empty.text
    own = f"{low:g} % to {high:g} %"
    return say("lasts", shelf=state.on_shelf.text, alone=alone, own_percent=own)


def outlasts(bench: DrainInputs, days: Days) -> bool:
    """Return whether a drain alone would take longer than the cell's own loss."""
    own = states.self_discharge_days(bench.drain_self_discharge_percent[0])
    return not days.known or (days.low is not None and days.low > own)


def mean_note(state: StateDrain) -> str:
    """Return the note of a state's mean."""
    parts = [] if state.mean_fit.fit else [state.mean_fit.advice]
    split = state.split
    if split is None:
        parts.append(say("one_reading"))
    else:
        windows = say(
            "windows",
            code=split.windows,
            aperture=split.aperture_s,
            pulses=len(split.pattern.charge_As),
        )
        parts += [_how(state, split), settled(state), drift(state), windows]
    if state.mean.level_A < 0:
        parts.append(say("negative"))
    return " ".join(part for part in parts if part)


def _how(state: StateDrain, split: Decomposition) -> str:
    if state.mean.value is None:
        return f"{_capital(_mean_why(state))}."
    if state.mean.cycles:
        return say("over_periods", periods=state.mean.cycles)
    return say("over_time", time=formatting.quantity(split.samples.covered_s, None, "s"))


def no_pulse(split: Decomposition) -> str:
    """Return why there is nothing to say about pulses."""
    return say("no_pulse", threshold=rough(split.detection.threshold_A, "A"))


def period_note(split: Decomposition) -> str:
    """Return the assumption under which a period is one."""
    interval = split.samples.interval_s
    return say("period_note", interval=interval) if interval > ALONE_FROM_S else ""


def no_days(bench: DrainInputs, days: Days) -> str:
    """Return why days can't be told; empty where they can."""
    if bench.cell.rated_capacity_Ah is None:
        return say("no_capacity")
    return "" if days.known else say("no_drain")


def days_note(bench: DrainInputs, state: StateDrain, *, alone: bool) -> str:
    """Return what the days rest on: the drain alone, or the cell's own loss too."""
    capacity = rough(bench.cell.rated_capacity_Ah or 0.0, "A.h")
    note = say("shelf_note", capacity=capacity, yardstick=yardstick(bench))
    if alone:
        note = say("days_note", capacity=capacity, longer=outlasts(bench, state.to_empty))
    parts = [state.mean_fit.advice, note, say("drifting_days") if state.changing else ""]
    return " ".join(part for part in parts if part)


def yardstick(bench: DrainInputs) -> str:
    """Return the self-discharge that the drains are set beside, and where it comes from."""
    low, high = bench.drain_self_discharge_percent
    return say("self_discharge", low=f"{low:g}", high=f"{high:g}", declared=(low, high) != _USUAL_LOSS)


def advice(result: Drain) -> Answer:
    """Return what the drains mean for storage, then the usual cautions.

    Examples
    --------
    >>> advice(drained).sentences[-1]
    'The cell’s and the device’s own instructions on storage come first.'
    """
    bench, states = result.bench, result.states
    known = [state for state in states if state.can_tell]
    parts: list[str] = []
    if bench.cell.rated_capacity_Ah:
        parts = [_compared(bench), *(_beside(bench, state) for state in ordered(known))]
    parts += _least(known)
    parts += [_unknown(state) for state in states if state not in known]
    return Answer((*parts, *say("cautions").split(" | ")))


def ordered(states: Iterable[StateDrain]) -> list[StateDrain]:
    """Return the states by their drain, the highest first."""
    return sorted(states, key=lambda state: state.mean.level_A, reverse=True)


def _compared(bench: DrainInputs) -> str:
    capacity, rates = bench.cell.rated_capacity_Ah or 0.0, bench.drain_self_discharge_percent
    low, high = (rough(states.self_discharge_A(rate, capacity), "A") for rate in rates)
    slow, quick = (say("years", days=states.self_discharge_days(rate)) for rate in rates)
    return say("yardstick", what=yardstick(bench), low=low, high=high, quick=quick, slow=slow)


def _beside(bench: DrainInputs, state: StateDrain) -> str:
    capacity, rates = bench.cell.rated_capacity_Ah or 0.0, bench.drain_self_discharge_percent
    low, high = (states.self_discharge_A(rate, capacity) for rate in rates)
    least, most = state.mean.bounds
    return say(
        "beside",
        state=state.name,
        shelf=state.on_shelf.text,
        level_days=state.to_level.text,
        percent=f"{bench.drain_level_percent:g}",
        alone="" if outlasts(bench, state.to_empty) else state.to_empty.text,
        # Only what the whole interval says: else the drain is about what the cell loses by itself.
        times=-1.0 if most is not None and most < low else (least or 0.0) / high,
    )


def _least(known: list[StateDrain]) -> Iterator[str]:
    """Give what the least thirsty state gains over each other one."""
    if len(known) < 2:
        return
    *others, best = ordered(known)
    worse = [state for state in others if _certainly_more(state, best)]
    if not worse:
        yield say("no_least")
        return
    gains = [
        say("more", amount=rough(state.mean.level_A - best.mean.level_A, "A"), state=state.name)
        for state in worse
    ]
    yield say("least", best=best.name, do=_what_to_do(best, worse), more=gains)


def _certainly_more(state: StateDrain, best: StateDrain) -> bool:
    assert state.mean.value is not None
    assert best.mean.value is not None
    change = difference(state.mean.value, best.mean.value)
    return change.value > change.expanded


def _what_to_do(best: StateDrain, worse: list[StateDrain]) -> str:
    """Return what to do before storing it; nothing where doing it would leave a cable in."""
    if _is_plugged(best.name):
        return "none"
    if re.search(r"(?<!not )\block(ed)?\b", best.name.casefold()):
        return "lock"
    return "pull" if all(_is_plugged(state.name) for state in worse) else "store"


def _is_plugged(name: str) -> bool:
    """Whether a state's name says that the cable is in: "full, cable in", not "full, cable out"."""
    words = set(re.findall(r"[a-z]+", name.casefold()))
    named = {"plugged", "plug", "cable", "charging", "charger"} & words
    return bool(named) and not {"out", "off", "no", "not", "without", "pulled", "removed"} & words


def _unknown(state: StateDrain) -> str:
    if state.fault:
        return say("unmeasured", state=state.name, fault=state.fault)
    reason = state.mean_fit.advice or _mean_why(state)
    return say("cannot_tell", state=state.name, reason=reason if reason.endswith(".") else f"{reason}.")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
