"""The night as a time line: what the charger did at each moment, how much had gone in, what was expected."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reviewkit.charge.analysis import ChargeResult, say
from reviewkit.charge.findings import ChargeResults
from reviewkit.charge.regimes import Phase, Phases
from reviewkit.figures import marks, sheet
from reviewkit.figures.charge_curves import (
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
from reviewkit.figures.sheet import Clock, Sheet
from reviewkit.metrology import formatting
from reviewkit.planning.charges import Foretold, WithAndWithout

ROWS = ("off", "precharge", "current limit", "voltage limit", "not explained")
"""What stands beside each row, from the foot; a row in which nothing would lie is left out."""

_MOST_ROWS_NAMED = 12


def charge_timeline(results: ChargeResults) -> Charts | Absent:
    """Return what each run's charger was doing at each moment.

    Examples
    --------
    >>> charge_timeline(results).items[0].key
    'charge-timeline'
    """
    return shown(_timeline(run, label) for run, label in labelled(results))


def _timeline(run: ChargeResult, label: str) -> Chart | str:
    if run.phases is None:
        return run.missing["terminates"]
    phases = run.phases
    zero, last = phases.start.value, float(run.record.time_s[-1])
    clock = Clock(max(last - zero, 1.0))
    figure = marks.panels(["what the charger does"], x_axis=clock.axis(TIME), panel_height=200)
    pieces = _pieces(phases, last)
    used = [name for name in ROWS if any(_row(one) == name for one in pieces)]
    for row, name in enumerate(used):
        for piece in (one for one in pieces if _row(one) == name):
            ends = [clock.at(max(0.0, moment - zero)) for moment in (piece.start_s, piece.end_s)]
            colour = sheet.VOLTAGE if name == "voltage limit" else sheet.CURRENT
            marks.line(
                figure,
                ends,
                [row, row],
                name=piece.name,
                colour=sheet.QUIET if name in ("off", "not explained") else colour,
                unit="",
                decimals=0,
                width=9.0,
                logged=False,
            )
    for early, late in _doubts(phases):
        colour = sheet.see_through(sheet.READING, 0.3)
        marks.tint(figure, clock.at(early - zero), clock.at(late - zero), colour=colour)
    rows = {"tickvals": list(range(len(used))), "ticktext": used}
    figure.settings(yaxis={"range": [-0.6, len(used) - 0.4], "showgrid": False, **rows})
    _events(figure, clock, _moments(run, phases, last))
    names = ("knee_time", "termination_time", "terminates", "interruptions", "top_ups", "transient_share")
    return run_chart(
        run,
        label,
        "charge-timeline",
        "What is the charger doing at each moment?",
        answer=_answer(phases),
        figure=figure,
        table=_table(phases, pieces),
        about=names,
    )


def _moments(run: ChargeResult, phases: Phases, last_s: float) -> list[tuple[float, str]]:
    """Return what happened when, since charge start [s]: the start, pauses, the end, the cable."""
    zero, out = phases.start.value, run.record.cable_out_s
    found = [(0.0, "start")]
    found += [(one.start_s - zero, "pause") for one in phases.named("interrupted")[:_MOST_NAMED]]
    found += [(one.start_s - zero, "top-up") for one in phases.named("top-up")[:_MOST_NAMED]]
    if phases.ending in _ENDINGS:
        found.append((phases.end_s - zero, _ENDINGS[phases.ending]))
    if out is not None and phases.ending != "cable pulled" and out <= last_s:
        found.append((out - zero, "cable out"))
    return sorted(found)


_MOST_NAMED = 3
"""Pauses, and top-ups, that are named; all of them are drawn."""
_ENDINGS = {"terminated": "cut off", "cable pulled": "cable out", "faded": "fades out", "undecided": "stops"}


def _events(figure: Sheet, clock: Clock, moments: list[tuple[float, str]]) -> None:
    """Mark each moment by an upright line, its name above the panel."""
    marks.lane(figure)
    before = -1.0
    for moment_s, name in moments:
        x = clock.at(moment_s)
        half = 0.012 * len(name) * clock.width
        marks.band_name(figure, x, name, colour=sheet.INK, visible=x - half > before)
        before = x + half if x - half > before else before
        figure.shape(
            **{"type": "line", "x0": x, "x1": x, "yref": "y domain", "y0": 0, "y1": 1, "layer": "below"},
            line={"color": sheet.QUIET, "width": 1, "dash": "dot"},
        )


def _pieces(phases: Phases, last_s: float) -> list[Phase]:
    """Return the regimes with the pauses, the top-ups and what lies after the end between them."""
    others = [one for one in phases.spans if one.name in ("interrupted", "terminated", "top-up")]
    return sorted([*phases.regimes, *others], key=lambda one: one.start_s)


def _row(piece: Phase) -> str:
    if piece.shape == "unexplained":
        return "not explained"
    return {
        "interrupted": "off",
        "terminated": "off",
        "precharge": "precharge",
        "constant current": "current limit",
    }.get(piece.name, "voltage limit")


def _doubts(phases: Phases) -> list[tuple[float, float]]:
    """Return where the log allows another reading: the knee's own interval, and its other places."""
    own = [(phases.knee.low, phases.knee.high)] if phases.knee and not phases.other_knees else []
    return [*own, *phases.other_knees]


def _answer(phases: Phases) -> str:
    zero = phases.start.value
    text = say(
        "timeline",
        levels=len(
            [one for one in phases.regimes if one.name == "constant current" and one.shape != "unexplained"]
        ),
        pulsed=phases.pulsed,
        knee=h_mm(phases.knee.value - zero) if phases.knee else "",
        at_start=phases.knee_at_start,
        pauses=phases.interruptions,
        top_ups=len(phases.top_ups),
        ending=phases.ending,
        end=h_mm(phases.end_s - zero),
        doubtful=phases.counts_doubtful,
        share=phases.transient_share,
    )
    if phases.other_knees:
        also = formatting.listed([h_mm(early - zero) for early, _ in phases.other_knees])
        text += " " + say("two_readings", knees=also)
    return text


def _table(phases: Phases, pieces: list[Phase]) -> pd.DataFrame:
    zero = phases.start.value
    rows = [
        (
            h_mm(max(0.0, one.start_s - zero)),
            h_mm(max(0.0, one.end_s - zero)),
            f"{one.name}, {one.shape}" if one.shape else one.name,
            f"{one.level_A:.3g}" if one.level_A == one.level_A else "",
        )
        for one in pieces[:_MOST_ROWS_NAMED]
    ]
    return pd.DataFrame(rows, columns=["from", "to", "what the charger does", "mean current, A"])


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
        answer=_plan_answer(result),
        figure=figure.checked(),
        table=pd.DataFrame(
            [_plan_row("without the ammeter", bare), _plan_row(f"with the {result.meter.label}", in_line)],
            columns=["charge from empty", "constant current until", "ends after"],
        ),
    )


def _curve(figure: Sheet, clock: Clock, one: Foretold, name: str, colour: str, dash: str) -> None:
    x = clock.x(one.time_s)
    marks.line(
        figure, x, one.current_A, name=name, colour=colour, unit="A", dash=dash, width=2.2, logged=False
    )


def _plan_answer(result: WithAndWithout) -> str:
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


def _plan_row(name: str, one: Foretold) -> tuple[str, str, str]:
    return name, formatting.clock(one.knee_s), formatting.clock(one.end_s)
