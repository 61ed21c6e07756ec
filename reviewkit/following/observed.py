"""What is kept of a growing log: its rows in bounded memory, when they came, how its clock goes."""

from __future__ import annotations

from collections import deque
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.following.growing import Added, Event, GrowingLog
from reviewkit.logs.log import SERIES_NAMES, Log

Array = npt.NDArray[np.float64]

MOST_ROWS = 16_000
"""Rows kept: more than four hours at one a second, and beyond them every second of the older half is let go
(chosen: a reading of so many takes a tenth of a second, and few megabytes)."""

RECENT = 64
"""Last rows by which what needs a hand is judged: more than its three rows, in a pulse train as well."""

_WINDOW_S = 600.0
_BURSTS = 6
_FIRST, _SUDDEN_S = 5, 15.0
_LOOKS, _AWAY_LOOKS, _LEAST_LOOK_S = 12, 4.0, 5.0
"""A look so many times as long after the last as looks usually are, this at least [s], was a computer that
slept (chosen: a busy one is late by less)."""


class Rows:
    """Rows of one log, the older half thinned where they become too many."""

    def __init__(self, most: int = MOST_ROWS) -> None:
        self._time_s, self._values = np.empty(most), np.empty(most)
        self.count = 0

    def add(self, time_s: Array, values: Array) -> None:
        """Take in rows later than all before."""
        most = len(self._time_s)
        for first in range(0, len(time_s), most // 4):
            times, shown = time_s[first : first + most // 4], values[first : first + most // 4]
            while self.count + len(times) > most:
                self._thin()
            self._time_s[self.count : self.count + len(times)] = times
            self._values[self.count : self.count + len(times)] = shown
            self.count += len(times)

    def _thin(self) -> None:
        half = self.count // 2
        keep = np.r_[np.arange(0, half, 2), np.arange(half, self.count)]
        for column in (self._time_s, self._values):
            column[: len(keep)] = column[keep]
        self.count = len(keep)

    @property
    def time_s(self) -> Array:
        """Times on the log's own clock [s]."""
        return self._time_s[: self.count]

    @property
    def values(self) -> Array:
        """Readings [SI]."""
        return self._values[: self.count]


class Observed:
    """One growing log, and what is kept of it.

    Parameters
    ----------
    log : GrowingLog
    key : str
        What the run calls it: "voltage", "current", "temperature".
    """

    def __init__(self, log: GrowingLog, key: str) -> None:
        self.log, self.key, self.rows = log, key, Rows()
        self.overloads = self.seen = 0
        self.event: Event = ""
        self.began_s: float | None = None
        """When it was first looked at, by this computer's clock [s]."""
        self.heard_s: float | None = None
        """When rows last came in, by this computer's clock [s]."""
        self.recent_overloads = 0
        self._late: deque[tuple[float, float]] = deque()
        self._first_late: list[float] = []
        self._spacings: deque[float] = deque(maxlen=_BURSTS)
        self._looks: deque[float] = deque(maxlen=_LOOKS)

    def poll(self, now_s: float) -> Added:
        """Take in what was added."""
        self.began_s = now_s if self.began_s is None else self.began_s
        away = self._was_away(now_s)
        added = self.log.poll(now_s)
        self.event = added.event or self.event
        self.overloads += added.overloads
        self.seen += len(added)
        if not len(added):
            return added
        self.rows.add(added.time_s, added.values)
        # Of a log that was there before it was watched, the file tells when its last row came.
        came_s = now_s if self.heard_s is not None else min(now_s, self.log.written_s or now_s)
        if self.heard_s is not None and not away:
            self._spacings.append(now_s - self.heard_s)
        self.heard_s = came_s
        late_s = came_s - float(added.time_s[-1])
        if added.event == "started anew":
            self._first_late.clear()
            self._late.clear()
        sudden = max(_SUDDEN_S, 2 * self.interval_s)
        # A clock set forward among the first rows is no part of what the rest is held against.
        if not self._first_late or (
            len(self._first_late) < _FIRST and late_s > min(self._first_late) - sudden
        ):
            self._first_late.append(late_s)
        self._late.append((now_s, late_s))
        while self._late[0][0] < now_s - _WINDOW_S:
            self._late.popleft()
        return added

    def _was_away(self, now_s: float) -> bool:
        """Note a look, and tell whether the one before is long ago: this computer slept, not the logger."""
        self._looks.append(now_s)
        gaps = np.diff(self._looks)
        return len(gaps) > 0 and float(gaps[-1]) > _AWAY_LOOKS * max(float(np.median(gaps)), _LEAST_LOOK_S)

    @property
    def interval_s(self) -> float:
        """Usual time between the last rows [s]; 0 where there are too few."""
        steps = np.diff(self.rows.time_s[-RECENT:])
        return float(np.median(steps)) if len(steps) else 0.0

    @property
    def burst_s(self) -> float:
        """How far apart rows come in [s]: a logger may write many at once; one stall is no habit."""
        usual = sorted(self._spacings)
        return usual[-2] if len(usual) > 2 else max(usual, default=0.0)

    @property
    def late_s(self) -> float | None:
        """What to add to the log's own times to get this computer's clock [s]."""
        return min((late for _, late in self._late), default=None)

    @property
    def drift_s(self) -> float:
        """By how much the log's clock has moved against this computer's since the first rows [s].

        Positive: it falls behind. Rows come late, never early: the least delay of ten minutes is taken.
        """
        late = self.late_s
        return 0.0 if late is None else late - min(self._first_late)

    @property
    def watched_s(self) -> float:
        """For how long rows have been watched coming in [s]."""
        return 0.0 if self.heard_s is None or self.began_s is None else self.heard_s - self.began_s

    def wall_s(self, moment_s: float) -> float:
        """Return a moment of the log's own clock on this computer's [s]."""
        return moment_s + (self.late_s or 0.0)

    def last(self, count: int) -> Array:
        """Return the last readings [SI]."""
        return self.rows.values[-count:]

    def as_log(self) -> Log | None:
        """Return the kept rows as the kit's own log; None before its layout is known."""
        first = self.log.first
        if first is None or not self.rows.count:
            return None
        index = pd.Index(self.rows.time_s.copy(), name="time_s")
        series = pd.Series(self.rows.values.copy(), index=index, name=SERIES_NAMES[first.quantity])
        return replace(first, series=series)
