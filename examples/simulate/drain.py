"""Invented drain logs of the two helmet lamps, as meters would write them, with the truth beside them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.instrument import Meter

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Pulses:
    """A base level with a regular train of rectangular pulses on it."""

    base_A: float
    height_A: float = 0.0
    width_s: float = 0.0
    period_s: float = 1.0
    first_s: float = 0.0

    @property
    def mean_A(self) -> float:
        """Base + height × duty [A]."""
        return self.base_A + self.height_A * self.width_s / self.period_s

    def charge_As(self, time_s: FloatArray) -> FloatArray:
        """Return the charge drawn from time 0 to `time_s`, in closed form [A·s]."""
        turns = (time_s - self.first_s) / self.period_s
        within = (turns - np.floor(turns)) * self.period_s
        pulses = np.floor(turns) * self.width_s + np.minimum(within, self.width_s)
        start = np.floor(-self.first_s / self.period_s)
        before = start * self.width_s + min((-self.first_s / self.period_s - start) * self.period_s, self.width_s)
        return np.asarray(self.base_A * time_s + self.height_A * (pulses - before), dtype=float)


def averages(
    source: Pulses, ends_s: FloatArray, aperture_s: float
) -> FloatArray:
    """Return what an integrating meter sees in the windows of `aperture_s` that end at `ends_s` [A]."""
    return (source.charge_As(ends_s) - source.charge_As(ends_s - aperture_s)) / aperture_s


def meter_log(
    source: Pulses,
    *,
    interval_s: float,
    length_s: float,
    meter: Meter,
    draw: np.random.Generator,
    aperture_s: float | None = None,
    noise_A: float | None = None,
) -> pd.Series[float]:
    """Return a log: averaged, off by one draw of the meter's accuracy, with noise, rounded to the display.

    The rounding is part of the accuracy statement, so the draw leaves half a count for it.
    """
    ends = np.arange(1, int(length_s / interval_s) + 1) * interval_s
    current = averages(source, ends, aperture_s or interval_s)
    gain = draw.uniform(-1, 1) * meter.accuracy.percent / 100
    counts = draw.uniform(-1, 1) * max(meter.accuracy.counts - 0.5, 0.0)
    noise = 0.4 * meter.resolution if noise_A is None else noise_A
    shown = current * (1 + gain) + counts * meter.resolution + draw.normal(0, noise, len(ends))
    shown = np.round(shown / meter.resolution) * meter.resolution
    return pd.Series(shown, index=pd.Index(ends, name="time_s"), name="current_A")
