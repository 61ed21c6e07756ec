"""What the section hands over: its findings, each with its sentence and interval, and its summary."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

from reviewkit.findings import Finding, Findings, not_tested, sentences
from reviewkit.findings.displays import Answer
from reviewkit.metrology import Component, formatting
from reviewkit.metrology.conformity import Limit, Verdict, verdict_of
from reviewkit.readout.analysis import Bracket, Readout
from reviewkit.readout.fit import Fit
from reviewkit.readout.model import DECIMAL_MODES, Interval, offset_of

LABELS = {
    "switching_place": ("place within a step where the displayed value changes", "V"),
    "rule": ("how the readout rounds", ""),
    "offset_if_nearest": ("offset if it rounds to nearest", "V"),
    "offset_if_down": ("offset if it cuts off", "V"),
    "offset_if_up": ("offset if it rounds up", "V"),
    "gain": ("gain of the readout", "1"),
    "doubtful_rows": ("readings that contradict the others", ""),
    "largest_error": ("largest readout error in the working range", "V"),
    "quantisation_error": ("part of it that the resolution costs", "V"),
    "mendable_error": ("part of it that better firmware could mend", "V"),
    "next_voltage": ("voltage to read next", "V"),
}
_MOST_TOLD = 6
"""Explanations that a sentence lists [1]; more are counted. Chosen: what a reader can compare."""

MOST_WRONG_TO_PASS = 8
"""With more than one reading in so many to doubt [1], no claim is said to be kept. Chosen: of six readings
of which one is doubted, three may be misread, and the other three agree by chance; see
tests/benchmarks/readout_honest.py, seed 462."""


def say(name: str, /, **values: Any) -> str:
    """Return one of the section's sentences, as ``templates/words/readout.j2`` words it."""
    return sentences.of("readout")(name, **values)


def summary(result: Readout) -> Answer:
    """Return the section's result in a few paragraphs, what was taken for granted last.

    Examples
    --------
    >>> print(summary(read_out))  # doctest: +ELLIPSIS
    From 10 readings: the displayed value changes 0.081 V to 0.102 V above the lower displayed value, ...
    """
    fitted, table = result.fit, result.table
    if table is None:
        return Answer((say("nothing_read"),))
    if fitted is None:
        parts = [say("marks_only", name=result.bench.name)]
        parts += [bracket(one, "threshold") for one in result.thresholds]
        return Answer((*parts, *(bracket(one, "warning") for one in result.warnings), _load(result)))
    if not fitted.consistent:
        return Answer((say("no_fit", count=len(fitted.readings)), _step(result)))
    level = fitted.transition
    lead = say(
        "lead",
        count=len(fitted.readings),
        low=float(level.low),
        high=float(level.high),
        greatest=fitted.maximum_error[2],
    )
    doubt = (_doubt(result, fitted),) if fitted.ways != ((),) else ()
    return Answer(
        (lead, _rule(result, fitted), *doubt, _gain_taken(fitted), f"{_load(result)} {_step(result)}")
    )


def findings(result: Readout) -> Findings:
    """Return the findings of the section, in the order a reader should see them.

    Examples
    --------
    >>> print(findings(read_out)["readout.switching_place"].text)
    0.092 V (0.080 V to 0.103 V)
    """
    if result.table is None:
        return Findings(tuple(_missing(name, say("no_table"), result) for name in LABELS))
    inputs = (result.table.file,)
    brackets = _brackets("warning", result.warnings, inputs) + _brackets(
        "threshold", result.thresholds, inputs
    )
    if result.fit is None:
        own = tuple(_missing(name, say("only_marks"), result) for name in LABELS)
    elif not result.fit.consistent:
        own = tuple(_without_fit(result, inputs))
    else:
        own = tuple(_with_fit(result, result.fit, inputs))
    return Findings(own + brackets)


def _limit(result: Readout) -> Limit | None:
    claim = result.bench.claim_V()
    return Limit(high=claim[0], source=claim[1]) if claim else None


def _missing(name: str, why: str, result: Readout) -> Finding:
    label, unit = LABELS[name]
    limit = _limit(result) if name == "largest_error" else None
    return not_tested(f"readout.{name}", label, why, unit, limit)


def _without_fit(result: Readout, inputs: tuple[str, ...]) -> Iterable[Finding]:
    why = say("nothing_fits")
    told = {"rule": "inconsistent", "doubtful_rows": "more than a quarter"}
    for name, (label, unit) in LABELS.items():
        if name in told:
            yield Finding(f"readout.{name}", label, told[name], unit, note=why, inputs=inputs)
        else:
            yield _missing(name, why, result)


