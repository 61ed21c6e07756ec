"""A meter's log, read whole: file, columns, unit, times, order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from reviewkit.errors import LogError
from reviewkit.logs import column_errors, columns, source, timing, values
from reviewkit.logs.cells import DAY_S
from reviewkit.logs.columns import Chosen
from reviewkit.logs.log import SERIES_NAMES, Log, LogReport, Quantity, find_gaps, possible, smallest_step
from reviewkit.logs.source import Source
from reviewkit.logs.text_file import Columns, arrow
from reviewkit.logs.timing import Timed
from reviewkit.schema import quantities
from reviewkit.schema.blocks import LogBlock

_SMALL_SHARE, _FEW = 0.05, 3
"""Rows that may be left out before the log is refused: a twentieth, or three (chosen: well below the tenth of
which it must never be said that nothing is at fault)."""


@dataclass(frozen=True)
class Found:
    """A table of a log, and which of its columns are the quantity's."""

    source: Source
    chosen: Chosen
    entry: LogBlock
    notes: tuple[str, ...] = ()


def read(
    entry: str | LogBlock | Mapping[str, Any],
    quantity: Quantity,
    *,
    folder: Path = Path(),
    headings: Mapping[str, str] | None = None,
) -> Log:
    """Read one quantity of a meter's log.

    Parameters
    ----------
    entry : str, LogBlock or mapping
        A path, or which column is what where the headings don't say.
    quantity : {"V", "A", "degC"}
    folder : Path
        The review folder.
    headings : mapping of str to str, optional
        What headings of one's own meters mean: "Kanal 3" → "Voltage (mV)".

    Raises
    ------
    LogError
        If the file, its columns, its unit or its times cannot be made out, or its readings can't be.

    Examples
    --------
    >>> from pathlib import Path
    >>> standby = read("logs/drain-standby.csv", "A", folder=Path("examples/alder"))
    >>> standby.report.unit, round(standby.report.interval_s, 3), len(standby.report.gaps)
    ('µA', 0.1, 0)
    """
    block = entry_of(entry)
    log = read_found(find(block, quantity, folder=folder, headings=headings), quantity)
    for fault in possible(log, block):
        raise fault
    return log


def entry_of(entry: str | LogBlock | Mapping[str, Any]) -> LogBlock:
    """Return a log entry as its model."""
    if isinstance(entry, LogBlock):
        return entry
    if isinstance(entry, str):
        # The path is checked where it is opened, in the words of a log's faults.
        return LogBlock.model_construct(_fields_set={"path"}, path=entry)
    return quantities.checked(LogBlock, entry)


def find(
    entry: LogBlock, quantity: Quantity, *, folder: Path, headings: Mapping[str, str] | None = None
) -> Found:
    """Return the table and the columns that hold a quantity, without reading the rows.

    Raises
    ------
    LogError
        As `read` does, for what shows in the headings and first rows.
    """
    return find_in(tables_of(entry, folder=folder, headings=headings), entry, quantity)


def tables_of(entry: LogBlock, *, folder: Path, headings: Mapping[str, str] | None = None) -> list[Source]:
    """Return the tables of a file, headed as the review file's `headings` say.

    Raises
    ------
    LogError
        If the file can't be opened or has none.
    """
    return [
        replace(one, layout=columns.renamed(one.layout, headings))
        for one in source.open_log(entry.path, folder=folder, sheet=entry.sheet)
    ]


def find_in(there: list[Source], entry: LogBlock, quantity: Quantity) -> Found:
    """Return the one of some tables that holds a quantity, and its columns.

    Raises
    ------
    LogError
        If none does, or more than one.
    """
    found: list[Found] = []
    faults: list[LogError] = []
    for one in there:
        try:
            found.append(Found(one, columns.choose(one.layout, entry, quantity), entry))
        except LogError as fault:
            faults.append(fault)
    if not found:
        raise faults[0]
    if len(found) > 1:
        raise _several(found, quantity)
    return replace(found[0], notes=_which_table(found[0].source, there))


def _several(found: list[Found], quantity: str) -> LogError:
    what, entry = column_errors.QUANTITIES[quantity], found[0].entry
    sheets = [one.source.sheet for one in found if one.source.sheet]
    if sheets:
        names = ", ".join(f"'{name}'" for name in sheets[:20])
        line = column_errors.write_it(entry, sheet=sheets[0])
        return LogError(
            f"several sheets hold a {what}: {names}", file=entry.path, remedy=f"If it is the first, {line}"
        )
    rows = ", ".join(str(one.source.line + one.source.layout.first_row + 1) for one in found)
    return LogError(
        f"it holds several tables with a {what}, one under another; their rows begin in row {rows}",
        file=entry.path,
        expected="one of them",
        remedy="Split the file: one log per file.",
    )


