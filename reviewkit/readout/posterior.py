"""Readings that contradict each other, and every readout weighed by how probable it makes them.

At a given gain each reading leaves an interval of transition levels. Between the gains at which ends of
two such intervals meet their order stays the same, so one gain from each stretch shows every combination
of readings that some readout displays together.

The feasible region takes each reading at its word, the fewest aside, and the meter's statement as a hard
limit. This view takes the statement as a rectangular distribution (JCGM 101:2008, 6.4.2), lets any reading
be a misreading, and takes a gain for the less probable the further it is from 1. The shared error is one
more unknown; it never averages down.

How narrow a region the readings leave is no evidence for or against a misreading: a reviewer looks at the
display and stops where it changes. So each combination of wrong rows counts by how probable so many
misreadings are, and within it all levels count alike.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from reviewkit.metrology import COVERAGE
from reviewkit.readout.feasible_region import FloatArray, Region, gain_range, solve
from reviewkit.readout.model import Model, Reading

BoolArray = npt.NDArray[np.bool_]

MOST_SHARE = 4
"""With more than one reading in this many to doubt [1], no readout of this kind is said to fit. Chosen:
two readings in five may agree by chance, whatever the device displays."""
ABOUT_AS_FEW = 1
"""An explanation with so many doubtful rows more than the fewest is carried where its gain is the simpler
one [1]: "one row and a gain of 0.99, or two rows and none"."""
_MOST_GAINS, _LEAST_GAINS = 4000, 201
"""Gains looked at [1]: all stretches of up to some 45 readings, an even choice of them beyond that; and so
many at least that a level moves by less than a millivolt from one to the next."""
_NO_WIDTH = 1e-12

Way = tuple[int, ...]
"""Rows to set aside, in order."""


@dataclass(frozen=True)
class Explanation:
    """One way to understand the readings.

    Parameters
    ----------
    rows : tuple of int
        Those that would have to be wrong.
    region : Region
        The readouts that display all others.
    """

    rows: Way
    region: Region


@dataclass(frozen=True)
class Explanations:
    """Every explanation that is carried.

    Parameters
    ----------
    carried : tuple of Explanation
        None where no readout fits, a quarter of the readings set aside.
    beyond_bound : bool
        Whether some of them need a gain beyond the bound that was given, or would allow one.
    within_bound : bool
        Whether some gain within the bound explains the readings about as well.
    """

    carried: tuple[Explanation, ...]
    beyond_bound: bool = False
    within_bound: bool = True


def explain(readings: Sequence[Reading], model: Model, *, most: int | None = None) -> Explanations:
    """Return every explanation that needs about the fewest doubtful rows.

    Parameters
    ----------
    most : int, optional
        How many rows may be doubted; a quarter of them by default.

    Notes
    -----
    Looked for with a gain of exactly 1, one within the bound, and one within the widened bound. The
    simpler gain may cost `ABOUT_AS_FEW` rows more.
    """
    allowed = len(readings) // MOST_SHARE if most is None else most
    given = model.gain_bound
    found = {
        bound: fewest(readings, model.with_gain_bound(bound), most=len(readings))
        for bound in sorted({given * 0, given, model.widened_bound})
    }
    count = {bound: len(ways[0]) for bound, ways in found.items() if ways}
    least = min(count.values(), default=math.inf)
    if least > allowed:
        return Explanations(())
    # A gain error of a readout declared to have none is thought of only where it explains much more.
    price = ABOUT_AS_FEW if given else 2 * ABOUT_AS_FEW
    chosen: dict[Way, Fraction] = {}
    for bound in sorted(one for one in count if count[one] <= least + price):
        if given or not bound or count[bound] + price <= count.get(given, math.inf):
            chosen |= dict.fromkeys(found[bound], bound)
    solved = [
        (rows, solve([one for one in readings if one.row not in rows], model.with_gain_bound(bound)))
        for rows, bound in sorted(chosen.items(), key=lambda one: (len(one[0]), one[0]))
    ]
    carried = tuple(Explanation(rows, region) for rows, region in solved if region is not None)
    ends = [end for one in carried for end in (one.region.gain.low, one.region.gain.high)]
    beyond = any(abs(end - 1) > given for end in ends)
    return Explanations(carried, beyond, count.get(given, math.inf) <= least + price)


@dataclass(frozen=True)
class Cells:
    """Small trapezoids of (level, gain), in the reference's scale, in each of which the same rows are wrong.

    Parameters
    ----------
    gain, gain_width : array, shape (n,) [1]
        Middle and width of each.
    low_V, high_V : array, shape (n,) [V]
        Levels between which it lies at its middle gain.
    wrong : array of bool, shape (n, readings)
        Which readings no readout of it displays.
    near : array of bool, same shape
        Which of those are one step off.
    """

    gain: FloatArray
    gain_width: FloatArray
    low_V: FloatArray
    high_V: FloatArray
    wrong: BoolArray
    near: BoolArray


def feasible_cells(readings: Sequence[Reading], model: Model, *, more: int = 0) -> Cells:
    """Return every cell in which no more rows are wrong than the fewest, and so many more."""
    gains, widths = _gains(readings, model)
    low, high = _levels(readings, model, gains)
    ends = np.concatenate([low, high], axis=1)
    order = np.argsort(ends, axis=1)
    count = low.shape[1]
    shared = np.cumsum(np.where(order < count, 1, -1), axis=1)[:, :-1]
    ordered = np.take_along_axis(ends, order, axis=1)
    shared = np.where(np.diff(ordered, axis=1) > _NO_WIDTH, shared, 0)
    one, number = np.nonzero(shared >= max(1, int(shared.max()) - more))
    level = (ordered[one, number] + ordered[one, number + 1])[:, None] / 2
    step = float(model.step_V)
    wrong = (level < low[one]) | (level > high[one])
    near = wrong & (level > low[one] - step) & (level < high[one] + step)
    return Cells(gains[one], widths[one], ordered[one, number], ordered[one, number + 1], wrong, near)


def fewest(readings: Sequence[Reading], model: Model, *, most: int) -> tuple[Way, ...]:
    """Return the smallest sets of rows without which some readout displays all that was read.

    Parameters
    ----------
    most : int
        How many rows may be doubted.

    Returns
    -------
    tuple of tuple of int
        Every smallest set; one empty set where nothing contradicts; nothing where more than `most` rows
        would have to be wrong.
    """
    wrong = np.unique(feasible_cells(readings, model).wrong, axis=0)
    if not len(wrong) or int(wrong[0].sum()) > most:
        return ()
    rows = np.array([reading.row for reading in readings])
    return tuple(sorted(tuple(sorted(int(row) for row in rows[one])) for one in wrong))


def _levels(readings: Sequence[Reading], model: Model, gains: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the lowest and highest transition level that each reading leaves, shape (gains, readings)."""
    middle = float(model.middle_V)
    reference, displayed, noise = (
        np.array([float(value) for value in values])
        for values in zip(*((one.reference_V, one.displayed_V, one.noise_V) for one in readings), strict=True)
    )
    level = middle - displayed + gains[:, None] * (reference - middle)
    spread = gains[:, None] * noise
    return level - spread, level + spread + float(model.step_V)


