"""The values behind the sentence beside each finding; the words stand in ``templates/words/charge.j2``."""

from __future__ import annotations

from collections.abc import Callable

from reviewkit.charge.analysis import ChargeResult, say
from reviewkit.charge.regimes import SAME_A, PhaseName
from reviewkit.metrology import Measured, formatting

_MOST_TOLD = 5
_LARGE_DROOP = 10.0
_LEAST_DROP_OHM = 0.002
_LEVEL_S = 120.0


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
    if run.phases.ending != "terminated":
        return say("never_cut_off")
    if end is None:
        return say("cut_off_in_gap")
    cut = run.get("termination_current")
    return say(
        "cut_off",
        current=cut.text if cut else "",
        after=formatting.clock(end.value),
        declared=run.record.cable_out_s is not None,
    )


def pauses(run: ChargeResult) -> str:
    """Return when the main charge was interrupted, and for how long."""
    assert run.phases is not None
    start = run.phases.start.value
    spans = sorted(
        [(one.start_s, one.end_s) for one in run.phases.named("interrupted")]
        + [one for one in run.phases.profile.pauses_s if one[0] < run.phases.main[-1].last_s]
    )
    parts = [
        f"{formatting.quantity(late - early, None, 's')} at {formatting.clock(early - start)}"
        for early, late in spans[:_MOST_TOLD]
    ]
    return say("pauses", parts=parts, more=max(0, len(spans) - _MOST_TOLD))


def top_ups(run: ChargeResult) -> str:
    """Return when the charge began again by itself, and what it added."""
    assert run.phases is not None
    again, start = run.phases.top_ups, run.phases.start.value
    if not again:
        return say("no_top_ups", logged=formatting.clock(float(run.record.time_s[-1]) - run.phases.end_s))
    parts = [
        f"{formatting.clock(one.first_s - start)} (for {formatting.clock(one.last_s - one.first_s)})"
        for one in again[:_MOST_TOLD]
    ]
    return say("top_ups", parts=parts, more=max(0, len(again) - _MOST_TOLD))


def drawn(run: ChargeResult) -> str:
    """Return what a draw from the full cell means."""
    return say("drawn", some=run.quantities["current_after"].high < 0)


def _start(run: ChargeResult) -> str:
    return say("start_voltage", running=bool(run.phases and run.phases.began_before))


def levels(run: ChargeResult) -> list[str]:
    """Return the levels on which the current stood in turn before the knee; nothing where it was one."""
    found: list[list[float]] = []
    for one in run.phases.regimes if run.phases else ():
        if one.name != "constant current" or one.shape != "level":
            continue
        if found and abs(found[-1][0] - one.level_A) <= SAME_A * one.level_A:
            found[-1][1] += one.length_s
        elif one.length_s > _LEVEL_S:
            found.append([one.level_A, one.length_s])
    told = [
        f"{formatting.quantity(level_A, None, 'A')} for {formatting.clock(length_s)}"
        for level_A, length_s in found
    ]
    return told[:_MOST_TOLD] if len(told) > 1 else []


def sign(quantity: Measured) -> int:
    """Return −1 or 1 where a quantity certainly lies on that side of none, else 0."""
    return -1 if quantity.high < 0 else 1 if quantity.low > 0 else 0


def _plateau(run: ChargeResult) -> str:
    return say("plateau", rate=c_rate(run, "plateau_current"), levels=levels(run))


def _droop(run: ChargeResult) -> str:
    change = run.quantities["plateau_droop"]
    clear = abs(change.value) > change.expanded
    return say("droop", falls=change.value < 0, clear=clear, large=abs(change.value) > _LARGE_DROOP)


def _knee(run: ChargeResult) -> str:
    return say("knee", at_start=bool(run.phases and run.phases.knee_at_start))


def full_drop(run: ChargeResult, series: Measured) -> str:
    """Return what drops over the series resistance at full current, from the two findings."""
    plateau = run.get("plateau_current")
    if plateau is None or series.value <= _LEAST_DROP_OHM:
        return ""
    return say("full_drop", drop=(plateau * series).text)


def _termination(run: ChargeResult) -> str:
    current, capacity = run.get("termination_current"), run.cell.rated_capacity_Ah
    known = current is not None and capacity and current.value > 0
    rate = formatting.number(capacity / current.value, 0) if known and capacity and current else ""
    return say("termination", rate=rate)


def _termination_time(run: ChargeResult) -> str:
    assert run.phases is not None
    lost = sum(one.length_s for one in run.phases.named("interrupted"))
    return say("includes_pauses", lost=formatting.quantity(lost, None, "s")) if lost else ""


def _after(run: ChargeResult) -> str:
    after = sign(run.quantities["current_after"])
    return say("after", sign=after, declared=run.record.cable_out_s is not None)


def _delivered(run: ChargeResult) -> str:
    amounts, phases = run.delivered, run.phases
    assert amounts is not None
    assert phases is not None
    names: tuple[PhaseName, ...] = ("precharge", "constant current", "constant voltage")
    capacity = run.cell.rated_capacity_Ah
    text = say(
        "delivered",
        parts=[
            f"{formatting.number(amounts.of_phase(name), 3)} Ah in {name}"
            for name in names
            if phases.named(name)
        ],
        percent=formatting.number(100 * amounts.total_Ah / capacity, 0) if capacity else "",
        running=phases.began_before,
        ended=phases.terminated,
    )
    if not amounts.gaps:
        return text
    length = sum(gap.length_s for gap in amounts.gaps)
    hidden = formatting.number(1000 * 2 * amounts.hidden_Ah, 1)
    told = say("gaps", count=len(amounts.gaps), length=formatting.quantity(length, None, "s"), hidden=hidden)
    return f"{text} {told}"


def _peak(run: ChargeResult) -> str:
    return say("peak", pulled=run.record.cable_out_s is not None)


def _settled(name: str) -> Callable[[ChargeResult], str]:
    def told(run: ChargeResult) -> str:
        declared = run.record.cable_out_s is not None
        return say("settled", declared=declared, extrapolated=name in run.extrapolated)

    return told


_NOTES: dict[str, Callable[[ChargeResult], str]] = {
    "start_voltage": _start,
    "plateau_current": _plateau,
    "plateau_droop": _droop,
    "knee_time": _knee,
    "termination_current": _termination,
    "termination_time": _termination_time,
    "current_after": _after,
    "delivered": _delivered,
    "peak_voltage": _peak,
    "clock_offset": lambda run: run.record.clock_note,
    "settled_voltage_10min": _settled("settled_voltage_10min"),
    "settled_voltage_60min": _settled("settled_voltage_60min"),
}
