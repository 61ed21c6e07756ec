"""The circuit of a cell model on its way through a charge, step by step."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

_BLOCK = 1024
"""Steps of constant current taken at once."""


@dataclass(frozen=True)
class CellModel:
    """A cell fitted to its own charge.

    Parameters
    ----------
    charge_Ah : array, shape (m,) [A.h]
        From the charge's start, rising.
    open_circuit_V : array, shape (m,) [V]
        U at those charges.
    ohmic : float [ohm]
        R0.
    slow_ohm : array, shape (k,) [ohm]
    time_constants_s : array, shape (k,) [s]
    residual_V : float [V]
        Root mean square of what the fit leaves.
    """

    charge_Ah: FloatArray
    open_circuit_V: FloatArray
    ohmic: float
    slow_ohm: FloatArray
    time_constants_s: FloatArray
    residual_V: float

    @property
    def resistance(self) -> float:
        """Resistance after minutes of steady current [ohm]."""
        return self.ohmic + float(self.slow_ohm.sum())

    def scaled(self, by: float) -> CellModel:
        """Return the cell of `by` times the capacity: charges grow, resistances fall in proportion."""
        return replace(
            self, charge_Ah=self.charge_Ah * by, ohmic=self.ohmic / by, slow_ohm=self.slow_ohm / by
        )


@dataclass(frozen=True)
class State:
    """Where a charge stands.

    Parameters
    ----------
    time_s : float [s]
        Since charge start.
    charge_Ah : float [A.h]
    slow_V : array, shape (k,) [V]
        The memory terms x_i.
    """

    time_s: float
    charge_Ah: float
    slow_V: FloatArray


class Circuit:
    """A cell model on its way through a charge; plain floats, for it is stepped thousands of times.

    Parameters
    ----------
    model : CellModel
    start : State
    step_s : float [s]
    """

    def __init__(self, model: CellModel, start: State, step_s: float) -> None:
        self.charge_Ah = start.charge_Ah
        self._slow = start.slow_V.tolist()
        self._decays = np.exp(-step_s / model.time_constants_s).tolist()
        self._ohms = model.slow_ohm.tolist()
        self._step_h = step_s / 3600
        self._first = float(model.charge_Ah[0])
        self._pitch = float(model.charge_Ah[1] - model.charge_Ah[0])
        self._curve = model.open_circuit_V.tolist()
        # Beyond what was measured the curve goes on along its last slope.
        self._beyond = (self._curve[-1] - self._curve[-12]) / 11

    def resting_V(self) -> float:
        """U(q) and the memory terms [V]."""
        place = (self.charge_Ah - self._first) / self._pitch
        last = len(self._curve) - 1
        if place >= last:
            open_circuit = self._curve[-1] + self._beyond * (place - last)
        else:
            left = max(0, int(place))
            share = max(0.0, place) - left
            open_circuit = self._curve[left] + share * (self._curve[left + 1] - self._curve[left])
        return float(open_circuit + sum(self._slow))

    def steady(self, current_A: float, most_V: float, count: int) -> tuple[FloatArray, FloatArray]:
        """Let steps pass with one current until the resting voltage exceeds a bound, or `count` have.

        Returns
        -------
        tuple of (array, array), shape (n,)
            Resting voltage [V] and charge [A.h] before each of the steps that passed.
        """
        resting, charge, left = [np.empty(0)], [np.empty(0)], count
        while left > 0:
            some = min(left, _BLOCK)
            volts, charges, slow = self._ahead(current_A, some)
            over = np.flatnonzero(volts > most_V)
            passed = int(over[0]) if len(over) else some
            resting.append(volts[:passed])
            charge.append(charges[:passed])
            self._slow = slow[:, passed].tolist()
            self.charge_Ah = float(charges[passed])
            left -= passed
            if len(over):
                break
        return np.concatenate(resting), np.concatenate(charge)

    def _ahead(self, current_A: float, count: int) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return resting voltage, charge and memory terms before each of `count` steps, and after them."""
        steps = np.arange(count + 1)
        # Under one current each term approaches its end value geometrically.
        final = np.array(self._ohms)[:, None] * current_A
        decayed = np.array(self._decays)[:, None] ** steps
        slow = final + (np.array(self._slow)[:, None] - final) * decayed
        charges: FloatArray = self.charge_Ah + np.float64(current_A * self._step_h) * steps
        place = (charges - self._first) / self._pitch
        last = len(self._curve) - 1
        open_circuit = np.interp(place, np.arange(last + 1), self._curve)
        open_circuit += self._beyond * np.maximum(0.0, place - last)
        resting = np.asarray(open_circuit + slow.sum(axis=0), dtype=np.float64)
        return resting[:count], charges, slow

    def advance(self, current_A: float) -> None:
        """Let one step pass with this current."""
        self._slow = [
            decay * volts + (1 - decay) * ohms * current_A
            for volts, decay, ohms in zip(self._slow, self._decays, self._ohms, strict=True)
        ]
        self.charge_Ah += current_A * self._step_h
