"""A log as the kit has it: one quantity on its own clock, in SI, with a report; readings that can’t be."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.errors import LogError
from reviewkit.logs import column_errors, decimation, timestamps, values
from reviewkit.logs.cells import DAY_S, Seconds
from reviewkit.metrology import formatting
from reviewkit.metrology.meter import Meter
from reviewkit.schema.blocks import MEANT, LogBlock


@dataclass(frozen=True)
class Gap:
    """A stretch without rows.

    Parameters
    ----------
    start_s, end_s : float [s]
        Times of the last row before and the first row after, on the log's own clock.
    """

    start_s: float
    end_s: float

    @property
    def length_s(self) -> float:
        """Time between the two rows [s]."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class ClockChange:
    """A change of the local clock that was taken out of the times.

    Parameters
    ----------
    time_s : float [s]
        First row after it, on the corrected clock.
    step_s : float [s]
        What the clock was set forward by; negative: back.
    """

    time_s: float
    step_s: float


@dataclass(frozen=True)
class LogReport:
    """What reading a log came upon.

    Parameters
    ----------
    rows : int
        Rows of data in the file.
    overloads : int
        Rows with a mark for a reading beyond the range; NaN in the series.
    empty : int
        Rows without a reading; NaN in the series.
    unreadable : int
        Rows left out because their time or their reading makes no sense.
    cut_off : int
        1 where the last row was cut in its middle and left out.
    duplicates : int
        Rows left out because an earlier row has the same time.
    out_of_order : int
        Rows that were earlier than one above them, and were sorted in.
    missing : int
        Rows that the usual interval asks for and that are not there.
    gaps : tuple of Gap
        Where more than two and a half usual intervals lie between rows.
    interval_s : float [s]
        Usual time between rows.
    stamp_step_s : float [s]
        Step of the time stamps.
    stamp_lag_s : float [s]
        Stamps are cut off, not rounded: they lag by half their step on average.
    unit : str
        Unit of the readings as the log has them.
    notes : tuple of str
        Whatever else a reader should know, in sentences.
    """

    rows: int
    overloads: int = 0
    empty: int = 0
    unreadable: int = 0
    cut_off: int = 0
    duplicates: int = 0
    out_of_order: int = 0
    missing: int = 0
    gaps: tuple[Gap, ...] = ()
    clock_changes: tuple[ClockChange, ...] = ()
    interval_s: float = 0.0
    stamp_step_s: float = 0.0
    stamp_lag_s: float = 0.0
    unit: str = ""
    notes: tuple[str, ...] = ()

    @property
    def gap_time_s(self) -> float:
        """Time in gaps, all together [s]."""
        return sum(gap.length_s for gap in self.gaps)

    def sentences(self) -> tuple[str, ...]:
        """Return what the report says, for a reader; empty where there is nothing to say."""
        said = [
            f"{_rows(count)} {what}"
            for count, what in (
                (self.overloads, "beyond the meter's range, taken as missing."),
                (self.empty, "without a reading."),
                (self.unreadable, "not readable, left out."),
                (self.cut_off, "cut off at the end of the file, left out."),
                (self.duplicates, "with a time that another row has already, left out."),
                (self.out_of_order, "out of order, sorted in."),
            )
            if count
        ]
        if self.gaps:
            said.append(self._gap_sentence())
        said += [
            f"The clock was set {'forward' if change.step_s > 0 else 'back'} by "
            f"{formatting.quantity(abs(change.step_s), None, 's')}; taken out of the times."
            for change in self.clock_changes
        ]
        return (*said, *self.notes)

    def _gap_sentence(self) -> str:
        longest = formatting.quantity(max(gap.length_s for gap in self.gaps), None, "s")
        if len(self.gaps) == 1:
            return f"1 gap without rows, {longest} long."
        together = formatting.quantity(self.gap_time_s, None, "s")
        return f"{len(self.gaps)} gaps without rows, together {together}, the longest {longest}."


def _rows(count: int) -> str:
    return f"{formatting.number(count, 0)} {'row' if count == 1 else 'rows'}"


