"""The section's findings, each with its sentence, its interval and what its doubt is made of."""

from __future__ import annotations

from collections.abc import Iterable

from reviewkit.findings import Finding, Findings, not_tested
from reviewkit.metrology import Component
from reviewkit.metrology.conformity import Limit, verdict_of
from reviewkit.readout import sentences
from reviewkit.readout.analysis import Readout
from reviewkit.readout.fit import Fit
from reviewkit.readout.marks import Bracket

LABELS = {
    "switching_place": ("place within a step where the shown value changes", "V"),
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

_NOTHING = "No readings of the readout: put reference voltages and shown values in readout_table."
_MARKS = "The readout shows marks, not volts: its thresholds are reported instead."
_NO_FIT = (
    "No readout with one step, one offset and one gain shows these readings, even with a quarter of the "
    "rows left out: check the table, the resolution and the gain bound."
)


def findings(result: Readout) -> Findings:
    """Return the findings of the section, in the order a reader should see them."""
    if result.table is None:
        return Findings(tuple(_missing(name, _NOTHING, result) for name in LABELS))
    inputs = (result.table.file,)
    brackets = _brackets("warning", result.warnings, inputs) + _brackets(
        "threshold", result.thresholds, inputs
    )
    if result.fit is None:
        return Findings(tuple(_missing(name, _MARKS, result) for name in LABELS) + brackets)
    if not result.fit.consistent:
        return Findings(tuple(_without_fit(result, inputs)) + brackets)
    return Findings(tuple(_with_fit(result, result.fit, inputs)) + brackets)


def _limit(result: Readout) -> Limit | None:
    claim = result.bench.claim_V()
    return Limit(high=claim[0], source=claim[1]) if claim else None


def _missing(name: str, why: str, result: Readout) -> Finding:
    label, unit = LABELS[name]
    limit = _limit(result) if name == "largest_error" else None
    return not_tested(f"readout.{name}", label, why, unit, limit)


def _without_fit(result: Readout, inputs: tuple[str, ...]) -> Iterable[Finding]:
    for name, (label, unit) in LABELS.items():
        if name == "rule":
            yield Finding(f"readout.{name}", label, "inconsistent", unit, note=_NO_FIT, inputs=inputs)
        elif name == "doubtful_rows":
            yield Finding(f"readout.{name}", label, "more than a quarter", unit, note=_NO_FIT, inputs=inputs)
        else:
            yield _missing(name, _NO_FIT, result)


def _with_fit(result: Readout, fitted: Fit, inputs: tuple[str, ...]) -> Iterable[Finding]:
    def made(name: str, value: float | str | None, **more: object) -> Finding:
        label, unit = LABELS[name]
        return Finding(f"readout.{name}", label, value, unit, inputs=inputs, **more)  # type: ignore[arg-type]

    place = fitted.place
    yield made(
        "switching_place",
        float(place.middle),
        low=float(place.low),
        high=float(place.high),
        note=sentences.place(result, fitted),
        budget=_budget(fitted, 1.0),
    )
    naming = result.naming
    yield made("rule", naming.rule if naming else "undetermined", note=sentences.rule(result, fitted))
    for rule, offset in fitted.offsets.items():
        yield made(
            f"offset_if_{rule}",
            float(offset.middle),
            low=float(offset.low),
            high=float(offset.high),
            note=sentences.offset(rule, offset),
            budget=_budget(fitted, -1.0),
        )
    yield _gain(fitted, inputs)
    yield made("doubtful_rows", sentences.rows(fitted.ways), note=sentences.doubt(result, fitted))
    yield from _errors(result, fitted, inputs)
    yield made("next_voltage", fitted.next_V, note=sentences.next_reading(result, fitted))


def _gain(fitted: Fit, inputs: tuple[str, ...]) -> Finding:
    label, unit = LABELS["gain"]
    bound = f"The gain was taken to lie within {100 * float(fitted.model.gain_bound):g} % of 1"
    if not fitted.model.gain_bound:
        return not_tested("readout.gain", label, "The readout was taken to have no gain error.", unit)
    if not fitted.read_at_both_ends:
        why = f"{bound}; readings near both ends of the working range would show it."
        return not_tested("readout.gain", label, why, unit)
    gain = fitted.gain
    return Finding(
        "readout.gain",
        label,
        float(gain.middle),
        unit,
        low=float(gain.low),
        high=float(gain.high),
        note=f"{bound}; exact bounds, the reference’s accuracy included.",
        inputs=inputs,
    )


def _errors(result: Readout, fitted: Fit, inputs: tuple[str, ...]) -> Iterable[Finding]:
    low, high = fitted.largest_error_bounds()
    mean = min(max(fitted.largest_error_mean(), low), high)
    half = float(fitted.model.step_V) / 2
    limit = _limit(result)
    probability = None if limit is None else fitted.probability_of_error_up_to(limit.high or 0.0)
    sign = 1.0 if fitted.place.middle * 2 >= fitted.model.step_V else -1.0
    texts = sentences.errors(result, fitted, (low, mean, high), probability)
    yield Finding(
        "readout.largest_error",
        *(LABELS["largest_error"][0], mean, "V"),
        low=low,
        high=high,
        limit=limit,
        verdict=None if probability is None else verdict_of(probability),
        note=texts[0],
        budget=_budget(fitted, sign),
        inputs=inputs,
    )
    label, unit = LABELS["quantisation_error"]
    yield Finding("readout.quantisation_error", label, half, unit, note=texts[1], inputs=inputs)
    label, unit = LABELS["mendable_error"]
    yield Finding(
        "readout.mendable_error",
        *(label, mean - half, unit),
        low=max(0.0, low - half),
        high=high - half,
        note=texts[2],
        budget=_budget(fitted, sign),
        inputs=inputs,
    )


def _budget(fitted: Fit, sensitivity: float) -> tuple[Component, ...]:
    """Return what the place's doubt is made of: the readings, the reference's shared error, the gain."""
    readings = float(fitted.scale_place.width) / 2
    reach = float(fitted.model.reach_V)
    parts = [Component("place left open by the readings", readings, "V", "rectangular", sensitivity)]
    if reach:
        label = fitted.model.reference.label
        parts.append(Component(f"{label}: accuracy", reach, "V", "rectangular", sensitivity, shared=label))
    return tuple(parts)


def _brackets(kind: str, brackets: Iterable[Bracket], inputs: tuple[str, ...]) -> tuple[Finding, ...]:
    found = []
    for one in brackets:
        note = sentences.bracket(one, kind)
        for end, value in (("low", one.low_V), ("high", one.high_V)):
            key, label = f"readout.{kind}.{one.slug}.{end}", f"{kind} “{one.name}”, {end}er end"
            if value is None:
                found.append(not_tested(key, label, note, "V"))
            else:
                low, high = (value, None) if end == "low" else (None, value)
                found.append(Finding(key, label, value, "V", None, low, high, note=note, inputs=inputs))
    return tuple(found)
