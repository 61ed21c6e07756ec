"""The whole charge drawn, phases and limits marked; its knee and end enlarged; what all its charts share."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from reviewkit.charge import sentences
from reviewkit.charge.analysis import ChargeResult, say
from reviewkit.charge.findings import LABELS, ChargeResults
from reviewkit.charge.inputs import charge_current_limit, temperature_limit, termination_limit, voltage_limit
from reviewkit.charge.record import FloatArray
from reviewkit.figures import marks, sheet
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


TIME = "time since charge start"


def labelled(results: ChargeResults) -> list[tuple[ChargeResult, str]]:
    """Return each run with the label that its charts bear: none where there is one run."""
    return [(run, "" if results.only else run.record.label) for run in results.runs]


def shown(drawn: Iterable[Chart | str], *, nothing: str = "") -> Charts | Absent:
    """Return the charts, one for each run; where no run has one, why the first has none.

    Parameters
    ----------
    drawn : iterable of Chart or str
        For each run its chart, or why there is none.
    nothing : str
        What is said where there is no run; by default that nothing was logged.
    """
    each = tuple(drawn)
    nothing = nothing or say("nothing_logged").replace("`", "")
    charts = tuple(one for one in each if isinstance(one, Chart))
    return Charts(charts) if charts else Absent(str(each[0]) if each else nothing)


def run_chart(
    run: ChargeResult,
    label: str,
    key: str,
    question: str,
    *,
    answer: str,
    figure: Sheet,
    table: pd.DataFrame,
    about: Sequence[str],
) -> Chart:
    """Return a run's chart; with a label, its key, question and findings are this run's own.

    Parameters
    ----------
    about : sequence of str
        Findings that it shows, without "charge.".
    """
    if label:
        key = f"{key}-{label.replace('_', '-')}"
        question = f"{run.record.source or run.record.label}: {question[:1].lower()}{question[1:]}"
    prefix = f"charge.{label}." if label else "charge."
    keys = tuple(f"{prefix}{name}" for name in about)
    return Chart(key, question, answer, figure.checked(), table, keys, figure.note)


def doubt(figure: Sheet, clock: Clock, moment: Measured) -> None:
    """Mark the interval in which a moment lies, across both panels."""
    marks.tint(
        figure, clock.at(moment.low), clock.at(moment.high), colour=sheet.see_through(sheet.READING, 0.25)
    )


def quantities(run: ChargeResult, *names: str) -> pd.DataFrame:
    """Return the quantities of a chart for those who cannot see it."""
    known = {name: run.get(name) for name in names}
    rows = [
        (LABELS[name][0], quantity.text if quantity else run.missing.get(name, "not tested"))
        for name, quantity in known.items()
    ]
    return pd.DataFrame(rows, columns=["what", "value"])


def since_start(run: ChargeResult, times: FloatArray) -> FloatArray:
    """Return times of the record's clock as times since charge start [s]."""
    assert run.phases is not None
    return times - run.phases.start.value


def rows_between(
    run: ChargeResult, series: pd.Series, first_s: float, last_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return a series between two times since charge start, one row beyond at either side."""
    time = since_start(run, series.index.to_numpy(dtype=float))
    rows = slice(
        max(0, int(np.searchsorted(time, first_s)) - 1), int(np.searchsorted(time, last_s, side="right")) + 1
    )
    return time[rows], series.to_numpy(dtype=float)[rows]


def with_breaks(time: FloatArray, values: FloatArray, longest_s: float) -> tuple[FloatArray, FloatArray]:
    """Return the curve with a break at every gap: nothing is drawn where nothing was read."""
    holes = np.flatnonzero(np.diff(time) > longest_s)
    if not len(holes):
        return time, values
    return np.insert(time, holes + 1, time[holes]), np.insert(values, holes + 1, np.nan)


def phase_bands(run: ChargeResult, clock: Clock, span: float) -> list[tuple[float, float, str]]:
    """Return start, end and name of each phase from charge start on, as `marks.phases` takes them."""
    assert run.phases is not None
    zero = run.phases.start.value
    return [
        (clock.at(max(0.0, one.start_s - zero)), clock.at(min(span, one.end_s - zero)), one.name)
        for one in run.phases.spans
        if one.name != "before" and one.end_s > zero
    ]


def h_mm(seconds: float) -> str:
    """Return a time as the axis writes it: h:mm."""
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


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
        source=voltage_limit(run.cell, both_sides=False).source,
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
