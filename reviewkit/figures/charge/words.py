"""The sentences under the charts of a charge."""

from __future__ import annotations

from reviewkit.charge import limits
from reviewkit.charge.analysis import ChargeResult
from reviewkit.metrology import Measured, formatting


def curve_answer(run: ChargeResult) -> str:
    """Return what the charge was: current, knee, voltage held, end, peak."""
    level, knee, held = run.get("plateau_current"), run.get("knee_time"), run.get("hold_voltage")
    parts = []
    if level:
        rate = (
            f", {formatting.number(level.value / run.cell.rated_capacity_Ah, 2)} C"
            if run.cell.rated_capacity_Ah
            else ""
        )
        parts.append(f"The cell gets {level.text}{rate}")
        if knee:
            parts.append(f"until the knee at {formatting.clock(knee.value)}")
    else:
        parts.append("The cell is at the voltage limit from the start")
    if held:
        parts.append(f"then {held.text} at the cell")
    end, cut = run.get("termination_time"), run.get("termination_current")
    if end and cut:
        parts.append(f"until the current is cut off at {cut.text} after {formatting.clock(end.value)}")
    else:
        parts.append(run.missing.get("termination_time", "").rstrip(".").lower())
    peak = run.get("peak_voltage")
    allowed = limits.voltage(run.cell, both_sides=False)
    text = ", ".join(part for part in parts if part) + "."
    if peak:
        text += (
            f" Peak {peak.text}; the limit is {formatting.number(run.cell.limit_V, 2)} V + "
            f"{formatting.number(run.cell.charge_limit_tolerance_V, 2)} V ({allowed.source})."
        )
    return text


def delivered_answer(run: ChargeResult, total: Measured) -> str:
    """Return how much went in, the share before the knee and the times."""
    text = f"{total.text} went into the cell"
    share, early, end = run.get("delivered_before_knee"), run.get("time_to_80"), run.get("termination_time")
    if share and share.value > 0:
        text += f", {share.text} of it before the knee"
    if early and end:
        first, last = formatting.clock(early.value), formatting.clock(end.value)
        text += f"; 80 % was in after {first}, all of it after {last}"
    return text + "."


def end_answer(run: ChargeResult, end: Measured, cut: Measured) -> str:
    """Return where the current was cut off, and what flowed afterwards."""
    text = f"The current is cut off at {cut.text}, {formatting.clock(end.value)} after charge start"
    after = run.get("current_after")
    if after and after.high < 0:
        text += f"; afterwards {after.text}, drawn from the cell"
    elif after and after.low > 0:
        text += f"; afterwards {after.text} still flows into the cell"
    elif after:
        text += f"; afterwards no current that the meter can tell from none ({after.text})"
    return text + "."
