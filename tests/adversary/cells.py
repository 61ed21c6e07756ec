"""A cell as a circuit: open-circuit voltage by table, a resistance that drifts, lagging pairs, hysteresis."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from scipy.interpolate import PchipInterpolator

_GRID = 4000
_SOC = (-0.02, 0.0, 0.01, 0.03, 0.06, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.96, 1.0, 1.08)
NMC_V = (2.2, 2.7, 2.95, 3.2, 3.34, 3.43, 3.54, 3.6, 3.64, 3.69, 3.77, 3.87, 3.97, 4.07, 4.14, 4.195, 4.32)
LFP_V = (1.9, 2.4, 2.75, 3.0, 3.13, 3.19, 3.235, 3.26, 3.28, 3.29, 3.3, 3.325, 3.33, 3.335, 3.35, 3.42, 4.2)
"""Invented open-circuit curves in the usual shape of both chemistries: common practice, no source."""


@dataclass(frozen=True)
class CellModel:
    """One cell; currents into it count as positive.

    Parameters
    ----------
    chemistry : {"NMC", "LFP"}
    capacity_Ah : float [A.h]
    ohm : float [ohm]
        At half charge, cold start.
    ohm_rise : float
        By how much of itself the resistance is larger when empty, and again when full.
    warming : float
        Share of the resistance that goes as the cell warms, over about half an hour.
    pairs : tuple of (ohm, time constant in s)
    hysteresis_V : float [V]
        Half the distance between charge and discharge curves.
    leak_A : float [A]
        Lost inside the cell, unseen by any meter.
    bend : float [V]
        Moves the middle of the open-circuit curve, so that no two cells share one.
    """

    chemistry: str
    capacity_Ah: float
    ohm: float
    ohm_rise: float
    warming: float
    pairs: tuple[tuple[float, float], ...]
    hysteresis_V: float = 0.0
    leak_A: float = 0.0
    bend: float = 0.0
    table: tuple[float, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        soc = np.array(_SOC)
        volts = np.array(LFP_V if self.chemistry == "LFP" else NMC_V)
        volts = volts + self.bend * np.sin(np.pi * np.clip(soc, 0.0, 1.0)) * (0.1 if volts[-1] < 4.25 else 1)
        grid = np.linspace(_SOC[0], _SOC[-1], _GRID + 1)
        object.__setattr__(self, "table", tuple(PchipInterpolator(soc, volts)(grid).tolist()))

    def open_V(self, soc: float) -> tuple[float, float]:
        """Return the open-circuit voltage and its slope per unit of charge state."""
        width = (_SOC[-1] - _SOC[0]) / _GRID
        place = min(max((soc - _SOC[0]) / width, 0.0), _GRID - 1e-9)
        row = int(place)
        rise = self.table[row + 1] - self.table[row]
        return self.table[row] + (place - row) * rise, rise / width

    def ohm_at(self, soc: float, since_s: float) -> float:
        """Return the resistance that answers at once."""
        shape = 1.0 + self.ohm_rise * (2.0 * soc - 1.0) ** 4
        return self.ohm * shape * (1.0 - self.warming * (1.0 - math.exp(-max(since_s, 0.0) / 1800.0)))


class CellState:
    """A cell on the way: charge state, lagging voltages, hysteresis."""

    def __init__(self, model: CellModel, soc: float) -> None:
        self.model, self.soc, self.lags = model, soc, [0.0] * len(model.pairs)
        self.sided = -1.0
        """Where between the two curves of the hysteresis: −1 after a discharge, 1 well into a charge."""

    def rest_V(self) -> float:
        """Return the voltage without what the current drops at once."""
        return self.model.open_V(self.soc)[0] + sum(self.lags) + self.model.hysteresis_V * self.sided

    def ahead(self, mean_A: float, step_s: float) -> tuple[float, list[float], float]:
        """Return charge state, lags and hysteresis after a step at a mean current."""
        soc = self.soc + (mean_A - self.model.leak_A) * step_s / (3600.0 * self.model.capacity_Ah)
        lags = []
        for (ohm, tau), lag in zip(self.model.pairs, self.lags, strict=True):
            kept = math.exp(-step_s / tau)
            lags.append(lag * kept + mean_A * ohm * (1.0 - kept))
        moved = abs(mean_A) * step_s / (3600.0 * self.model.capacity_Ah) / 0.03
        aim = math.copysign(1.0, mean_A) if mean_A else self.sided
        return soc, lags, aim + (self.sided - aim) * math.exp(-moved)

    def take(self, mean_A: float, step_s: float) -> None:
        """Go ahead by a step."""
        self.soc, self.lags, self.sided = self.ahead(mean_A, step_s)

    def held_A(self, now_A: float, step_s: float, hold_V: float, ohm: float) -> float:
        """Return the current at a step's end that has the voltage held behind `ohm` by then."""
        found = now_A
        for _ in range(3):
            mean = (now_A + found) / 2
            soc, lags, sided = self.ahead(mean, step_s)
            open_V, slope = self.model.open_V(soc)
            volts = open_V + sum(lags) + self.model.hysteresis_V * sided + found * ohm
            stiff = ohm + slope * step_s / (7200.0 * self.model.capacity_Ah)
            stiff += sum(r * (1.0 - math.exp(-step_s / tau)) / 2 for r, tau in self.model.pairs)
            found -= (volts - hold_V) / stiff
        return found
