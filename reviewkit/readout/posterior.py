"""The likelihood view: a reference with normally distributed error, seen through the device's steps.

The exact view takes the meter's statement as a hard limit; this one takes it as a standard uncertainty
(half-width / √3, GUM 4.3.7). The shared error is one more unknown beside place and gain, and is summed
over; it never averages down.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from reviewkit.metrology import COVERAGE
from reviewkit.metrology.normal import log_between
from reviewkit.readout.model import Model, Reading, around
from reviewkit.readout.region import Region

FloatArray = npt.NDArray[np.float64]

_PLACES, _GAINS, _SHARED = 400, 25, 31
_FAR = 3.5
"""Standard deviations of the shared error that are summed over."""


@dataclass(frozen=True)
class Posterior:
    """Probability over switching place, gain and the reference's shared error, on a grid.

    Parameters
    ----------
    model : Model
    place_V : array, shape (p, 1, 1)
    gain : array, shape (1, g, 1)
    shared : array, shape (1, 1, s)
        Shared error as a share of its half-width.
    weight : array, shape (p, g, s)
        Sums to 1.
    """

    model: Model
    place_V: FloatArray
    gain: FloatArray
    shared: FloatArray
    weight: FloatArray

    @cached_property
    def place_weight(self) -> FloatArray:
        """Probability of each place, shape (p,)."""
        return np.asarray(self.weight.sum(axis=(1, 2)))

    @cached_property
    def place_gain_weight(self) -> FloatArray:
        """Probability of each place and gain, shape (p, g)."""
        return np.asarray(self.weight.sum(axis=2))

    def interval(self, coverage: float = COVERAGE) -> tuple[float, float]:
        """Return the interval of the place that leaves equal probability on either side [V]."""
        edges, cumulated = self._cumulated()
        tail = (1 - coverage) / 2
        return (
            float(np.interp(tail, cumulated, edges)),
            float(np.interp(1 - tail, cumulated, edges)),
        )

    @property
    def median_V(self) -> float:
        """Median of the place [V]."""
        edges, cumulated = self._cumulated()
        return float(np.interp(0.5, cumulated, edges))

    def _cumulated(self) -> tuple[FloatArray, FloatArray]:
        """Return the edges between the grid's places and the probability below each."""
        places = self.place_V.ravel()
        half = (places[1] - places[0]) / 2
        return np.append(places - half, places[-1] + half), np.append(0.0, np.cumsum(self.place_weight))

    def in_reference_scale(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return place, gain and probability as the readings see them, the shared error included."""
        shift = self.gain * self.shared
        place = self.place_V + shift * float(self.model.reach_V)
        gain = np.broadcast_to(self.gain - shift * float(self.model.reference.slope), place.shape)
        return place.ravel(), gain.ravel(), self.weight.ravel()


def posterior(
    readings: Sequence[Reading],
    model: Model,
    regions: Sequence[Region],
    ways: Sequence[Sequence[int]] = ((),),
) -> Posterior:
    """Return the probability over all readouts, given the readings.

    Parameters
    ----------
    readings : sequence of Reading
    model : Model
    regions : sequence of Region
        The exact view, which says where to look.
    ways : sequence of sequence of int
        Each the rows to leave out; several ways count alike, and so many of the readings as remain
        decide between them.

    Notes
    -----
    The prior is flat in place, flat in gain within its bound, normal in the shared error.
    """
    place, gain, shared = _grid(readings, model, regions)
    blur = _blur(place, gain, shared, model)
    logs = {row.row: _log_likelihood(row, model, (place, gain, shared), blur) for row in readings}
    prior = -0.5 * (shared * math.sqrt(3)) ** 2
    weight = np.zeros(np.broadcast_shapes(place.shape, gain.shape, shared.shape))
    for way in ways:
        log = sum((logs[row] for row in logs if row not in set(way)), np.zeros_like(weight)) + prior
        weight += np.exp(log - log.max())
    return Posterior(model, place, gain, shared, weight / weight.sum())


def _grid(
    readings: Sequence[Reading], model: Model, regions: Sequence[Region]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    span = around([region.place for region in regions])
    noise = max((float(reading.noise_V) for reading in readings), default=0.0)
    margin = 1.2 * float(model.reach_V) + 3 * noise + 0.002 * float(model.step_V)
    place = np.linspace(float(span.low) - margin, float(span.high) + margin, _PLACES)
    bound = float(model.gain_bound)
    gain = 1 + bound * (2 * np.arange(_GAINS) + 1 - _GAINS) / _GAINS if bound else np.ones(1)
    shared = np.linspace(-_FAR, _FAR, _SHARED) / math.sqrt(3) if model.reach_V else np.zeros(1)
    return place[:, None, None], gain[None, :, None], shared[None, None, :]


def _blur(place: FloatArray, gain: FloatArray, shared: FloatArray, model: Model) -> float:
    """Return half the grid's own coarseness in volts: no finer noise could be seen on it."""
    span = float(model.high_V - model.low_V) / 2
    steps = [
        float(place[1, 0, 0] - place[0, 0, 0]),
        float(gain[0, 1, 0] - gain[0, 0, 0]) * span if gain.size > 1 else 0.0,
        float(shared[0, 0, 1] - shared[0, 0, 0]) * float(model.reach_V) if shared.size > 1 else 0.0,
    ]
    return 0.5 * math.hypot(*steps)


def _log_likelihood(
    reading: Reading, model: Model, grid: tuple[FloatArray, FloatArray, FloatArray], blur: float
) -> FloatArray:
    """Return log P(shown | place, gain, shared error, reference) on the grid."""
    place, gain, shared = grid
    reference, middle = float(reading.reference_V), float(model.middle_V)
    error = shared * float(model.reference.half_width(reading.reference_V))
    device = middle + gain * (reference - error - middle)
    spread = math.hypot(float(reading.noise_V) / math.sqrt(3), blur)
    upper = (float(reading.shown_V) + place - device) / spread
    return log_between(upper - float(model.step_V) / spread, upper)
