"""Readings in, everything they leave open out: the section's computation on plain numbers."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np
import pandas as pd

from reviewkit.metrology.meter import Meter
from reviewkit.readout import feasible_region, next_reading
from reviewkit.readout.feasible_region import FloatArray, Region
from reviewkit.readout.model import Interval, Model, Reading, Reference, around, exact, offsets
from reviewkit.readout.next_reading import Information
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
        return next_reading.information(self.posterior, self.model, noise_V=float(self._next_noise))

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
