"""A log made from readings that are at hand already, as on plain pandas objects."""

from __future__ import annotations

from datetime import datetime

import pandas as pd

from reviewkit.logs import order, stamps
from reviewkit.logs.log import SERIES_NAMES, Log, Quantity, smallest_step
from reviewkit.logs.report import LogReport


def of_series(
    series: pd.Series,
    quantity: Quantity,
    *,
    path: str = "",
    started: datetime | None = None,
    stamp_step_s: float | None = None,
) -> Log:
    """Return readings as a log.

    Parameters
    ----------
    series : pandas.Series of float [SI]
        Index in seconds, strictly rising.
    quantity : {"V", "A", "degC"}
    path : str
        Where the readings come from, for messages.
    started : datetime or None
        Moment of second 0.
    stamp_step_s : float or None [s]
        Step to which the times were cut off; None: judged by the index.

    Raises
    ------
    ValueError
        If the index does not rise throughout.
    """
    time_s = series.index.to_numpy(dtype=float)
    if not (time_s[1:] > time_s[:-1]).all():
        raise ValueError("the index must rise from row to row: seconds")
    interval_s, missing, gaps = order.gaps(time_s)
    step_s = stamps.step(time_s) if stamp_step_s is None else stamp_step_s
    report = LogReport(
        rows=len(series),
        empty=int(series.isna().sum()),
        missing=missing,
        gaps=gaps,
        interval_s=interval_s,
        stamp_step_s=step_s,
        stamp_lag_s=step_s / 2,
        unit=quantity,
    )
    tidy = pd.Series(
        series.to_numpy(dtype=float), index=pd.Index(time_s, name="time_s"), name=SERIES_NAMES[quantity]
    )
    day_s = None
    if started is not None:
        day_s = started.hour * 3600.0 + started.minute * 60 + started.second + started.microsecond / 1e6
    return Log(path, quantity, tidy, started, day_s, smallest_step(tidy.to_numpy()), report)
