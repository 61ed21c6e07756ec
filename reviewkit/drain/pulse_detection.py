"""What stands out of a log's low level at all: its pulses, each as the rows that it touches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reviewkit.drain.samples import Flags, FloatArray, Indices, Samples, low_level, scatter

_VISIBLE = 6.0
"""A pulse stands out of the noise by this many standard deviations, and by four display steps (chosen: of a
million normal readings none does)."""
_DISPLAY_STEPS = 4


@dataclass(frozen=True)
class Detection:
    """What stands out of the low level.

    Parameters
    ----------
    noise_A : float [A]
        Standard deviation of one reading at the low level.
    level_A : array, shape (n,) [A]
        Slow course of the low level.
    above_A : array, shape (n,) [A]
        Readings above the low level.
    threshold_A : float [A]
        From here on a row belongs to a pulse.
    first, last : array, shape (pulses,)
        First and last row that each pulse touches.
    dips : int
        Separate stretches of rows as far below the low level.
    """

    noise_A: float
    level_A: FloatArray
    above_A: FloatArray
    threshold_A: float
    first: Indices
    last: Indices
    dips: int = 0

    @property
    def pulses(self) -> int:
        """How many pulses stand out."""
        return len(self.first)

    @property
    def moved_A(self) -> float:
        """How far the low level moved during the log [A]."""
        return float(self.level_A[-1] - self.level_A[0])

    def whole(self, count: int) -> Flags:
        """Return which pulses neither began before the log nor end after it; `count`: its rows."""
        return np.asarray((self.first > 0) & (self.last < count - 1))


def detection(one: Samples, *, resolution_A: float) -> Detection:
    """Return what stands out of the samples' low level."""
    low = low_level(one)
    noise = scatter(one.current_A - low, resolution_A)
    near = np.abs(one.current_A - low) < 3 * noise
    low = low + (np.median((one.current_A - low)[near]) if near.any() else 0.0)
    above = one.current_A - low
    threshold = max(_VISIBLE * noise, _DISPLAY_STEPS * resolution_A)
    first, last = _stretches(one, above > threshold / 2)
    tops = np.array([above[begin : end + 1].max() for begin, end in zip(first, last, strict=True)])
    real = tops > threshold
    dips = len(_stretches(one, above < -threshold)[0])
    return Detection(noise, low, above, threshold, first[real], last[real], dips)


def _stretches(one: Samples, inside: Flags) -> tuple[Indices, Indices]:
    """Return the first and last row of each stretch; a gap in the log ends one."""
    if not inside.any():
        return np.empty(0, dtype=np.intp), np.empty(0, dtype=np.intp)
    rows = np.flatnonzero(inside)
    apart = np.diff(one.time_s[rows]) > 1.6 * one.interval_s
    return rows[np.concatenate(([True], apart))], rows[np.concatenate((apart, [True]))]


def charges(one: Samples, what: Detection) -> FloatArray:
    """Return the charge of each pulse above the low level [A·s], the rows at its sides included."""
    running = np.concatenate(([0.0], np.cumsum(what.above_A * one.width_s)))
    # A row between two pulses is no part of both.
    begin = np.maximum(what.first - 1, np.concatenate(([0], what.last[:-1] + 1)))
    end = np.minimum(what.last + 1, np.concatenate((what.first[1:] - 1, [len(one) - 1])))
    return np.asarray(running[np.maximum(end, what.last) + 1] - running[np.minimum(begin, what.first)])
