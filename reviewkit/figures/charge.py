"""The charge curve drawn: the whole charge, the charge delivered, the knee and the end enlarged."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from reviewkit import wording
from reviewkit.charge import limits
from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.findings import LABELS, NOTHING_LOGGED, ChargeResults
from reviewkit.charge.record import FloatArray
from reviewkit.figures import marks, theme
from reviewkit.figures.absent import Absent
from reviewkit.figures.chart import Chart, Charts
from reviewkit.figures.clock import Clock
from reviewkit.uncertainty import Measured

_TIME = "time since charge start"


def charge_curve(results: ChargeResults) -> Charts | Absent:
    """Return voltage and current of every run on one time axis, phases and limits marked."""
    return _each(results, _curve)


def charge_delivered(results: ChargeResults) -> Charts | Absent:
    """Return the charge delivered against time, with its doubt."""
    return _each(results, _delivered)


def charge_knee(results: ChargeResults) -> Charts | Absent:
    """Return the knee enlarged."""
    return _each(results, _knee)


def charge_end(results: ChargeResults) -> Charts | Absent:
    """Return the end of the charge enlarged."""
    return _each(results, _end)


def _each(results: ChargeResults, draw: Callable[[ChargeResult, str], Chart | str]) -> Charts | Absent:
    if not results.runs:
        return Absent(NOTHING_LOGGED.replace("`", ""))
    drawn = [draw(run, "" if results.only else run.record.label) for run in results.runs]
    charts = tuple(one for one in drawn if isinstance(one, Chart))
    return Charts(charts) if charts else Absent(str(drawn[0]))


def _key(name: str, label: str) -> str:
    return f"{name}-{label.replace('_', '-')}" if label else name


def _asked(question: str, run: ChargeResult, label: str) -> str:
    return (
        f"{run.record.source or run.record.label}: {question[:1].lower()}{question[1:]}"
        if label
        else question
    )


def _about(label: str, *names: str) -> tuple[str, ...]:
    middle = f"{label}." if label else ""
    return tuple(f"charge.{middle}{name}" for name in names)


def _table(run: ChargeResult, *names: str) -> pd.DataFrame:
    """Return the quantities of a chart for those who cannot see it."""
    rows = [
        (LABELS[name][0], _said(run.get(name)) if run.get(name) else run.missing.get(name, "not tested"))
        for name in names
    ]
    return pd.DataFrame(rows, columns=["what", "value"])


def _said(quantity: Measured | None) -> str:
    return "" if quantity is None else wording.quantity(quantity.value, quantity.expanded, quantity.unit)


def _since(run: ChargeResult, times: FloatArray) -> FloatArray:
    assert run.phases is not None
    return times - run.phases.start.value


def _rows(
    run: ChargeResult, series: pd.Series, first_s: float, last_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return a series between two times since charge start, one row beyond at either side."""
    time = _since(run, series.index.to_numpy(dtype=float))
    rows = slice(
        max(0, int(np.searchsorted(time, first_s)) - 1), int(np.searchsorted(time, last_s, side="right")) + 1
    )
    return time[rows], series.to_numpy(dtype=float)[rows]


def _broken(time: FloatArray, values: FloatArray, longest_s: float) -> tuple[FloatArray, FloatArray]:
    """Return the curve with a break at every gap: nothing is drawn where nothing was read."""
    holes = np.flatnonzero(np.diff(time) > longest_s)
    if not len(holes):
        return time, values
    return np.insert(time, holes + 1, time[holes]), np.insert(values, holes + 1, np.nan)


def _curve(run: ChargeResult, label: str) -> Chart | str:
    if run.phases is None:
        return run.missing["plateau_current"]
    span = float(_since(run, run.record.voltage_V.index.to_numpy(dtype=float))[-1])
    span = max(span, float(_since(run, run.record.time_s)[-1]))
    clock = Clock(span)
    titles = ["cell voltage, V", "charge current, A"]
    warm = run.record.temperature_C
    figure = marks.panels(
        titles + (["cell temperature, °C"] if warm is not None else []), x_axis=clock.axis(_TIME)
    )
    marks.phases(figure, _bands(run, clock, span), width=clock.width)
    _voltage_panel(figure, run, clock, span)
    _current_panel(figure, run, clock, span)
    if warm is not None:
        _temperature_panel(figure, run, clock, span, warm)
    names = (
        *("start_voltage", "plateau_current", "knee_time", "hold_voltage", "peak_voltage"),
        *("termination_current", "termination_time", "current_after"),
    )
    return Chart(
        _key("charge-curve", label),
        _asked("How does the device charge its cell?", run, label),
        _curve_answer(run),
        figure,
        _table(run, *names),
        _about(label, *names),
    )


