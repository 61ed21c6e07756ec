"""Charger or rig, drawn: the taper's slope, the charge without the bench, other cells, the source's side."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from reviewkit import wording
from reviewkit.charge import port
from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.record import FloatArray
from reviewkit.charge.separated import Separations
from reviewkit.charge.separation import Separation
from reviewkit.figures import marks, theme
from reviewkit.figures.absent import Absent
from reviewkit.figures.chart import Chart, Charts
from reviewkit.figures.clock import Clock
from reviewkit.uncertainty import Measured

_NOTHING = "No charge was logged."
_DOTS = 500


def charge_regulation(separations: Separations) -> Charts | Absent:
    """Return cell voltage against current in the constant-voltage phase, the fitted line through it."""
    return _each(separations, _regulation)


def charge_without_rig(separations: Separations) -> Charts | Absent:
    """Return the measured current and the one predicted without the ammeter and leads."""
    return _each(separations, _without_rig)


def charge_other_cells(separations: Separations) -> Charts | Absent:
    """Return the predicted charging time against the cell's capacity."""
    return _each(separations, _other_cells)


def charge_efficiency(separations: Separations) -> Charts | Absent:
    """Return the share of the port's energy that reaches the cell, over the charge."""
    return _each(separations, lambda run, apart, label: _efficiency(run, label, separations.meters))


def _each(separations: Separations, draw) -> Charts | Absent:  # type: ignore[no-untyped-def]
    if not separations.runs:
        return Absent(_NOTHING)
    single = len(separations.runs) == 1
    drawn = [draw(run, apart, "" if single else run.record.label) for run, apart in separations.runs]
    charts = tuple(one for one in drawn if isinstance(one, Chart))
    return Charts(charts) if charts else Absent(str(drawn[0]))


def _said(quantity: Measured) -> str:
    return wording.quantity(quantity.value, quantity.expanded, quantity.unit)


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


def _regulation(run: ChargeResult, apart: Separation, label: str) -> Chart | str:
    known = apart.regulation
    if known is None:
        return apart.reasons["regulation"]
    current, voltage = apart.readings
    few = np.unique(np.linspace(0, len(current) - 1, min(_DOTS, len(current))).astype(int))
    top = float(current.max()) * 1.06
    figure = marks.panels(
        ["cell voltage, V"],
        x_axis=theme.axis("charge current, A", range=[0, top]),
        panel_height=300,
    )
    figure.add_trace(
        go.Scatter(
            x=current[few].astype(np.float32),
            y=voltage[few].astype(np.float32),
            mode="markers",
            marker={"color": theme.VOLTAGE, "size": 4, "opacity": 0.6},
            hovertemplate="%{x:.3f} A: %{y:.3f} V",
            name="readings",
        )
    )
    ends = np.array([0.0, top])
    line = known.set_voltage.value - known.series_resistance.value * ends
    marks.line(figure, ends, line, name="fit", colour=theme.INK, unit="V", dash="dot")
    marks.point(
        figure,
        0.0,
        float(line[0]),
        f"set voltage {_said(known.set_voltage)}",
        colour=theme.VOLTAGE,
        away=(40, -22),
    )
    # The upper right corner is free: the line falls away from it.
    marks.label(
        figure,
        top,
        known.set_voltage.value - 0.4 * known.series_resistance.value * top,
        f"slope {_said(known.series_resistance)}",
        colour=theme.INK,
        anchor="right",
    )
    span = float(np.ptp(np.concatenate([voltage, line])))
    low = float(min(voltage.min(), line.min()))
    figure.update_layout(
        yaxis={"range": [low - 0.25 * span, float(line[0]) + 0.35 * span]}, hovermode="closest"
    )
    rows = [("set voltage", _said(known.set_voltage)), ("series resistance", _said(known.series_resistance))]
    if apart.device_ohm:
        rows.append(("of it the device", _said(apart.device_ohm)))
    return Chart(
        _key("charge-regulation", label),
        _asked("How much lies between charger and cell?", run, label),
        _regulation_answer(apart),
        figure,
        pd.DataFrame(rows, columns=["what", "value"]),
        _about(label, "set_voltage", "series_resistance", "device_resistance"),
    )


