"""Readings that can't be: too large or small for any bench, beyond the meter's range, with leads swapped."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from reviewkit.errors import LogError
from reviewkit.logs import column_errors, values
from reviewkit.logs.cells import DAY_S
from reviewkit.logs.log import Log
from reviewkit.metrology import formatting
from reviewkit.metrology.meter import Meter
from reviewkit.schema.blocks import MEANT, LogBlock

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
