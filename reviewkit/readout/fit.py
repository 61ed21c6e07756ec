"""Readings in, everything they leave open out, and what to read next: on plain numbers.

One more reading is worth the expected drop in entropy, in bits, at every voltage; before the first one
bisection of the step is the best plan, near both ends of the range where a gain is to be found as well.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.metrology.meter import Meter
from reviewkit.readout import feasible_region
from reviewkit.readout.feasible_region import FloatArray, Region
from reviewkit.readout.model import Interval, Model, Reading, Reference, around, exact, offsets
from reviewkit.readout.posterior import Explanations, Posterior, explain, posterior

ENDS = 4
"""Both ends of the range count as read when its lowest and its highest 1/ENDS hold a reading each [1].
Chosen: half of the range between two readings tells a gain twice as well as a quarter."""
SURE = 0.95
"""Probability from which on a row may be named doubtful [1]: where all explanations doubt it, too."""


@dataclass(frozen=True)
class Fit:
    """What a set of readings says about a readout.

    Parameters
    ----------
    explanations : Explanations
        Every way to understand the readings that is carried.
    """

    model: Model
    readings: tuple[Reading, ...]
    explanations: Explanations

    @property
    def ways(self) -> tuple[tuple[int, ...], ...]:
        """The rows that each explanation sets aside; none at all if no readout of this kind fits."""
        return tuple(one.rows for one in self.explanations.carried)

    @property
    def regions(self) -> tuple[Region, ...]:
        """The readouts left, one region for each explanation."""
        return tuple(one.region for one in self.explanations.carried)

    @property
    def consistent(self) -> bool:
        """Whether a readout of this kind fits at all, at most a few rows set aside."""
        return bool(self.regions)

    @property
    def contradictory(self) -> bool:
        """Whether some reading has to be wrong."""
        return () not in self.ways

    @cached_property
    def doubted(self) -> frozenset[int]:
        """The rows that are wrong under every explanation, and probably so."""
        common = frozenset.intersection(*map(frozenset, self.ways)) if self.ways else frozenset()
        return frozenset(row for row in common if self.posterior.wrong[row] >= SURE)

    @property
    def hard_transition(self) -> Interval:
        """Transition level at the middle of the range [V], readings and statement taken at their word."""
        return around(region.transition for region in self.regions)

    @cached_property
    def transition(self) -> Interval:
        """Transition level [V] that holds in both views, the reference's error included."""
        return _with(self.hard_transition, self.posterior.interval())

    @cached_property
    def gain(self) -> Interval:
        """Gain about the middle of the working range [1], in both views."""
        hard = around(region.gain for region in self.regions)
        return _with(hard, self.posterior.interval(self.posterior.gain))

    @property
    def views_agree(self) -> bool:
        """Whether the likelihood view stays within what the readings, taken at their word, leave."""
        low, high = self.posterior.interval()
        return self.hard_transition.low <= _rounded(low) and _rounded(high) <= self.hard_transition.high

    @property
    def read_at_both_ends(self) -> bool:
        """Whether both ends of the working range were read, so that a gain can show."""
        used = [reading.reference_V for reading in self.readings if reading.row not in self.doubted]
        part = (self.model.high_V - self.model.low_V) / ENDS
        return bool(used) and min(used) <= self.model.low_V + part and max(used) >= self.model.high_V - part

    @cached_property
    def offsets(self) -> dict[str, Interval]:
        """Equivalent offset under each rounding rule [V]."""
        return offsets(self.transition, self.model.step_V)

    @cached_property
    def posterior(self) -> Posterior:
        """The likelihood view."""
        within = self.explanations.within_bound
        return posterior(
            self.readings, self.model if within else self.model.with_gain_bound(self.model.widened_bound)
        )

    @cached_property
    def information(self) -> Information:
        """What one more reading is worth, at every voltage of the working range."""
        return information(self.posterior, self.model, noise_V=float(self._next_noise))

    @property
    def _next_noise(self) -> Fraction:
        if self.model.reference.noise_V or not self.readings:
            return self.model.reference.noise_V
        return sorted(reading.noise_V for reading in self.readings)[len(self.readings) // 2]

    @property
    def next_V(self) -> float:
        """The cell voltage to read next [V]."""
        return self.information.next_V

    @cached_property
    def maximum_error(self) -> tuple[float, float, float]:
        """Least, expected and greatest maximum error in the working range [V], in both views."""
        hard = [region.maximum_error() for region in self.regions]
        low, high = self.posterior.interval(self._errors)
        low, high = min(low, *(one for one, _ in hard)), max(high, *(one for _, one in hard))
        return round(low, 9), min(max(float(np.mean(self._errors)), low), high), round(high, 9)

    def probability_of_error_up_to(self, limit_V: float) -> float:
        """Return the probability that the maximum error is within a limit (JCGM 106)."""
        return float(np.mean(self._errors <= limit_V))

    @cached_property
    def _errors(self) -> FloatArray:
        return feasible_region.maximum_error(self.posterior.level_V, self.posterior.gain, self.model)

    @property
    def least_width_V(self) -> float:
        """Width of the level's interval that no number of readings with this reference can undercut [V]."""
        return float(2 * self.model.reach_V + 2 * self._next_noise)

    def readings_to(self, width_V: float) -> int | None:
        """Return how many more readings, at least, leave a level no wider than `width_V`; None if none do.

        Notes
        -----
        A reading has two outcomes: it halves what is open at best.
        """
        now, least = float(self.transition.width), self.least_width_V
        if now <= width_V * (1 + 1e-12):
            return 0
        if width_V <= least:
            return None
        return max(1, math.ceil(math.log2((now - least) / (width_V - least)) - 1e-9))


def _rounded(value: float) -> Fraction:
    return exact(round(value, 9))


def _with(hard: Interval, likely: tuple[float, float]) -> Interval:
    """Return the interval that holds both views."""
    return around([hard, Interval(_rounded(likely[0]), _rounded(likely[1]))])


def fit_readings(readings: Sequence[Reading], model: Model, *, most: int | None = None) -> Fit:
    """Return what the readings say, every explanation with about the fewest doubtful rows carried.

    Parameters
    ----------
    readings : sequence of Reading
        At least one.
    most : int, optional
        How many rows may be doubted; a quarter of them by default.
    """
    return Fit(model, tuple(readings), explain(readings, model, most=most))


def fit(
    reference_V: Iterable[float],
    displayed_V: Iterable[float],
    *,
    resolution_V: float,
    range_V: tuple[float, float] = (3.0, 4.2),
    meter: Meter | None = None,
    noise_V: float | None = None,
    gain_bound: float = 0.0,
    most: int | None = None,
) -> Fit:
    """Return what readings of a device beside a reference say about its readout.

    Parameters
    ----------
    reference_V, displayed_V : iterable of float [V], same length
        A pandas Series gives its index as the rows' numbers; otherwise they count from 1.
    resolution_V : float [V]
        Step of the displayed value.
    range_V : tuple of (float, float) [V]
        The cell's working range.
    meter : Meter, optional
        The reference; without it, one without shared error.
    noise_V : float, optional [V]
        Half-width of each reading's own error; half the meter's step if not given.
    gain_bound : float [1]
        How far the device's gain may be from 1; 0 for a readout that has an offset only.
    most : int, optional
        How many rows may be doubted; a quarter of them by default.

    Raises
    ------
    ValueError
        If a displayed value is no multiple of the resolution, or the two differ in length.
    """
    reference = Reference.of(meter) if meter else Reference()
    own = reference.noise_V if noise_V is None else exact(noise_V)
    step = exact(resolution_V)
    voltages, values = list(reference_V), list(displayed_V)
    labels = reference_V.index if isinstance(reference_V, pd.Series) else range(1, len(voltages) + 1)
    rows = [int(label) for label in labels]
    readings = [
        Reading(row, exact(float(voltage)), exact(float(value)), own)
        for row, voltage, value in zip(rows, voltages, values, strict=True)
    ]
    for reading in readings:
        if reading.displayed_V % step != 0:
            raise ValueError(
                f"row {reading.row}: {float(reading.displayed_V):g} is no multiple of {resolution_V:g}"
            )
    low, high = range_V
    model = Model(step, exact(low), exact(high), exact(gain_bound), reference)
    return fit_readings(readings, model, most=most)


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
    own = _entropy(np.stack([down, np.maximum(1 - down - up, 0.0), up])).sum(axis=0)
    noise_alone = np.bincount(where[near] // count, own, minlength=len(device)) / device.shape[1]
    shown = _entropy(np.maximum(total, 0.0).reshape(len(device), count) / device.shape[1]).sum(axis=1)
    return np.asarray(np.maximum(shown - noise_alone, 0.0))


def _entropy(probability: FloatArray) -> FloatArray:
    from scipy.special import entr

    return np.asarray(entr(probability) / np.log(2))


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
