"""Where each pulse of a train lies within its rows, and which periods that allows."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from reviewkit.drain.rows import FloatArray, Rows
from reviewkit.drain.seen import Seen

_MOST_PAIRS = 400
_JITTER = 0.01
"""How far a row's own time may be off, as a share of a row."""

Indices = npt.NDArray[np.intp]


def placed(
    one: Rows,
    what: Seen,
    number: FloatArray,
    centre_s: FloatArray,
    *,
    period_s: float,
    first_s: float,
    extent_s: float,
) -> tuple[FloatArray, FloatArray]:
    """Return the middle of each pulse, and how far it may lie from there [s].

    Parameters
    ----------
    one : Rows
    what : Seen
    number, centre_s : array, shape (n,)
        Of each cycle that holds any charge: its number, and its centre of charge [s].
    period_s, first_s, extent_s : float [s]
        Of the train, as roughly known.

    Notes
    -----
    A pulse within one row may lie anywhere in it. One that touches two shows by its share in each on which
    side of their border its middle lies. A longer one has rows that it fills: what the rows at its two ends
    hold says where it began and ended.
    """
    turns = np.round((one.time_s - first_s) / period_s)
    places = np.searchsorted(number, turns)
    places = np.minimum(places, len(number) - 1)
    reach = extent_s / 2 + one.interval_s
    inside = (number[places] == turns) & (what.above_A > what.threshold_A / 2)
    inside &= np.abs(one.time_s - centre_s[places]) <= reach
    placed, doubt = centre_s.copy(), np.full(len(number), one.interval_s / 2)
    rows = np.flatnonzero(inside)
    for place, group in zip(*_grouped(places[rows], rows), strict=True):
        placed[place], doubt[place] = _middle(one, what, group)
    return placed, doubt


def _grouped(places: Indices, rows: Indices) -> tuple[Indices, list[Indices]]:
    """Return each pulse's place and its rows."""
    which, begins = np.unique(places, return_index=True)
    return which, np.split(rows, begins[1:])


def _middle(one: Rows, what: Seen, rows: Indices) -> tuple[float, float]:
    """Return the middle of the pulse in a few rows, and how far it may lie from there [s]."""
    first, last, width = int(rows[0]), int(rows[-1]), one.interval_s
    charge = float(what.above_A[rows] @ one.width_s[rows])
    # What lies below the threshold in a row beside the pulse is not seen to be part of it.
    unseen = width * what.threshold_A / 2
    if last == first:
        return float(one.time_s[first]), width / 2
    if last - first == 1:
        border = float(one.time_s[first] + one.time_s[last]) / 2
        away = float(what.above_A[rows] @ (one.time_s[rows] - border)) * width / charge
        return border + away, abs(away) + width * unseen / charge
    full = max(float(np.median(what.above_A[first + 1 : last])), what.threshold_A)
    shares = np.minimum(what.above_A[[first, last]] / full, 1.0) * width
    begin = float(one.time_s[first] + one.width_s[first] / 2 - shares[0])
    end = float(one.time_s[last] - one.width_s[last] / 2 + shares[1])
    return (begin + end) / 2, unseen / full + _JITTER * width


def allowed(number: FloatArray, centre_s: FloatArray, doubt_s: FloatArray) -> tuple[float, float]:
    """Return the shortest and the longest period with every centre within its doubt of the line [s]."""
    if len(number) > 2 * _MOST_PAIRS:
        ends = np.r_[0:_MOST_PAIRS, len(number) - _MOST_PAIRS : len(number)]
        number, centre_s, doubt_s = number[ends], centre_s[ends], doubt_s[ends]
    apart = number[None, :] - number[:, None]
    later = apart > 0
    between = (centre_s[None, :] - centre_s[:, None])[later]
    both, steps = (doubt_s[None, :] + doubt_s[:, None])[later], apart[later]
    return float(np.max((between - both) / steps)), float(np.min((between + both) / steps))