def _bands(run: ChargeResult, clock: Clock, span: float) -> list[tuple[float, float, str]]:
    assert run.phases is not None
    zero = run.phases.start.value
    return [
        (clock.at(max(0.0, one.start_s - zero)), clock.at(min(span, one.end_s - zero)), one.name)
        for one in run.phases.spans
        if one.name != "before" and one.end_s > zero
    ]


def _voltage_panel(figure: go.Figure, run: ChargeResult, clock: Clock, span: float) -> None:
    time, volts = _rows(run, run.record.voltage_V, 0.0, span)
    shown = _broken(time, volts, 3 * run.record.voltage_interval_s)
    marks.line(figure, clock.x(shown[0]), shown[1], name="voltage", colour=theme.VOLTAGE, unit="V")
    allowed = limits.voltage(run.cell, both_sides=False)
    top = max(float(volts.max()), allowed.high or 0.0)
    low = float(volts.min())
    room = 0.12 * (top - low)
    figure.update_layout(yaxis={"range": [low - room, top + room]})
    marks.limit(figure, allowed.high or 0.0, f"{allowed.high:.2f} V at most: {allowed.source}")
    peak = run.get("peak_voltage")
    if peak:
        at = float(time[int(np.argmax(volts >= peak.value - 1e-9))])
        text = f"peak {wording.number(peak.value, 3)} V"
        side = -40 if at > 0.5 * span else 40
        marks.point(figure, clock.at(at), peak.value, text, colour=theme.VOLTAGE, away=(side, 34))


def _current_panel(figure: go.Figure, run: ChargeResult, clock: Clock, span: float) -> None:
    time, amps = _rows(run, run.record.current_A, 0.0, span)
    shown = _broken(time, amps, 3 * run.record.interval_s)
    marks.line(figure, clock.x(shown[0]), shown[1], name="current", colour=theme.CURRENT, unit="A", axis="y2")
    top = float(np.quantile(amps, 0.999))
    allowed = limits.charge_current(run.cell)
    if allowed and allowed.high and allowed.high < 1.6 * top:
        marks.limit(
            figure,
            allowed.high,
            f"{wording.number(allowed.high, 2)} A at most: {allowed.source}",
            axis="y2",
            above=False,
        )
        top = max(top, allowed.high)
    figure.update_layout(yaxis2={"range": [min(0.0, float(amps.min())) - 0.04 * top, 1.22 * top]})
    _narrow_names(figure, run, clock, span)
    _knee_point(figure, run, clock, span)
    end, cut = run.get("termination_time"), run.get("termination_current")
    if end and cut:
        text = f"ends at {_hmm(end.value)}, {_short(cut)}"
        marks.point(
            figure,
            clock.at(end.value),
            cut.value,
            text,
            colour=theme.CURRENT,
            axis="y2",
            away=(24 if end.value < 0.6 * span else -24, -34),
        )


def _narrow_names(figure: go.Figure, run: ChargeResult, clock: Clock, span: float) -> None:
    """Name on the curve those phases whose band is too narrow for a name."""
    assert run.phases is not None
    for phase in run.phases.spans:
        if phase.name not in ("precharge", "top-up", "interrupted"):
            continue
        if phase.length_s >= marks.TOO_NARROW * span:
            continue
        inside = (run.record.time_s >= phase.start_s) & (run.record.time_s <= phase.end_s)
        height = float(run.record.current[inside].max()) if inside.any() else 0.0
        middle = clock.at((phase.start_s + phase.end_s) / 2 - run.phases.start.value)
        anchor = "left" if phase.name == "precharge" else "center"
        marks.label(figure, middle, height, phase.name, colour=theme.QUIET, axis="y2", anchor=anchor)


def _knee_point(figure: go.Figure, run: ChargeResult, clock: Clock, span: float) -> None:
    knee, level = run.get("knee_time"), run.get("plateau_current")
    if not knee or not level or not run.phases or not run.phases.knee:
        return
    height = float(np.interp(run.phases.knee.value, run.record.time_s, run.record.current))
    side = 24 if knee.value < 0.6 * span else -24
    marks.point(
        figure,
        clock.at(knee.value),
        height,
        f"knee at {_hmm(knee.value)}",
        colour=theme.CURRENT,
        axis="y2",
        away=(side, -18),
    )


