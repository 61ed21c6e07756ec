"""Charger or rig: regulation, the charge without it, other cells, what of the port's energy arrives."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reviewkit.charge import sources
from reviewkit.charge.analysis import ChargeResult, say
from reviewkit.charge.burden_correction import RigEffect, Separation
from reviewkit.charge.corrected_runs import Separations
from reviewkit.charge.record import FloatArray
from reviewkit.charge.regimes import Phases
from reviewkit.charge.series_resistance import Regulation
from reviewkit.figures import marks, sheet
from reviewkit.figures.charge_curves import TIME, doubt, labelled, run_chart, shown
from reviewkit.figures.chart import Absent, Chart, Charts
from reviewkit.figures.sheet import Clock, Sheet
from reviewkit.metrology import formatting

NOTHING = "No charge was logged."


def labelled_apart(separations: Separations) -> list[tuple[ChargeResult, Separation, str]]:
    """Return each run with what was told apart in it and the label that its charts bear."""
    both = zip(labelled(separations.results), separations.items, strict=True)
    return [(run, apart, label) for (run, label), apart in both]


_DOTS = 400


def charge_regulation(separations: Separations) -> Charts | Absent:
    """Return cell voltage against current in the constant-voltage phase, the fitted line through it.

    Examples
    --------
    >>> charge_regulation(apart).items[0].key
    'charge-regulation'
    """
    return shown(
        (_regulation(run, apart, label) for run, apart, label in labelled_apart(separations)), nothing=NOTHING
    )


def _regulation(run: ChargeResult, apart: Separation, label: str) -> Chart | str:
    known = apart.regulation
    if known is None:
        return apart.reasons["regulation"]
    rows = [("set voltage", known.set_voltage.text), ("series resistance", known.series_resistance.text)]
    if apart.device_ohm:
        rows.append(("of it the device", apart.device_ohm.text))
    return run_chart(
        run,
        label,
        "charge-regulation",
        "How much lies between charger and cell?",
        answer=_regulation_answer(apart, known),
        figure=_figure(*apart.readings, known),
        table=pd.DataFrame(rows, columns=["what", "value"]),
        about=("set_voltage", "series_resistance", "device_resistance"),
    )


def _figure(current: FloatArray, voltage: FloatArray, known: Regulation) -> Sheet:
    top = float(current.max()) * 1.06
    x_axis = sheet.axis("charge current, A", range=[0, top])
    figure = marks.panels(["cell voltage, V"], x_axis=x_axis, panel_height=300)
    few = marks.kept(np.arange(len(voltage), dtype=float), voltage, most=_DOTS)
    figure.rows.append((len(few), len(voltage)))
    figure.curve(
        x=marks.short(current[few]),
        y=marks.short(voltage[few]),
        mode="markers",
        marker={"color": sheet.VOLTAGE, "size": 4, "opacity": 0.6},
        hovertemplate="%{x:.3f} A: %{y:.3f} V",
        name="readings",
    )
    line = _line(figure, top, known)
    span = float(np.ptp(np.concatenate([voltage, line])))
    low = float(min(voltage.min(), line.min()))
    shown_V = [low - 0.25 * span, float(line[0]) + 0.35 * span]
    figure.settings(yaxis={"range": shown_V}, hovermode="closest")
    return figure


def _line(figure: Sheet, top: float, known: Regulation) -> FloatArray:
    """Draw the fitted line from no current to `top` [A]; return its ends [V]."""
    ends = np.array([0.0, top])
    slope = known.series_resistance
    line = known.set_voltage.value - slope.value * ends
    marks.line(figure, ends, line, name="fit", colour=sheet.INK, unit="V", dash="dot")
    text = f"set voltage {known.set_voltage.text}"
    marks.point(figure, 0.0, float(line[0]), text, colour=sheet.VOLTAGE, away=(40, -22))
    # The upper right corner is free: the line falls away from it.
    height = known.set_voltage.value - 0.4 * slope.value * top
    marks.label(figure, top, height, f"slope {slope.text}", colour=sheet.INK, anchor="right")
    return line


def _regulation_answer(apart: Separation, known: Regulation) -> str:
    text = (
        f"The charger regulates to {known.set_voltage.text}, and {known.series_resistance.text} lie "
        "between it and the cell"
    )
    if apart.device_ohm is None:
        return f"{text}; how much of it is the bench’s is not declared."
    return (
        f"{text}: {formatting.quantity(apart.rig_ohm, None, 'ohm')} declared for ammeter and leads, "
        f"{apart.device_ohm.text} left for the device."
    )


def charge_without_rig(separations: Separations) -> Charts | Absent:
    """Return the measured current and the one predicted without the ammeter and leads.

    Examples
    --------
    >>> charge_without_rig(apart).items[0].question
    'How much did the ammeter slow the charge?'
    """
    return shown(
        (_without_rig(run, apart, label) for run, apart, label in labelled_apart(separations)),
        nothing=NOTHING,
    )


def _without_rig(run: ChargeResult, apart: Separation, label: str) -> Chart | str:
    effect = apart.effect
    if effect is None or not apart.rig_ohm or run.phases is None:
        return apart.reasons["effect"]
    rows = [
        ("knee without the rig", effect.knee_s.text),
        ("charging time without the rig", effect.duration_s.text),
    ]
    logged = run.get("termination_time")
    if logged:
        rows.append(("charging time as logged", logged.text))
    answer = say("without_rig_answer", duration=effect.duration_s.text, logged=logged.text if logged else "")
    return run_chart(
        run,
        label,
        "charge-without-rig",
        "How much did the ammeter slow the charge?",
        answer=answer,
        figure=_with_and_without(run, run.phases, effect),
        table=pd.DataFrame(rows, columns=["what", "value"]),
        about=("time_without_rig", "termination_time"),
    )


def _with_and_without(run: ChargeResult, phases: Phases, effect: RigEffect) -> Sheet:
    zero, bare = phases.start.value, effect.without_rig
    last = max(phases.end_s - zero, effect.duration_s.value) * 1.03
    first = min(phases.knee_s or zero, bare.time_s[0] + zero) - zero
    first = max(0.0, first - 0.15 * (last - first))
    clock = Clock(last - first, first)
    figure = marks.panels(["charge current, A"], x_axis=clock.axis(TIME), panel_height=300)
    time = run.record.time_s - zero
    inside = (time >= first) & (time <= last)
    measured = (time[inside], run.record.current[inside])
    predicted = _until_stop(bare.time_s, bare.current_A, last)
    x = clock.x(measured[0])
    marks.line(figure, x, measured[1], name="measured", colour=sheet.CURRENT, unit="A")
    marks.line(
        figure,
        clock.x(predicted[0]),
        predicted[1],
        name="without the rig",
        colour=sheet.INK,
        unit="A",
        dash=sheet.DASHES["prediction"],
        most=200,
        logged=False,
    )
    _name_curves(figure, clock, *measured, *predicted)
    top = float(np.quantile(measured[1], 0.99))
    figure.settings(yaxis={"range": [-0.04 * top, 1.2 * top]})
    doubt(figure, clock, effect.duration_s)
    return figure


def _until_stop(time: FloatArray, current: FloatArray, last: float) -> tuple[FloatArray, FloatArray]:
    """Return the predicted current with its cut-off drawn."""
    inside = time <= last
    return np.append(time[inside], time[inside][-1]), np.append(current[inside], 0.0)


def _name_curves(
    figure: Sheet,
    clock: Clock,
    time: FloatArray,
    current: FloatArray,
    bare_time: FloatArray,
    bare: FloatArray,
) -> None:
    """Write each curve's name where the two lie apart most."""
    grid = np.linspace(max(time[0], bare_time[0]), min(time[-1], bare_time[-2]), 200)
    apart = np.interp(grid, bare_time[:-1], bare[:-1]) - np.interp(grid, time, current)
    widest = float(grid[int(np.argmax(np.abs(apart)))])
    above = bool(apart[int(np.argmax(np.abs(apart)))] >= 0)
    measured = float(np.interp(widest, time, current))
    predicted = float(np.interp(widest, bare_time[:-1], bare[:-1]))
    x = clock.at(widest)
    left, right = ("left", "right") if above else ("right", "left")
    marks.label(figure, x, predicted, "without the rig", colour=sheet.INK, anchor=left, above=above)
    marks.label(figure, x, measured, "measured", colour=sheet.CURRENT, anchor=right, above=not above)


