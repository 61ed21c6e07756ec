"""A meter's log, read whole: file, columns, unit, times, order."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from reviewkit.errors import LogError
from reviewkit.logs import columns, order, passes, source, spans, stamps, units_found, values
from reviewkit.logs.log import SERIES_NAMES, Log, Quantity, smallest_step
from reviewkit.logs.raw import Columns
from reviewkit.logs.report import LogReport
from reviewkit.schema import quantities
from reviewkit.schema.blocks import LogBlock


@dataclass(frozen=True)
class Peek:
    """What a log looks like at its top.

    Parameters
    ----------
    path : str
    headings : tuple of str
    time, value : str
        Headings of the two columns, or their number from 1 where they have none.
    unit : str
        "" where a column or the cells hold it.
    rows : tuple of tuple of str
        The first ones.
    """

    path: str
    headings: tuple[str, ...]
    time: str
    value: str
    unit: str
    rows: tuple[tuple[str, ...], ...]


def read(entry: str | LogBlock | Mapping[str, Any], quantity: Quantity, *, folder: Path = Path()) -> Log:
    """Read one quantity of a meter's log.

    Parameters
    ----------
    entry : str, LogBlock or mapping
        A path, or which column is what where the headings don't say.
    quantity : {"V", "A", "degC"}
    folder : Path
        The review folder.

    Returns
    -------
    Log

    Raises
    ------
    LogError
        If the file, its columns, its unit or its times cannot be made out.
    """
    block = _block(entry)
    opened = source.open_log(block.path, folder=folder)
    chosen = columns.choose(opened.layout, block, quantity)
    raw = passes.load_quickly(opened, chosen)
    if raw is not None:
        # What is at fault is told by the thorough reader, in its own words.
        with suppress(LogError):
            return _whole(block, quantity, opened, chosen, raw)
    return _whole(block, quantity, opened, chosen, opened.load(chosen.positions))


def _whole(
    block: LogBlock, quantity: Quantity, opened: source.Source, chosen: columns.Chosen, raw: Columns
) -> Log:
    if raw.frame.empty:
        raise LogError("the log has no rows of data", file=block.path)
    timed = _stamps(raw, chosen, block)
    timely = np.isfinite(timed.seconds)
    if timely.all():
        found = _readings(raw, chosen, block, quantity, opened)
    else:
        timed = replace(timed, seconds=timed.seconds[timely])
        found = _readings(replace(raw, moments={}).only(timely), chosen, block, quantity, opened)
    try:
        arranged = order.arrange(timed)
    except ValueError as failure:
        problem, *remedy = failure.args
        remedy = remedy or ["Split the file: one log per file, one start per log."]
        raise LogError(str(problem), file=block.path, remedy=str(remedy[0])) from failure
    return _log(block, quantity, found, timed, arranged, raw, chosen)


def _block(entry: str | LogBlock | Mapping[str, Any]) -> LogBlock:
    if isinstance(entry, LogBlock):
        return entry
    if isinstance(entry, str):
        # The path is checked where it is opened, in the words of a log's faults.
        return LogBlock.model_construct(
            path=entry, time=None, value=None, unit=None, sign=1, clock_offset_s=0.0
        )
    return quantities.checked(LogBlock, entry)


def _readings(
    raw: Columns, chosen: columns.Chosen, block: LogBlock, quantity: str, opened: source.Source
) -> values.Readings:
    frame = raw.frame
    row_units = None if chosen.unit_column is None else frame[chosen.unit_column]
    heading = opened.layout.headings[chosen.value] or str(chosen.value + 1)
    try:
        found = values.readings(
            frame[chosen.value],
            quantity,
            unit=chosen.unit,
            row_units=row_units,
            marks=raw.marks.get(chosen.value),
        )
    except ValueError as failure:
        raise LogError(
            str(failure),
            file=block.path,
            place=f"column '{heading}'",
            expected="one decimal mark throughout, and nothing between thousands",
            remedy="Export it again so.",
        ) from failure
    bad = found.first_unreadable
    if bad is not None and found.unreadable > len(frame) / 2:
        cell = str(frame[chosen.value].iloc[bad])
        own = "" if row_units is None else f" {row_units.iloc[bad]}"
        raise LogError(
            f"most rows hold no {units_found.QUANTITIES[quantity]}; the first is '{cell[:40]}{own}'",
            file=block.path,
            place=f"row {opened.layout.first_row + int(frame.index[bad]) + 1}, column '{heading}'",
            expected="numbers with a known unit",
            remedy="Name the right column under 'value' in the review file.",
        )
    if not np.isfinite(np.fmax.reduce(found.values)):
        raise LogError(
            "every row is beyond the meter's range" if found.overloads else "no row holds a reading",
            file=block.path,
            place=f"column '{heading}'",
            remedy="Measure again on a larger range.",
        )
    return found


def _stamps(raw: Columns, chosen: columns.Chosen, block: LogBlock) -> stamps.Stamps:
    frame = raw.frame
    days = None if chosen.day is None else frame[chosen.day]
    try:
        if chosen.time in raw.moments:
            found = stamps.of_moments(raw.moments[chosen.time])
        else:
            of_day = chosen.time in raw.clocks
            found = stamps.read(frame[chosen.time], days, unit=chosen.time_unit, of_day=of_day)
    except ValueError as failure:
        raise LogError(
            str(failure),
            file=block.path,
            place="the column of times",
            remedy="Correct the column, or have the meter count seconds.",
        ) from failure
    unreadable = int(np.isnan(found.seconds).sum())
    if unreadable > len(frame) / 2:
        place = int(np.flatnonzero(np.isnan(found.seconds))[0])
        raise LogError(
            f"most times cannot be read; the first is '{str(frame[chosen.time].iloc[place])[:40]}'",
            file=block.path,
            place=f"data row {place + 1}",
            expected="the same spelling in every row, such as 2025-03-01 21:05:00",
        )
    return found


def _log(
    block: LogBlock,
    quantity: Quantity,
    found: values.Readings,
    timed: stamps.Stamps,
    arranged: order.Order,
    raw: Columns,
    chosen: columns.Chosen,
) -> Log:
    start = float(arranged.seconds[0]) if timed.origin is not None or timed.of_day else 0.0
    time_s = arranged.seconds - start if start else arranged.seconds
    readings = found.values[arranged.rows]
    readings = -readings if block.sign < 0 else readings
    interval_s, missing, gaps = order.gaps(time_s)
    flipped = ("Sign of the readings reversed, as the review file says.",) if block.sign < 0 else ()
    report = LogReport(
        rows=len(raw.frame) + raw.unreadable + raw.cut_off,
        overloads=found.overloads,
        empty=found.empty,
        unreadable=found.unreadable + raw.unreadable + len(raw.frame) - len(timed.seconds),
        cut_off=raw.cut_off,
        duplicates=arranged.duplicates,
        out_of_order=arranged.out_of_order,
        missing=missing,
        gaps=gaps,
        clock_changes=tuple(type(one)(one.time_s - start, one.step_s) for one in arranged.clock_changes),
        interval_s=interval_s,
        stamp_step_s=arranged.stamp_step_s,
        stamp_lag_s=arranged.stamp_lag_s,
        unit=", ".join(found.units),
        notes=(*chosen.notes, *timed.notes, *arranged.notes, *flipped),
    )
    index = pd.Index(time_s, name="time_s", copy=False)
    series = pd.Series(readings, index=index, name=SERIES_NAMES[quantity], copy=False)
    return Log(
        path=block.path,
        quantity=quantity,
        series=series,
        started=None if timed.origin is None else timed.origin + timedelta(seconds=start),
        time_of_day_s=_time_of_day(timed, start),
        resolution=smallest_step(readings),
        report=report,
    )


def _time_of_day(timed: stamps.Stamps, start: float) -> float | None:
    if timed.origin is not None:
        moment = timed.origin + timedelta(seconds=start)
        if moment.utcoffset() == timedelta(0):
            return None  # universal time says nothing about the bench's own clock
        return moment.hour * 3600.0 + moment.minute * 60 + moment.second + moment.microsecond / 1e6
    return start % spans.DAY_S if timed.of_day else None


def peek(entry: str | LogBlock | Mapping[str, Any], quantity: Quantity, *, folder: Path = Path()) -> Peek:
    """Look at the top of a log: enough to say whether `read` will find its columns and unit.

    Parameters
    ----------
    entry : str, LogBlock or mapping
    quantity : {"V", "A", "degC"}
    folder : Path

    Raises
    ------
    LogError
        As `read` does, for what shows in the first rows.
    """
    block = _block(entry)
    opened = source.open_log(block.path, folder=folder)
    chosen = columns.choose(opened.layout, block, quantity)
    named = [heading or str(place + 1) for place, heading in enumerate(opened.layout.headings)]
    return Peek(
        block.path,
        opened.layout.headings,
        named[chosen.time],
        named[chosen.value],
        chosen.unit,
        opened.layout.sample[:5],
    )
