"""The measured current and the one predicted without the ammeter and leads."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reviewkit.charge.analysis import ChargeResult, say
from reviewkit.charge.record import FloatArray
from reviewkit.charge.regimes import Phases
from reviewkit.charge.separated import Separations
from reviewkit.charge.separation import RigEffect, Separation
from reviewkit.figures import marks, sheet
from reviewkit.figures.charge.apart import NOTHING, labelled_apart
from reviewkit.figures.charge.runs import TIME, doubt, run_chart, shown
from reviewkit.figures.chart import Absent, Chart, Charts
from reviewkit.figures.sheet import Clock, Sheet


def charge_without_rig(separations: Separations) -> Charts | Absent:
    """Return the measured current and the one predicted without the ammeter and leads."""
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
        figure=_figure(run, run.phases, effect),
        table=pd.DataFrame(rows, columns=["what", "value"]),
        about=("time_without_rig", "termination_time"),
    )


def _figure(run: ChargeResult, phases: Phases, effect: RigEffect) -> Sheet:
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
    place = float(grid[int(np.argmax(np.abs(apart)))])
    above = bool(apart[int(np.argmax(np.abs(apart)))] >= 0)
    measured = float(np.interp(place, time, current))
    predicted = float(np.interp(place, bare_time[:-1], bare[:-1]))
    x = clock.at(place)
    left, right = ("left", "right") if above else ("right", "left")
    marks.label(figure, x, predicted, "without the rig", colour=sheet.INK, anchor=left, above=above)
    marks.label(figure, x, measured, "measured", colour=sheet.CURRENT, anchor=right, above=not above)