def _regulation_answer(apart: Separation) -> str:
    known = apart.regulation
    assert known is not None
    text = (
        f"The charger regulates to {_said(known.set_voltage)}, and {_said(known.series_resistance)} lie "
        "between it and the cell"
    )
    if apart.device_ohm is None:
        return f"{text}; how much of it is the bench’s is not declared."
    return (
        f"{text}: {wording.quantity(apart.rig_ohm, None, 'ohm')} declared for ammeter and leads, "
        f"{_said(apart.device_ohm)} left for the device."
    )


def _without_rig(run: ChargeResult, apart: Separation, label: str) -> Chart | str:
    effect = apart.effect
    if effect is None or not apart.rig_ohm or run.phases is None:
        return apart.reasons["effect"]
    zero = run.phases.start.value
    time = run.record.time_s - zero
    last = max(run.phases.end_s - zero, effect.duration_s.value) * 1.03
    first = min(run.phases.knee_s or zero, effect.without_rig.time_s[0] + zero) - zero
    first = max(0.0, first - 0.15 * (last - first))
    clock = Clock(last - first, first)
    figure = marks.panels(
        ["charge current, A"], x_axis=clock.axis("time since charge start"), panel_height=300
    )
    inside = (time >= first) & (time <= last)
    marks.line(
        figure,
        clock.x(time[inside]),
        run.record.current[inside],
        name="measured",
        colour=theme.CURRENT,
        unit="A",
        most=600,
    )
    bare_time, bare = _until_stop(effect.without_rig.time_s, effect.without_rig.current_A, last)
    marks.line(
        figure,
        clock.x(bare_time),
        bare,
        name="without the rig",
        colour=theme.INK,
        unit="A",
        dash=theme.DASHES["prediction"],
        most=400,
    )
    _name_curves(figure, clock, time[inside], run.record.current[inside], bare_time, bare)
    top = float(np.quantile(run.record.current[inside], 0.99))
    figure.update_layout(yaxis={"range": [-0.04 * top, 1.2 * top]})
    _span(figure, clock, effect.duration_s)
    rows = [
        ("knee without the rig", _said(effect.knee_s)),
        ("charging time without the rig", _said(effect.duration_s)),
    ]
    logged = run.get("termination_time")
    if logged:
        rows.append(("charging time as logged", _said(logged)))
    answer = f"Without the ammeter and its leads the charge would take {_said(effect.duration_s)}"
    answer += f"; with them it took {_said(logged)}." if logged else "."
    return Chart(
        _key("charge-without-rig", label),
        _asked("How much did the ammeter slow the charge?", run, label),
        answer,
        figure,
        pd.DataFrame(rows, columns=["what", "value"]),
        _about(label, "time_without_rig", "termination_time"),
    )


def _until_stop(time: FloatArray, current: FloatArray, last: float) -> tuple[FloatArray, FloatArray]:
    """Return the predicted current with its cut-off drawn."""
    inside = time <= last
    return np.append(time[inside], time[inside][-1]), np.append(current[inside], 0.0)


def _name_curves(
    figure: go.Figure,
    clock: Clock,
    time: FloatArray,
    current: FloatArray,
    bare_time: FloatArray,
    bare: FloatArray,
) -> None:
    """Write each curve's name where the two lie apart most."""
    grid = np.linspace(max(time[0], bare_time[0]), min(time[-1], bare_time[-2]), 200)
    apart = np.interp(grid, bare_time[:-1], bare[:-1]) - np.interp(grid, time, current)
    place = float(grid[int(np.argmax(np.abs(apart)))])
    above = bool(apart[int(np.argmax(np.abs(apart)))] >= 0)
    measured = float(np.interp(place, time, current))
    predicted = float(np.interp(place, bare_time[:-1], bare[:-1]))
    marks.label(
        figure,
        clock.at(place),
        predicted,
        "without the rig",
        colour=theme.INK,
        anchor="left" if above else "right",
        above=above,
    )
    marks.label(
        figure,
        clock.at(place),
        measured,
        "measured",
        colour=theme.CURRENT,
        anchor="right" if above else "left",
        above=not above,
    )


