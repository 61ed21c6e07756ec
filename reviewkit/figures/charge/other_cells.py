"""The predicted charging time against the cell's capacity."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.separated import Separations
from reviewkit.charge.separation import Separation
from reviewkit.figures import marks, sheet
from reviewkit.figures.charge.apart import NOTHING, labelled_apart
from reviewkit.figures.charge.runs import run_chart, shown
from reviewkit.figures.chart import Absent, Chart, Charts
from reviewkit.figures.sheet import Sheet


def charge_other_cells(separations: Separations) -> Charts | Absent:
    """Return the predicted charging time against the cell's capacity."""
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
    figure.text(
        x=(min(inside) + max(inside)) / 2,
        yref="paper",
        y=0.02,
        yanchor="bottom",
        text="trusted",
        showarrow=False,
        font={"size": marks.SMALL, "color": sheet.QUIET},
    )


def _other_answer(run: ChargeResult, apart: Separation) -> str:
    inside = [one for one in apart.others if one.trusted]
    if not inside:
        return "None of these capacities is near enough to the cell measured for a prediction."
    low, high = inside[0], inside[-1]
    return (
        f"A {low.capacity_Ah:g} Ah cell of this kind takes {low.full_s.text}, "
        f"a {high.capacity_Ah:g} Ah cell {high.full_s.text}, without an ammeter in the way."
    )
