"""The knee and the end of the charge, enlarged."""

from __future__ import annotations

import numpy as np

from reviewkit.charge import limits
from reviewkit.charge.analysis import ChargeResult, say
from reviewkit.charge.findings import ChargeResults
from reviewkit.figures import marks, sheet
from reviewkit.figures.charge.rows import (
    h_mm,
    quantities,
    rows_between,
    since_start,
    with_breaks,
    without_doubt,
)
from reviewkit.figures.charge.runs import TIME, doubt, labelled, run_chart, shown
from reviewkit.figures.charge.words import end_answer
from reviewkit.figures.chart import Absent, Chart, Charts
from reviewkit.figures.sheet import Clock, Sheet
from reviewkit.metrology import Measured, formatting


def charge_knee(results: ChargeResults) -> Charts | Absent:
    """Return the knee enlarged."""
    return shown(_knee(run, label) for run, label in labelled(results))


def charge_end(results: ChargeResults) -> Charts | Absent:
    """Return the end of the charge enlarged."""
    return shown(_end(run, label) for run, label in labelled(results))


def _knee(run: ChargeResult, label: str) -> Chart | str:
    knee, level = run.get("knee_time"), run.get("plateau_current")
    if run.phases is None or knee is None:
        return run.missing["knee_time"]
    if level is None or run.phases.knee is None:
        return run.missing["plateau_current"]
    reach = max(300.0, 20 * run.record.interval_s, 0.05 * (run.phases.end_s - run.phases.start.value))
    first, last = max(0.0, knee.value - reach), knee.value + reach
    figure, clock = _window(run, first, last)
    doubt(figure, clock, knee)
    height = float(np.interp(run.phases.knee.value, run.record.time_s, run.record.current))
    marks.point(
        figure,
        clock.at(knee.value),
        height,
        f"knee at {h_mm(knee.value)}",
        colour=sheet.CURRENT,
        axis="y2",
        away=(-20, 36),
    )
    names = ("knee_time", "knee_voltage", "plateau_current", "plateau_droop", "delivered_before_knee")
    volts = run.get("knee_voltage")
    return run_chart(
        run,
        label,
        "charge-knee",
        "When does the voltage limit take over?",
        answer=say("knee_answer", knee=knee.text, volts=volts.text if volts else ""),
        figure=figure,
        table=quantities(run, *names),
        about=names,
    )


def _window(run: ChargeResult, first: float, last: float) -> tuple[Sheet, Clock]:
    """Return a stretch of the charge enlarged, voltage over current."""
    last = min(last, float(since_start(run, run.record.time_s)[-1]))
    clock = Clock(last - first, first)
    figure = marks.panels(["cell voltage, V", "charge current, A"], x_axis=clock.axis(TIME), panel_height=190)
    for series, axis, colour, unit, wide in (
        (run.record.voltage_V, "y", sheet.VOLTAGE, "V", run.record.voltage_interval_s),
        (run.record.current_A, "y2", sheet.CURRENT, "A", run.record.interval_s),
    ):
        shown = with_breaks(*rows_between(run, series, first, last), 3 * wide)
        marks.line(figure, clock.x(shown[0]), shown[1], name=unit, colour=colour, unit=unit, axis=axis)
    return figure, clock


def _end(run: ChargeResult, label: str) -> Chart | str:
    end, cut = run.get("termination_time"), run.get("termination_current")
    if run.phases is None or end is None or cut is None:
        # The moment may be known where too few rows tell the current.
        return run.missing.get("termination_time") or run.missing["termination_current"]
    length = run.phases.end_s - run.phases.start.value
    reach = max(300.0, 20 * run.record.interval_s, 0.04 * length)
    figure, clock = _window(run, max(0.0, end.value - reach), end.value + 0.6 * reach)
    marks.point(
        figure,
        clock.at(end.value),
        cut.value,
        f"cut off at {without_doubt(cut)}",
        colour=sheet.CURRENT,
        axis="y2",
        away=(-24, -30),
        error_y=cut.expanded,
    )
    _termination_limits(figure, run, cut)
    names = ("termination_current", "termination_time", "hold_voltage", "current_after")
    return run_chart(
        run,
        label,
        "charge-end",
        "How does the charge end?",
        answer=end_answer(run, end, cut),
        figure=figure,
        table=quantities(run, *names, "settled_voltage_10min", "settled_voltage_60min"),
        about=names,
    )


def _termination_limits(figure: Sheet, run: ChargeResult, cut: Measured) -> None:
    allowed, top, cell = limits.termination(run.cell), 1.8 * cut.value, run.cell
    ends = (
        (
            (allowed.low, "C/50", cell.min_termination_A, False),
            (allowed.high, "C/10", cell.max_termination_A, True),
        )
        if allowed
        else ()
    )
    for value, name, declared, above in ends:
        if value and value < 3.5 * cut.value:
            shown = formatting.quantity(value, None, "A")
            text = f"{name}, {shown}: common practice" if declared is None else f"{shown}: as declared"
            marks.limit(figure, value, text, axis="y2", above=above)
            top = max(top, 1.3 * value)
    after = run.get("current_after")
    low = min(0.0, after.value if after else 0.0)
    figure.settings(yaxis2={"range": [low - 0.08 * top, top]})
