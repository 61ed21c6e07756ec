"""A lithium-ion cell as an equivalent circuit: open-circuit voltage, a resistance and two lags.

The curves are invented: smooth functions of about the right shape, of no cell that is sold.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

Chemistry = Literal["NMC", "LFP"]
FloatArray = npt.NDArray[np.float64]

_GRID = 4096


def open_circuit_nmc_V(charge_state: npt.ArrayLike) -> FloatArray:
    """Return an invented open-circuit voltage [V] of a nickel-manganese-cobalt cell against 0 … 1."""
    s = np.asarray(charge_state, dtype=float)
    bends = 0.035 * np.tanh((s - 0.56) / 0.07) + 0.05 * s**9
    return np.asarray(3.475 + 0.595 * s + bends - 0.62 * np.exp(-s / 0.035))


def open_circuit_lfp_V(charge_state: npt.ArrayLike) -> FloatArray:
    """Return an invented open-circuit voltage [V] of an iron-phosphate cell against 0 … 1."""
    s = np.asarray(charge_state, dtype=float)
    bends = 0.018 * np.tanh((s - 0.63) / 0.04) + 0.24 * np.exp((s - 1.0) / 0.011)
    return np.asarray(3.285 + 0.035 * s + bends - 0.70 * np.exp(-s / 0.03))


OPEN_CIRCUIT = {"NMC": open_circuit_nmc_V, "LFP": open_circuit_lfp_V}


@dataclass(frozen=True)
class Cell:
    """A cell that is charged in a simulation.

    Parameters
    ----------
    chemistry : {"NMC", "LFP"}
    capacity_Ah : float [A.h]
    series_ohm : float [ohm]
        What the voltage jumps by, per ampere, when the current is switched.
    fast_ohm, fast_s : float [ohm], [s]
        The quicker of two lags: resistance and time constant.
    slow_ohm, slow_s : float [ohm], [s]
        The slower one.
    empty_extra : float [1]
        By how much the resistances are larger, relatively, when the cell is empty.
    """

    chemistry: Chemistry = "NMC"
    capacity_Ah: float = 3.0
    series_ohm: float = 0.045
    fast_ohm: float = 0.015
    fast_s: float = 25.0
    slow_ohm: float = 0.025
    slow_s: float = 1100.0
    empty_extra: float = 0.6

    def open_circuit_V(self, charge_state: npt.ArrayLike) -> FloatArray:
        """Return the voltage of the rested cell [V], shape of `charge_state`."""
        return OPEN_CIRCUIT[self.chemistry](charge_state)

    def charge_state_at(self, voltage_V: float) -> float:
        """Return the charge state (0 … 1) of the rested cell at a voltage."""
        known = np.linspace(-0.01, 1.05, _GRID)
        return float(np.interp(voltage_V, self.open_circuit_V(known), known))


class CellState:
    """A cell on its way through time; `step` moves it on by one interval of constant current.

    Parameters
    ----------
    cell : Cell
    charge_state : float
        0 … 1; the cell starts rested.
    step_s : float [s]
        Interval of all steps.

    Attributes
    ----------
    scale : float [1]
        Factor of all resistances at this charge state.
    series_ohm : float [ohm]
        Series resistance at this charge state.
    inner_V : float [V]
        Voltage behind the series resistance: what the terminals show when no current flows.
    """

    def __init__(self, cell: Cell, charge_state: float, step_s: float) -> None:
        self.cell = cell
        self.charge_state = charge_state
        self._grid = [float(volts) for volts in cell.open_circuit_V(np.linspace(-0.02, 1.08, _GRID + 1))]
        self._per_ampere = step_s / 3600 / cell.capacity_Ah
        self._fast, self._slow = 0.0, 0.0
        self._fast_share = -math.expm1(-step_s / cell.fast_s)
        self._slow_share = -math.expm1(-step_s / cell.slow_s)
        self._note()

    def _note(self) -> None:
        """Note what is asked for several times between two steps."""
        self.scale = self._scale()
        self.series_ohm = self.cell.series_ohm * self.scale
        self.inner_V = self._inner_V()

    def _inner_V(self) -> float:
        place = (self.charge_state + 0.02) / 1.10 * _GRID
        cell = min(max(int(place), 0), _GRID - 1)
        low, high = self._grid[cell], self._grid[cell + 1]
        return low + (place - cell) * (high - low) + self._fast + self._slow

    def _scale(self) -> float:
        return 1.0 + self.cell.empty_extra * math.exp(-max(self.charge_state, 0.0) / 0.05)

    def step(self, current_A: float) -> None:
        """Move on by one step with a constant current, positive into the cell."""
        scale = self.scale
        self._fast += (current_A * self.cell.fast_ohm * scale - self._fast) * self._fast_share
        self._slow += (current_A * self.cell.slow_ohm * scale - self._slow) * self._slow_share
        self.charge_state += current_A * self._per_ampere
        self._note()
