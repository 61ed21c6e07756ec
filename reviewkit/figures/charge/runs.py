"""What the charts of a charge share: one chart for each run, its key, title and findings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import pandas as pd

from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.findings import NOTHING_LOGGED, ChargeResults
from reviewkit.figures import marks, sheet
from reviewkit.figures.chart import Absent, Chart, Charts
from reviewkit.figures.sheet import Clock, Sheet
from reviewkit.metrology import Measured

TIME = "time since charge start"


def labelled(results: ChargeResults) -> list[tuple[ChargeResult, str]]:
    """Return each run with the label that its charts bear: none where there is one run."""
    return [(run, "" if results.only else run.record.label) for run in results.runs]


def shown(drawn: Iterable[Chart | str], *, nothing: str = NOTHING_LOGGED.replace("`", "")) -> Charts | Absent:
    """Return the charts, one for each run; where no run has one, why the first has none.

    Parameters
    ----------
    drawn : iterable of Chart or str
        For each run its chart, or why there is none.
    nothing : str
        What is said where there is no run.
    """
    each = tuple(drawn)
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
