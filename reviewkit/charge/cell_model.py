"""The cell under charge as a small circuit, fitted to the log: open-circuit voltage, resistances, memory.

V_cell(t) = U(q) + R0·I + Σ x_i with τ_i·dx_i/dt = R_i·I − x_i, q the charge delivered so far. It is fitted
to one charge with its relaxation and used for one thing: to run the same charge again under another limit
(another series resistance, another capacity).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

TIME_CONSTANTS_S = (15.0, 80.0, 400.0, 2000.0)
"""Memory terms offered to the fit; those the log does not support come out with no resistance."""

_GRID = 4000
_CUBIC = 3
_LEAST_ROWS = 4


@dataclass(frozen=True)
class Limits:
    """The two limits of a charger and the current at which it stops.

    Parameters
    ----------
    set_V : float [V]
        At the regulation point.
    series_ohm : float [ohm]
        Between the regulation point and the cell.
    """

    current_A: float
    set_V: float
    series_ohm: float
    stop_A: float


@dataclass(frozen=True)
class Run:
    """A charge that the model ran.

    Parameters
    ----------
    time_s, voltage_V, current_A, charge_Ah : array, shape (n,)
        Time since charge start; voltage at the cell.
    knee_s : float [s]
        When the set voltage was reached.
    duration_s : float [s]
        When the current fell to the stop; the last time if it never did.
    """

    time_s: FloatArray
    voltage_V: FloatArray
    current_A: FloatArray
    charge_Ah: FloatArray
    knee_s: float
    duration_s: float


def resample(
    time_s: FloatArray, voltage_V: FloatArray, current_A: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Return time, voltage and current on an even grid of at most a few thousand rows, and its step [s].

    Readings within a grid cell are averaged; empty cells are filled along a straight line.
    """
    span = float(time_s[-1] - time_s[0])
    step = max(float(np.median(np.diff(time_s))), span / _GRID)
    bin_index = np.minimum(((time_s - time_s[0]) / step).astype(np.int64), int(span / step))
    count = np.bincount(bin_index)
    filled = np.flatnonzero(count)
    centre = time_s[0] + (np.arange(len(count)) + 0.5) * step
    columns = []
    for values in (voltage_V, current_A):
        mean = np.bincount(bin_index, values)[filled] / count[filled]
        columns.append(np.interp(centre, centre[filled], mean))
    return centre, columns[0], columns[1], step


def fit(
    time_s: FloatArray, voltage_V: FloatArray, current_A: FloatArray, *, knots: int = 24, smooth: float = 1e-3
) -> CellModel:
    """Return the circuit that a charge and its relaxation show.

    Parameters
    ----------
    time_s, voltage_V, current_A : array, shape (n,)
        From just before charge start (or from it) to the end of the relaxation; no missing values, the
        voltage that of the cell, current positive into it.
    knots : int
        Pieces of the open-circuit curve.
    smooth : float [V]
        How much the curve's slope may change from knot to knot before it costs as much as a misfit.

    Notes
    -----
    For fixed time constants the model is linear in everything else: a cubic spline for U(q) with a light
    smoothness term, non-negative resistances. Bounded least squares (scipy).
    """
    from scipy import optimize

    library: Any = optimize

    time, voltage, current, step = resample(time_s, voltage_V, current_A)
    charge = np.concatenate([[0.0], np.cumsum(current[:-1])]) * step / 3600
    constants = np.array([tau for tau in TIME_CONSTANTS_S if tau > 1.5 * step])
    memory = np.column_stack([_follow(current, step, tau) for tau in constants])
    basis, places = _spline_basis(charge, voltage, knots)
    fixed = np.column_stack([basis, current, memory])
    bend = np.zeros((basis.shape[1] - 2, fixed.shape[1]))
    bend[:, : basis.shape[1]] = np.diff(np.eye(basis.shape[1]), 2, axis=0) * smooth * np.sqrt(len(time))
    low = np.concatenate([np.full(basis.shape[1], -np.inf), np.zeros(1 + len(constants))])
    right = np.concatenate([voltage, np.zeros(len(bend))])
    rows = np.column_stack([np.vstack([fixed, bend]), right])
    # The same least squares in as many rows as there are unknowns, which is much quicker.
    few = np.asarray(np.linalg.qr(rows, mode="r"))
    solution = library.lsq_linear(few[:, :-1], few[:, -1], (low, np.inf)).x
    residual = float(np.sqrt(np.mean((fixed @ solution - voltage) ** 2)))
    grid = np.linspace(charge.min(), charge.max(), 400)
    curve = _design(grid, places) @ solution[: basis.shape[1]]
    resistances = solution[basis.shape[1] :]
    return CellModel(grid, curve, float(resistances[0]), resistances[1:], constants, residual)


def _follow(current: FloatArray, step: float, tau: float) -> FloatArray:
    """Return the current seen through a first-order lag of unit resistance."""
    decay = math.exp(-step / tau)
    followed, state = [], 0.0
    for amperes in current.tolist():
        followed.append(state)
        state = decay * state + (1 - decay) * amperes
    return np.array(followed)