def charge_other_cells(separations: Separations) -> Charts | Absent:
    """Return the predicted charging time against the cell's capacity.

    Examples
    --------
    >>> list(charge_other_cells(apart).items[0].table.columns)
    ['capacity', 'full', 'to 80 %', 'to be trusted']
    """
    return shown(
        (_other_cells(run, apart, label) for run, apart, label in labelled_apart(separations)),
        nothing=NOTHING,
    )


def _other_cells(run: ChargeResult, apart: Separation, label: str) -> Chart | str:
    if not apart.others:
        return apart.reasons.get("others", "No capacities were asked for.")
    figure = marks.panels(
        ["charging time, h"],
        x_axis=sheet.axis("capacity of the cell, Ah", nticks=8),
        panel_height=280,
    )
    for full, colour in ((True, sheet.CHARGE), (False, sheet.QUIET)):
        x = np.array([one.capacity_Ah for one in apart.others])
        times = [one.full_s if full else one.to_80_s for one in apart.others]
        y = np.array([one.value for one in times]) / 3600
        doubt = np.array([one.expanded for one in times]) / 3600
        marks.band(figure, x, y - doubt, y + doubt, colour=colour)
        name = "full" if full else "80 %"
        marks.line(figure, x, y, name=name, colour=colour, unit="h", decimals=1)
        marks.label(figure, float(x[-1]), float(y[-1]), name, colour=sheet.INK, anchor="right", above=full)
    _trusted(figure, apart)
    figure.settings(yaxis={"rangemode": "tozero"})
    rows = [
        (
            f"{one.capacity_Ah:g} Ah",
            one.full_s.text,
            one.to_80_s.text,
            "yes" if one.trusted else "no: too far from the cell measured",
        )
        for one in apart.others
    ]
    return run_chart(
        run,
        label,
        "charge-other-cells",
        "How long will another cell take?",
        answer=_other_answer(run, apart),
        figure=figure,
        table=pd.DataFrame(rows, columns=["capacity", "full", "to 80 %", "to be trusted"]),
        about=("other_cells",),
    )


