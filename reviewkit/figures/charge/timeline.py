"""The night as a time line: what the charger did at each moment, and where the log allows two readings."""

from __future__ import annotations

import pandas as pd

from reviewkit.charge.analysis import ChargeResult, say
from reviewkit.charge.findings import ChargeResults
from reviewkit.charge.regimes import Phase, Phases
from reviewkit.figures import marks, sheet
from reviewkit.figures.charge.runs import TIME, h_mm, labelled, run_chart, shown
from reviewkit.figures.chart import Absent, Chart, Charts
from reviewkit.figures.sheet import Clock, Sheet
from reviewkit.metrology import formatting

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