def _which_table(one: Source, there: list[Source]) -> tuple[str, ...]:
    if len(there) < 2:
        return ()
    if one.sheet:
        return (f"Read from the sheet '{one.sheet}', one of {len(there)} with a table.",)
    row = one.line + one.layout.first_row + 1
    return (f"Read from one of {len(there)} tables in the file: its rows begin in row {row}.",)


def read_found(found: Found, quantity: Quantity) -> Log:
    """Read the rows of a table whose columns are known; whether they can be is not asked.

    Raises
    ------
    LogError
        As `read` does.
    """
    raw, notes = _without_headings(found.source.load(found.chosen.positions), found)
    if not raw.rows:
        raise LogError("the log has no rows of data", file=found.entry.path)
    timed = timing.timed(raw, found.chosen.times, found.source.layout, found.entry)
    readings = _readings(raw, found, quantity)
    timely = np.isfinite(timed.stamps.seconds)
    if readings.blank is not None:
        readings = replace(readings, empty=int((readings.blank & timely).sum()))
    _refuse_left_out(raw, found, readings, int((~timely).sum()), quantity)
    if readings.blank is not None and readings.empty > values.OTHERS_ROWS * len(timely):
        timely &= ~readings.blank
        what = column_errors.QUANTITIES[quantity]
        notes += (f"{readings.empty} rows hold no {what}: rows of another column, left out.",)
        raw = replace(raw, left_out=raw.left_out - readings.empty)
        readings = replace(readings, empty=0)
    if not np.isfinite(readings.values[timely]).any():
        raise _no_reading(found, overloads=readings.overloads)
    stamps = replace(timed.stamps, seconds=np.where(timely, timed.stamps.seconds, np.nan))
    try:
        arranged = timing.arrange(stamps, readings.values)
    except ValueError as failure:
        problem, *remedy = failure.args
        remedy = remedy or ["Split the file: one log per file, one start per log."]
        raise LogError(str(problem), file=found.entry.path, remedy=str(remedy[0])) from failure
    left_out = raw.left_out + int((~timely).sum())
    return _log(found, quantity, readings, replace(timed, stamps=stamps), arranged, raw, left_out, notes)


def _without_headings(raw: Columns, found: Found) -> tuple[Columns, tuple[str, ...]]:
    """Return the rows without the heading row where a meter writes it again and again."""
    notes = (*found.notes, *found.chosen.notes, *raw.notes)
    index = found.chosen.value
    heading = found.source.layout.headings[index]
    column = raw.cells[index]
    if not heading or not isinstance(column, arrow.Array):
        return raw, notes
    import pyarrow.compute as pc

    compute: Any = pc
    repeated = compute.equal(column, heading)
    count = compute.sum(repeated).as_py() or 0
    if not count:
        return raw, notes
    keep = compute.invert(repeated)
    return replace(raw, cells={at: one.filter(keep) for at, one in raw.cells.items()}), (
        *notes, f"The heading row stands {count} times more among the rows.",
    )  # fmt: skip


def _readings(raw: Columns, found: Found, quantity: str) -> values.Readings:
    layout, chosen = found.source.layout, found.chosen
    row_units = None if chosen.unit_column is None else raw.cells[chosen.unit_column]
    heading = layout.name(chosen.value)
    try:
        read = values.readings(raw.cells[chosen.value], quantity, unit=chosen.unit, row_units=row_units)
    except ValueError as failure:
        raise LogError(
            str(failure),
            file=found.entry.path,
            place=f"column '{heading}'",
            expected="one decimal mark throughout, and nothing between thousands",
            remedy="Export it again so.",
        ) from failure
    if not np.isfinite(np.fmax.reduce(read.values)) and read.unreadable <= raw.rows / 2:
        raise _no_reading(found, overloads=read.overloads)
    return read


def _no_reading(found: Found, *, overloads: int) -> LogError:
    layout = found.source.layout
    return LogError(
        "every row is beyond the meter's range" if overloads else "no row holds a reading",
        file=found.entry.path,
        place=f"column '{layout.name(found.chosen.value)}'",
        remedy="Measure again on a larger range." if overloads else column_errors.what_there_is(layout),
    )