GAP_INTERVALS = 2.5
"""A gap is more than this many intervals, as they are just there, without a row (chosen: one row may be late
and one lost before a reader is told)."""
_MISSING_INTERVALS = 1.5
_NEIGHBOURS = 8
"""Intervals on either side by which the rate is known (chosen: more than a burst of three lost rows can sway,
fewer than the rows that a logger takes around a step)."""
_MOST_GAPS = 0.1
"""Where more than a tenth of all intervals were gaps, uneven intervals are the logger's habit."""


def find_gaps(seconds: Seconds) -> tuple[float, int, tuple[Gap, ...]]:
    """Return usual interval [s], number of rows missing, and gaps of a rising time axis.

    Parameters
    ----------
    seconds : array of float [s]
    """
    if len(seconds) < 2:
        return 0.0, 0, ()
    steps = np.diff(seconds)
    some = steps[decimation.rows(len(steps))]
    usual = float(np.median(some))
    least = float(np.quantile(some, 0.05))
    long = np.flatnonzero(steps > _MISSING_INTERVALS * min(least, usual))
    local = _local(steps, long)
    wide = steps[long] > GAP_INTERVALS * local
    if wide.sum() > max(1, _MOST_GAPS * len(steps)):
        local = np.maximum(local, float(np.quantile(some, 0.9)))
        wide = steps[long] > GAP_INTERVALS * local
    late = steps[long] > _MISSING_INTERVALS * local
    missing = int(np.sum(np.round(steps[long][late] / local[late]) - 1))
    return usual, missing, tuple(Gap(float(seconds[at]), float(seconds[at + 1])) for at in long[wide])


def _local(steps: Seconds, places: npt.NDArray[np.intp]) -> Seconds:
    """Return for some intervals the larger of the medians of those just before and just after [s]."""
    around = np.arange(1, _NEIGHBOURS + 1)
    local = np.zeros(len(places))
    for side in (-around, around):
        at = places[:, None] + side[None, :]
        inside = (at >= 0) & (at < len(steps))
        known = np.where(inside, steps[np.clip(at, 0, len(steps) - 1)], np.nan)
        enough = inside.sum(axis=1) >= 2
        if enough.any():
            local[enough] = np.maximum(local[enough], np.nanmedian(known[enough], axis=1))
    return np.where(local > 0, local, float(np.median(steps)))


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


_RISE_V = 0.02
_POSSIBLE = {"V": (0.1, 60.0), "A": (1e-10, 30.0), "degC": (-60.0, 250.0)}
"""The largest reading of a log lies within: a cell or a port of extra-low voltage (60 V DC: IEC 61140), a
meter's largest current jack (20 A and a reserve) and the finest count that a bench meter shows (0.1 nA), a
thermocouple on a device (chosen)."""
_ROWS_S = (1e-4, 4 * 3600.0)
_LONGEST_S = 400 * DAY_S


def possible(log: Log, entry: LogBlock) -> Iterator[LogError]:
    """Give a fault if a log's readings or times are of a size that no bench has: a unit is wrong.

    Parameters
    ----------
    log : Log
    entry : LogBlock
        A declared unit changes nothing; only `plausible: "yes, I mean it"` does.
    """
    if entry.is_meant:
        return
    readings = log.series.to_numpy(dtype=float)
    readings = readings[np.isfinite(readings)]
    low, high = _POSSIBLE[log.quantity]
    extreme = float(np.median(readings) if log.quantity == "degC" else np.abs(readings).max(initial=0.0))
    if not (low <= extreme <= high) and (extreme != 0 or log.quantity == "degC"):
        yield _size(log, entry, extreme, f"{low:g} to {high:g} {values.tidy_unit(log.quantity)}")
    length_s = float(log.time_s[-1] - log.time_s[0])
    usual_s = log.report.interval_s
    if len(log.time_s) > 9 and (length_s > _LONGEST_S or not _ROWS_S[0] <= usual_s <= _ROWS_S[1]):
        yield LogError(
            f"it would be {formatting.quantity(length_s, None, 's')} long, "
            f"with {usual_s:.3g} s from row to row",
            file=log.path,
            expected="a log of a bench session",
            remedy=f"Check the unit of its times: if it is {_time_unit(usual_s)}, "
            f"{column_errors.write_it(entry, time_unit=_time_unit(usual_s))} If it is right as it is, "
            f"{column_errors.write_it(entry, plausible=MEANT)}",
        )


