"""Where each pulse of a train lies within its rows, and which periods that allows."""

from __future__ import annotations

import numpy as np

from reviewkit.drain.pulse_detection import Detection
from reviewkit.drain.samples import FloatArray, Indices, Samples

_MOST_PAIRS = 400
WINDOW_EDGE = 0.01
"""How far a row's own time may be off, as a share of a row (chosen: a meter's trigger, no source)."""


def placed(
    one: Samples,
    what: Detection,
    number: FloatArray,
    centre_s: FloatArray,
    *,
    period_s: float,
    first_s: float,
    extent_s: float,
) -> tuple[FloatArray, FloatArray]:
    """Return the middle of each pulse of a train, and how far it may lie from there [s].

    Parameters
    ----------
    one : Samples
    what : Detection
    number, centre_s : array, shape (n,)
        Of each cycle that holds any charge: its number, and its centre of charge [s].
    period_s, first_s, extent_s : float [s]
        Of the train, as roughly known.
    """
    turns = np.round((one.time_s - first_s) / period_s)
    orders = np.minimum(np.searchsorted(number, turns), len(number) - 1)
    reach = extent_s / 2 + one.interval_s
    inside = (number[orders] == turns) & (what.above_A > what.threshold_A / 2)
    inside &= np.abs(one.time_s - centre_s[orders]) <= reach
    middles, unknown = centre_s.copy(), np.full(len(number), one.interval_s / 2)
    rows = np.flatnonzero(inside)
    which, begins = np.unique(orders[rows], return_index=True)
    groups = np.split(rows, begins[1:]) if len(which) else []
    for order, group in zip(which, groups, strict=True):
        middles[order], unknown[order] = middle(one, what, group)
    return middles, unknown


def middles(one: Samples, what: Detection) -> tuple[FloatArray, FloatArray]:
    """Return the middle of every pulse that stands out, and how far it may lie from there [s]."""
    found = [
        middle(one, what, np.arange(begin, end + 1)) for begin, end in zip(what.first, what.last, strict=True)
    ]
    return np.array([at for at, _ in found]), np.array([off for _, off in found])


def middle(one: Samples, what: Detection, rows: Indices) -> tuple[float, float]:
    """Return the middle of the pulse in a few rows, and how far it may lie from there [s].

    Notes
    -----
    A pulse within one row may lie anywhere in it. One that touches two shows by its share in each on which
    side of their border its middle lies. A longer one has rows that it fills: what the rows at its two ends
    hold says where it began and ended.
    """
    clear = rows[what.above_A[rows] > what.threshold_A]
    # What lies below the threshold in a row beside the pulse is not seen to be part of it: it may be noise.
    unseen = one.interval_s * what.threshold_A / 2
    if len(clear) and (clear[0] > rows[0] or clear[-1] < rows[-1]):
        rows, unseen = rows[(rows >= clear[0]) & (rows <= clear[-1])], 2 * unseen
    first, last, width = int(rows[0]), int(rows[-1]), one.interval_s
    charge = float(what.above_A[rows] @ one.width_s[rows])
    if last == first:
        return float(one.time_s[first]), width / 2
    if last - first == 1:
        border = float(one.time_s[first] + one.time_s[last]) / 2
        away = float(what.above_A[rows] @ (one.time_s[rows] - border)) * width / charge
        return border + away, abs(away) + width * unseen / charge
    full = max(float(np.median(what.above_A[first + 1 : last])), what.threshold_A)
    shares = np.clip(what.above_A[[first, last]] / full, 0.0, 1.0) * width
    begin = float(one.time_s[first] + one.width_s[first] / 2 - shares[0])
    end = float(one.time_s[last] - one.width_s[last] / 2 + shares[1])
    return (begin + end) / 2, unseen / full + WINDOW_EDGE * width


def allowed(number: FloatArray, centre_s: FloatArray, unknown_s: FloatArray) -> tuple[float, float]:
    """Return the shortest and the longest period with every centre within its reach of the line [s]."""
    if len(number) > 2 * _MOST_PAIRS:
        ends = np.r_[0:_MOST_PAIRS, len(number) - _MOST_PAIRS : len(number)]
        number, centre_s, unknown_s = number[ends], centre_s[ends], unknown_s[ends]
    apart = number[None, :] - number[:, None]
    later = apart > 0
    between = (centre_s[None, :] - centre_s[:, None])[later]
    both, steps = (unknown_s[None, :] + unknown_s[:, None])[later], apart[later]
    return float(np.max((between - both) / steps)), float(np.min((between + both) / steps))
