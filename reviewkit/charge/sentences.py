"""The sentence beside each finding: what it was read from and what it means."""

from __future__ import annotations

from collections.abc import Callable

from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.regimes import PhaseName
from reviewkit.metrology import formatting


def note(run: ChargeResult, name: str) -> str:
    """Return the sentence for a measured quantity; empty where there is nothing to add."""
    make = _NOTES.get(name)
    return make(run) if make else ""


def c_rate(run: ChargeResult, name: str) -> str:
    """Return "0.27 C" for a current, or nothing without a rated capacity."""
    current, capacity = run.get(name), run.cell.rated_capacity_Ah
    if current is None or not capacity:
        return ""
    return f"{formatting.number(current.value / capacity, 2)}{formatting.NO_BREAK}C"


def ending(run: ChargeResult) -> str:
    """Return how the charge ended, or that it did not."""
    assert run.phases is not None
    end = run.get("termination_time")
    if run.phases.ending == "terminated" and end is None:
        return "The current was cut off within a gap of the log."
    if end is None:
        return (
            "The current was never cut off: it kept flowing, or faded away, until the log ended. A full "
            "lithium-ion cell should get no current (common practice)."
        )
    cut = run.get("termination_current")
    how = f" at {cut.text}" if cut else ""
    return f"The current was cut off{how}, {formatting.clock(end.value)} after charge start."


def pauses(run: ChargeResult) -> str:
    """Return when the main charge was interrupted, and for how long."""
    assert run.phases is not None
    spans = run.phases.named("interrupted")
    if not spans:
        return "The charge current was never interrupted."
    start = run.phases.start.value
    parts = [
        f"{formatting.quantity(span.length_s, None, 's')} at {formatting.clock(span.start_s - start)}"
        for span in spans[:5]
    ]
    more = f" and {len(spans) - 5} more" if len(spans) > 5 else ""
    return f"The current stopped and came back: {formatting.listed(parts)}{more}."


def top_ups(run: ChargeResult) -> str:
    """Return when the charge began again by itself, and what it added."""
    assert run.phases is not None
    again = run.phases.top_ups
    logged = run.record.time_s[-1] - run.phases.end_s
    if not again:
        span = formatting.clock(float(logged))
        return f"The charge did not begin again in the {span} logged after termination."
    start = run.phases.start.value
    parts = [
        f"{formatting.clock(one.first_s - start)} (for {formatting.clock(one.last_s - one.first_s)})"
        for one in again[:5]
    ]
    more = f" and {len(again) - 5} more" if len(again) > 5 else ""
    return f"The charge began again by itself at {formatting.listed(parts)}{more} from charge start."


def _start(run: ChargeResult) -> str:
    if run.phases and run.phases.began_before:
        return "The log begins with the charge already running: this is the first reading, under current."
    return "Median of the last minute before the charge current."


def _plateau(run: ChargeResult) -> str:
    rate = c_rate(run, "plateau_current")
    return f"{rate} of the cell’s rated capacity." if rate else ""


def _droop(run: ChargeResult) -> str:
    change = run.quantities["plateau_droop"]
    if abs(change.value) <= change.expanded:
        return "A straight line over the plateau: no change that the display could show."
    words = "falls" if change.value < 0 else "rises"
    text = f"The current {words}: relative change of a straight line over the plateau."
    if abs(change.value) > 10:
        text += " A straight line is a poor picture of it: see the time at the limits."
    return text


def _knee(run: ChargeResult) -> str:
    if run.phases and run.phases.knee_at_start:
        return "At its voltage limit from the first reading on: a nearly full cell sees no plateau."
    return "When the charger’s regulation point reached its set voltage and the current began to fall."


def _knee_voltage(run: ChargeResult) -> str:
    if run.phases and run.phases.series_ohm and run.phases.series_ohm > 0.002:
        drop = run.phases.series_ohm * run.phases.plateau_A
        return (
            f"At full current about {formatting.number(1000 * drop, 0)} mV drop between the charger’s "
            "regulation point and the cell."
        )
    return ""


def _termination(run: ChargeResult) -> str:
    rate, capacity = run.get("termination_current"), run.cell.rated_capacity_Ah
    read = "A straight line through the last half minute, carried on to the cut-off."
    if rate is None or not capacity or rate.value <= 0:
        return read
    return f"C/{formatting.number(capacity / rate.value, 0)} of the rated capacity. {read}"


def _after(run: ChargeResult) -> str:
    current = run.quantities["current_after"]
    if current.high < 0:
        return "Drawn from the cell with the cable still in: an indicator or the charger’s own electronics."
    if current.low > 0:
        return "Still flowing into the cell after termination."
    return "No current that the meter can tell from none."


def drawn(run: ChargeResult) -> str:
    """Return what a draw from the full cell means."""
    current = run.quantities["current_after"]
    if current.high >= 0:
        return "No draw that the meter can tell from none."
    return (
        "With the cable still in, an indicator or the charger’s own electronics discharge the cell that was "
        "just charged."
    )


def _delivered(run: ChargeResult) -> str:
    amounts, phases = run.delivered, run.phases
    assert amounts is not None
    assert phases is not None
    names: tuple[PhaseName, ...] = ("precharge", "constant current", "constant voltage")
    parts = [
        f"{formatting.number(amounts.of_phase(name), 3)} Ah in {name}" for name in names if phases.named(name)
    ]
    text = f"From charge start to the end of the main charge: {formatting.listed(parts)}."
    capacity = run.cell.rated_capacity_Ah
    if capacity:
        text += f" That is {formatting.number(100 * amounts.total_Ah / capacity, 0)} % of the rated capacity."
    if phases.began_before:
        text += " The log begins with the charge already running, so this is a lower bound."
    if not phases.terminated:
        text += " The charge had not ended by itself: more would have followed."
    return text + _gaps(run)


def _gaps(run: ChargeResult) -> str:
    amounts = run.delivered
    if amounts is None or not amounts.gaps:
        return ""
    length = sum(gap.length_s for gap in amounts.gaps)
    count = len(amounts.gaps)
    words = f"{count} gap{'s' if count > 1 else ''} of {formatting.quantity(length, None, 's')} in all"
    return (
        f" The current log has {words}, filled with straight lines; what they could hide is in the "
        f"uncertainty: {formatting.number(1000 * 2 * amounts.hidden_Ah, 1)} mAh."
    )


def _peak(run: ChargeResult) -> str:
    until = "until the cable was pulled" if run.record.cable_out_s is not None else "to the end of the log"
    return f"Highest of five neighbouring readings’ medians, from charge start {until}."


def _settled(run: ChargeResult, name: str) -> str:
    if run.record.cable_out_s is not None:
        since = "Counted from the moment the cable was pulled, as declared."
    else:
        since = (
            "Counted from the end of the last charging: the review file does not say when the cable was "
            "pulled (`cable_out_s`)."
        )
    if name in run.extrapolated:
        since += " The log ends earlier: the relaxation still to come is fitted, with its doubt."
    return since


def _offset(run: ChargeResult) -> str:
    return run.record.clock_note


_NOTES: dict[str, Callable[[ChargeResult], str]] = {
    "start_voltage": _start,
    "plateau_current": _plateau,
    "plateau_droop": _droop,
    "knee_time": _knee,
    "knee_voltage": _knee_voltage,
    "termination_current": _termination,
    "current_after": _after,
    "delivered": _delivered,
    "peak_voltage": _peak,
    "clock_offset": _offset,
    "settled_voltage_10min": lambda run: _settled(run, "settled_voltage_10min"),
    "settled_voltage_60min": lambda run: _settled(run, "settled_voltage_60min"),
}
