"""Invented drain logs of the two helmet lamps, as a meter would write them, with the truth beside them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.metrology.meter import Meter, meter

FloatArray = npt.NDArray[np.float64]

METER = {
    "name": "low-current meter",
    "accuracy": "±(1.0 % + 3)",
    "ranges": [
        {"full_scale": "600 uA", "resolution": "0.1 uA", "burden_ohm": 100},
        {"full_scale": "6 mA", "resolution": "1 uA", "burden_ohm": 10},
        {"full_scale": "600 mA", "resolution": "100 uA", "burden_ohm": 1},
    ],
}
"""The invented meter of both examples, as their review files declare it."""


@dataclass(frozen=True)
class PulseTrain:
    """A base level with a regular train of rectangular pulses on it.

    Parameters
    ----------
    base_A, height_A : float [A]
        Height above the base.
    width_s, period_s, first_s : float [s]
    """

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
        return np.asarray(
            self.base_A * time_s + self.height_A * (self._high_s(time_s) - self._high_s(np.zeros(1))),
            dtype=float,
        )

    def _high_s(self, time_s: FloatArray) -> FloatArray:
        turns = (time_s - self.first_s) / self.period_s
        within = (turns - np.floor(turns)) * self.period_s
        return np.asarray(np.floor(turns) * self.width_s + np.minimum(within, self.width_s), dtype=float)


def averages(source: PulseTrain, ends_s: FloatArray, aperture_s: float) -> FloatArray:
    """Return what an integrating meter sees in the windows of `aperture_s` that end at `ends_s` [A]."""
    return (source.charge_As(ends_s) - source.charge_As(ends_s - aperture_s)) / aperture_s


def meter_log(
    source: PulseTrain,
    *,
    interval_s: float,
    length_s: float,
    meter: Meter,
    draw: np.random.Generator,
    aperture_s: float | None = None,
    noise_A: float | None = None,
    extra_A: Callable[[FloatArray], FloatArray] | None = None,
    error_share: float | None = None,
) -> pd.Series[float]:
    """Return a log: averaged, off by one draw of the meter's accuracy, with noise, rounded to the display.

    Parameters
    ----------
    source : PulseTrain
    interval_s, length_s : float [s]
    meter : Meter
        The rounding is part of its accuracy statement, so the draw leaves half a count for it.
    draw : numpy.random.Generator
    aperture_s : float or None [s]
        How long it looks for each row; None: without gaps.
    noise_A : float or None [A]
        Standard deviation of one reading; None: 0.4 counts.
    extra_A : callable or None
        Further current [A] at the rows' times, slow beside a row: drift, a device still awake.
    error_share : float or None
        −1 … 1: the meter's one error as a share of its statement; None: drawn, percent and counts apart.
    """
    ends = np.arange(1, int(length_s / interval_s) + 1) * interval_s
    current = averages(source, ends, aperture_s or interval_s)
    if extra_A is not None:
        current = current + extra_A(ends)
    stated = meter.accuracy
    if error_share is None:
        gain = draw.uniform(-1, 1) * stated.percent / 100
        counts = draw.uniform(-1, 1) * max(stated.counts - 0.5, 0.0)
    else:
        gain, counts = error_share * stated.percent / 100, error_share * stated.counts
    noise = 0.4 * meter.resolution if noise_A is None else noise_A
    shown = current * (1 + gain) + counts * meter.resolution + draw.normal(0, noise, len(ends))
    shown = np.round(shown / meter.resolution) * meter.resolution
    return pd.Series(shown, index=pd.Index(ends, name="time_s"), name="current_A")


ALDER_STANDBY = PulseTrain(45e-6, 0.40e-3, 0.300, 5.003, 2.1)
ALDER_FULL_IN = PulseTrain(12.4e-6)
ALDER_AWAKE_A, ALDER_AWAKE_S = 3.1e-3, 42.0
BIRCH_STANDBY = PulseTrain(28e-6, 1.2e-3, 0.012, 0.5003, 0.13)
BIRCH_LEAK_A = 1.34e-3


def write(folder: Path, known: dict[str, Any]) -> None:
    """Write the drain logs of one device into its folder and add what is true of them to `known`.

    Parameters
    ----------
    folder : Path
        The device's review folder; its name says which device.
    known : dict
        Gets the key ``drain``: one mapping per state.
    """
    known["drain"] = {"alder": _alder, "birch": _birch}[folder.name](folder / "logs")


def _alder(logs: Path) -> dict[str, Any]:
    draw = np.random.default_rng(4501)

    def awake(time_s: FloatArray) -> FloatArray:
        return np.where(time_s < ALDER_AWAKE_S, ALDER_AWAKE_A, 0.0)

    standby = meter_log(
        ALDER_STANDBY, interval_s=0.1, length_s=480, meter=_range(0.006), draw=draw, extra_A=awake
    )
    cable = meter_log(ALDER_FULL_IN, interval_s=1.0, length_s=300, meter=_range(0.0006), draw=draw)
    _save(standby, logs / "drain-standby.csv")
    _save(cable, logs / "drain-full-cable-in.csv")
    return {
        "standby": _truth(ALDER_STANDBY) | {"settled_from_s": ALDER_AWAKE_S},
        "locked_out": {"mean": 2.4e-6},
        "full_cable_in": _truth(ALDER_FULL_IN),
        "full_cable_out": {"mean": ALDER_STANDBY.mean_A},
    }


def _birch(logs: Path) -> dict[str, Any]:
    draw = np.random.default_rng(2802)

    def leak(time_s: FloatArray) -> FloatArray:
        return BIRCH_LEAK_A * (1 + 0.02 * np.exp(-time_s / 120))

    standby = meter_log(BIRCH_STANDBY, interval_s=0.1, length_s=240, meter=_range(0.006), draw=draw)
    dead = meter_log(
        BIRCH_STANDBY, interval_s=0.1, length_s=240, meter=_range(0.006), draw=draw, extra_A=leak
    )
    _save(standby, logs / "drain-standby.csv")
    _save(dead, logs / "drain-dead-cable.csv")
    leaking = BIRCH_STANDBY.mean_A + BIRCH_LEAK_A * (1 + 0.02 * 120 / 240 * (1 - np.exp(-2)))
    return {
        "standby": _truth(BIRCH_STANDBY),
        "dead_cable_in": {"mean": float(f"{leaking:.9g}")},
        "locked_out": {"mean": 38e-6, "remark": "read on the 600 mA range, which cannot show it"},
    }


def _range(full_scale_A: float) -> Meter:
    return meter(METER, "A", full_scale_A)


def _truth(source: PulseTrain) -> dict[str, float]:
    truth = {"base": source.base_A, "mean": float(f"{source.mean_A:.9g}")}
    if source.height_A:
        truth |= {
            "pulse_height": source.height_A,
            "pulse_width": source.width_s,
            "pulse_period": source.period_s,
        }
    return truth


def _save(log: pd.Series[float], path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    rows = (f"{time:.1f},{1e6 * value:.1f}" for time, value in log.items())
    text = "\n".join(["# invented data", "Time (s),Current (µA)", *rows]) + "\n"
    path.write_text(text, encoding="utf-8", newline="\n")
