"""Time put in order: midnight, clock changes, rows out of order or twice."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import numpy.typing as npt

from reviewkit.logs.dates_and_times import DAY_S, Seconds
from reviewkit.logs.log import ClockChange
from reviewkit.logs.timestamps import Stamps, step

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
    for place in np.flatnonzero(np.abs(np.abs(steps - usual) - HOUR_S) <= slack):
        back = steps[place] < 0
        if back and _comes_back(seconds, int(place), slack):
            continue
        moment = None if stamps.origin is None else stamps.origin + timedelta(seconds=float(seconds[place]))
        if back or (moment is not None and moment.weekday() == 6 and moment.hour < 4):
            corrected[place + 1 :] += HOUR_S if back else -HOUR_S
            changes.append(ClockChange(float(corrected[place + 1]), -HOUR_S if back else HOUR_S))
        else:
            notes.append(
                f"A gap of just one hour begins at data row {place + 1}: the clock may have been set forward."
            )
    return corrected, tuple(changes), notes


def _comes_back(seconds: Seconds, place: int, slack: float) -> bool:
    """Whether a step back by an hour is a single row out of order and not a clock that was set."""
    after = seconds[place + 2 : place + 4]
    return len(after) == 0 or bool((np.abs(after - seconds[place]) < 3 * slack).any())


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
    place = np.arange(len(seconds)) - np.repeat(first, counts)
    # A first stamp with fewer rows than usual was entered late: its rows stand at its end.
    place[: counts[0]] += max(0, usual - counts[0])
    share = np.repeat(np.maximum(counts, usual), counts)
    room_s = np.minimum(step_s, np.diff(np.r_[seconds[first], np.inf]))
    return np.asarray(seconds + place / share * np.repeat(room_s, counts)), step_s / (2 * usual)
