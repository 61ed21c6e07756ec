"""What is drawn of a charge's logs, and how its charts write times and quantities."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.findings import LABELS
from reviewkit.charge.record import FloatArray
from reviewkit.figures.sheet import Clock
from reviewkit.metrology import Measured, formatting


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


def without_doubt(quantity: Measured) -> str:
    """Return a value without its doubt, to the digits that the doubt allows."""
    return quantity.text.split(f"{formatting.NO_BREAK}±")[0]