def _trusted(figure: Sheet, apart: Separation) -> None:
    """Tint the capacities for which the scaling may be trusted."""
    inside = [one.capacity_Ah for one in apart.others if one.trusted]
    if not inside:
        return
    marks.tint(figure, min(inside), max(inside), colour=sheet.BAND)
    marks.lane(figure)
    marks.band_name(figure, (min(inside) + max(inside)) / 2, "trusted", colour=sheet.QUIET)


def _other_answer(run: ChargeResult, apart: Separation) -> str:
    inside = [one for one in apart.others if one.trusted]
    if not inside:
        return "None of these capacities is near enough to the cell measured for a prediction."
    low, high = inside[0], inside[-1]
    return (
        f"A {low.capacity_Ah:g} Ah cell of this kind takes {low.full_s.text}, "
        f"a {high.capacity_Ah:g} Ah cell {high.full_s.text}, without an ammeter in the way."
    )


def charge_efficiency(separations: Separations) -> Charts | Absent:
    """Return the share of the port's energy that reaches the cell, over the charge.

    Examples
    --------
    >>> charge_efficiency(apart)
    No chart: The source’s side was not logged.
    """
    return shown(
        (_efficiency(run, label, separations.meters) for run, label in labelled(separations.results)),
        nothing=NOTHING,
    )


def _efficiency(run: ChargeResult, label: str, meters: sources.PortMeters) -> Chart | str:
    over_time, whole = sources.over_time(run), sources.efficiency(run, meters)
    if over_time is None or whole is None:
        return "The source’s side was not logged."
    time, share = over_time
    clock = Clock(float(time[-1]) * 1.03)
    figure = marks.panels(
        ["energy into the cell over energy from the port, %"],
        x_axis=clock.axis(TIME),
        panel_height=260,
    )
    marks.line(figure, clock.x(time), share, name="efficiency", colour=sheet.CHARGE, unit="%", decimals=0)
    figure.settings(yaxis={"range": [0, 105]})
    known = bool(meters.voltmeter and meters.ammeter)
    text = whole.text if known else f"{formatting.number(whole.value, 0)} %"
    doubt = "" if known else "; the source-side meter’s accuracy is not declared, so there is no uncertainty"
    return run_chart(
        run,
        label,
        "charge-efficiency",
        "How much of the port’s energy reaches the cell?",
        answer=f"Over the whole charge {text} of the energy drawn from the port went into the cell{doubt}.",
        figure=figure,
        table=pd.DataFrame([("whole charge", text)], columns=["what", "value"]),
        about=("efficiency",),
    )
