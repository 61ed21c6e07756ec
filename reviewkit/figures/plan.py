"""The expected charge drawn ahead of a bench session."""

from __future__ import annotations

import pandas as pd

from reviewkit.figures import marks, sheet
from reviewkit.figures.chart import Chart
from reviewkit.figures.sheet import Clock, Sheet
from reviewkit.metrology import formatting
from reviewkit.planning.charges import Foretold, WithAndWithout


def plan_charge(result: WithAndWithout) -> Chart:
    """Return the expected charge current with the ammeter in line and without it.

    Examples
    --------
    >>> from reviewkit.planning import foretold
    >>> plan_charge(foretold(session)).question
    'What does the ammeter do to the charge?'
    """
    bare, in_line = result.bare, result.in_line
    end_s = max(bare.end_s, in_line.end_s)
    # The hours before differ in nothing: the axis begins where there is something to see.
    start_s = max(0.0, in_line.knee_s - 0.6 * (end_s - in_line.knee_s))
    clock = Clock(1.04 * end_s - start_s, start_s)
    most = float(bare.current_A.max())
    figure = Sheet()
    figure.settings(
        **sheet.layout(),
        xaxis=clock.axis("time since charge start"),
        yaxis=sheet.axis("charge current / A", range=[0, 1.25 * most]),
    )
    _curve(figure, clock, bare, "without the ammeter", sheet.QUIET, "dot")
    _curve(figure, clock, in_line, "with it in line", sheet.CURRENT, "solid")
    marks.label(
        figure, clock.at(bare.knee_s), most, "without the ammeter", colour=sheet.QUIET, anchor="center"
    )
    early = in_line.knee_s + 0.12 * (in_line.end_s - in_line.knee_s)
    level = float(in_line.current_A[in_line.time_s <= early][-1])
    marks.label(
        figure,
        clock.at(early) - 0.02 * clock.width,
        level,
        "with it in line",
        colour=sheet.CURRENT,
        anchor="right",
        above=False,
    )
    return Chart(
        key="plan-charge",
        question="What does the ammeter do to the charge?",
        answer=_answer(result),
        figure=figure.checked(),
        table=pd.DataFrame(
            [_row("without the ammeter", bare), _row(f"with the {result.meter.label}", in_line)],
            columns=["charge from empty", "constant current until", "ends after"],
        ),
    )


def _curve(figure: Sheet, clock: Clock, one: Foretold, name: str, colour: str, dash: str) -> None:
    x = clock.x(one.time_s)
    marks.line(
        figure, x, one.current_A, name=name, colour=colour, unit="A", dash=dash, width=2.2, logged=False
    )


def _answer(result: WithAndWithout) -> str:
    sooner = (result.bare.knee_s - result.in_line.knee_s) / 60
    later = (result.in_line.end_s - result.bare.end_s) / 60
    decimals = 1 if sooner < 10 else 0
    way = "later" if later >= 0 else "sooner"
    change = f"{formatting.number(abs(later), decimals)}{formatting.NO_BREAK}min {way}"
    return (
        "For a cell in the middle of what cells do, the current begins to fall about "
        f"{formatting.number(sooner, decimals)}{formatting.NO_BREAK}min sooner with the ammeter in line, "
        f"and the charge ends {change}."
    )


def _row(name: str, one: Foretold) -> tuple[str, str, str]:
    return name, formatting.clock(one.knee_s), formatting.clock(one.end_s)