def _span(figure: go.Figure, clock: Clock, moment: Measured) -> None:
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


def _other_cells(run: ChargeResult, apart: Separation, label: str) -> Chart | str:
    if not apart.others:
        return apart.reasons.get("others", "No capacities were asked for.")
    figure = marks.panels(
        ["charging time, h"],
        x_axis=theme.axis("capacity of the cell, Ah", nticks=8),
        panel_height=280,
    )
    for full, colour in ((True, theme.CHARGE), (False, theme.QUIET)):
        x = np.array([one.capacity_Ah for one in apart.others])
        times = [one.full_s if full else one.to_80_s for one in apart.others]
        y = np.array([one.value for one in times]) / 3600
        doubt = np.array([one.expanded for one in times]) / 3600
        marks.band(figure, x, y - doubt, y + doubt, colour=colour)
        name = "full" if full else "80 %"
        marks.line(figure, x, y, name=name, colour=colour, unit="h", decimals=1)
        marks.label(figure, float(x[-1]), float(y[-1]), name, colour=theme.INK, anchor="right", above=full)
    _trusted(figure, apart)
    figure.update_layout(yaxis={"rangemode": "tozero"})
    rows = [
        (
            f"{one.capacity_Ah:g} Ah",
            _said(one.full_s),
            _said(one.to_80_s),
            "yes" if one.trusted else "no: too far from the cell measured",
        )
        for one in apart.others
    ]
    return Chart(
        _key("charge-other-cells", label),
        _asked("How long will another cell take?", run, label),
        _other_answer(run, apart),
        figure,
        pd.DataFrame(rows, columns=["capacity", "full", "to 80 %", "to be trusted"]),
        _about(label, "other_cells"),
    )


def _trusted(figure: go.Figure, apart: Separation) -> None:
    """Tint the capacities for which the scaling may be trusted."""
    inside = [one.capacity_Ah for one in apart.others if one.trusted]
    if not inside:
        return
    figure.add_shape(
        type="rect",
        x0=min(inside),
        x1=max(inside),
        yref="paper",
        y0=0,
        y1=1,
        layer="below",
        line={"width": 0},
        fillcolor=theme.BAND,
    )
    figure.add_annotation(
        x=(min(inside) + max(inside)) / 2,
        yref="paper",
        y=0.02,
        yanchor="bottom",
        text="trusted",
        showarrow=False,
        font={"size": marks.SMALL, "color": theme.QUIET},
    )


def _other_answer(run: ChargeResult, apart: Separation) -> str:
    inside = [one for one in apart.others if one.trusted]
    if not inside:
        return "None of these capacities is near enough to the cell measured for a prediction."
    low, high = inside[0], inside[-1]
    return (
        f"A {low.capacity_Ah:g} Ah cell of this kind takes {_said(low.full_s)}, "
        f"a {high.capacity_Ah:g} Ah cell {_said(high.full_s)}, without an ammeter in the way."
    )


def _efficiency(run: ChargeResult, label: str, meters: port.PortMeters) -> Chart | str:
    over_time, whole = port.over_time(run), port.efficiency(run, meters)
    if over_time is None or whole is None:
        return "The source’s side was not logged."
    time, share = over_time
    clock = Clock(float(time[-1]) * 1.03)
    figure = marks.panels(
        ["energy into the cell over energy from the port, %"],
        x_axis=clock.axis("time since charge start"),
        panel_height=260,
    )
    marks.line(figure, clock.x(time), share, name="efficiency", colour=theme.CHARGE, unit="%", decimals=0)
    figure.update_layout(yaxis={"range": [0, 105]})
    known = bool(meters.voltmeter and meters.ammeter)
    text = _said(whole) if known else f"{wording.number(whole.value, 0)} %"
    doubt = "" if known else "; the source-side meter’s accuracy is not declared, so there is no uncertainty"
    return Chart(
        _key("charge-efficiency", label),
        _asked("How much of the port’s energy reaches the cell?", run, label),
        f"Over the whole charge {text} of the energy drawn from the port went into the cell{doubt}.",
        figure,
        pd.DataFrame([("whole charge", text)], columns=["what", "value"]),
        _about(label, "efficiency"),
    )
