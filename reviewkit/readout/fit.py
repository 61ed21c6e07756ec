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
from reviewkit.readout import doubt, information, rules, worst
from reviewkit.readout.information import Information
from reviewkit.readout.model import Interval, Model, Reading, Reference, around, exact
from reviewkit.readout.posterior import Posterior, posterior
from reviewkit.readout.region import Region, solve

ENDS = 4
"""Both ends of the range count as read when the lowest and the highest 1/ENDS hold a reading each."""


@dataclass(frozen=True)
class Fit:
    """What a set of readings says about a readout.

    Parameters
    ----------
    model : Model
    readings : tuple of Reading
    ways : tuple of tuple of int
        The smallest sets of rows to doubt: one empty set if nothing contradicts, none at all if no
        readout of this kind fits.
    regions : tuple of Region
        The readouts left, one region for each way.
    lower_at_tie : bool
        Whether only a device fits that shows the lower value exactly at a switching point.
    """

    model: Model
    readings: tuple[Reading, ...]
    ways: tuple[tuple[int, ...], ...]
    regions: tuple[Region, ...]
    lower_at_tie: bool = False

    @property
    def consistent(self) -> bool:
        """Whether a readout of this kind fits at all, at most a few rows set aside."""
        return bool(self.regions)

    @property
    def doubted(self) -> frozenset[int]:
        """Every row that some way sets aside."""
        return frozenset(row for way in self.ways for row in way)

    @property
    def place(self) -> Interval:
        """Switching place at the middle of the working range [V], the reference's error included."""
        return around([region.place for region in self.regions])

    @property
    def scale_place(self) -> Interval:
        """The place in the reference's own scale: what more readings could narrow [V]."""
        return around([region.scale_place for region in self.regions])

    @property
    def gain(self) -> Interval:
        """Gain about the middle of the working range [1]."""
        return around([region.gain for region in self.regions])

    @property
    def read_at_both_ends(self) -> bool:
        """Whether both ends of the working range were read, so that a gain can show."""
        used = [reading.reference_V for reading in self.readings if reading.row not in self.doubted]
        part = (self.model.high_V - self.model.low_V) / ENDS
        return bool(used) and min(used) <= self.model.low_V + part and max(used) >= self.model.high_V - part

    @cached_property
    def offsets(self) -> dict[str, Interval]:
        """Equivalent offset under each rounding rule [V]."""
        place = self.place.swapped() if self.lower_at_tie else self.place
        return rules.offsets(place, self.model.step_V)

    @cached_property
    def posterior(self) -> Posterior:
        """The likelihood view."""
        return posterior(self.readings, self.model, self.regions, self.ways)

    @cached_property
    def information(self) -> Information:
        """What one more reading is worth, at every voltage of the working range."""
        return information.information(self.posterior, noise_V=float(self._next_noise))

    @property
    def _next_noise(self) -> Fraction:
        if self.model.reference.noise_V or not self.readings:
            return self.model.reference.noise_V
        return sorted(reading.noise_V for reading in self.readings)[len(self.readings) // 2]

    @property
    def next_V(self) -> float:
        """The cell voltage to read next [V]."""
        return self.information.next_V

    def largest_error_bounds(self) -> tuple[float, float]:
        """Return the exact bounds of the largest error anywhere in the working range [V]."""
        return worst.bounds(self.regions)

    def largest_error_mean(self) -> float:
        """Return the expected largest error [V]."""
        return float(np.sum(self._errors * self.posterior.place_gain_weight))

    def probability_of_error_up_to(self, limit_V: float) -> float:
        """Return the probability that the largest error is within a limit (JCGM 106)."""
        return float(np.sum(self.posterior.place_gain_weight[self._errors <= limit_V]))

    @cached_property
    def _errors(self) -> worst.FloatArray:
        state = self.posterior
        place, gain = np.broadcast_arrays(state.place_V[..., 0], state.gain[..., 0])
        return worst.largest_error(place, gain, self.model)

    @property
    def least_width_V(self) -> float:
        """Width of the place's interval that no number of readings with this reference can undercut [V]."""
        return float(2 * self.model.reach_V + 2 * self._next_noise)

    def readings_to(self, width_V: float) -> int | None:
        """Return how many more readings leave the place no wider than `width_V`; None if none ever do."""
        now, least = float(self.place.width), self.least_width_V
        if now <= width_V * (1 + 1e-12):
            return 0
        if width_V <= least:
            return None
        return math.ceil(math.log2((now - least) / (width_V - least)) - 1e-9)


def fit_readings(readings: Sequence[Reading], model: Model, *, most: int | None = None) -> Fit:
    """Return what the readings say, the fewest contradicting rows set aside.

    Parameters
    ----------
    readings : sequence of Reading
        At least one.
    model : Model
    most : int, optional
        How many rows may be doubted; a quarter of them by default.

    Notes
    -----
    A device may show the upper value exactly at a switching point (rounding half up, cutting off) or the
    lower one (rounding up). The first is taken unless only the second fits with fewer rows to doubt.
    """
    ways = doubt.fewest(readings, model, most=most)
    lower_at_tie = False
    if ways != ((),):
        other = doubt.fewest(readings, model, lower_at_tie=True, most=most)
        if other and (not ways or len(other[0]) < len(ways[0])):
            ways, lower_at_tie = other, True
    left = [[reading for reading in readings if reading.row not in way] for way in ways]
    solved = [solve(kept, model, lower_at_tie=lower_at_tie) for kept in left]
    regions = tuple(region for region in solved if region is not None)
    return Fit(model, tuple(readings), ways, regions, lower_at_tie)


def fit(
    reference_V: Iterable[float],
    shown_V: Iterable[float],
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
    reference_V, shown_V : iterable of float [V], same length
        A pandas Series gives its index as the rows' numbers; otherwise they count from 1.
    resolution_V : float [V]
        Step of the shown value.
    range_V : tuple of (float, float) [V]
        The cell's working range.
    meter : Meter, optional
        The reference; without it, one without shared error.
    noise_V : float, optional [V]
        Half-width of each reading's own error; half the meter's step if not given.
    gain_bound : float [1]
        How far the device's gain may be from 1.
    most : int, optional
        How many rows may be doubted; a quarter of them by default.

    Returns
    -------
    Fit

    Raises
    ------
    ValueError
        If a shown value is no multiple of the resolution, or the two differ in length.
    """
    reference = Reference.of(meter) if meter else Reference()
    own = reference.noise_V if noise_V is None else exact(noise_V)
    step = exact(resolution_V)
    voltages, values = list(reference_V), list(shown_V)
    labels = reference_V.index if isinstance(reference_V, pd.Series) else range(1, len(voltages) + 1)
    rows = [int(label) for label in labels]
    readings = [
        Reading(row, exact(float(voltage)), exact(float(value)), own)
        for row, voltage, value in zip(rows, voltages, values, strict=True)
    ]
    for reading in readings:
        if reading.shown_V % step != 0:
            raise ValueError(
                f"row {reading.row}: {float(reading.shown_V):g} is no multiple of {resolution_V:g}"
            )
    low, high = range_V
    model = Model(step, exact(low), exact(high), exact(gain_bound), reference)
    return fit_readings(readings, model, most=most)