def _temperature_panel(
    figure: go.Figure, run: ChargeResult, clock: Clock, span: float, warm: pd.Series
) -> None:
    time, degrees = _rows(run, warm, 0.0, span)
    marks.line(
        figure,
        clock.x(time),
        degrees,
        name="temperature",
        colour=theme.TEMPERATURE,
        unit="°C",
        decimals=1,
        axis="y3",
    )
    allowed = limits.temperature(run.cell)
    if allowed.high is not None and np.nanmax(degrees) > allowed.high - 15:
        marks.limit(figure, allowed.high, f"{allowed.high:g} °C: {allowed.source}", axis="y3")


def _hmm(seconds: float) -> str:
    """Return a time as the axis writes it: h:mm."""
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _short(quantity: Measured) -> str:
    """Return a value without its doubt, to the digits that the doubt allows."""
    whole = wording.quantity(quantity.value, quantity.expanded, quantity.unit)
    return whole.split(f"{wording.NO_BREAK}±")[0]


def _curve_answer(run: ChargeResult) -> str:
    level, knee, held = run.get("plateau_current"), run.get("knee_time"), run.get("hold_voltage")
    parts = []
    if level:
        rate = (
            f", {wording.number(level.value / run.cell.rated_capacity_Ah, 2)} C"
            if run.cell.rated_capacity_Ah
            else ""
        )
        parts.append(f"The cell gets {_said(level)}{rate}")
        if knee:
            parts.append(f"until the knee at {wording.clock(knee.value)}")
    else:
        parts.append("The cell is at the voltage limit from the start")
    if held:
        parts.append(f"then {_said(held)} at the cell")
    end, cut = run.get("termination_time"), run.get("termination_current")
    if end and cut:
        parts.append(f"until the current is cut off at {_said(cut)} after {wording.clock(end.value)}")
    else:
        parts.append(run.missing.get("termination_time", "").rstrip(".").lower())
    peak = run.get("peak_voltage")
    allowed = limits.voltage(run.cell, both_sides=False)
    text = ", ".join(part for part in parts if part) + "."
    if peak:
        text += (
            f" Peak {_said(peak)}; the limit is {wording.number(run.cell.limit_V, 2)} V + "
            f"{wording.number(run.cell.charge_limit_tolerance_V, 2)} V ({allowed.source})."
        )
    return text


def _delivered(run: ChargeResult, label: str) -> Chart | str:
    amounts, total = run.delivered, run.get("delivered")
    if run.phases is None or amounts is None or total is None:
        return run.missing["delivered"]
    time, charge = _since(run, amounts.time_s), amounts.charge_Ah
    clock = Clock(float(time[-1]) * 1.02)
    figure = marks.panels(["charge delivered, Ah"], x_axis=clock.axis(_TIME), panel_height=280)
    marks.phases(figure, _bands(run, clock, float(time[-1])), width=clock.width)
    few = np.unique(np.linspace(0, len(time) - 1, 60).astype(int))
    doubt = charge[few] * (total.expanded / total.value)
    marks.band(figure, clock.x(time[few]), charge[few] - doubt, charge[few] + doubt, colour=theme.CHARGE)
    marks.line(figure, clock.x(time), charge, name="charge", colour=theme.CHARGE, unit="Ah", most=400)
    figure.update_layout(yaxis={"range": [0, 1.16 * total.value]})
    early = run.get("time_to_80")
    if early:
        marks.point(
            figure,
            clock.at(early.value),
            0.8 * total.value,
            f"80 % at {_hmm(early.value)}",
            colour=theme.CHARGE,
            away=(-30, -24),
        )
    marks.point(
        figure,
        clock.at(float(time[-1])),
        total.value,
        f"{_said(total)}",
        colour=theme.CHARGE,
        away=(-36, -16),
    )
    names = ("delivered", "delivered_energy", "delivered_before_knee", "time_to_80", "termination_time")
    return Chart(
        _key("charge-delivered", label),
        _asked("How much charge goes in, and how fast?", run, label),
        _delivered_answer(run, total),
        figure,
        _table(run, *names),
        _about(label, *names),
    )


def _delivered_answer(run: ChargeResult, total: Measured) -> str:
    text = f"{_said(total)} went into the cell"
    share, early, end = run.get("delivered_before_knee"), run.get("time_to_80"), run.get("termination_time")
    if share and share.value > 0:
        text += f", {_said(share)} of it before the knee"
    if early and end:
        text += (
            f"; 80 % was in after {wording.clock(early.value)}, all of it after {wording.clock(end.value)}"
        )
    return text + "."


