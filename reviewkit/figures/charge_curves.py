"""The whole charge drawn, phases and limits marked; its knee and its end enlarged."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reviewkit.charge.analysis import ChargeResult, say
from reviewkit.charge.findings import ChargeResults
from reviewkit.charge.inputs import charge_current_limit, temperature_limit, termination_limit, voltage_limit
from reviewkit.figures import marks, sheet
from reviewkit.figures.charge_runs import (
    TIME,
    curve_answer,
    doubt,
    end_answer,
    h_mm,
    labelled,
    phase_bands,
    quantities,
    rows_between,
    run_chart,
    shown,
    since_start,
    with_breaks,
)
from reviewkit.figures.chart import Absent, Chart, Charts
from reviewkit.figures.sheet import Clock, Sheet
from reviewkit.metrology import Measured, formatting


def charge_curve(results: ChargeResults) -> Charts | Absent:
    """Return voltage and current of every run on one time axis, phases and limits marked.

    Examples
    --------
    >>> charge_curve(results).items[0].question
    'How does the device charge its cell?'
    """
    return shown(_curve(run, label) for run, label in labelled(results))


def _curve(run: ChargeResult, label: str) -> Chart | str:
    if run.phases is None:
        return run.missing["plateau_current"]
    span = float(since_start(run, run.record.voltage_V.index.to_numpy(dtype=float))[-1])
    span = max(span, float(since_start(run, run.record.time_s)[-1]))
    clock = Clock(span)
    titles = ["cell voltage, V", "charge current, A"]
    warm = run.record.temperature_C
    figure = marks.panels(
        titles + (["cell temperature, °C"] if warm is not None else []), x_axis=clock.axis(TIME)
    )
    marks.phases(figure, phase_bands(run, clock, span), width=clock.width)
    _voltage_panel(figure, run, clock, span)
    _current_panel(figure, run, clock, span)
    if warm is not None:
        _temperature_panel(figure, run, clock, span, warm)
    names = (
        *("start_voltage", "plateau_current", "knee_time", "hold_voltage", "peak_voltage"),
        *("termination_current", "termination_time", "current_after"),
    )
    return run_chart(
        run,
        label,
        "charge-curve",
        "How does the device charge its cell?",
        answer=curve_answer(run),
        figure=figure,
        table=quantities(run, *names),
        about=names,
    )


def _voltage_panel(figure: Sheet, run: ChargeResult, clock: Clock, span: float) -> None:
    time, volts = rows_between(run, run.record.voltage_V, 0.0, span)
    shown = with_breaks(time, volts, 3 * run.record.voltage_interval_s)
    marks.line(figure, clock.x(shown[0]), shown[1], name="voltage", colour=sheet.VOLTAGE, unit="V")
    allowed = voltage_limit(run.cell, both_sides=False)
    top = max(float(volts.max()), allowed.high or 0.0)
    low = float(volts.min())
    room = 0.12 * (top - low)
    figure.settings(yaxis={"range": [low - room, top + room]})
    marks.limit(figure, allowed.high or 0.0, f"{allowed.high:.2f} V at most: {allowed.source}")
    peak = run.get("peak_voltage")
    if peak:
        at = float(time[int(np.argmax(volts >= peak.value - 1e-9))])
        text = f"peak {formatting.number(peak.value, 3)} V"
        side = -40 if at > 0.5 * span else 40
        marks.point(figure, clock.at(at), peak.value, text, colour=sheet.VOLTAGE, away=(side, 34))


def _current_panel(figure: Sheet, run: ChargeResult, clock: Clock, span: float) -> None:
    time, amps = rows_between(run, run.record.current_A, 0.0, span)
    shown = with_breaks(time, amps, 3 * run.record.interval_s)
    marks.line(figure, clock.x(shown[0]), shown[1], name="current", colour=sheet.CURRENT, unit="A", axis="y2")
    top = float(np.quantile(amps, 0.999))
    allowed = charge_current_limit(run.cell)
    if allowed and allowed.high and allowed.high < 1.6 * top:
        marks.limit(
            figure,
            allowed.high,
            f"{formatting.number(allowed.high, 2)} A at most: {allowed.source}",
            axis="y2",
            above=False,
        )
        top = max(top, allowed.high)
    figure.settings(yaxis2={"range": [min(0.0, float(amps.min())) - 0.04 * top, 1.22 * top]})
    _knee_point(figure, run, clock, span)
    end, cut = run.get("termination_time"), run.get("termination_current")
    if end and cut:
        text = f"ends at {h_mm(end.value)}, {formatting.rough(cut.value, cut.unit)}"
        marks.point(
            figure,
            clock.at(end.value),
            cut.value,
            text,
            colour=sheet.CURRENT,
            axis="y2",
            away=(24 if end.value < 0.6 * span else -24, -34),
        )


def _knee_point(figure: Sheet, run: ChargeResult, clock: Clock, span: float) -> None:
    knee, level = run.get("knee_time"), run.get("plateau_current")
    if not knee or not level or not run.phases or not run.phases.knee:
        return
    side = 24 if knee.value < 0.6 * span else -24
    _knee_mark(figure, run, clock, (run.phases.knee.value, knee.value), (side, -18))


def _knee_mark(
    figure: Sheet, run: ChargeResult, clock: Clock, at: tuple[float, float], away: tuple[int, int]
) -> None:
    """Mark the knee on the current, `at` on the log's clock and since charge start [s]."""
    on_log_s, since_start_s = at
    marks.point(
        figure,
        clock.at(since_start_s),
        float(np.interp(on_log_s, run.record.time_s, run.record.current)),
        f"knee at {h_mm(since_start_s)}",
        colour=sheet.CURRENT,
        axis="y2",
        away=away,
    )


def _temperature_panel(figure: Sheet, run: ChargeResult, clock: Clock, span: float, warm: pd.Series) -> None:
    time, degrees = rows_between(run, warm, 0.0, span)
    marks.line(
        figure,
        clock.x(time),
        degrees,
        name="temperature",
        colour=sheet.TEMPERATURE,
        unit="°C",
        decimals=1,
        axis="y3",
    )
    allowed = temperature_limit(run.cell)
    if allowed.high is not None and np.nanmax(degrees) > allowed.high - 15:
        marks.limit(figure, allowed.high, f"{allowed.high:g} °C: {allowed.source}", axis="y3")


def charge_knee(results: ChargeResults) -> Charts | Absent:
    """Return the knee enlarged.

    Examples
    --------
    >>> charge_knee(results).items[0].question
    'When does the voltage limit take over?'
    """
    return shown(_knee(run, label) for run, label in labelled(results))


def charge_end(results: ChargeResults) -> Charts | Absent:
    """Return the end of the charge enlarged.

    Examples
    --------
    >>> charge_end(results).items[0].about[0]
    'charge.termination_current'
    """
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
    _knee_mark(figure, run, clock, (run.phases.knee.value, knee.value), (-20, 36))
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
        f"cut off at {formatting.rough(cut.value, cut.unit)}",
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
    allowed, top, cell = termination_limit(run.cell), 1.8 * cut.value, run.cell
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
