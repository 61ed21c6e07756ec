"""What one more reading is worth, at every voltage: the expected drop in entropy, in bits."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from reviewkit.readout.model import Model
from reviewkit.readout.posterior import Posterior

FloatArray = npt.NDArray[np.float64]

_NODES = 600
_PER_STEP = 50
_REACH = 6.0
"""Standard deviations of its own error beyond which a reading cannot stray."""
NEARLY_BEST = 0.97
"""Voltages worth at least this share of the best are as good to the reviewer."""


@dataclass(frozen=True)
class Information:
    """Expected worth of one more reading along the voltage axis.

    Parameters
    ----------
    voltage_V : array, shape (n,)
        Cell voltages across the working range.
    bits : array, shape (n,)
        Expected drop in entropy.
    next_V : float [V]
        What to read next.
    """

    voltage_V: FloatArray
    bits: FloatArray
    next_V: float

    @property
    def best_bits(self) -> float:
        """What the best next reading is worth [bit]."""
        return float(self.bits.max())


def information(state: Posterior, *, noise_V: float) -> Information:
    """Return what a reading at each voltage of the working range would tell.

    Parameters
    ----------
    state : Posterior
        After the readings so far.
    noise_V : float [V]
        Half-width of what the next reading will have of its own: half the reference's step.

    Notes
    -----
    Among voltages that are nearly as good as the best one that voltage is proposed at which the
    switching point is least known (with a gain that is towards an end of the range), then the one
    nearest the middle.
    """
    place, gain = _nodes(state)
    voltage = _candidates(state.model)
    deviation = max(noise_V / math.sqrt(3), 1e-6)

    def bits_at(voltage_V: FloatArray) -> FloatArray:
        device = _steps_above(voltage_V, place, gain, state.model)
        return _mutual_information(device, deviation / float(state.model.step_V))

    bits = bits_at(voltage)
    spread = np.std(_steps_above(voltage, place, gain, state.model), axis=1)
    good = np.flatnonzero(bits >= NEARLY_BEST * bits.max())
    # To the millivolt: a finer difference is no reason to go to an end of the range.
    known = np.round(spread[good] * float(state.model.step_V) / 0.001)
    order = np.lexsort((np.abs(voltage[good] - float(state.model.middle_V)), -known))
    best = int(good[order[0]])
    return Information(voltage, bits, _refined(voltage[_stretch(good, best, len(voltage))], bits_at))


def _stretch(good: npt.NDArray[np.intp], best: int, count: int) -> npt.NDArray[np.intp]:
    """Return the candidates about the best that are nearly as good without a gap, and one on either side."""
    parts = np.split(good, np.flatnonzero(np.diff(good) > 1) + 1)
    own = next(part for part in parts if best in part)
    return np.arange(max(int(own[0]) - 1, 0), min(int(own[-1]) + 2, count))


def _refined(voltage_V: FloatArray, bits_at: Callable[[FloatArray], FloatArray]) -> float:
    """Return the best voltage within a stretch, to a tenth of a millivolt."""
    low, high = voltage_V[0], voltage_V[-1]
    fine = np.linspace(low, high, 1 + min(60, max(2, round((high - low) / 1e-4))))
    bits = bits_at(fine)
    return round(float(np.median(fine[bits >= 0.998 * bits.max()])), 4)


def _steps_above(voltage_V: FloatArray, place: FloatArray, gain: FloatArray, model: Model) -> FloatArray:
    """Return how many steps the device's own value is above its switching places, shape (n, nodes)."""
    middle = float(model.middle_V)
    return np.asarray((middle + gain * (voltage_V[:, None] - middle) - place) / float(model.step_V))


def _candidates(model: Model) -> FloatArray:
    """Return voltages across the working range, some fifty to a step, in whole tenths of a millivolt."""
    spacing = max(model.step_V / _PER_STEP, (model.high_V - model.low_V) / 3000, Fraction(1, 10_000))
    count = int((model.high_V - model.low_V) / spacing)
    return np.round(float(model.low_V) + float(spacing) * np.arange(count + 1), 4)


def _nodes(state: Posterior) -> tuple[FloatArray, FloatArray]:
    """Return equally probable readouts, in the reference's scale: a fixed, fair choice from the grid."""
    place, gain, weight = state.in_reference_scale()
    order = np.argsort(place, kind="stable")
    cumulated = np.cumsum(weight[order])
    picks = np.searchsorted(cumulated, (np.arange(_NODES) + 0.5) / _NODES * cumulated[-1])
    chosen = order[np.minimum(picks, len(order) - 1)]
    return place[chosen], gain[chosen]


def _mutual_information(device: FloatArray, deviation: float) -> FloatArray:
    """Return, for each row, the entropy of what will be shown less what noise alone would cause [bit]."""
    from scipy.special import ndtr  # only where information is asked for

    level = np.floor(device)
    fraction = (device - level).ravel()
    lowest = level.min() - 1
    count = int(level.max() - lowest) + 2
    size = len(device) * count
    where = ((level - lowest).astype(np.intp) + np.arange(len(device))[:, None] * count).ravel()
    total = np.bincount(where, minlength=size).astype(float)
    # Only next to a switching point can noise change what is shown.
    near = np.flatnonzero((fraction < _REACH * deviation) | (fraction > 1 - _REACH * deviation))
    down, up = ndtr(-fraction[near] / deviation), ndtr((fraction[near] - 1) / deviation)
    for shift, probability in ((-1, down), (0, -down - up), (1, up)):
        total += np.bincount(where[near] + shift, probability, minlength=size)
    own = _entropy(np.stack([down, np.clip(1 - down - up, 0.0, 1.0), up])).sum(axis=0)
    noise_alone = np.bincount(where[near] // count, own, minlength=len(device)) / device.shape[1]
    shown = _entropy(np.clip(total, 0.0, None).reshape(len(device), count) / device.shape[1]).sum(axis=1)
    return np.asarray(np.maximum(shown - noise_alone, 0.0))


def _entropy(probability: FloatArray) -> FloatArray:
    return np.asarray(-probability * np.log2(np.maximum(probability, 1e-300)))
