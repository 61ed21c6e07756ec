"""The likelihood view: every readout weighed by how probable it makes the readings, misreadings included.

The feasible region takes each reading at its word, the fewest aside, and the meter's statement as a hard
limit. This view takes the statement as a rectangular distribution (JCGM 101:2008, 6.4.2), lets any reading
be a misreading, and takes a gain for the less probable the further it is from 1. The shared error is one
more unknown; it never averages down.

How narrow a region the readings leave is no evidence for or against a misreading: a reviewer looks at the
display and stops where it changes. So each combination of wrong rows counts by how probable so many
misreadings are, and within it all levels count alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reviewkit.metrology import COVERAGE
from reviewkit.readout import outliers
from reviewkit.readout.feasible_region import FloatArray
from reviewkit.readout.model import Model, Reading
from reviewkit.readout.outliers import Cells

MISREAD = ((0.001, 0.6), (0.01, 0.3), (0.1, 0.1))
"""Share of readings that are misread, and how probable it is taken to be before any reading [1]: a careful
reviewer, one who counts blinks in the sun, one in a hurry. Chosen: no published rate for this was found;
tests/benchmarks/readout_honest.py shows that intervals hold with 0 to 3 of 5 to 60 readings misread."""
NEXT_VALUE = 0.5
"""Share of misreadings that are one step off [1], half of them either way; the others are any value of the
working range. Chosen: miscounting by one is the usual slip."""
GAIN_DEVIATIONS = 2.0
"""The bound of the gain lies so many standard deviations from 1 [1]: about one gain in twenty is beyond."""
MORE_WRONG = 2
"""So many rows more than the fewest may be wrong [1]; the next would weigh less than a hundredth."""

_SAMPLES = 4096


@dataclass(frozen=True)
class Posterior:
    """Equally probable readouts.

    Parameters
    ----------
    level_V, gain : array, shape (n,)
        Transition level at the middle of the working range, and gain, in true volts.
    scale_level_V, scale_gain : array, shape (n,)
        The same as the readings see them, the reference's shared error included.
    wrong : dict of int to float
        Probability of each row to be misread.
    """

    level_V: FloatArray
    gain: FloatArray
    scale_level_V: FloatArray
    scale_gain: FloatArray
    wrong: dict[int, float]

    def interval(self, values: FloatArray | None = None, coverage: float = COVERAGE) -> tuple[float, float]:
        """Return the interval that leaves equal probability on either side; of the level by default [V]."""
        tail = (1 - coverage) / 2
        low, high = np.quantile(self.level_V if values is None else values, (tail, 1 - tail))
        return float(low), float(high)

    @property
    def median_V(self) -> float:
        """Median of the transition level [V]."""
        return float(np.median(self.level_V))


def posterior(readings: Sequence[Reading], model: Model) -> Posterior:
    """Return the probability over all readouts, given the readings.

    Parameters
    ----------
    readings : sequence of Reading
    model : Model
        A bound of the gain is that of `GAIN_DEVIATIONS`; beyond it gains are looked at up to the widened
        one. A bound of 0 is taken at its word.

    Notes
    -----
    The prior is flat in the level and in the shared errors, normal in the gain.
    """
    wide = model.with_gain_bound(model.widened_bound) if model.gain_bound else model
    cells = outliers.cells(readings, wide, more=MORE_WRONG)
    weight = _weights(cells, model)
    wrong = dict(zip((one.row for one in readings), (weight @ cells.wrong).tolist(), strict=True))
    picks = np.searchsorted(np.cumsum(weight), (np.arange(_SAMPLES) + 0.5) / _SAMPLES)
    chosen, spread = np.minimum(picks, len(weight) - 1), _even(_SAMPLES)
    scale_gain = cells.gain[chosen] + (spread[0] - 0.5) * cells.gain_width[chosen]
    low, high = cells.low_V[chosen], cells.high_V[chosen]
    scale_level = low + spread[1] * (high - low)
    slope, floor = float(model.reference.slope), float(model.reference.floor)
    if model.gain_bound or not slope:
        percent = 2 * spread[2] - 1
        gain = scale_gain / (1 - slope * percent)
    else:  # what looks like a gain is the meter's percent
        percent, gain = (1 - scale_gain) / slope, np.ones(_SAMPLES)
    error = slope * percent * float(model.middle_V) + floor * (2 * spread[3] - 1)
    return Posterior(scale_level - gain * error, gain, scale_level, scale_gain, wrong)


def _weights(cells: Cells, model: Model) -> FloatArray:
    """Return the probability of each cell."""
    area = cells.gain_width * (cells.high_V - cells.low_V)
    away = (cells.gain - 1) / float(model.gain_bound or 1) * GAIN_DEVIATIONS * bool(model.gain_bound)
    prior = np.exp(-0.5 * away**2)
    alike = np.unique(np.packbits(cells.wrong, axis=1), axis=0, return_inverse=True)[1].ravel()
    mass = np.bincount(alike, area * prior)[alike]
    highest = np.zeros(alike.max() + 1)
    np.maximum.at(highest, alike, prior)
    values = max(2.0, float((model.high_V - model.low_V) / model.step_V))
    slip = np.where(cells.near, NEXT_VALUE / 2, 0.0) + (1 - NEXT_VALUE) / values
    slips = np.exp(np.sum(np.log(slip) * cells.wrong, axis=1))
    wrong, count = cells.wrong.sum(axis=1), cells.wrong.shape[1]
    rates = sum(share * rate**wrong * (1 - rate) ** (count - wrong) for rate, share in MISREAD)
    weight = rates * slips * highest[alike] * area * prior / mass
    return np.asarray(weight / weight.sum())


def _even(count: int) -> FloatArray:
    """Return points evenly spread over four unit intervals: multiples of powers of a golden ratio's kin.

    References
    ----------
    Niederreiter, Random Number Generation and Quasi-Monte Carlo Methods (1992), chapter 3: Kronecker
    sequences; from memory.
    """
    ratio = 1.0
    for _ in range(50):  # the root of x⁵ = x + 1
        ratio = (1 + ratio) ** (1 / 5)
    powers = ratio ** -np.arange(1.0, 5.0)
    return np.asarray((0.5 + powers[:, None] * np.arange(count)) % 1.0)
