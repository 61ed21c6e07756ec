"""The share of the port's energy that reaches the cell."""

from __future__ import annotations

import pandas as pd

from reviewkit.charge import sources
from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.separated import Separations
from reviewkit.figures import marks, sheet
from reviewkit.figures.charge.apart import NOTHING
from reviewkit.figures.charge.runs import TIME, labelled, run_chart, shown
from reviewkit.figures.chart import Absent, Chart, Charts
from reviewkit.figures.sheet import Clock
from reviewkit.metrology import formatting


def charge_efficiency(separations: Separations) -> Charts | Absent:
    """Return the share of the port's energy that reaches the cell, over the charge."""
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
