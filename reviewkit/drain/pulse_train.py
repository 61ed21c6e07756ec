"""The pulse train that the rows show: where each pulse lies in its rows, its charge, and the period.

The strongest line of the spectrum is the train's own rate: averaging over each row weakens the harmonics,
also those folded back, more than the fundamental. Each pulse's centre of charge is then found by itself, and
the period from the straight line that all centres allow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reviewkit.drain.samples import Detection, Flags, FloatArray, Indices, Samples

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


LEAST_PULSES = 3
"""A period needs at least this many pulses."""
ALONE_FROM_S = 0.25
"""Rows at least this far apart may show the folded image of a faster train."""
_DENSE = 0.47
"""Share of rows above half height from which a train may be the image of a faster one."""
_PRESENT = 0.8
"""Share of the cycles that must show a pulse (chosen: weak ones may fall below the threshold)."""
_STRONG = 0.3
"""A cycle holds a pulse from this share of the usual charge (chosen)."""
_SLACKS = (1.0, 1.5)
"""How far the pulses' reach is widened for what noise may do (chosen; `tests/benchmarks/drain_kinds.py`)."""
LOOSE = 10.0
"""Stands for half a row's reach, in which pulses that are no rectangles lie."""
_PAD = 8
"""A spectrum is taken this many times as fine as the log's length gives it."""
_HARMONICS = 12
"""Multiples of the strongest line's period that are tried."""
_SPECTRUM_ROWS = 1 << 17
"""Rows whose spectrum is taken; a longer log is followed from there."""


@dataclass(frozen=True)
class Train:
    """A regular train as the rows show it.

    Parameters
    ----------
    period_s : float [s]
    period_half_width_s : float [s]
        The true period lies within this of `period_s`.
    first_s : float [s]
        Centre of the pulse of cycle 0.
    cycles : int
        Complete cycles in the log.
    charge_As : array, shape (cycles,) [A·s]
        Charge above the low level in each complete cycle.
    centre_s : array, shape (cycles,) [s]
    extent_s : float [s]
        The longest stretch of rows that one pulse touches.
    folded : bool
        Whether a faster train than the rows can show would look the same.
    slack : float
        By what factor the pulses' reach within their rows had to be widened for one period to fit them all;
        `LOOSE`: half a row each; infinite: none fits.
    """

    period_s: float
    period_half_width_s: float
    first_s: float
    cycles: int
    charge_As: FloatArray
    centre_s: FloatArray
    extent_s: float
    folded: bool
    slack: float

    def offset_s(self, time_s: FloatArray) -> FloatArray:
        """Return the time of each row from the centre of its cycle's pulse, −period/2 to period/2 [s]."""
        turns = (time_s - self.first_s) / self.period_s
        return np.asarray((turns - np.round(turns)) * self.period_s, dtype=float)


def find(one: Samples, what: Detection) -> Train | None:
    """Return the regular train in the rows, or None if there is none that they bear out."""
    if what.pulses < LEAST_PULSES:
        return None
    line = strongest(one, what.above_A)
    if line is None:
        return None
    weight = np.where(what.above_A > what.threshold_A / 2, what.above_A, 0.0) * one.width_s
    found: Train | None = None
    # Of short pulses the first harmonics are nearly as strong as the fundamental.
    for multiple in range(1, _HARMONICS + 1):
        train = _locked(one, what, weight, line * multiple)
        if train is not None and train.slack <= LOOSE:
            return train
        if found is None or (train is not None and train.slack < found.slack):
            found = train
    return found


def _locked(one: Samples, what: Detection, weight: FloatArray, period_s: float) -> Train | None:
    """Return the train whose period is near `period_s`, if the rows bear it out."""
    period, held = period_s, min(len(one), _SPECTRUM_ROWS)
    first = _phase(one.time_s[:held], weight[:held], period)
    while True:
        line = _followed(one.time_s[:held], weight[:held], period, first, 2 * one.interval_s)
        if line is None:
            return None
        period, first = line
        if held == len(one):
            return _train(one, what, weight, period, first)
        # A period found in a part of the log is good enough to follow the train a few times as far.
        held = min(len(one), 4 * held)


def _followed(
    time_s: FloatArray, weight: FloatArray, period_s: float, first_s: float, least_reach_s: float
) -> tuple[float, float] | None:
    """Return period and first centre after a few rounds of looking ever closer to each pulse."""
    period, first, reach = period_s, first_s, period_s / 2
    for _ in range(4):
        line = _line(time_s, weight, period, first, reach)
        if line is None:
            return None
        period, first = line
        reach = max(min(reach, 0.5 * period) * 0.7, least_reach_s)
    return period, first


