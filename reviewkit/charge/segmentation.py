"""The likeliest account of a charge's bins: at a level, on a slope, at the voltage limit, or in passing.

Exact optimal partitioning by dynamic programming. One resistance between regulation point and cell and one
set voltage hold for the whole log; they start where most of the current's fall happens at one V + R·I and are
fitted anew to what the best account calls the voltage limit, while the voltage's noise is narrowed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from reviewkit.charge.profile import Bins
from reviewkit.charge.record import FloatArray

LEVEL, SLOPE, HELD, PASSING = 0, 1, 2, 3
"""What the charger does over a stretch of bins."""

PENALTIES = (12.0, 18.0, 12.0, 14.0)
"""What a stretch of each kind costs, as doubled log-likelihood; times 0.4 to 3 hardly changes what is
found.
"""

PASSING_BINS = 3
"""A stretch in passing (a step that fell into a bin, a switching) has so many bins at most: chosen."""

PASSING_COST = 8.0
"""What each of its bins costs: a bin three standard deviations off is better called passing: chosen."""

NARROWING = (6.0, 3.0, 1.7, 1.0, 1.0)
"""By how much the voltage's noise is widened from fit to fit: a first R is not good to the noise."""

OHMS = np.concatenate([[0.0], np.geomspace(0.01, 1.2, 28)])
"""Resistances from which the fit starts [ohm]: any bench lies between."""

COARSER = 3
"""The starts are followed on bins so many times as long: which is best shows there as well, in a tenth of
the time.
"""

STARTS = 4
"""So many of them are followed to the end: the cheapest account is kept."""

MOST_OHM = 1.5
"""No bench has more between charger and cell [ohm]: chosen."""

UNSEEN = 3.0
"""Standard deviations that a bin without a voltage counts as off the voltage limit: it is no evidence for
it: chosen.
"""

BELOW_V, UNLIKELY = 0.02, 30.0
"""A bin so far [V] below the voltage limit after it was reached makes an account so much dearer: chosen."""

SAME_V = 0.004
"""The current's fall counts as at one V + R·I within this much [V] beyond the noise: chosen."""

MOST_FALL = 0.03
"""Largest share of the current that a bin's fall counts for: a taper through a hundred bins falls slower."""

WORTH = 12.0
"""A voltage limit is only taken where it makes the account cheaper by so much, as doubled log-likelihood:
chosen.
"""

CLOSE = 9.0
"""Accounts within this doubled log-likelihood of the best are possible too: three standard deviations."""


@dataclass(frozen=True)
class Stretch:
    """Bins over which the charger does one thing: from `first` to `last`, both included."""

    kind: int
    first: int
    last: int


@dataclass(frozen=True)
class Account:
    """The likeliest account of a charge, and how much likelier than its rivals.

    Parameters
    ----------
    ohm, set_V : float or None
        None if no voltage limit shows.
    cost : float
        Doubled negative log-likelihood, penalties included.
    knee_costs : array, shape (n + 1,)
        Cost of the best account in which the voltage limit is first reached at each bin, and never.
    """

    stretches: tuple[Stretch, ...]
    ohm: float | None
    set_V: float | None
    cost: float
    knee_costs: FloatArray

    def kinds(self, count: int) -> npt.NDArray[np.int_]:
        """Return what the charger does in each bin."""
        found = np.full(count, PASSING)
        for one in self.stretches:
            found[one.first : one.last + 1] = one.kind
        return found


def account(bins: Bins, *, rig_ohm: float) -> Account:
    """Return the likeliest account of a charge.

    Parameters
    ----------
    rig_ohm : float [ohm]
        Declared burden and leads, one of the resistances to start from.
    """
    free = _Costs(bins)
    plain = _best(free)
    few = bins.coarser(COARSER)
    roughly = _Costs(few)
    without = _best(roughly)[0]
    tried = (_followed(few, roughly, *start) for start in starts(few, rig_ohm))
    found = [one for one in tried if one is not None]
    best = min(found, key=lambda one: one[0], default=None)
    # What the voltage is off by, one bin as the next, counts less in fewer bins.
    worth = 0.0 if best is not None and best[0] < without - WORTH else WORTH
    if best is not None:
        best = _followed(bins, free, *best[2:], narrowing=NARROWING[-2:])
    if best is None or best[0] > plain[0] - worth:
        never = np.full(len(bins) + 1, np.inf)
        never[-1] = plain[0]
        return Account(plain[1], None, None, plain[0], never)
    cost, path, ohm, set_V = best
    return Account(path, ohm, set_V, cost, _knee_costs(free, ohm, set_V))


