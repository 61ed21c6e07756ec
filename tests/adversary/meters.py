"""Logging meters: an error somewhere inside the statement, display steps, ranges, clocks and their lapses."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from adversary.course import Array, Course

BENCH_BEGAN = datetime(2025, 11, 3, 19, 30)
"""When the true time is 0."""


@dataclass(frozen=True)
class Range:
    """One range: accuracy ±(percent + counts), one count, and the largest reading."""

    percent: float
    counts: float
    resolution: float
    full_scale: float | None = None

    def stated(self, reading: float) -> float:
        """Return the largest error that the statement allows."""
        return self.percent / 100 * abs(reading) + self.counts * self.resolution


@dataclass(frozen=True)
class LogMeter:
    """A meter that logs.

    Parameters
    ----------
    ranges : tuple of Range
        Smallest first; several: it changes range by itself.
    errors : tuple of (share of the percent, share of the counts)
        Of each range, −1 … 1: where inside its statement the true error lies. Half a count of the statement
        is left to the display's own rounding.
    drift : float
        By how much of its statement the error wanders over the log.
    noise : float [unit]
    interval_s, jitter_s : float [s]
    rates : tuple of (from s, interval s)
        The interval changes at these moments.
    averages : bool
        A row is the mean since the row before, and not the value of one moment.
    starts_s, ends_s : float [s]
    gaps : tuple of (from s, length s)
    ahead_s, rate_ppm : float
        How far the clock is ahead of the true time, and how much it runs fast.
    stamp_s : float [s]
        Stamps are cut off to this.
    dated : bool
        Stamps are dates; else seconds from the first row.
    """

    ranges: tuple[Range, ...]
    errors: tuple[tuple[float, float], ...]
    drift: float = 0.0
    noise: float = 0.0
    interval_s: float = 1.0
    jitter_s: float = 0.0
    rates: tuple[tuple[float, float], ...] = ()
    averages: bool = False
    starts_s: float = 0.0
    ends_s: float = np.inf
    gaps: tuple[tuple[float, float], ...] = ()
    ahead_s: float = 0.0
    rate_ppm: float = 0.0
    stamp_s: float = 0.001
    dated: bool = True

    def clock_s(self, true_s: npt.ArrayLike) -> Array:
        """Return what the clock shows at true moments, in seconds since the bench began."""
        return np.asarray(true_s, dtype=float) * (1 + self.rate_ppm * 1e-6) + self.ahead_s

    def range_of(self, reading: float) -> Range:
        """Return the range in use at a reading."""
        return next(
            (one for one in self.ranges if abs(reading) <= (one.full_scale or np.inf)), self.ranges[-1]
        )


@dataclass(frozen=True)
class LogRows:
    """What a meter wrote: when a row was truly taken, its stamp on the clock, what it showed."""

    true_s: Array
    stamp_s: Array
    shown: Array
    meter: LogMeter

    def series(self) -> pd.Series:
        """Return the rows by seconds from the first one."""
        index = pd.Index(self.stamp_s - self.stamp_s[0], name="time_s")
        return pd.Series(self.shown, index=index)

    def write(self, path: Path, quantity: str, unit: str) -> None:
        """Write the log as its meter would."""
        places = max(-int(np.floor(np.log10(min(one.resolution for one in self.meter.ranges)))), 0)
        fine = 0 if self.meter.stamp_s >= 1 else 3
        if self.meter.dated:
            spec = "seconds" if fine == 0 else "milliseconds"
            stamps = [
                (BENCH_BEGAN + timedelta(seconds=float(one))).isoformat(" ", spec) for one in self.stamp_s
            ]
        else:
            stamps = [f"{one:.{fine}f}" for one in self.stamp_s - self.stamp_s[0]]
        head = "Time" if self.meter.dated else "Time (s)"
        rows = (f"{stamp},{value:.{places}f}" for stamp, value in zip(stamps, self.shown, strict=True))
        text = "\n".join([f"{head},{quantity} ({unit})", *rows])
        path.write_text(text + "\n", encoding="utf-8", newline="\n")


def log(meter: LogMeter, course: Course, values: Array, rng: np.random.Generator) -> LogRows:
    """Return what a meter writes of a quantity of the course."""
    moments = _moments(meter, float(course.time_s[-1]), rng)
    truth = _means(course, values, moments) if meter.averages else course.at(moments, values)
    wander = 1 + meter.drift * np.sin(2 * np.pi * (moments / 14_000 + rng.random()))
    noisy = truth + rng.standard_normal(len(truth)) * meter.noise
    shown = np.empty_like(noisy)
    chosen = np.searchsorted([one.full_scale or np.inf for one in meter.ranges[:-1]], np.abs(noisy))
    for place, (one, (gain, zero)) in enumerate(zip(meter.ranges, meter.errors, strict=True)):
        mine = chosen == place
        error = wander[mine] * (
            gain * one.percent / 100 * truth[mine] + zero * max(one.counts - 0.5, 0.0) * one.resolution
        )
        shown[mine] = np.round((noisy[mine] + error) / one.resolution) * one.resolution
    stamps = np.floor(meter.clock_s(moments) / meter.stamp_s + 1e-6) * meter.stamp_s
    return LogRows(moments, stamps, shown, meter)


def _moments(meter: LogMeter, last_s: float, rng: np.random.Generator) -> Array:
    ends = min(meter.ends_s, last_s)
    edges = [(meter.starts_s, meter.interval_s), *(one for one in meter.rates if one[0] < ends)]
    parts = [
        np.arange(from_s, until, every)
        for (from_s, every), until in zip(edges, [*(one[0] for one in edges[1:]), ends], strict=True)
    ]
    moments = np.concatenate(parts)
    moments = moments + np.minimum(np.abs(rng.standard_normal(len(moments))) * meter.jitter_s, 0.3)
    for from_s, length_s in meter.gaps:
        moments = moments[(moments < from_s) | (moments >= from_s + length_s)]
    return np.asarray(np.sort(moments[moments < last_s]))


def _means(course: Course, values: Array, moments: Array) -> Array:
    """Return means since the row before; a gap is not averaged over: the meter was not there."""
    grown = course.summed(values)
    before = np.concatenate([[moments[0] - (moments[1] - moments[0])], moments[:-1]])
    usual = float(np.median(np.diff(moments)))
    before = np.maximum(before, moments - 3 * usual)
    ends = [np.interp(at, course.time_s, grown) for at in (before, moments)]
    return np.asarray((ends[1] - ends[0]) / np.maximum(moments - before, 1e-9))