def strongest(one: Samples, above_A: FloatArray) -> float | None:
    """Return the period of the strongest line in the spectrum [s]."""
    step = one.interval_s
    index = np.round((one.time_s - one.time_s[0]) / step).astype(np.int64)
    part = index < _SPECTRUM_ROWS
    even = np.zeros(int(index[part][-1]) + 1)
    even[index[part]] = above_A[part] - above_A[part].mean()
    size = 1 << (_PAD * len(even) - 1).bit_length()
    power = np.abs(np.fft.rfft(even, size)) ** 2
    lowest = int(np.ceil(1.5 * size / len(even)))
    if lowest >= len(power) - 1:
        return None
    peak = lowest + int(np.argmax(power[lowest:]))
    shift = 0.0
    if lowest < peak < len(power) - 1:
        left, middle, right = power[peak - 1 : peak + 2]
        bend = left - 2 * middle + right
        shift = 0.5 * (left - right) / bend if bend else 0.0
    return float(size * step / (peak + shift))


def _phase(time_s: FloatArray, weight: FloatArray, period_s: float) -> float:
    """Return the centre of the first pulse from the rows' mean phase [s]."""
    turn = np.angle(np.sum(weight * np.exp(2j * np.pi * (time_s - time_s[0]) / period_s)))
    return float(time_s[0] + (turn / (2 * np.pi)) % 1.0 * period_s)


def _centres(
    time_s: FloatArray, weight: FloatArray, period_s: float, first_s: float, reach_s: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return number, centre of charge and charge of every cycle that holds any."""
    number = np.round((time_s - first_s) / period_s)
    near = np.abs(time_s - first_s - number * period_s) <= reach_s
    least = int(number.min())
    index = (number - least).astype(np.int64)
    kept = np.where(near, weight, 0.0)
    charge = np.bincount(index, kept)
    moment = np.bincount(index, kept * time_s)
    holds = charge > 0
    number = np.flatnonzero(holds).astype(np.float64) + least
    return number, moment[holds] / charge[holds], charge[holds].astype(np.float64)


def _line(
    time_s: FloatArray, weight: FloatArray, period_s: float, first_s: float, reach_s: float
) -> tuple[float, float] | None:
    number, centre, charge = _centres(time_s, weight, period_s, first_s, reach_s)
    strong = charge > 0.3 * np.median(charge) if len(charge) else np.zeros(0, dtype=bool)
    if strong.sum() < LEAST_PULSES:
        return None
    slope, start = np.polyfit(number[strong], centre[strong], 1)
    return (float(slope), float(start)) if slope > 0 else None


def _train(
    one: Samples, what: Detection, weight: FloatArray, period_s: float, first_s: float
) -> Train | None:
    number, centre, charge = _centres(one.time_s, weight, period_s, first_s, period_s / 2)
    begin, end = one.begin_s, one.end_s
    ideal = first_s + number * period_s
    whole = (ideal - period_s / 2 >= begin - 1e-9) & (ideal + period_s / 2 <= end + 1e-9)
    possible = (
        int(np.floor((end - first_s) / period_s - 0.5) - np.ceil((begin - first_s) / period_s + 0.5)) + 1
    )
    strong = charge > _STRONG * np.median(charge)
    if possible < 2 or (whole & strong).sum() < _PRESENT * possible or strong.sum() < LEAST_PULSES:
        return None
    away = centre[whole & strong] - ideal[whole & strong]
    if np.sqrt(np.mean(away**2)) > max(0.6 * one.interval_s, 0.1 * period_s):
        return None
    high = what.above_A > what.threshold_A
    extent = _extent(one, high, number=np.round((one.time_s - first_s) / period_s))
    half = np.quantile(what.above_A, 0.98) / 2 if high.mean() > 0.02 else what.threshold_A
    dense = float(np.mean(what.above_A > half)) > _DENSE
    folded = (dense and one.interval_s > ALONE_FROM_S) or period_s < 2 * one.interval_s
    # A pulse that the log's begin or end cuts has its middle elsewhere.
    reach = extent / 2 + one.interval_s
    inside = strong & (ideal - reach >= begin) & (ideal + reach <= end)
    used = inside if inside.sum() >= LEAST_PULSES else strong
    placed_s, unknown_s = placed(
        one, what, number, centre, period_s=period_s, first_s=first_s, extent_s=extent
    )
    timed = number[used], placed_s[used], unknown_s[used]
    low, top, slack = _periods(*timed, one.interval_s)
    if low > top:
        low = top = period_s
    period = (low + top) / 2
    first = float(np.median(placed_s[used] - period * number[used]))
    cycles = int(whole.sum())
    return Train(period, (top - low) / 2, first, cycles, charge[whole], centre[whole], extent, folded, slack)


def _periods(
    number: FloatArray, centre_s: FloatArray, unknown_s: FloatArray, interval_s: float
) -> tuple[float, float, float]:
    """Return the shortest and longest period, and by what the pulses' reach had to be widened for any."""
    for slack in _SLACKS:
        low, top = allowed(number, centre_s, unknown_s * slack)
        if low <= top:
            return low, top, slack
    low, top = allowed(number, centre_s, np.maximum(unknown_s, interval_s / 2))
    return low, top, LOOSE if low <= top else np.inf


def _extent(one: Samples, high: Flags, number: FloatArray) -> float:
    """Return the usual largest number of rows that a pulse touches, as time [s]."""
    counts = np.bincount((number - number.min()).astype(np.int64), high.astype(float))
    return (
        float(np.quantile(counts[counts > 0], 0.95, method="higher") * one.interval_s) if high.any() else 0.0
    )