def starts(bins: Bins, rig_ohm: float) -> list[tuple[float, float]]:
    """Return resistances and set voltages at which much of the current's fall happens, the best first."""
    known = np.isfinite(bins.voltage_V)
    fall = np.where(np.diff(bins.group) == 0, -np.diff(bins.current_A), 0.0)
    noise = np.hypot(bins.current_sd[1:], bins.current_sd[:-1])
    fall = np.where((fall > noise) & known[1:] & known[:-1], fall, 0.0)
    # A step is no taper: no bin counts for more than a slow fall would take it.
    fall = np.minimum(fall, MOST_FALL * float(np.quantile(bins.current_A, 0.9)))
    if fall.sum() <= 0:
        return []
    scored = []
    for ohm in np.unique(np.append(OHMS, rig_ohm)):
        at = bins.voltage_V + ohm * bins.current_A
        middle = (at[1:] + at[:-1]) / 2
        width = SAME_V + 2 * float(np.median(np.hypot(bins.voltage_sd, ohm * bins.current_sd)))
        share, set_V = _densest(middle[fall > 0], fall[fall > 0], width)
        above = np.maximum(np.nan_to_num(at - set_V) - width, 0.0) / width
        scored.append((share / fall.sum() - float(np.mean(np.minimum(above, 1.0))), float(ohm), set_V))
    scored.sort(reverse=True)
    return [(ohm, set_V) for _, ohm, set_V in scored[:STARTS]]


def _densest(values: FloatArray, weights: FloatArray, width: float) -> tuple[float, float]:
    """Return the most weight within a width of values, and the weighted middle there."""
    order = np.argsort(values)
    values, grown = values[order], np.concatenate([[0.0], np.cumsum(weights[order])])
    last = np.searchsorted(values, values + width, side="right")
    inside = grown[last] - grown[:-1]
    first = int(np.argmax(inside))
    some = slice(first, int(last[first]))
    return float(inside[first]), float(np.average(values[some], weights=weights[order][some]))


_Followed = tuple[float, tuple[Stretch, ...], float, float]
"""Cost, stretches, resistance and set voltage of an account."""


class _Costs:
    """What every stretch of bins costs, first bin by last bin plus one; the voltage limit comes on top."""

    def __init__(self, bins: Bins) -> None:
        self.bins = bins
        count = len(bins)
        first, end = np.arange(count + 1)[:, None], np.arange(count + 1)[None, :]
        self.length = end - first
        group = np.append(bins.group, np.nan)
        whole = (self.length > 0) & (group[:, None] == np.roll(group, 1)[None, :])
        self.barred = np.where(whole, 0.0, np.inf)
        weight = 1 / bins.current_sd**2
        time = bins.time_s - bins.time_s[0]
        away = bins.current_A - float(np.median(bins.current_A))
        sums = [_spans(weight * one) for one in (np.ones(count), time, time**2, away, away * time, away**2)]
        with np.errstate(all="ignore"):
            level = sums[5] - sums[3] ** 2 / sums[0]
            spread = sums[2] - sums[1] ** 2 / sums[0]
            slope = level - (sums[4] - sums[1] * sums[3] / sums[0]) ** 2 / spread
        self.level = np.where(self.length > 0, np.nan_to_num(level), np.inf) + PENALTIES[LEVEL]
        steep = np.where(self.length > 2, np.nan_to_num(slope, nan=np.inf), np.inf)
        self.slope = np.maximum(steep, 0.0) + PENALTIES[SLOPE]
        self.passing = np.where(
            (self.length > 0) & (self.length <= PASSING_BINS),
            PASSING_COST * self.length + PENALTIES[PASSING],
            np.inf,
        )

    @property
    def without(self) -> FloatArray:
        """Cost of each stretch if there were no voltage limit."""
        return np.minimum(np.minimum(self.level, self.slope), self.passing) + self.barred

    def kind(self, first: int, end: int, held: FloatArray | None, above: FloatArray | None) -> int:
        """Return the cheapest kind of a stretch."""
        extra = above[first, end] if above is not None else 0.0
        each = [self.level[first, end] + extra, self.slope[first, end] + extra]
        each += [held[first, end] if held is not None else np.inf, self.passing[first, end]]
        return int(np.argmin(each))

    def limit(self, ohm: float, set_V: float, widened: float = 1.0) -> tuple[FloatArray, FloatArray]:
        """Return the cost of stretches at the voltage limit, and what lies above it costs any other."""
        bins = self.bins
        spread = np.hypot(widened * bins.voltage_sd, ohm * bins.current_sd)
        off = np.nan_to_num((bins.voltage_V + ohm * bins.current_A - set_V) / spread, nan=UNSEEN)
        held = _spans(np.minimum(off**2, 60.0)) + PENALTIES[HELD]
        above = _spans(np.minimum(np.maximum(off - 2.0, 0.0) ** 2, 60.0))
        return held + self.barred, above


def _spans(values: FloatArray) -> FloatArray:
    grown = np.concatenate([[0.0], np.cumsum(values)])
    return np.asarray(grown[None, :] - grown[:, None])


