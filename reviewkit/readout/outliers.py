"""Readings that contradict each other: the explanations that need about the fewest of them to be wrong.

At a given gain each reading leaves an interval of transition levels. Between the gains at which ends of
two such intervals meet their order stays the same, so one gain from each stretch shows every combination
of readings that some readout displays together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

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
    readings : sequence of Reading
    model : Model
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
        bound: fewest(readings, model.with_gain_bound(bound), most=allowed + 2 * ABOUT_AS_FEW)
        for bound in sorted({given * 0, given, model.widened_bound})
    }
    count = {bound: len(ways[0]) for bound, ways in found.items() if ways}
    least = min(count.values(), default=allowed + 1)
    if least > allowed:
        return Explanations(())
    # A gain error of a readout declared to have none is thought of only where it explains much more.
    price = ABOUT_AS_FEW if given else 2 * ABOUT_AS_FEW
    chosen: dict[Way, Fraction] = {}
    for bound in sorted(one for one in count if count[one] <= least + price):
        if given or not bound or count[bound] + price <= count.get(given, allowed + price):
            chosen |= dict.fromkeys(found[bound], bound)
    solved = [
        (rows, solve([one for one in readings if one.row not in rows], model.with_gain_bound(bound)))
        for rows, bound in sorted(chosen.items(), key=lambda one: (len(one[0]), one[0]))
    ]
    carried = tuple(Explanation(rows, region) for rows, region in solved if region is not None)
    ends = [end for one in carried for end in (one.region.gain.low, one.region.gain.high)]
    beyond = any(abs(end - 1) > given for end in ends)
    return Explanations(carried, beyond, count.get(given, least + price + 1) <= least + price)


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


def cells(readings: Sequence[Reading], model: Model, *, more: int = 0) -> Cells:
    """Return every cell in which no more rows are wrong than the fewest, and so many more.

    Parameters
    ----------
    readings : sequence of Reading
    model : Model
    more : int
    """
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
    readings : sequence of Reading
    model : Model
    most : int
        How many rows may be doubted.

    Returns
    -------
    tuple of tuple of int
        Every smallest set; one empty set where nothing contradicts; nothing where more than `most` rows
        would have to be wrong.
    """
    wrong = np.unique(cells(readings, model).wrong, axis=0)
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
