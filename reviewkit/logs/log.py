"""A log as the kit has it: one quantity on its own clock, in SI, with a report of what was amiss."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.logs import decimation, timestamps
from reviewkit.logs.report import LogReport, find_gaps

Quantity = Literal["V", "A", "degC"]
SERIES_NAMES = {"V": "voltage_V", "A": "current_A", "degC": "temperature_C"}


@dataclass(frozen=True)
class Log:
    """One quantity of one log.

    Parameters
    ----------
    path : str
        Relative to the review folder.
    quantity : {"V", "A", "degC"}
    series : pandas.Series of float [SI]
        NaN where the meter was beyond its range or gave nothing. The index, `time_s`, is strictly
        rising: seconds since the first row, or the log's own count of seconds where it has one.
    started : datetime or None
        Moment of second 0, where the log has dates.
    time_of_day_s : float or None [s]
        Time of day of second 0, where the log has times of day.
    resolution : float or None [SI]
        Smallest step between readings.
    report : LogReport
    """

    path: str
    quantity: Quantity
    series: pd.Series
    started: datetime | None
    time_of_day_s: float | None
    resolution: float | None
    report: LogReport

    @property
    def time_s(self) -> npt.NDArray[np.float64]:
        """Times on the log's own clock [s]."""
        return self.series.index.to_numpy(dtype=float)

    def thinned(self) -> Log:
        """Return the same log in fewer rows where it has very many: enough to look at it as a whole."""
        return replace(self, series=self.series.iloc[decimation.rows(len(self.series))])

    @property
    def gap_time_s(self) -> float:
        """Time in gaps, all together [s]."""
        return self.report.gap_time_s

    @property
    def gap_intervals(self) -> npt.NDArray[np.bool_]:
        """For each interval between two rows, whether it is a gap or lacks a reading: shape (rows − 1)."""
        starts = np.array([gap.start_s for gap in self.report.gaps])
        missing = self.series.isna().to_numpy()
        return np.asarray(np.isin(self.time_s[:-1], starts) | missing[:-1] | missing[1:])


def smallest_step(readings: npt.NDArray[np.float64]) -> float | None:
    """Return the smallest step between readings, from an even choice of them."""
    some = readings[:: max(1, len(readings) // 20_000)]
    steps = np.diff(np.unique(some[np.isfinite(some)]))
    steps = steps[steps > 1e-9 * max(1e-3, float(np.abs(some[np.isfinite(some)]).max(initial=0.0)))]
    return float(f"{steps.min():.3g}") if len(steps) else None


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

    Examples
    --------
    >>> import pandas as pd
    >>> log = of_series(pd.Series([0.5, 0.5, 0.49], index=[0.0, 1.0, 9.0]), "A")
    >>> log.resolution, log.report.interval_s
    (0.01, 4.5)
    """
    time_s = series.index.to_numpy(dtype=float)
    if not (time_s[1:] > time_s[:-1]).all():
        raise ValueError("the index must rise from row to row: seconds")
    interval_s, missing, found = find_gaps(time_s)
    step_s = timestamps.step(time_s) if stamp_step_s is None else stamp_step_s
    report = LogReport(
        rows=len(series),
        empty=int(series.isna().sum()),
        missing=missing,
        gaps=found,
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
