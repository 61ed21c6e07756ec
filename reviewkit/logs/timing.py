"""Which of several columns is the time, and how it is put in order.

The time rises throughout and is the finest; the other columns bear witness. Put in order are midnight,
changes of the clock, rows out of order or twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt

from reviewkit.errors import LogError
from reviewkit.logs import cells, column_errors, timestamps
from reviewkit.logs.cells import DAY_S, Seconds
from reviewkit.logs.columns import TimeColumn
from reviewkit.logs.layout import Layout
from reviewkit.logs.log import ClockChange
from reviewkit.logs.text_file import Columns
from reviewkit.logs.timestamps import Stamps, UnitAsked, step
from reviewkit.schema.blocks import LogBlock
from reviewkit.tables import headers

HOUR_S = 3600.0
_LEAST_CHANGE_S = 1800.0
_HABIT = 0.3
"""From this share of rows on that share a stamp, the meter is quicker than its stamps (chosen)."""
_SLACK_INTERVALS = 2.5
_MOST_OUT_OF_ORDER = 0.05


Rows = npt.NDArray[np.intp] | slice


@dataclass(frozen=True)
class Order:
    """Rows in order of time.

    Parameters
    ----------
    rows : array of int or slice
        Positions, in the file, of the rows kept.
    seconds : array of float [s]
        Their times, strictly rising.
    """

    rows: Rows
    seconds: Seconds
    duplicates: int
    out_of_order: int
    clock_changes: tuple[ClockChange, ...]
    stamp_step_s: float
    stamp_lag_s: float
    notes: tuple[str, ...]


def arrange(stamps: Stamps, values: Seconds) -> Order:
    """Put rows in order of time.

    Parameters
    ----------
    stamps : Stamps
    values : array of float
        The reading of each row: a row with the time and reading of another is that row written twice.

    Raises
    ------
    ValueError
        If time runs backwards for more than a few rows: two logs in one file. A second argument says
        what to do where it is something else.
    """
    finite = np.isfinite(stamps.seconds)
    rows: Rows = slice(None) if finite.all() else np.flatnonzero(finite)
    seconds = stamps.seconds[rows]
    if len(seconds) > 1 and seconds[0] == seconds[-1] and seconds.min() == seconds.max():
        raise ValueError("the times do not advance", "Export it with the time of each row.")
    stamp_step_s = step(seconds)
    changes: tuple[ClockChange, ...] = ()
    notes: list[str] = []
    steps = _steps(seconds)
    if stamps.wall_clock and len(seconds) > 2 and (steps.min() < 0 or steps.max() >= _LEAST_CHANGE_S):
        seconds = over_midnight(seconds)
        seconds, changes, notes = _clock_changes(seconds, stamps)
        steps = _steps(seconds)
    out_of_order = 0
    least = steps.min(initial=np.inf)
    if least < 0:
        out_of_order = int((seconds < np.maximum.accumulate(seconds)).sum())
        if out_of_order > max(3, _MOST_OUT_OF_ORDER * len(seconds)):
            if (steps <= 0).all():
                raise ValueError("the newest row comes first", "Sort the rows by their time.")
            raise ValueError(f"time runs backwards after data row {int(np.argmax(steps < 0)) + 1}")
        inside = np.argsort(seconds, kind="stable")
        rows, seconds = _some(rows, len(seconds))[inside], seconds[inside]
        steps = _steps(seconds)
        least = steps.min(initial=np.inf)
    lag_s = stamp_step_s / 2
    duplicates = 0
    if least == 0:
        rows, seconds, duplicates, spread_lag_s = _shared(
            rows, seconds, values, stamps.step_s or stamp_step_s
        )
        if spread_lag_s is not None:
            lag_s = spread_lag_s
            notes.append("Several rows share each time stamp: spread evenly over its step.")
    return Order(rows, seconds, duplicates, out_of_order, changes, stamp_step_s, lag_s, tuple(notes))


def _shared(
    rows: Rows, seconds: Seconds, values: Seconds, spelled_s: float
) -> tuple[Rows, Seconds, int, float | None]:
    """Return rows whose stamps are shared: those written twice left out, others spread; and their lag [s]."""
    chosen = _some(rows, len(seconds))
    step_s = spelled_s
    shared = np.diff(seconds) == 0
    same = values[chosen[1:]] == values[chosen[:-1]]
    if np.mean(shared) >= _HABIT:
        step_s = max(spelled_s, next((size for size in (60.0, 1.0) if not (seconds % size).any()), 0.0))
    elif same[shared].all():
        # Rows that are another one's double in every case were written twice; else the meter was quicker.
        keep = np.r_[True, ~shared]
        chosen, seconds = chosen[keep], seconds[keep]
    twice = len(values[rows]) - len(seconds)
    if (np.diff(seconds) > 0).all():
        return chosen, seconds, twice, None
    spread, lag_s = _spread(seconds, step_s)
    rising = np.r_[np.diff(spread) > 0, True]
    return chosen[rising], spread[rising], twice + int((~rising).sum()), lag_s


def _some(rows: Rows, count: int) -> npt.NDArray[np.intp]:
    return np.arange(count) if isinstance(rows, slice) else rows


def _steps(seconds: Seconds) -> Seconds:
    """Return the steps that are left when the times are counted from the first row."""
    first = seconds.min(initial=np.inf)
    return np.asarray(np.diff(seconds - first if first else seconds))


def over_midnight(seconds: Seconds) -> Seconds:
    """Let times of day go on past midnight; a row out of order at midnight stays on its own side."""
    steps = np.diff(seconds)
    down = steps < -DAY_S / 2
    if not down.any() or seconds.max() - seconds.min() > DAY_S:
        return seconds
    up = steps > DAY_S / 2
    days = np.cumsum(down.astype(int) - up.astype(int))
    if days.min() < 0:
        days = np.cumsum(down)
    return np.asarray(seconds + DAY_S * np.r_[0, days])


def _clock_changes(seconds: Seconds, stamps: Stamps) -> tuple[Seconds, tuple[ClockChange, ...], list[str]]:
    """Take out hours by which the local clock was set; say where an hour may as well be a gap."""
    steps = np.diff(seconds)
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    slack = _SLACK_INTERVALS * usual + 1.0
    corrected = seconds.copy()
    changes: list[ClockChange] = []
    notes: list[str] = []
    if usual >= HOUR_S / 4:
        return corrected, (), notes
    for row in np.flatnonzero(np.abs(np.abs(steps - usual) - HOUR_S) <= slack):
        back = steps[row] < 0
        if back and _comes_back(seconds, int(row), slack):
            continue
        moment = None if stamps.origin is None else stamps.origin + timedelta(seconds=float(seconds[row]))
        if back or (moment is not None and moment.weekday() == 6 and moment.hour < 4):
            corrected[row + 1 :] += HOUR_S if back else -HOUR_S
            changes.append(ClockChange(float(corrected[row + 1]), -HOUR_S if back else HOUR_S))
        else:
            notes.append(
                f"A gap of just one hour begins at data row {row + 1}: the clock may have been set forward."
            )
    return corrected, tuple(changes), notes


def _comes_back(seconds: Seconds, row: int, slack: float) -> bool:
    """Whether a step back by an hour is a single row out of order and not a clock that was set."""
    after = seconds[row + 2 : row + 4]
    return len(after) == 0 or bool((np.abs(after - seconds[row]) < 3 * slack).any())


def _spread(seconds: Seconds, step_s: float) -> tuple[Seconds, float]:
    """Spread rows that share a stamp over the stamp's step, the last before the next stamp.

    Returns
    -------
    tuple of (array of float, float)
        The times, and how far the stamps lag on average [s].
    """
    first = np.flatnonzero(np.r_[True, np.diff(seconds) > 0])
    counts = np.diff(np.r_[first, len(seconds)])
    usual = int(np.median(counts))
    index = np.arange(len(seconds)) - np.repeat(first, counts)
    # A first stamp with fewer rows than usual was entered late: its rows stand at its end.
    index[: counts[0]] += max(0, usual - counts[0])
    share = np.repeat(np.maximum(counts, usual), counts)
    room_s = np.minimum(step_s, np.diff(np.r_[seconds[first], np.inf]))
    return np.asarray(seconds + index / share * np.repeat(room_s, counts)), step_s / (2 * usual)


_AGREE = 0.02
"""Two columns of times agree if they advance alike within this and two steps of the coarser (chosen: a drift
of a cheap clock is a thousandth of it, the next unit is ten times away at least)."""
_FACTORS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0, "d": DAY_S}
_MOST_BACKWARDS = 0.05


@dataclass(frozen=True)
class Timed:
    """The times of a table's rows.

    Parameters
    ----------
    zero : datetime or None
        Moment of second 0, where another column tells it.
    zero_of_day_s : float or None [s]
        Time of day of second 0, likewise.
    lag_s : float [s]
        By how much that other column's stamps lag on average.
    """

    stamps: Stamps
    zero: datetime | None = None
    zero_of_day_s: float | None = None
    lag_s: float = 0.0


@dataclass(frozen=True)
class _Candidate:
    column: TimeColumn
    stamps: Stamps
    backwards: int
    distinct: int

    @property
    def length_s(self) -> float:
        known = self.stamps.seconds[np.isfinite(self.stamps.seconds)]
        return float(known[-1] - known[0])

    @property
    def guessed(self) -> bool:
        return timestamps.NO_UNIT in self.stamps.notes


def timed(raw: Columns, columns: Sequence[TimeColumn], layout: Layout, entry: LogBlock) -> Timed:
    """Return the times of the rows.

    Raises
    ------
    LogError
        If no column can be read as times, its unit is not known, or two contradict each other.
    """
    found: list[_Candidate] = []
    asked: list[tuple[TimeColumn, UnitAsked]] = []
    wrong: list[LogError] = []
    for column in columns:
        try:
            found.append(_candidate(raw, column))
        except UnitAsked as question:
            asked.append((column, question))
        except ValueError as failure:
            wrong.append(_unreadable(failure, layout, entry, column))
    usable = [one for one in found if one.distinct > 1 and _readable(one)]
    rising = (
        [one for one in usable if not one.backwards]
        or [one for one in usable if _few_backwards(one)]
        or usable
    )
    known = [one for one in rising if not one.guessed]
    if not known and asked and not rising:
        unknown, what = asked[0]
        raise column_errors.time_unit(layout, entry, unknown.index, str(what), what.proposed)
    if not rising and not asked:
        if found:
            return Timed(found[0].stamps)
        if wrong:
            raise wrong[0]
        raise LogError("no column can be read as times", file=entry.path, remedy="Name it: time: HEADING.")
    best = max(known or rising, key=_fineness)
    finer = [_agreed(one, best, raw) for one in rising if one.guessed and known]
    finer += [_agreed_unit(column, best, raw) for column, _ in asked]
    better = [one for one in finer if one is not None and _fineness(one) > _fineness(best)]
    best = better[0] if better else best
    return _with_witness(best, rising, columns, layout, entry)


def _candidate(raw: Columns, column: TimeColumn) -> _Candidate:
    days = None if column.day is None else raw.cells[column.day]
    if column.unit.startswith("?"):
        numbers = timestamps.read(raw.cells[column.index], unit="s").seconds
        many, of = cells.multiple(column.unit[1:])
        count = f"{many:g} {headers.unit(of)}" if headers.unit_kind(of) == "s" else ""
        raise UnitAsked(
            f"'{column.unit[1:]}', above the times, is no unit that is known", count or _likely(numbers)
        )
    stamps = timestamps.read(raw.cells[column.index], days, unit=column.unit, since=column.since)
    return _judged(column, stamps)


def _judged(column: TimeColumn, stamps: Stamps) -> _Candidate:
    seconds = stamps.seconds[np.isfinite(stamps.seconds)]
    if stamps.wall_clock:
        seconds = over_midnight(seconds)
    steps = np.diff(seconds)
    back = steps < 0
    if stamps.wall_clock:
        back &= np.abs(steps + HOUR_S) > 600  # a clock set back in autumn
    distinct = int((steps != 0).sum()) + 1 if len(seconds) else 0
    return _Candidate(column, stamps, int(back.sum()), distinct)


def _likely(numbers: Seconds) -> str:
    known = numbers[np.isfinite(numbers)]
    steps = np.abs(np.diff(known))
    steps = steps[steps > 0]
    fits = timestamps.likely_units(float(np.median(steps)), float(np.ptp(known))) if len(steps) else []
    return fits[0] if fits else ""


def _readable(one: _Candidate) -> bool:
    return bool(np.isfinite(one.stamps.seconds).mean() > 0.5)


def _few_backwards(one: _Candidate) -> bool:
    """Whether a few rows are out of order; a time that falls back to its beginning has started again."""
    seconds = one.stamps.seconds[np.isfinite(one.stamps.seconds)]
    falls = np.diff(seconds).min(initial=0.0)
    return one.backwards <= max(3, _MOST_BACKWARDS * one.distinct) and -falls < 0.5 * float(np.ptp(seconds))


def _fineness(one: _Candidate) -> tuple[int, float, bool]:
    return one.distinct, -one.stamps.step_s, one.column.headed


def _agreed(one: _Candidate, known: _Candidate, raw: Columns) -> _Candidate | None:
    """Return times without a unit in the unit in which they advance as known ones do."""
    return _agreed_unit(one.column, known, raw)


def _agreed_unit(column: TimeColumn, known: _Candidate, raw: Columns) -> _Candidate | None:
    try:
        plain = timestamps.read(raw.cells[column.index], unit="s").seconds
    except ValueError:
        return None
    unit = _unit_of_ratio(plain, known)
    if not unit:
        return None
    stamps = timestamps.read(raw.cells[column.index], unit=unit, since=column.since)
    note = f"Times of '{column.name}' taken in {unit}: so they advance as '{known.column.name}' does."
    return _judged(replace(column, unit=unit), replace(stamps, notes=(*stamps.notes, note)))


def _unit_of_ratio(plain: Seconds, known: _Candidate) -> str:
    seconds = known.stamps.seconds
    if known.stamps.wall_clock:
        seconds = over_midnight(np.where(np.isfinite(seconds), seconds, 0.0))
    both = np.isfinite(plain) & np.isfinite(known.stamps.seconds)
    if both.sum() < 3:
        return ""
    own, theirs = float(np.ptp(plain[both])), float(np.ptp(seconds[both]))
    slack = _AGREE + 2 * max(known.stamps.step_s, 1e-3) / max(theirs, 1e-9)
    for unit, factor in _FACTORS.items():
        if slack < 0.5 and own > 0 and abs(own * factor / theirs - 1) <= slack:
            return unit
    return ""


def _with_witness(
    best: _Candidate,
    rising: Sequence[_Candidate],
    columns: Sequence[TimeColumn],
    layout: Layout,
    entry: LogBlock,
) -> Timed:
    stamps = best.stamps
    others = [one for one in columns if one.index != best.column.index]
    names = ", ".join(f"'{layout.name(one.index)}'" for one in others)
    if others:
        stamps = replace(
            stamps,
            notes=(*stamps.notes, f"Times read from '{layout.name(best.column.index)}', not from {names}."),
        )
    elif not best.column.headed:
        note = "The column of time stamps was known by its cells: its heading does not say so."
        stamps = replace(stamps, notes=(note, *stamps.notes))
    for other in rising:
        if other.column.index != best.column.index and not other.guessed and not best.guessed:
            stamps = _checked(best, other, stamps, layout, entry)
    dated = [
        one
        for one in rising
        if one.column.index != best.column.index and (one.stamps.origin or one.stamps.of_day)
    ]
    if stamps.origin is not None or stamps.of_day or not dated:
        return Timed(stamps)
    witness = next((one for one in dated if one.stamps.origin), dated[0])
    both = np.flatnonzero(np.isfinite(witness.stamps.seconds) & np.isfinite(stamps.seconds))
    zero_s = float(witness.stamps.seconds[both[0]] - stamps.seconds[both[0]]) if len(both) else 0.0
    lag_s = max(witness.stamps.step_s, 1e-6) / 2
    if witness.stamps.origin is None:
        return Timed(stamps, zero_of_day_s=zero_s % DAY_S, lag_s=lag_s)
    return Timed(stamps, zero=witness.stamps.origin + timedelta(seconds=zero_s), lag_s=lag_s)


def _checked(best: _Candidate, other: _Candidate, stamps: Stamps, layout: Layout, entry: LogBlock) -> Stamps:
    """Hold two columns of times against each other: in the wrong unit, one advances many times too fast."""
    unit = _unit_of_ratio(best.stamps.seconds, other)
    if unit == "s":
        return stamps
    both = f"'{layout.name(best.column.index)}' and '{layout.name(other.column.index)}'"
    if unit and best.column.unit and not entry.is_meant:
        true = next(
            (
                name
                for name, factor in _FACTORS.items()
                if abs(factor / (_FACTORS.get(best.column.unit, 1.0) * _FACTORS[unit]) - 1) < 0.01
            ),
            "",
        )
        raise column_errors.time_unit(
            layout,
            entry,
            best.column.index,
            f"{both} advance differently, {unit} for s: the unit of one is wrong",
            true,
        )
    return replace(
        stamps, notes=(*stamps.notes, f"The times of {both} don't advance alike: the first were taken.")
    )


def _unreadable(failure: ValueError, layout: Layout, entry: LogBlock, column: TimeColumn) -> LogError:
    problem = str(failure)
    if "hours and minutes or minutes" in problem:
        return column_errors.time_unit(layout, entry, column.index, problem.partition(":  ")[0], "mm:ss")
    return LogError(
        problem,
        file=entry.path,
        place="the column of times",
        remedy="Correct the column, or have the meter count seconds.",
    )