def _knee(run: ChargeResult, label: str) -> Chart | str:
    knee, level = run.get("knee_time"), run.get("plateau_current")
    if run.phases is None or knee is None:
        return run.missing["knee_time"]
    if level is None or run.phases.knee is None:
        return run.missing["plateau_current"]
    reach = max(300.0, 20 * run.record.interval_s, 0.05 * (run.phases.end_s - run.phases.start.value))
    first, last = max(0.0, knee.value - reach), knee.value + reach
    figure, clock = _window(run, first, last)
    _doubt(figure, clock, knee)
    height = float(np.interp(run.phases.knee.value, run.record.time_s, run.record.current))
    marks.point(
        figure,
        clock.at(knee.value),
        height,
        f"knee at {_hmm(knee.value)}",
        colour=theme.CURRENT,
        axis="y2",
        away=(-20, 36),
    )
    names = ("knee_time", "knee_voltage", "plateau_current", "plateau_droop", "delivered_before_knee")
    volts = run.get("knee_voltage")
    answer = f"The current begins to fall {_said(knee)} after charge start"
    answer += f", with the cell at {_said(volts)}." if volts else "."
    return Chart(
        _key("charge-knee", label),
        _asked("When does the voltage limit take over?", run, label),
        answer,
        figure,
        _table(run, *names),
        _about(label, *names),
    )


def _window(run: ChargeResult, first: float, last: float) -> tuple[go.Figure, Clock]:
    """Return a stretch of the charge enlarged, voltage over current."""
    last = min(last, float(_since(run, run.record.time_s)[-1]))
    clock = Clock(last - first, first)
    figure = marks.panels(
        ["cell voltage, V", "charge current, A"], x_axis=clock.axis(_TIME), panel_height=190
    )
    for series, axis, colour, unit, wide in (
        (run.record.voltage_V, "y", theme.VOLTAGE, "V", run.record.voltage_interval_s),
        (run.record.current_A, "y2", theme.CURRENT, "A", run.record.interval_s),
    ):
        shown = _broken(*_rows(run, series, first, last), 3 * wide)
        marks.line(
            figure, clock.x(shown[0]), shown[1], name=unit, colour=colour, unit=unit, axis=axis, most=600
        )
    return figure, clock


def _doubt(figure: go.Figure, clock: Clock, moment: Measured) -> None:
    """Mark the interval in which a moment lies, across both panels."""
    figure.add_shape(
        type="rect",
        x0=clock.at(moment.low),
        x1=clock.at(moment.high),
        yref="paper",
        y0=0,
        y1=1,
        layer="below",
        line={"width": 0},
        fillcolor=theme.see_through(theme.READING, 0.25),
    )


def _end(run: ChargeResult, label: str) -> Chart | str:
    end, cut = run.get("termination_time"), run.get("termination_current")
    if run.phases is None or end is None or cut is None:
        return run.missing["termination_time"]
    length = run.phases.end_s - run.phases.start.value
    reach = max(300.0, 20 * run.record.interval_s, 0.04 * length)
    figure, clock = _window(run, max(0.0, end.value - reach), end.value + 0.6 * reach)
    marks.point(
        figure,
        clock.at(end.value),
        cut.value,
        f"cut off at {_short(cut)}",
        colour=theme.CURRENT,
        axis="y2",
        away=(-24, -30),
        error_y=cut.expanded,
    )
    _termination_limits(figure, run, cut)
    names = ("termination_current", "termination_time", "hold_voltage", "current_after")
    return Chart(
        _key("charge-end", label),
        _asked("How does the charge end?", run, label),
        _end_answer(run, end, cut),
        figure,
        _table(run, *names, "settled_voltage_10min", "settled_voltage_60min"),
        _about(label, *names),
    )


def _termination_limits(figure: go.Figure, run: ChargeResult, cut: Measured) -> None:
    allowed = limits.termination(run.cell.rated_capacity_Ah)
    top = 1.8 * cut.value
    if allowed and allowed.low and allowed.high:
        for value, name, above in ((allowed.low, "C/50", False), (allowed.high, "C/10", True)):
            if value < 3.5 * cut.value:
                marks.limit(
                    figure,
                    value,
                    f"{name}, {wording.quantity(value, None, 'A')}: common practice",
                    axis="y2",
                    above=above,
                )
                top = max(top, 1.3 * value)
    after = run.get("current_after")
    low = min(0.0, after.value if after else 0.0)
    figure.update_layout(yaxis2={"range": [low - 0.08 * top, top]})


def _end_answer(run: ChargeResult, end: Measured, cut: Measured) -> str:
    text = f"The current is cut off at {_said(cut)}, {wording.clock(end.value)} after charge start"
    after = run.get("current_after")
    if after and after.high < 0:
        text += f"; afterwards {_said(after)}, drawn from the cell"
    elif after and after.low > 0:
        text += f"; afterwards {_said(after)} still flows into the cell"
    elif after:
        text += f"; afterwards no current that the meter can tell from none ({_said(after)})"
    return text + "."