def _gains(readings: Sequence[Reading], model: Model) -> tuple[FloatArray, FloatArray]:
    """Return middle and width of each stretch of gain in which the order of all ends stays the same."""
    low, high = (float(end) for end in gain_range(model))
    if high <= low:
        return np.array([low]), np.array([_NO_WIDTH])
    first, last = np.concatenate(_levels(readings, model, np.array([low, high])), axis=1)
    slope, start = last - first, first
    one, other = np.triu_indices(len(start), 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        meeting = (start[other] - start[one]) / (slope[one] - slope[other])
    meeting = np.sort(meeting[(meeting > 0) & (meeting < 1)])
    meeting = meeting[np.linspace(0, len(meeting) - 1, min(len(meeting), _MOST_GAINS)).astype(int)]
    edges = np.sort(np.concatenate([meeting, np.linspace(0, 1, _LEAST_GAINS)]))
    edges = edges[np.append(True, np.diff(edges) > _NO_WIDTH)]
    middles, widths = (edges[:-1] + edges[1:]) / 2, np.diff(edges)
    return np.asarray(low + middles * (high - low)), np.asarray(widths * (high - low))


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


def posterior(readings: Sequence[Reading], model: Model) -> Posterior:
    """Return the probability over all readouts, given the readings.

    Parameters
    ----------
    model : Model
        A bound of the gain is that of `GAIN_DEVIATIONS`; beyond it gains are looked at up to the widened
        one. A bound of 0 is taken at its word.

    Notes
    -----
    The prior is flat in the level and in the shared errors, normal in the gain.
    """
    wide = model.with_gain_bound(model.widened_bound) if model.gain_bound else model
    cells = feasible_cells(readings, wide, more=MORE_WRONG)
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
    ratio = np.roots([1, 0, 0, 0, -1, -1]).real.max()  # x⁵ = x + 1
    powers = ratio ** -np.arange(1.0, 5.0)
    return np.asarray((0.5 + powers[:, None] * np.arange(count)) % 1.0)
