"""What the section says to the reader, in the trade's words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from reviewkit.metrology import formatting
from reviewkit.readout import rules
from reviewkit.readout.analysis import Readout
from reviewkit.readout.fit import Fit
from reviewkit.readout.marks import Bracket
from reviewkit.readout.model import Interval

_V = f"{formatting.NO_BREAK}V"


def volts(value: float, decimals: int = 3) -> str:
    """Return a voltage in volts: the readout's own unit, so that it compares at a glance."""
    return formatting.number(value, decimals) + _V


def span(low: float, high: float, decimals: int = 3) -> str:
    """Return "0.041 V to 0.063 V"."""
    return f"{volts(low, decimals)} to {volts(high, decimals)}"


def exact_interval(interval: Interval) -> str:
    """Return an interval with its ends as they are, such as "(0.041 V, 0.063 V]"."""
    left = "(" if interval.low_open else "["
    right = ")" if interval.high_open else "]"
    # Rounded outwards to a tenth of a millivolt.
    low, high = math.floor(interval.low * 10_000) / 10_000, math.ceil(interval.high * 10_000) / 10_000
    return f"{left}{volts(low, 4)}, {volts(high, 4)}{right}"


def rows(ways: Sequence[Sequence[int]]) -> str:
    """Return "none", "row 7", "rows 3 and 7", or the alternatives, each a smallest set."""
    if not any(ways):
        return "none"
    named = [f"row{'s' if len(way) > 1 else ''} {formatting.listed(str(row) for row in way)}" for way in ways]
    return named[0] if len(named) == 1 else formatting.listed(named, "or")


def place(result: Readout, fitted: Fit) -> str:
    """Return where the shown value changes, and which of the two views is quoted."""
    interval, likely = fitted.place, fitted.posterior.interval()
    meter = float(fitted.model.reach_V)
    own = float(fitted.scale_place.width)
    return (
        f"{result.bench.name} shows the next value from {volts(float(interval.middle))} above the lower "
        f"shown value on; exact interval {exact_interval(interval)}. The readings leave {volts(own)} open; "
        f"the reference’s accuracy moves all of it by up to ±{volts(meter, 4)}. Taken as a standard "
        f"uncertainty instead of a limit it gives {span(*likely)} (95 %); the exact interval is quoted, "
        f"because a maker states a meter’s accuracy as a limit. {_gain_taken(fitted)}{result.step_note}"
    )


def _gain_taken(fitted: Fit) -> str:
    bound, middle = float(fitted.model.gain_bound), float(fitted.model.middle_V)
    if not bound:
        return "The readout is taken to have an offset and no gain error. "
    return f"It holds at {volts(middle, 2)}, for any gain within {100 * bound:g} % of 1. "


def rule(result: Readout, fitted: Fit) -> str:
    """Return the rule, or the alternatives, and why readings alone cannot separate rule and offset."""
    naming, interval = result.naming, fitted.place
    assert naming is not None
    half = float(interval.width) / 2
    same = rules.alternatives(float(interval.middle), float(fitted.model.step_V), half)
    why = (
        f"Readings fix only where the shown value changes. That fits a readout that {same}: the same thing "
        f"to the reader, and no number of readings tells them apart."
    )
    bound = volts(float(naming.bound_V))
    if naming.rule != "undetermined":
        words = rules.RULES[naming.rule]
        return f"{why} If the device’s own offset is at most {bound}, it {words}: no other rule is left then."
    if naming.possible:
        left = formatting.listed((rules.RULES[one] for one in naming.possible), "or")
        return f"{why} Even with an offset of at most {bound} the meter can’t tell whether it {left}."
    return f"{why} Under every rule the offset is larger than {bound}, so none is named."


def offset(name: str, interval: Interval) -> str:
    """Return an equivalent offset with its exact interval."""
    return (
        f"If the readout {rules.RULES[name]}, it adds this to the cell’s voltage before it does; exact "
        f"interval {exact_interval(interval)}."
    )


def doubt(result: Readout, fitted: Fit) -> str:
    """Return which readings contradict the rest, with what they say."""
    if not fitted.doubted:
        return f"All {len(fitted.readings)} readings fit one readout."
    table = result.table
    assert table is not None
    said = [
        f"row {row} (reference {volts(table.reference_V[row])}, shown {table.shown[row]}"
        + (f", remark “{table.remark[row]}”)" if table.remark[row] else ")")
        for row in sorted(fitted.doubted)
    ]
    count = len(fitted.ways[0])
    many = "one reading has" if count == 1 else f"{count} readings have"
    start = (
        f"No readout of this kind shows all {len(fitted.readings)} readings; at least {many} to be wrong: "
    )
    if len(fitted.ways) == 1:
        them = "it" if count == 1 else "them"
        return f"{start}{formatting.listed(said)}. The figures here leave {them} out; read {them} again."
    return (
        f"{start}{rows(fitted.ways)}; these are {formatting.listed(said)}. The figures here allow for each "
        f"of these; read them again."
    )