def _refuse_left_out(raw: Columns, found: Found, read: values.Readings, untimed: int, quantity: str) -> None:
    """Refuse a log of which more than a small share would be left out: say what the file seems to hold.

    Raises
    ------
    LogError
    """
    layout, chosen, total = found.source.layout, found.chosen, raw.rows + raw.left_out
    most = max(_FEW, _SMALL_SHARE * total)
    what = column_errors.QUANTITIES[quantity]
    if untimed > most:
        raise LogError(
            f"{_share(untimed, total)} times cannot be read",
            file=found.entry.path,
            place=f"column '{layout.name(chosen.times[0].index)}'",
            expected="the same spelling in every row, such as 2025-03-01 21:05:00",
            remedy=column_errors.what_there_is(layout),
        )
    if read.unreadable > most and read.first_unreadable is not None:
        at = read.first_unreadable
        cell = str(raw.cells[chosen.value][at])
        row = found.source.line + layout.first_row + at + 1
        own = "" if chosen.unit_column is None else f" {raw.cells[chosen.unit_column][at]}"
        raise LogError(
            f"{_share(read.unreadable, total)} rows hold no {what}; the first is '{cell[:40]}{own}'",
            file=found.entry.path,
            place=f"row {row}, column '{layout.name(chosen.value)}'",
            expected="numbers with a known unit",
            remedy="Name the right column under 'value' in the review file. "
            f"{column_errors.what_there_is(layout)}",
        )
    if raw.left_out > most:
        widths = ", ".join(f"{count} of {width}" for width, count in raw.widths.most_common(4))
        raise LogError(
            f"{raw.left_out} of {total} rows have not the {layout.width} cells of the others ({widths}): it "
            "seems to hold more than one table, or rows of another kind",
            file=found.entry.path,
            expected="one table",
            remedy="Keep the rows of one table, and leave the file's original as it is.",
        )


def _share(count: int, total: int) -> str:
    return "most" if count > total / 2 else f"{count} of {total}"


def _log(
    found: Found,
    quantity: Quantity,
    read: values.Readings,
    timed: Timed,
    arranged: timing.Order,
    raw: Columns,
    left_out: int,
    notes: tuple[str, ...],
) -> Log:
    stamps, sign = timed.stamps, found.entry.sign
    start = float(arranged.seconds[0]) if stamps.origin is not None or stamps.of_day else 0.0
    time_s = arranged.seconds - start if start else arranged.seconds
    readings = read.values[arranged.rows]
    readings = -readings if sign < 0 else readings
    interval_s, missing, wide = find_gaps(time_s)
    flipped = ("Sign of the readings reversed, as the review file says.",) if sign < 0 else ()
    meant = (
        ("Taken as they are, although they look impossible: the review file says so.",)
        if found.entry.is_meant
        else ()
    )
    report = LogReport(
        rows=raw.rows + max(raw.left_out, 0) + raw.cut_off,
        overloads=read.overloads,
        empty=read.empty,
        unreadable=read.unreadable + left_out,
        cut_off=raw.cut_off,
        duplicates=arranged.duplicates,
        out_of_order=arranged.out_of_order,
        missing=missing,
        gaps=wide,
        clock_changes=tuple(type(one)(one.time_s - start, one.step_s) for one in arranged.clock_changes),
        interval_s=interval_s,
        stamp_step_s=arranged.stamp_step_s,
        stamp_lag_s=max(arranged.stamp_lag_s, timed.lag_s),
        unit=", ".join(read.units),
        notes=(*notes, *stamps.notes, *arranged.notes, *flipped, *meant),
    )
    series = pd.Series(
        readings, index=pd.Index(time_s, name="time_s", copy=False), name=SERIES_NAMES[quantity], copy=False
    )
    started = timed.zero if stamps.origin is None else stamps.origin + timedelta(seconds=start)
    return Log(
        path=found.entry.path,
        quantity=quantity,
        series=series,
        started=started,
        time_of_day_s=_time_of_day(timed, start),
        resolution=smallest_step(readings),
        report=report,
    )


def _time_of_day(timed: Timed, start: float) -> float | None:
    stamps = timed.stamps
    moment = timed.zero if stamps.origin is None else stamps.origin + timedelta(seconds=start)
    if moment is not None:
        if moment.utcoffset() == timedelta(0):
            return None  # universal time says nothing about the bench's own clock
        return moment.hour * 3600.0 + moment.minute * 60 + moment.second + moment.microsecond / 1e6
    return start % DAY_S if stamps.of_day else timed.zero_of_day_s
