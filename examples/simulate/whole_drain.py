"""Random drains for whole simulated reviews: a blinking standby, a steady trickle, one single reading."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from reviewkit.metrology.meter import Meter, meter
from simulate.drain import PulseTrain, meter_log

_RANGES = (
    {"full_scale": "600 uA", "resolution": "0.1 uA"},
    {"full_scale": "6 mA", "resolution": "1 uA"},
    {"full_scale": "60 mA", "resolution": "10 uA"},
)
_STATEMENTS = ("±(1.0 % + 3)", "±(0.5 % + 2)", "±(1.5 % + 5)")
_HEADROOM = 1.2

CLOCK = 1e-4
"""How far the meter's clock may run fast or slow, relatively."""


@dataclass(frozen=True)
class State:
    """One state of a device and how it is measured.

    Parameters
    ----------
    name : str
    source : PulseTrain
    full_scale_A : float [A]
    interval_s, length_s : float [s]
        0: one single reading.
    error_share : float
        The range's own error, as a share of its statement.
    """

    name: str
    source: PulseTrain
    full_scale_A: float
    interval_s: float
    length_s: float
    error_share: float


@dataclass(frozen=True)
class DrawnDrain:
    """The drains of one device, and the meter that reads them.

    Parameters
    ----------
    accuracy : str
    states : tuple of State
    seed : int
        For noise.
    clock_rate : float [1]
        By how much the meter's clock runs fast, relatively.
    """

    accuracy: str
    states: tuple[State, ...]
    seed: int
    clock_rate: float

    @property
    def block(self) -> dict[str, Any]:
        """The meter as the review file describes it."""
        return {"name": "drain meter", "accuracy": self.accuracy, "ranges": [dict(one) for one in _RANGES]}

    def range_of(self, state: State) -> Meter:
        """Return the range that a state is read on."""
        return meter(self.block, "A", state.full_scale_A)

    def write(self, folder: Path) -> list[dict[str, Any]]:
        """Write the logs into a review folder and return the review file's list of states."""
        rng = np.random.default_rng(self.seed)
        return [self._written(state, folder, rng) for state in self.states]

    def _written(self, state: State, folder: Path, rng: np.random.Generator) -> dict[str, Any]:
        single = not state.length_s
        log = meter_log(
            state.source,
            interval_s=state.interval_s or 1.0,
            length_s=state.length_s or 1.0,
            meter=self.range_of(state),
            draw=rng,
            error_share=state.error_share,
        )
        entry: dict[str, Any] = {"name": state.name, "range_full_scale_A": state.full_scale_A}
        if single:
            return entry | {"reading_A": float(f"{log.iloc[0]:.9f}")}
        path = f"logs/drain-{state.name.replace(' ', '-')}.csv"
        _save(log, 1 + self.clock_rate, folder / path)
        return entry | {"log": path, "windows": "gapless"}

    def known(self) -> dict[str, Any]:
        """Return what is true, under the findings' names: ``standby.mean``."""
        found: dict[str, Any] = {}
        for state in self.states:
            source, key = state.source, state.name.replace(" ", "_")
            found[f"{key}.mean"] = source.mean_A
            if state.length_s:
                found[f"{key}.base"] = source.base_A
            if source.height_A:
                found[f"{key}.pulse_height"] = source.height_A
                found[f"{key}.pulse_width"] = source.width_s
                found[f"{key}.pulse_period"] = source.period_s
        return found


def draw_drain(rng: np.random.Generator) -> DrawnDrain:
    """Return three random states: pulses at 10 or at 1 row a second, a steady level, a single reading."""
    train = PulseTrain(
        base_A=float(rng.uniform(0.02e-3, 2e-3)),
        height_A=float(rng.uniform(0.2e-3, 5e-3)),
        width_s=float(rng.uniform(5e-3, 0.5)),
        period_s=float(rng.uniform(1.0, 10.0)),
        first_s=float(rng.uniform(0.0, 10.0)),
    )
    levels = [float(np.exp(rng.uniform(np.log(5e-6), np.log(3e-3)))) for _ in range(2)]
    error_shares = {one["full_scale"]: float(rng.uniform(-1.0, 1.0)) for one in _RANGES}
    interval_s = float(rng.choice([0.1, 1.0]))

    def state(name: str, source: PulseTrain, interval: float, length: float) -> State:
        full_scale, share = _fitting(source.base_A + source.height_A, error_shares)
        return State(name, source, full_scale, interval, length, share)

    states = (
        state("standby", train, interval_s, float(rng.uniform(120.0, 600.0))),
        state("full cable in", PulseTrain(levels[0]), 1.0, float(rng.uniform(60.0, 400.0))),
        state("locked out", PulseTrain(levels[1]), 0.0, 0.0),
    )
    return DrawnDrain(
        str(rng.choice(_STATEMENTS)), states, int(rng.integers(2**31)), CLOCK * float(rng.uniform(-1.0, 1.0))
    )


def _fitting(highest_A: float, shares: dict[str, float]) -> tuple[float, float]:
    """Return the full scale of the finest range that shows a current, and that range's error."""
    for share, scale_A in zip(shares.values(), (6e-4, 6e-3, 6e-2), strict=True):
        if scale_A >= _HEADROOM * highest_A:
            return scale_A, share
    return scale_A, share


def _save(log: pd.Series[float], rate: float, path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    rows = (f"{rate * time:.3f},{1e6 * value:.1f}" for time, value in log.items())
    path.write_text("\n".join(["Time (s),Current (µA)", *rows]) + "\n", encoding="utf-8")