def errors(
    result: Readout, fitted: Fit, error_V: tuple[float, float, float], probability: float | None
) -> tuple[str, str, str]:
    """Return what is said of the largest error, of its quantisation and of its mendable part."""
    low, mean, high = error_V
    half = float(fitted.model.step_V) / 2
    first, last = result.bench.range_V
    whole = (
        f"Between {volts(first, 2)} and {volts(last, 2)} the shown value is up to {volts(mean)} off "
        f"({span(low, high)})."
    )
    if probability is not None:
        whole += f" Probability that the claim holds: {_percent(probability)}."
    return (
        whole,
        f"Half of the {volts(2 * half, 2)} step: a perfect readout of this resolution is that far off, "
        f"whatever its firmware does.",
        f"What is left of the largest error beyond the {volts(half, 3)} that the resolution costs: offset, "
        f"the rule that rounds, and gain. A trim in the firmware could remove it.",
    )


def _percent(probability: float) -> str:
    if probability > 0.999:
        return f"more than 99.9{formatting.THIN}%"
    if probability < 0.001:
        return f"less than 0.1{formatting.THIN}%"
    return f"{formatting.number(100 * probability, 1)}{formatting.THIN}%"


def next_reading(result: Readout, fitted: Fit) -> str:
    """Return what to read next, what it is worth, and how many more readings are wanted."""
    wanted = result.bench.readout_wanted_width_V
    more = fitted.readings_to(wanted)
    step = float(fitted.model.step_V)
    worth = formatting.number(fitted.information.best_bits, 2)
    text = f"One reading there is worth {worth} bit; "
    if not fitted.model.gain_bound or not fitted.read_at_both_ends:
        text += f"cells a whole step of {volts(step, 2)} higher or lower serve about as well. "
    else:
        text += "the chart shows what other voltages are worth. "
    if more is None:
        least = volts(fitted.least_width_V)
        return f"{text}No number of readings narrows the place to {volts(wanted)}: the meter leaves {least}."
    if more == 0:
        return f"{text}The place is known to {volts(wanted)} already."
    return f"{text}About {more} more bring the place to a width of {volts(wanted)}."


def bracket(one: Bracket, kind: str) -> str:
    """Return between which voltages a warning or a mark changes."""
    what = f"“{one.name}”"
    side = "below" if one.shows_below else "above"
    shows = f"{what} shows {side} its threshold" if kind == "warning" else f"{what} has a threshold"
    if one.low_V is None or one.high_V is None:
        known = f"above {volts(one.low_V)}" if one.low_V is not None else f"below {volts(one.high_V or 0.0)}"
        return f"{shows}, {known}; no reading bounds it on the other side."
    ends = f"{volts(one.low_V)} and {volts(one.high_V)}"
    text = f"{shows}, which lies between {ends}, the reference’s error included."
    if one.overlap_V:
        text += f" Readings with and without it overlap by {volts(one.overlap_V)}: hysteresis or noise."
    return text


def summary(result: Readout) -> tuple[str, ...]:
    """Return the section's result in a few paragraphs, what was taken for granted last."""
    if result.table is None:
        return ("No readings of the readout were taken.",)
    if result.fit is None:
        parts = [f"{result.bench.name} shows marks, not volts."]
        parts += [bracket(one, "threshold") for one in result.thresholds]
        return (*parts, *(bracket(one, "warning") for one in result.warnings), result.table.load_note)
    if not result.fit.consistent:
        return (
            f"The {len(result.fit.readings)} readings contradict each other: no readout with one step, one "
            f"offset and one gain shows them, even with a quarter of them left out.",
        )
    fitted, naming = result.fit, result.naming
    place, high = fitted.place, fitted.largest_error_bounds()[1]
    contradiction = (doubt(result, fitted),) if fitted.doubted else ()
    ends = span(float(place.low), float(place.high))
    lead = (
        f"From {len(fitted.readings)} readings: the shown value changes {ends} above the lower shown value, "
        f"and is at most {volts(high)} off anywhere in the working range."
    )
    named = rule(result, fitted) if naming else ""
    return (lead, named, *contradiction, f"{result.table.load_note} {result.step_note}")
