"""The values behind the sentences under the charts; the words stand in ``templates/words/charge.j2``."""

from __future__ import annotations

from reviewkit.charge import limits, sentences
from reviewkit.charge.analysis import ChargeResult, say
from reviewkit.metrology import Measured, formatting


def curve_answer(run: ChargeResult) -> str:
    """Return what the charge was: current, knee, voltage held, end, peak."""
    knee, end = run.get("knee_time"), run.get("termination_time")
    level, held, cut, peak = map(
        run.get, ("plateau_current", "hold_voltage", "termination_current", "peak_voltage")
    )
    return say(
        "curve",
        level=_text(level),
        at_start=bool(run.phases and run.phases.knee_at_start),
        rate=sentences.c_rate(run, "plateau_current"),
        levels=sentences.levels(run),
        knee=formatting.clock(knee.value) if knee else "",
        held=_text(held),
        cut=_text(cut) if end else "",
        end=formatting.clock(end.value) if end else "",
        missing=run.missing.get("termination_time", "").rstrip(".").lower(),
        peak=_text(peak),
        most=formatting.number(run.cell.limit_V, 2),
        tolerance=formatting.number(run.cell.charge_limit_tolerance_V, 2),
        source=limits.voltage(run.cell, both_sides=False).source,
    )


def delivered_answer(run: ChargeResult, total: Measured) -> str:
    """Return how much went in, the share before the knee and the times."""
    share, early, end = run.get("delivered_before_knee"), run.get("time_to_80"), run.get("termination_time")
    both = early is not None and end is not None
    return say(
        "amount_answer",
        total=total.text,
        share=share.text if share and share.value > 0 else "",
        to_80=formatting.clock(early.value) if early and both else "",
        end=formatting.clock(end.value) if end and both else "",
    )


def end_answer(run: ChargeResult, end: Measured, cut: Measured) -> str:
    """Return where the current was cut off, and what flowed afterwards."""
    after = run.get("current_after")
    return say(
        "end_answer",
        cut=cut.text,
        end=formatting.clock(end.value),
        after=_text(after),
        sign=sentences.sign(after) if after else 0,
    )


def _text(quantity: Measured | None) -> str:
    return quantity.text if quantity else ""