def _with_fit(result: Readout, fitted: Fit, inputs: tuple[str, ...]) -> Iterable[Finding]:
    def made(name: str, value: float | str | None, **more: Any) -> Finding:
        label, unit = LABELS[name]
        return Finding(f"readout.{name}", label, value, unit, inputs=inputs, **more)

    def between(interval: Interval) -> dict[str, float]:
        return {"low": float(interval.low), "high": float(interval.high)}

    level, possible = fitted.transition, result.possible_rules
    yield made(
        "switching_place",
        float(level.middle),
        **between(level),
        note=_level(result, fitted),
        budget=_budget(fitted, 1.0),
    )
    rule = possible[0] if len(possible) == 1 else "undetermined"
    yield made("rule", rule, note=_rule(result, fitted))
    for name, offset in fitted.offsets.items():
        note = say("offset", rule=name, at=float(fitted.model.middle_V))
        budget = _budget(fitted, -1.0)
        yield made(f"offset_if_{name}", float(offset.middle), **between(offset), note=note, budget=budget)
    if fitted.model.gain_bound and fitted.read_at_both_ends:
        yield made("gain", float(fitted.gain.middle), **between(fitted.gain), note=_gain_taken(fitted))
    else:
        why = say("gain_not_read", declared=not fitted.model.gain_bound, taken=_gain_taken(fitted))
        yield _missing("gain", why, result)
    yield made("doubtful_rows", doubtful_rows(fitted), note=_doubt(result, fitted))
    yield from _errors(result, fitted, made)
    yield made("next_voltage", fitted.next_V, note=_next_reading(result, fitted))


def _errors(result: Readout, fitted: Fit, made: Any) -> Iterable[Finding]:
    low, mean, high = fitted.maximum_error
    half = float(fitted.model.step_V) / 2
    limit = _limit(result)
    probability = None if limit is None else fitted.probability_of_error_up_to(limit.high or 0.0)
    sign = 1.0 if fitted.transition.middle * 2 >= fitted.model.step_V else -1.0
    first, last = result.bench.range_V
    note = say(
        "largest_error",
        first=first,
        last=last,
        mean=mean,
        low=low,
        high=high,
        probability=None if probability is None else _percent(probability),
        taken=_gain_taken(fitted),
    )
    budget = _budget(fitted, sign)
    verdict = None if limit is None or probability is None else _verdict(limit, probability, fitted)
    yield made(
        "largest_error", mean, low=low, high=high, limit=limit, verdict=verdict, note=note, budget=budget
    )
    yield made("quantisation_error", half, note=say("quantisation", step=2 * half))
    note = say("mendable", half=half)
    bounds = {"low": max(0.0, low - half), "high": high - half}
    yield made("mendable_error", mean - half, **bounds, note=note, budget=budget)


def _verdict(limit: Limit, probability: float, fitted: Fit) -> Verdict:
    """Return the verdict in which both views agree, the likely error and the whole interval."""
    verdict, claimed = verdict_of(probability), limit.high or 0.0
    low, _, high = fitted.maximum_error
    few = MOST_WRONG_TO_PASS * len(fitted.ways[0]) <= len(fitted.readings)
    agree = {"pass": high <= claimed and few, "fail": low > claimed}.get(verdict, True)
    return verdict if agree else "inconclusive"


def _budget(fitted: Fit, sensitivity: float) -> tuple[Component, ...]:
    """Return what the level's uncertainty is made of: the readings, the reference's shared error."""
    reach = float(fitted.model.reach_V)
    readings = max(float(fitted.transition.width) / 2 - reach, 0.0)
    parts = [Component("level left open by the readings", readings, "V", "rectangular", sensitivity)]
    if reach:
        label = fitted.model.reference.label
        parts.append(Component(f"{label}: accuracy", reach, "V", "rectangular", sensitivity, shared=label))
    return tuple(parts)


def _brackets(kind: str, brackets: Iterable[Bracket], inputs: tuple[str, ...]) -> tuple[Finding, ...]:
    found = []
    for one in brackets:
        note = bracket(one, kind)
        for end, value in (("low", one.low_V), ("high", one.high_V)):
            key, label = f"readout.{kind}.{one.slug}.{end}", f"{kind} “{one.name}”, {end}er end"
            if value is None:
                found.append(not_tested(key, label, note, "V"))
            else:
                low, high = (value, None) if end == "low" else (None, value)
                found.append(Finding(key, label, value, "V", None, low, high, note=note, inputs=inputs))
    return tuple(found)


def bracket(one: Bracket, kind: str) -> str:
    """Return where a threshold lies."""
    return say(
        "bracket",
        warning=kind == "warning",
        name=one.name,
        shows_below=one.shows_below,
        low=one.low_V,
        high=one.high_V,
        overlap=one.overlap_V,
    )