def _best(free: _Costs) -> tuple[float, tuple[Stretch, ...]]:
    """Return the cheapest partition without a voltage limit."""
    total, back = _forward(free.without)
    kinds = (Stretch(free.kind(first, end, None, None), first, end - 1) for first, end in _walk(back))
    return float(total[-1]), tuple(kinds)


def _forward(costs: FloatArray) -> tuple[FloatArray, npt.NDArray[np.int_]]:
    count = len(costs)
    total, back = np.zeros(count), np.zeros(count, dtype=int)
    columns = np.ascontiguousarray(costs.T)
    for end in range(1, count):
        tried = total[:end] + columns[end, :end]
        back[end] = int(tried.argmin())
        total[end] = tried[back[end]]
    return total, back


def _walk(back: npt.NDArray[np.int_]) -> Iterator[tuple[int, int]]:
    pieces, end = [], len(back) - 1
    while end:
        pieces.append((int(back[end]), end))
        end = int(back[end])
    return reversed(pieces)


def _followed(
    bins: Bins, free: _Costs, ohm: float, set_V: float, *, narrowing: Sequence[float] = NARROWING
) -> _Followed | None:
    """Return the account that a start leads to: cost, stretches, resistance, set voltage."""
    path: tuple[Stretch, ...] = ()
    cost = np.inf
    inside = np.zeros(len(bins), dtype=bool)
    for index, widened in enumerate(narrowing):
        cost, path = _partition(free, ohm, set_V, widened)
        inside = np.zeros(len(bins), dtype=bool)
        for one in path:
            if one.kind == HELD:
                inside[one.first : one.last + 1] = True
        inside &= np.isfinite(bins.voltage_V)
        if inside.sum() < 3:
            return None
        if index < len(narrowing) - 1:
            ohm, set_V = _line(bins, inside, ohm)
    return cost + UNLIKELY * _below(bins, path, ohm, set_V), path, ohm, set_V


def _below(bins: Bins, path: tuple[Stretch, ...], ohm: float, set_V: float) -> int:
    """Return how many bins after the limit was reached lie clearly below it on a slope."""
    first = next((one.last for one in path if one.kind == HELD), len(bins))
    off = np.nan_to_num(bins.voltage_V + ohm * bins.current_A - set_V)
    return sum(
        int((off[one.first : one.last + 1] < -BELOW_V).sum())
        for one in path
        if one.kind == SLOPE and one.first > first
    )


def _partition(free: _Costs, ohm: float, set_V: float, widened: float) -> tuple[float, tuple[Stretch, ...]]:
    held, above = free.limit(ohm, set_V, widened)
    others = np.minimum(np.minimum(free.level, free.slope) + above, free.passing) + free.barred
    total, back = _forward(np.minimum(others, held))
    path = tuple(Stretch(free.kind(first, end, held, above), first, end - 1) for first, end in _walk(back))
    return float(total[-1]), path


def _line(bins: Bins, inside: np.ndarray, before_ohm: float) -> tuple[float, float]:
    """Return resistance and set voltage of the bins at the limit; a short span keeps the resistance."""
    volts, amps = bins.voltage_V[inside], bins.current_A[inside]
    noise = np.hypot(bins.voltage_sd[inside], before_ohm * bins.current_sd[inside])
    weight = np.minimum(bins.span_s[inside], 60.0) / noise**2
    mean_V, mean_A = float(np.average(volts, weights=weight)), float(np.average(amps, weights=weight))
    spread = float((weight * (amps - mean_A) ** 2).sum()) / float(weight.sum())
    slope = float((weight * (amps - mean_A) * (volts - mean_V)).sum()) / float(weight.sum())
    # As if the resistance before were known to a tenth of an ohm.
    own = float(np.mean(bins.voltage_sd[inside])) ** 2 / 0.01 / int(inside.sum())
    ohm = (-slope + own * before_ohm) / (spread + own)
    ohm = float(np.clip(ohm, 0.0, MOST_OHM))
    return ohm, mean_V + ohm * mean_A


def _knee_costs(free: _Costs, ohm: float, set_V: float) -> FloatArray:
    """Return the cost of the best account in which the limit is first reached at each bin, and never."""
    held, above = free.limit(ohm, set_V)
    others = np.minimum(np.minimum(free.level, free.slope) + above, free.passing) + free.barred
    before, _ = _forward(others)
    count = len(before)
    costs = np.minimum(others, held)
    rest = np.zeros(count)
    from_here = np.full(count, np.inf)
    for first in reversed(range(count - 1)):
        from_here[first] = float((held[first, first + 1 :] + rest[first + 1 :]).min())
        rest[first] = float((costs[first, first + 1 :] + rest[first + 1 :]).min())
    found = np.asarray(before + from_here, dtype=np.float64)
    found[-1] = before[-1]
    return found
