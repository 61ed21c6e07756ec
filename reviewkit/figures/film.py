"""A light's level through a film, with what was read off it."""

from __future__ import annotations

import pandas as pd

from reviewkit.figures import marks, sheet
from reviewkit.figures.chart import Chart
from reviewkit.film.blinks import OFF, ON
from reviewkit.film.telling import Told
from reviewkit.findings import sentences

MOST = 4000
"""Pictures drawn of a longer film: each of its blinks stays. Chosen."""


def film_level(told: Told) -> Chart:
    """Return how far the light is on its way from dark to lit, picture by picture, readings tinted.

    Examples
    --------
    >>> film_level(filmed).answer
    'film.mp4: one reading, 1 sure.'
    """
    found = told.found
    time_s, share = found.level.time_s, found.share
    axis = sheet.axis("time in the film, s", range=[float(time_s[0]), float(time_s[-1])], nticks=8)
    figure = marks.panels(["light, from dark (0) to lit (1)"], x_axis=axis)
    marks.line(
        figure,
        time_s,
        share,
        name="light",
        colour=sheet.VOLTAGE,
        unit="1",
        decimals=2,
        most=MOST,
        logged=False,
    )
    for edge in (ON, OFF):
        marks.line(
            figure,
            [float(time_s[0]), float(time_s[-1])],
            [edge, edge],
            name="on" if edge == ON else "off",
            colour=sheet.CURRENT,
            unit="1",
            dash="dot",
            width=1.0,
            logged=False,
        )
    for reading in told.readings:
        marks.tint(figure, reading.start_s, reading.end_s, colour=sheet.VOLTAGE)
    say, sure = sentences.of("film"), sum(map(told.sure, told.readings))
    return Chart(
        key="film-level",
        question=say("level_question"),
        answer=say("read", count=len(told.readings), sure=sure, name=told.name),
        figure=figure.checked(),
        table=pd.DataFrame(told.rows, columns=say("columns").split(" | ")),
    )