def doubtful_rows(fitted: Fit) -> str:
    """Return "none", "row 7", "rows 3 and 7", or that it is open which."""
    return say("doubtful_rows", least=len(fitted.ways[0]), named=sorted(fitted.doubted))


def _level(result: Readout, fitted: Fit) -> str:
    hard, quoted = fitted.hard_transition, fitted.transition
    return say(
        "level",
        name=result.bench.name,
        middle=float(quoted.middle),
        low=float(quoted.low),
        high=float(quoted.high),
        hard=_with_ends(hard),
        likely=fitted.posterior.interval(),
        reach=float(fitted.model.reach_V),
        aside=fitted.contradictory,
        agree=fitted.views_agree,
        at=float(fitted.model.middle_V),
        taken=_gain_taken(fitted),
        step=_step(result),
    )


def _with_ends(interval: Interval) -> str:
    """Return an interval with its ends as they are, such as "(0.041 V, 0.063 V]", rounded outwards."""
    left, right = "(" if interval.low_open else "[", ")" if interval.high_open else "]"
    low, high = math.floor(interval.low * 10_000) / 10_000, math.ceil(interval.high * 10_000) / 10_000
    unit = f"{formatting.NO_BREAK}V"
    return f"{left}{formatting.number(low, 4)}{unit}, {formatting.number(high, 4)}{unit}{right}"


def _rule(result: Readout, fitted: Fit) -> str:
    level, step = fitted.transition, fitted.model.step_V
    decimals = min(max(2, formatting.decimals_for(max(float(level.width) / 2, 1e-4), 1)), 3)
    offsets = {rule: round(float(offset_of(rule, level.middle, step)), decimals) for rule in DECIMAL_MODES}
    return say(
        "rule",
        offsets=offsets,
        decimals=decimals,
        possible=result.possible_rules,
        bound=float(result.bound_V),
        at=float(fitted.model.middle_V),
    )


def _gain_taken(fitted: Fit) -> str:
    """Return what was taken for granted about the gain, and whether the result leans on it."""
    carried, taken = fitted.explanations, fitted.model
    ends = (abs(end - 1) for one in fitted.regions for end in (one.gain.low, one.gain.high))
    return say(
        "gain_taken",
        bound=100 * float(taken.gain_bound),
        beyond=carried.beyond_bound,
        within=carried.within_bound,
        widened=100 * float(taken.widened_bound),
        reached=max(ends) >= taken.widened_bound,
    )


def _doubt(result: Readout, fitted: Fit) -> str:
    """Return which readings contradict the rest, with what they say."""
    table = result.table
    assert table is not None
    rows = sorted({row for way in fitted.ways for row in way})
    columns = (table.displayed, table.remark)
    noted = [(row, float(table.reference_V[row]), *(str(one[row]) for one in columns)) for row in rows]
    return say(
        "doubt",
        count=len(fitted.readings),
        contradictory=fitted.contradictory,
        least=len(fitted.ways[0]),
        named=[one for one in noted if one[0] in fitted.doubted],
        open=[one for one in noted if one[0] not in fitted.doubted],
        ways=_told_ways(fitted.ways),
        more=max(0, sum(map(bool, fitted.ways)) - _MOST_TOLD),
    )


def _told_ways(ways: Sequence[Sequence[int]]) -> list[list[str]]:
    return [[str(row) for row in way] for way in ways if way][:_MOST_TOLD]


def _next_reading(result: Readout, fitted: Fit) -> str:
    """Return what to read next, what it is worth, and how many more readings are wanted."""
    wanted = result.bench.readout_wanted_width_V
    return say(
        "next_reading",
        bits=fitted.information.best_bits,
        anywhere=not fitted.model.gain_bound,
        ends=bool(fitted.model.gain_bound) and not fitted.read_at_both_ends,
        step=float(fitted.model.step_V),
        more=fitted.readings_to(wanted),
        wanted=wanted,
        least=fitted.least_width_V,
    )


def _percent(probability: float) -> str:
    if probability > 0.999:
        return f"more than 99.9{formatting.THIN}%"
    if probability < 0.001:
        return f"less than 0.1{formatting.THIN}%"
    return f"{formatting.number(100 * probability, 1)}{formatting.THIN}%"


def _load(result: Readout) -> str:
    table = result.table
    assert table is not None
    return say("load", how=table.load, ohm=result.bench.readout_cell_ohm, drop=table.most_drop_V)


def _step(result: Readout) -> str:
    assert result.fit is not None
    return say(
        "resolution",
        step=float(result.fit.model.step_V),
        declared=result.step_declared,
        finer=result.finer_step_V,
        fitting=result.fitting_step_V,
        common=result.common_step_V,
    )
