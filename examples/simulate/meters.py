"""A logging meter: its one unknown error, noise, steps of the display, a clock of its own, and its lapses."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulate.cell import FloatArray


@dataclass(frozen=True)
class Lapse:
    """A stretch in which the meter writes no rows, or only overload marks.

    Parameters
    ----------
    from_s, length_s : float [s]
        On the bench's true time.
    """

    from_s: float
    length_s: float

    def holds(self, time_s: FloatArray) -> np.ndarray:
        """Return which of the times lie in it."""
        return (time_s >= self.from_s) & (time_s < self.from_s + self.length_s)


@dataclass(frozen=True)
class LoggingMeter:
    """One range of a meter that logs.

    Parameters
    ----------
    percent, counts : float [%], [1]
        Its accuracy statement.
    resolution : float [unit]
        One count.
    error_share : float
        −1 … 1: where within the statement its true error lies; the same for every reading.
    counts_hold_rounding : bool
        Whether half a count of the statement is the display's own rounding, so that no reading ever leaves
        the statement; if not, the rounding comes on top of an error that may be as large as the statement.
    noise : float [unit]
        Standard deviation of one reading.
    interval_s, jitter_s : float [s]
        Usual time between rows, and the standard deviation of when a reading is really taken.
    starts_s, ends_s : float [s]
        True time of its first and its last possible row.
    clock_offset_s : float [s]
        By how much its clock is ahead of the true time when the bench starts.
    clock_rate_ppm : float
        By how much its clock runs fast.
    stamp_step_s : float [s]
        Stamps are cut off to this; 0: as fine as they come.
    gaps, overloads : tuple of Lapse
    overload_chance : float
        Share of single rows that show only an overload mark.
    fine_below, fine_resolution : float [unit]
        An autoranging meter's lower range and its count; 0: one range.
    """

    percent: float = 0.5
    counts: float = 2.0
    resolution: float = 1e-3
    error_share: float = 0.0
    counts_hold_rounding: bool = True
    noise: float = 0.3e-3
    interval_s: float = 1.0
    jitter_s: float = 0.0
    starts_s: float = 0.0
    ends_s: float = np.inf
    clock_offset_s: float = 0.0
    clock_rate_ppm: float = 0.0
    stamp_step_s: float = 0.0
    gaps: tuple[Lapse, ...] = ()
    overloads: tuple[Lapse, ...] = ()
    overload_chance: float = 0.0
    fine_below: float = 0.0
    fine_resolution: float = 0.0

    @property
    def accuracy(self) -> str:
        """The statement as a data sheet prints it."""
        return f"±({self.percent:g} % + {self.counts:g})"


@dataclass(frozen=True)
class Readings:
    """What a meter wrote down.

    Parameters
    ----------
    true_s : array, shape (n,) [s]
        When each reading was taken.
    elapsed_s, clock_s : array, shape (n,) [s]
        Its stamps, counted from its own start and, as a wall clock, from the bench's.
    shown : array, shape (n,) [unit]
        NaN where it shows an overload mark.
    fine : array of bool, shape (n,)
        Whether the lower range was in use.
    """

    true_s: FloatArray
    elapsed_s: FloatArray
    clock_s: FloatArray
    shown: FloatArray
    fine: np.ndarray


def look(meter: LoggingMeter, time_s: FloatArray, values: FloatArray, rng: np.random.Generator) -> Readings:
    """Return the readings that a meter takes of a quantity.

    Parameters
    ----------
    meter : LoggingMeter
    time_s, values : array, shape (n,) [s], [unit]
        Each value holds from its time until the next one.
    rng : numpy.random.Generator
        For noise, jitter and single overloads.
    """
    moments = _moments(meter, float(time_s[-1]), rng)
    truth = values[np.clip(np.searchsorted(time_s, moments, "right") - 1, 0, len(values) - 1)]
    # Where the counts of a statement hold the rounding of the display as well, half a count is left for it.
    counts = max(meter.counts - 0.5 * meter.counts_hold_rounding, 0.0)
    error = meter.error_share * (meter.percent / 100 * truth + counts * meter.resolution)
    noisy = truth + error + rng.normal(0.0, 1.0, len(truth)) * meter.noise
    fine = np.abs(noisy) < meter.fine_below
    step = np.where(fine, meter.fine_resolution, meter.resolution)
    shown = np.round(noisy / step) * step
    over = rng.random(len(shown)) < meter.overload_chance
    for lapse in meter.overloads:
        over |= lapse.holds(moments)
    ticks = 1.0 + meter.clock_rate_ppm * 1e-6
    return Readings(
        moments,
        _cut((moments - meter.starts_s) * ticks, meter.stamp_step_s),
        _cut(moments * ticks + meter.clock_offset_s, meter.stamp_step_s),
        np.where(over, np.nan, shown),
        fine,
    )


def _moments(meter: LoggingMeter, last_s: float, rng: np.random.Generator) -> FloatArray:
    even = np.arange(meter.starts_s, min(last_s, meter.ends_s), meter.interval_s)
    most = 0.4 * meter.interval_s
    moments = even + np.clip(rng.normal(0.0, 1.0, len(even)) * meter.jitter_s, 0.0, most)
    keep = np.ones(len(moments), dtype=bool)
    for gap in meter.gaps:
        keep &= ~gap.holds(moments)
    return np.asarray(moments[keep])


def _cut(stamps_s: FloatArray, step_s: float) -> FloatArray:
    """Return stamps cut off, never rounded, to the clock's step."""
    return np.asarray(np.floor(stamps_s / step_s + 1e-9) * step_s) if step_s else stamps_s
