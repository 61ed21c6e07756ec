"""Cell voltage against current while the charger holds its voltage: the slope is what lies between."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.record import FloatArray
from reviewkit.charge.separated import Separations
from reviewkit.charge.separation import Separation
from reviewkit.charge.series_resistance import Regulation
from reviewkit.figures import marks, sheet
from reviewkit.figures.charge.apart import NOTHING, labelled_apart
from reviewkit.figures.charge.runs import run_chart, shown
from reviewkit.figures.chart import Absent, Chart, Charts
from reviewkit.figures.sheet import Sheet
from reviewkit.metrology import formatting

_DOTS = 400


def charge_regulation(separations: Separations) -> Charts | Absent:
    """Return cell voltage against current in the constant-voltage phase, the fitted line through it."""
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