def _spline_basis(charge: FloatArray, voltage: FloatArray, pieces: int) -> tuple[FloatArray, FloatArray]:
    """Return the cubic spline's design matrix, its knots close where the voltage moves quickly."""
    order = np.argsort(charge, kind="stable")
    sorted_charge, sorted_voltage = charge[order], np.maximum.accumulate(voltage[order])
    progress = (sorted_charge - sorted_charge[0]) / np.ptp(sorted_charge)
    progress = progress + (sorted_voltage - sorted_voltage[0]) / np.ptp(sorted_voltage)
    inner = np.interp(np.linspace(0, progress[-1], pieces)[1:-1], progress, sorted_charge)
    ends = sorted_charge[0], sorted_charge[-1]
    inner = np.unique(inner[(inner > ends[0]) & (inner < ends[1])])
    knots = np.pad(np.concatenate([ends[:1], inner, ends[1:]]), _CUBIC, mode="edge")
    return _design(charge, knots), knots


def _design(charge: FloatArray, knots: FloatArray) -> FloatArray:
    from scipy import interpolate

    library: Any = interpolate

    inside = np.clip(charge, knots[0], knots[-1])
    return np.asarray(library.BSpline.design_matrix(inside, knots, _CUBIC).toarray(), dtype=np.float64)


def state_at(model: CellModel, time_s: FloatArray, current_A: FloatArray, moment_s: float) -> State:
    """Return where the measured charge stood at `moment_s`, its memory included.

    Parameters
    ----------
    time_s, current_A : array, shape (n,)
        The measured charge from its start.
    """
    before = time_s <= moment_s
    if before.sum() < _LEAST_ROWS:
        # A knee this early leaves no memory to speak of.
        return State(float(moment_s), 0.0, np.zeros_like(model.slow_ohm))
    _, _, current, step = resample(time_s[before], current_A[before], current_A[before])
    slow = np.array(
        [
            resistance * _follow(current, step, tau)[-1]
            for resistance, tau in zip(model.slow_ohm, model.time_constants_s, strict=True)
        ]
    )
    return State(float(moment_s), float(current.sum() * step / 3600), slow)


def run(model: CellModel, start: State, limits: Limits, *, step_s: float = 5.0, most_s: float = 4e5) -> Run:
    """Return the charge from `start` on under two limits.

    Parameters
    ----------
    most_s : float [s]
        Gives up after this time: the current then never fell to the stop.
    """
    circuit = Circuit(model, start, step_s)
    opposing = model.ohmic + limits.series_ohm
    full = limits.current_A
    before, charge = circuit.steady(full, limits.set_V - opposing * full, math.ceil(most_s / step_s))
    times = start.time_s + step_s * np.arange(len(before))
    steady = np.column_stack([times, before + model.ohmic * full, np.full(len(before), full), charge])
    time = start.time_s + step_s * len(before)
    rows: list[tuple[float, ...]] = [tuple(row) for row in steady[-1:].tolist()]
    knee = duration = math.nan
    while time < start.time_s + most_s:
        resting = circuit.resting_V()
        allowed = (limits.set_V - resting) / opposing
        current = max(0.0, min(full, allowed))
        rows.append((time, resting + model.ohmic * current, current, circuit.charge_Ah))
        if math.isnan(knee) and allowed < full:
            knee = time
        if current <= limits.stop_A and not math.isnan(knee):
            duration = _crossing(rows, limits.stop_A)
            break
        circuit.advance(current)
        time += step_s
    table = np.vstack([steady[:-1], np.array(rows)])
    ended = float(table[-1, 0]) if math.isnan(duration) else duration
    return Run(table[:, 0], table[:, 1], table[:, 2], table[:, 3], knee, ended)


def _crossing(rows: Sequence[tuple[float, ...]], stop_A: float) -> float:
    if len(rows) < 2:
        return rows[-1][0]
    (early, _, more, _), (late, _, less, _) = rows[-2:]
    return late if more == less else early + (late - early) * (more - stop_A) / (more - less)


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
    slow_V : array, shape (k,) [V]
        The memory terms x_i.
    """

    time_s: float
    charge_Ah: float
    slow_V: FloatArray


class Circuit:
    """A cell model on its way through a charge; plain floats, for it is stepped thousands of times."""

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
        step_index = (self.charge_Ah - self._first) / self._pitch
        last = len(self._curve) - 1
        if step_index >= last:
            open_circuit = self._curve[-1] + self._beyond * (step_index - last)
        else:
            left = max(0, int(step_index))
            share = max(0.0, step_index) - left
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
        step_index = (charges - self._first) / self._pitch
        last = len(self._curve) - 1
        open_circuit = np.interp(step_index, np.arange(last + 1), self._curve)
        open_circuit += self._beyond * np.maximum(0.0, step_index - last)
        resting = np.asarray(open_circuit + slow.sum(axis=0), dtype=np.float64)
        return resting[:count], charges, slow

    def advance(self, current_A: float) -> None:
        """Let one step pass with this current."""
        self._slow = [
            decay * volts + (1 - decay) * ohms * current_A
            for volts, decay, ohms in zip(self._slow, self._decays, self._ohms, strict=True)
        ]
        self.charge_Ah += current_A * self._step_h
