"""What to read next, and what to prepare before any reading.

One more reading is worth the expected drop in entropy, in bits, at every voltage; before the first one
bisection of the step is the best plan, near both ends of the range where a gain is to be found as well.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from reviewkit.metrology.meter import Meter
from reviewkit.readout.feasible_region import FloatArray
from reviewkit.readout.model import Model, Reference, exact
from reviewkit.readout.posterior import Posterior

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


def information(state: Posterior, model: Model, *, noise_V: float) -> Information:
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
    transition is least known (with a gain that is towards an end of the range), then the one
    nearest the middle.
    """
    level, gain = _nodes(state)
    voltage = _candidates(model)
    deviation = max(noise_V / math.sqrt(3), 1e-6)

    def bits_at(voltage_V: FloatArray) -> FloatArray:
        device = _steps_above(voltage_V, level, gain, model)
        return _mutual_information(device, deviation / float(model.step_V))

    bits = bits_at(voltage)
    spread = np.std(_steps_above(voltage, level, gain, model), axis=1)
    good = np.flatnonzero(bits >= NEARLY_BEST * bits.max())
    # To the millivolt: a finer difference is no reason to go to an end of the range.
    known = np.round(spread[good] * float(model.step_V) / 0.001)
    order = np.lexsort((np.abs(voltage[good] - float(model.middle_V)), -known))
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


def _steps_above(voltage_V: FloatArray, level: FloatArray, gain: FloatArray, model: Model) -> FloatArray:
    """Return how many steps the device's own value is above its transitions, shape (n, nodes)."""
    middle = float(model.middle_V)
    return np.asarray((middle + gain * (voltage_V[:, None] - middle) - level) / float(model.step_V))


def _candidates(model: Model) -> FloatArray:
    """Return voltages across the working range, some fifty to a step, in whole tenths of a millivolt."""
    spacing = max(model.step_V / _PER_STEP, (model.high_V - model.low_V) / 3000, Fraction(1, 10_000))
    count = int((model.high_V - model.low_V) / spacing)
    return np.round(float(model.low_V) + float(spacing) * np.arange(count + 1), 4)


def _nodes(state: Posterior) -> tuple[FloatArray, FloatArray]:
    """Return some of the equally probable readouts, in the reference's scale: evenly spread in level."""
    order = np.argsort(state.scale_level_V, kind="stable")
    chosen = order[((np.arange(_NODES) + 0.5) / _NODES * len(order)).astype(int)]
    return state.scale_level_V[chosen], state.scale_gain[chosen]


def _mutual_information(device: FloatArray, deviation: float) -> FloatArray:
    """Return, for each row, the entropy of what will be displayed less what noise alone would cause [bit]."""
    from scipy.special import ndtr  # only where information is asked for

    level = np.floor(device)
    fraction = (device - level).ravel()
    lowest = level.min() - 1
    count = int(level.max() - lowest) + 2
    size = len(device) * count
    where = ((level - lowest).astype(np.intp) + np.arange(len(device))[:, None] * count).ravel()
    total = np.bincount(where, minlength=size).astype(float)
    # Only next to a transition can noise change what is shown.
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


@dataclass(frozen=True)
class Plan:
    """What to prepare for the readout's part of a bench session.

    Parameters
    ----------
    resolution_V : float [V]
    least_width_V : float [V]
        The width that the reference's accuracy alone leaves.
    first_V : tuple of float [V]
        Where to begin: one voltage, or one near each end of the range where a gain is to be found.
    changes_V : tuple of float [V]
        How far to move the cell after each reading: up while the displayed value is the lower one, down
        when it is the upper.
    readings : int or None
        How many readings that takes; None where no number is enough.
    all_at_once_V : tuple of float [V]
        Voltages that reach the width if all cells are prepared before the first reading.
    """

    resolution_V: float
    least_width_V: float
    first_V: tuple[float, ...]
    changes_V: tuple[float, ...]
    readings: int | None
    all_at_once_V: tuple[float, ...]

    @property
    def reachable(self) -> bool:
        """Whether this reference can reach the wanted width at all."""
        return self.readings is not None


def plan(
    *,
    resolution_V: float = 0.1,
    range_V: tuple[float, float] = (3.0, 4.2),
    wanted_width_V: float = 0.02,
    meter: Meter | None = None,
    gain: bool = False,
) -> Plan:
    """Return the voltages to prepare.

    Parameters
    ----------
    resolution_V : float [V]
        Step of the displayed value.
    range_V : tuple of (float, float) [V]
        The cell's working range.
    wanted_width_V : float [V]
        How wide the interval of the transition level may be.
    meter : Meter, optional
        The reference; without it, one without error.
    gain : bool
        Whether to read at both ends of the range, so that a gain shows.

    Raises
    ------
    ValueError
        If step, width or range are not positive.

    Notes
    -----
    The first reading leaves one whole step for the transition level, and each further one at its middle
    halves that: bisection, and no plan does better, because a reading has two outcomes. Prepared all at
    once the voltages must instead differ within the step by no more than the width.
    """
    low, high = range_V
    if resolution_V <= 0 or wanted_width_V <= 0 or high <= low:
        raise ValueError("a plan needs a positive step and width, and a range from low to high")
    reference = Reference.of(meter) if meter else Reference()
    middle = round((low + high) / 2, 3)
    noise = float(reference.noise_V)
    least = 2 * float(reference.half_width(exact(middle))) + 2 * noise
    left = wanted_width_V - least
    halvings = max(0, math.ceil(math.log2(resolution_V / left) - 1e-9)) if left > 0 else None
    first = _ends(low, high, resolution_V) if gain else (middle,)
    at_once = _spread(first, low, high, resolution_V, left) if left > 0 else ()
    return Plan(
        resolution_V=resolution_V,
        least_width_V=least,
        first_V=first,
        changes_V=tuple(resolution_V / 2**number for number in range(1, (halvings or 0) + 1)),
        readings=None if halvings is None else len(first) * (1 + halvings),
        all_at_once_V=at_once,
    )


def _ends(low: float, high: float, step: float) -> tuple[float, float]:
    """Return a voltage near each end with room for a step on either side."""
    room = min(step, (high - low) / 4)
    return round(low + room, 3), round(high - room, 3)


def _spread(first: tuple[float, ...], low: float, high: float, step: float, left: float) -> tuple[float, ...]:
    """Return voltages whose places within the step are evenly spread, each cluster within one step.

    The gap between neighbours is the width they leave, so there are r / width of them.
    """
    count = max(2, math.ceil(step / left - 1e-9))
    voltages = []
    for centre in first:
        start = min(max(centre - step / 2, low), max(low, high - step))
        voltages += [round(start + step * number / count, 4) for number in range(count)]
    return tuple(voltages)
