"""The charge delivered, drawn against time."""

from __future__ import annotations

import numpy as np

from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.findings import ChargeResults
from reviewkit.figures import marks, sheet
from reviewkit.figures.charge.runs import (
    TIME,
    delivered_answer,
    h_mm,
    labelled,
    phase_bands,
    quantities,
    run_chart,
    shown,
    since_start,
)
from reviewkit.figures.chart import Absent, Chart, Charts
from reviewkit.figures.sheet import Clock


def charge_delivered(results: ChargeResults) -> Charts | Absent:
    """Return the charge delivered against time, with its doubt.

    Examples
    --------
    >>> charge_delivered(results).items[0].key
    'charge-delivered'
    """
    return shown(_delivered(run, label) for run, label in labelled(results))


def _delivered(run: ChargeResult, label: str) -> Chart | str:
    amounts, total = run.delivered, run.get("delivered")
    if run.phases is None or amounts is None or total is None:
        return run.missing["delivered"]
    time, charge = since_start(run, amounts.time_s), amounts.charge_Ah
    clock = Clock(float(time[-1]) * 1.02)
    figure = marks.panels(["charge delivered, Ah"], x_axis=clock.axis(TIME), panel_height=280)
    marks.phases(figure, phase_bands(run, clock, float(time[-1])), width=clock.width)
    few = np.unique(np.linspace(0, len(time) - 1, 60).astype(int))
    doubt = charge[few] * (total.expanded / total.value)
    marks.band(figure, clock.x(time[few]), charge[few] - doubt, charge[few] + doubt, colour=sheet.CHARGE)
    marks.line(figure, clock.x(time), charge, name="charge", colour=sheet.CHARGE, unit="Ah", most=200)
    figure.settings(yaxis={"range": [0, 1.16 * total.value]})
    early = run.get("time_to_80")
    if early:
        marks.point(
            figure,
            clock.at(early.value),
            0.8 * total.value,
            f"80 % at {h_mm(early.value)}",
            colour=sheet.CHARGE,
            away=(-30, -24),
        )
    marks.point(
        figure,
        clock.at(float(time[-1])),
        total.value,
        f"{total.text}",
        colour=sheet.CHARGE,
        away=(-36, -16),
    )
    names = ("delivered", "delivered_energy", "delivered_before_knee", "time_to_80", "termination_time")
    return run_chart(
        run,
        label,
        "charge-delivered",
        "How much charge goes in, and how fast?",
        answer=delivered_answer(run, total),
        figure=figure,
        table=quantities(run, *names),
        about=names,
    )
