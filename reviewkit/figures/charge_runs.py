"""What the charts of a charge share: one chart for each run, its key, title and findings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from reviewkit.charge import sentences
from reviewkit.charge.analysis import ChargeResult, say
from reviewkit.charge.findings import LABELS, ChargeResults
from reviewkit.charge.inputs import voltage_limit
from reviewkit.charge.record import FloatArray
from reviewkit.figures import marks, sheet
from reviewkit.figures.chart import Absent, Chart, Charts
from reviewkit.figures.sheet import Clock, Sheet
from reviewkit.metrology import Measured, formatting

TIME = "time since charge start"


def labelled(results: ChargeResults) -> list[tuple[ChargeResult, str]]:
    """Return each run with the label that its charts bear: none where there is one run."""
    return [(run, "" if results.only else run.record.label) for run in results.runs]


def shown(drawn: Iterable[Chart | str], *, nothing: str = "") -> Charts | Absent:
    """Return the charts, one for each run; where no run has one, why the first has none.

    Parameters
    ----------
    drawn : iterable of Chart or str
        For each run its chart, or why there is none.
    nothing : str
        What is said where there is no run; by default that nothing was logged.
    """
    each = tuple(drawn)
    nothing = nothing or say("nothing_logged").replace("`", "")
    charts = tuple(one for one in each if isinstance(one, Chart))
    return Charts(charts) if charts else Absent(str(each[0]) if each else nothing)


def run_chart(
    run: ChargeResult,
    label: str,
    key: str,
    question: str,
    *,
    answer: str,
    figure: Sheet,
    table: pd.DataFrame,
    about: Sequence[str],
) -> Chart:
    """Return a run's chart; with a label, its key, question and findings are this run's own.

    Parameters
    ----------
    about : sequence of str
        Findings that it shows, without "charge.".
    """
    if label:
        key = f"{key}-{label.replace('_', '-')}"
        question = f"{run.record.source or run.record.label}: {question[:1].lower()}{question[1:]}"
    place = f"charge.{label}." if label else "charge."
    keys = tuple(f"{place}{name}" for name in about)
    return Chart(key, question, answer, figure.checked(), table, keys, figure.note)


def doubt(figure: Sheet, clock: Clock, moment: Measured) -> None:
    """Mark the interval in which a moment lies, across both panels."""
    marks.tint(
        figure, clock.at(moment.low), clock.at(moment.high), colour=sheet.see_through(sheet.READING, 0.25)
    )


def quantities(run: ChargeResult, *names: str) -> pd.DataFrame:
    """Return the quantities of a chart for those who cannot see it."""
    known = {name: run.get(name) for name in names}
    rows = [
        (LABELS[name][0], quantity.text if quantity else run.missing.get(name, "not tested"))
        for name, quantity in known.items()
    ]
    return pd.DataFrame(rows, columns=["what", "value"])


def since_start(run: ChargeResult, times: FloatArray) -> FloatArray:
    """Return times of the record's clock as times since charge start [s]."""
    assert run.phases is not None
    return times - run.phases.start.value


def rows_between(
    run: ChargeResult, series: pd.Series, first_s: float, last_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return a series between two times since charge start, one row beyond at either side."""
    time = since_start(run, series.index.to_numpy(dtype=float))
    rows = slice(
        max(0, int(np.searchsorted(time, first_s)) - 1), int(np.searchsorted(time, last_s, side="right")) + 1
    )
    return time[rows], series.to_numpy(dtype=float)[rows]


def with_breaks(time: FloatArray, values: FloatArray, longest_s: float) -> tuple[FloatArray, FloatArray]:
    """Return the curve with a break at every gap: nothing is drawn where nothing was read."""
    holes = np.flatnonzero(np.diff(time) > longest_s)
    if not len(holes):
        return time, values
    return np.insert(time, holes + 1, time[holes]), np.insert(values, holes + 1, np.nan)


def phase_bands(run: ChargeResult, clock: Clock, span: float) -> list[tuple[float, float, str]]:
    """Return start, end and name of each phase from charge start on, as `marks.phases` takes them."""
    assert run.phases is not None
    zero = run.phases.start.value
    return [
        (clock.at(max(0.0, one.start_s - zero)), clock.at(min(span, one.end_s - zero)), one.name)
        for one in run.phases.spans
        if one.name != "before" and one.end_s > zero
    ]


def h_mm(seconds: float) -> str:
    """Return a time as the axis writes it: h:mm."""
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


def curve_answer(run: ChargeResult) -> str:
    """Return what the charge was: current, knee, voltage held, end, peak."""
    knee, end = run.get("knee_time"), run.get("termination_time")
    level, held, cut, peak = map(
        run.get, ("plateau_current", "hold_voltage", "termination_current", "peak_voltage")
    )
    return say(
        "curve",
        level=_text(level),
        at_start=bool(run.phases and run.phases.knee_at_start),
        rate=sentences.c_rate(run, "plateau_current"),
        levels=sentences.levels(run),
        knee=formatting.clock(knee.value) if knee else "",
        held=_text(held),
        cut=_text(cut) if end else "",
        end=formatting.clock(end.value) if end else "",
        missing=run.missing.get("termination_time", "").rstrip(".").lower(),
        peak=_text(peak),
        most=formatting.number(run.cell.limit_V, 2),
        tolerance=formatting.number(run.cell.charge_limit_tolerance_V, 2),
        source=voltage_limit(run.cell, both_sides=False).source,
    )


def delivered_answer(run: ChargeResult, total: Measured) -> str:
    """Return how much went in, the share before the knee and the times."""
    share, early, end = run.get("delivered_before_knee"), run.get("time_to_80"), run.get("termination_time")
    both = early is not None and end is not None
    return say(
        "amount_answer",
        total=total.text,
        share=share.text if share and share.value > 0 else "",
        to_80=formatting.clock(early.value) if early and both else "",
        end=formatting.clock(end.value) if end and both else "",
    )


def end_answer(run: ChargeResult, end: Measured, cut: Measured) -> str:
    """Return where the current was cut off, and what flowed afterwards."""
    after = run.get("current_after")
    return say(
        "end_answer",
        cut=cut.text,
        end=formatting.clock(end.value),
        after=_text(after),
        sign=sentences.sign(after) if after else 0,
    )


def _text(quantity: Measured | None) -> str:
    return quantity.text if quantity else ""