def _time_unit(usual_s: float) -> str:
    return "ms" if usual_s > 1 else "min" if usual_s * 60 > _ROWS_S[0] * 10 else "h"


def _size(log: Log, entry: LogBlock, extreme: float, expected: str) -> LogError:
    told = log.report.unit.split(",")[0] or log.quantity
    scale, shift = values.conversion(told, log.quantity)
    fits = column_errors.fitting(log.quantity, np.array([(extreme - shift) / scale]))
    what = "most readings are" if log.quantity == "degC" else "the largest reading is"
    line = ""
    if fits and fits[0] != told:
        line = f"Were they in {' or '.join(fits)}, they would be. If in {fits[0]}, "
        line += f"{column_errors.write_it(entry, unit=fits[0])} "
    return LogError(
        f"{what} {extreme:.4g} {log.quantity.replace('degC', '°C')}, taken in {told}, which no bench has",
        file=log.path,
        expected=expected,
        remedy=f"Check the unit. {line}If it is right as it is, "
        f"{column_errors.write_it(entry, plausible=MEANT)}",
    )


def range_check(log: Log, meter: Meter | None) -> Iterator[LogError]:
    """Give a fault if readings lie beyond the meter's range.

    Parameters
    ----------
    log : Log
    meter : Meter or None
        The range in use; None where the review file names no meter.
    """
    readings = log.series.to_numpy(dtype=float)
    largest = float(max(np.fmax.reduce(readings, initial=0.0), -np.fmin.reduce(readings, initial=0.0)))
    if meter is None or meter.full_scale is None or meter.fits(largest):
        return
    told = formatting.quantity(largest, None, log.quantity)
    yield LogError(
        f"its largest reading, {told}, is beyond the meter’s range",
        file=log.path,
        expected=f"at most {formatting.quantity(meter.full_scale, None, log.quantity)}",
        remedy="Check the unit in its heading, and the meter's range in the review file.",
    )


def too_few(log: Log, least: int, *, remedy: str) -> Iterator[LogError]:
    """Give a fault if a log has fewer readings than `least`; `remedy` says what to do."""
    known = int(log.series.notna().sum())
    if known < least:
        problem = f"only {known} reading{'s' if known != 1 else ''}"
        yield LogError(problem, file=log.path, expected=f"at least {least}", remedy=remedy)


def leads_swapped(voltage: Log, current: Log) -> bool:
    """Whether the ammeter's leads are swapped: the cell's voltage rises while the current is negative.

    Parameters
    ----------
    voltage, current : Log
        Their clocks need not agree better than some minutes.

    Notes
    -----
    Charging current into the cell is positive. A drain, where voltage and charge fall together, is no
    sign of swapped leads.

    Examples
    --------
    >>> import pandas as pd
    >>> voltage = of_series(pd.Series([3.6, 3.7, 3.8, 3.9]), "V")
    >>> leads_swapped(voltage, of_series(pd.Series([-1.0, -1.0, -1.0, -1.0]), "A"))
    True
    """
    volts = voltage.series.dropna()
    amps = current.series.dropna()
    if len(volts) < 3 or len(amps) < 3:
        return False
    there = np.interp(volts.index, amps.index, amps.to_numpy())
    strong = 0.1 * float(np.abs(there).max())
    if strong == 0:
        return False
    rise = np.diff(volts.to_numpy())
    between = (there[:-1] + there[1:]) / 2
    while_negative = float(rise[between < -strong].sum())
    while_positive = float(rise[between > strong].sum())
    return while_negative > _RISE_V and while_negative > while_positive
