"""Which offsets of the clocks let the voltage answer the current's steps, and which the logs rule out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reviewkit.logs.current_steps import Array, Changes, Samples

LARGEST_OHM, SMALLEST_OHM = 1.0, 0.004
"""A cell with its leads has less and more: a larger jump is a lead pulled off, not an answer to the current.
Common practice, no source."""

NOT_RULED_OUT = 12.0
"""Twice the log-likelihood by which an offset may fit worse than the best one and still be carried: odds of
1 to 400. From simulated charges of all kinds."""

_PLAIN = 16.0
"""Twice the log-likelihood by which the best offset must fit better than logs that share nothing."""

_MOST = 36.0
"""No single step or jump counts for more: leads are touched, meters wake up. Chosen."""

_ALONE = 72.0
"""All jumps that no step explains count for no more than this together, or a sixth of their own. Chosen."""

_UNSEEN = 6.0
"""What a step counts that lies outside the voltage log, or in its gap. Chosen."""

_ANSWERED = 2.0
"""What a step counts at most that a jump of its own sign answers, whatever stands after both. Chosen."""

_USUAL_OHM, _USUAL_FACTOR, _LITTLE_OHM = 0.06, 0.55, 0.02
"""Resistance of a cell with its leads, how far it may be off in natural logarithm, and one that most cells
reach: common practice, no source."""

_SPREAD = 0.3
"""How far a cell's answers to equal steps differ, as a share: its resistance changes with charge and warmth,
and slow rows see more of its slow answer. From simulated cells."""

_RISE = 1e-4
"""How fast a cell's voltage rises by itself under charge [V/s]: C/2 over the steep part of its curve."""

_ALIKE = 3.0
"""Answers to steps of one log differ by less than this factor. Chosen."""

_CANDIDATE_STEPS, _CANDIDATE_JUMPS = 12, 60
_LOOSE, _FEW_PAIRS, _SHARES = 2.0, 60, np.linspace(0.02, 0.98, 17)
"""A pair that allows more than twice what the narrowest does, or one of few, is tried at these shares too.
Chosen: the points then lie closer than the narrowest pair is wide."""
_BACK = 0.5
"""A dip is over where less than this share of its jump is left. Chosen."""
_GAP = 4.0


@dataclass(frozen=True)
class Expected:
    """What is known of the offset before the logs' steps are looked at.

    Parameters
    ----------
    shift_s : float [s]
        Between the logs' indices.
    within_s : float [s]
        Standard deviation.
    most : float
        What an offset however far away counts, as twice a log-likelihood.
    zones : bool
        Clocks may show the hour of different zones.
    """

    shift_s: float
    within_s: float
    most: float
    zones: bool = False

    def against(self, shifts: Array) -> Array:
        """Return how much less likely each shift is beforehand, as twice a log-likelihood."""
        away = shifts - self.shift_s
        if self.zones:
            hours = np.round(away / 1800.0) * 1800.0
            return np.asarray(
                np.minimum(((away - hours) / self.within_s) ** 2 + 8.0 * (hours != 0), self.most)
            )
        return np.asarray(np.minimum((away / self.within_s) ** 2, self.most))


@dataclass(frozen=True)
class Match:
    """Offsets about one value at which the logs fit each other.

    Parameters
    ----------
    shift_s : float [s]
        Add to the current log's times.
    low_s, high_s : float [s]
        Where the offsets tried lie that fit about as well.
    worse : float
        Twice the log-likelihood by which it fits worse than the best.
    ohm : float [ohm]
        Voltage that answers a current.
    best_s : tuple of (float, float) [s]
        Where those lie that fit best.
    """

    shift_s: float
    low_s: float
    high_s: float
    worse: float
    ohm: float
    best_s: tuple[float, float]


def matches(
    voltage: Samples, current: Samples, steps: Changes, jumps: Changes, expected: Expected
) -> list[Match]:
    """Return every offset that the logs do not rule out, the best first; none where nothing fits.

    Parameters
    ----------
    voltage, current : Samples
    steps, jumps : Changes
        Of the current and of the voltage.
    expected : Expected
    """
    fewer, some = steps.largest(_CANDIDATE_STEPS), jumps.largest(_CANDIDATE_JUMPS)
    shifts = _candidates(fewer, some)
    if not len(shifts):
        return []
    slack_s = 1e-4 * float(np.ptp(current.time_s))
    loss, left, ohm = _losses(voltage, current, steps, jumps, shifts, slack_s)
    # Where the voltage jumps many times for what the current log does not show, one jump more says little.
    together = left.sum(axis=1)
    alone = left[:, ~_is_brief(voltage, current, jumps)].sum(axis=1)
    most = max(float(together[np.argmin(loss + alone)]), 1e-9)
    loss = loss + alone * min(1.0, max(_ALONE / most, 1 / 6))
    least_V = _LITTLE_OHM * steps.size / voltage.noise
    unrelated = float(_unanswered(voltage, steps, jumps).sum() + np.minimum(least_V**2 / 2, _MOST).sum())
    if loss.min() > unrelated - _PLAIN:
        return []
    loss = loss + expected.against(shifts)
    kept = np.flatnonzero(loss <= loss.min() + NOT_RULED_OUT)
    reach = 2 * float(np.median(steps.latest_s - steps.earliest_s)) + 2 * slack_s
    groups = np.split(kept, np.flatnonzero(np.diff(shifts[kept]) > reach) + 1)
    found = [_of_group(shifts[group], loss[group], ohm[group], loss.min()) for group in groups]
    return sorted(found, key=lambda one: one.worse)


def _candidates(steps: Changes, jumps: Changes) -> Array:
    """Return the shifts to try: the middle of what each pair allows, and more points where that is wide.

    A wide pair's middle may lie outside what a narrow one allows, though what both allow is not empty.
    """
    low = jumps.earliest_s[:, None] - steps.latest_s[None, :]
    high = jumps.latest_s[:, None] - steps.earliest_s[None, :]
    ohms = jumps.size[:, None] / steps.size[None, :]
    fits = (ohms >= SMALLEST_OHM) & (ohms <= LARGEST_OHM)
    if not fits.any():
        return np.empty(0)
    low, wide = low[fits], (high - low)[fits]
    points = [low + wide / 2]
    loose = wide > (_LOOSE * wide.min() if len(wide) > _FEW_PAIRS else 0.0)
    points += [low[loose] + share * wide[loose] for share in _SHARES]
    return np.unique(np.concatenate(points))


def _of_group(shifts: Array, loss: Array, ohm: Array, least: float) -> Match:
    best = int(np.argmin(loss))
    close = shifts[loss <= loss[best] + 2.0]
    return Match(
        float(np.median(close)),
        float(shifts[0]),
        float(shifts[-1]),
        float(loss[best] - least),
        float(ohm[best]),
        (float(close[0]), float(close[-1])),
    )


def _losses(
    voltage: Samples, current: Samples, steps: Changes, jumps: Changes, shifts: Array, slack_s: float
) -> tuple[Array, Array, Array]:
    """Return how badly the steps and each jump fit at each shift (twice a log-likelihood); the resistance."""
    answers, causes, lasts, seen = _answers(voltage, current, steps, shifts, slack_s)
    ratio = answers / np.where(causes == 0, np.inf, causes)
    among = _among_pulses(steps, jumps, shifts, slack_s)
    tells = seen & ~among
    tells = np.where(tells.any(axis=1, keepdims=True), tells, seen)
    ohm = np.clip(_weighted_median(ratio, np.abs(causes) * tells), SMALLEST_OHM, LARGEST_OHM)
    meant = ohm[:, None] * causes
    variance = 2 * voltage.noise**2 + (_SPREAD * meant) ** 2 + (_RISE * lasts) ** 2
    step_loss = np.where(seen, np.minimum((answers - meant) ** 2 / variance, _MOST), _UNSEEN)
    answered = _answered(steps, jumps, shifts, slack_s) | among
    step_loss = np.where(answered, np.minimum(step_loss, _ANSWERED), step_loss)
    explained = _explained(steps, jumps, shifts, slack_s)
    jump_loss = np.where(explained, 0.0, _unanswered(voltage, steps, jumps))
    usual = (np.log(ohm / _USUAL_OHM) / _USUAL_FACTOR) ** 2
    return np.asarray(step_loss.sum(axis=1) + usual), np.asarray(jump_loss), ohm


def _unanswered(voltage: Samples, steps: Changes, jumps: Changes) -> Array:
    """Return what each jump counts that no step explains: little if small beside a step's answer."""
    little = _LITTLE_OHM / 2 * float(np.abs(steps.size).max())
    likely = np.minimum((jumps.size / voltage.noise) ** 2 / 2, _MOST)
    return np.asarray(likely * np.minimum(1.0, (jumps.size / little) ** 2))


def _is_brief(voltage: Samples, current: Samples, jumps: Changes) -> np.ndarray:
    """Return which jumps are one side of a dip that fits between two rows of the current.

    No row of the current need show its cause.
    """
    row_s = current.usual_s(np.searchsorted(current.time_s, jumps.middle_s)) if len(jumps) else np.empty(0)
    first, last = jumps.earliest_s, jumps.latest_s
    edges = np.stack([first, last + row_s, first - row_s, last])
    before, later, earlier, after = np.interp(edges, voltage.time_s, voltage.value)
    back = np.minimum(np.abs(later - before), np.abs(after - earlier))
    return np.asarray(back < _BACK * np.abs(jumps.size))


def _answers(
    voltage: Samples, current: Samples, steps: Changes, shifts: Array, slack_s: float
) -> tuple[Array, Array, Array, np.ndarray]:
    """Return what voltage and current do about each step at each shift, for how long, and if it is seen."""
    begins = steps.earliest_s[None, :] + shifts[:, None] - slack_s - voltage.stamp_step_s
    ends = steps.latest_s[None, :] + shifts[:, None] + slack_s
    first = np.searchsorted(voltage.time_s, begins, side="right") - 1
    # A row later than the next: that one may still hold part of what was before, as a mean.
    last = np.searchsorted(voltage.time_s, ends, side="left") + 1
    inside = (first >= 0) & (last < len(voltage.time_s))
    first, last = np.clip(first, 0, None), np.clip(last, None, len(voltage.time_s) - 1)
    lasts = voltage.time_s[last] - voltage.time_s[first]
    usual = voltage.usual_s(first.ravel()).reshape(first.shape)
    seen = inside & (lasts <= ends - begins + _GAP * np.maximum(usual, 1.0))
    before = np.searchsorted(current.time_s, voltage.time_s[first] - shifts[:, None], side="right") - 1
    after = np.searchsorted(current.time_s, voltage.time_s[last] - shifts[:, None], side="right") - 1
    most = len(current.time_s) - 1
    causes = current.value[np.clip(after, 0, most)] - current.value[np.clip(before, 0, most)]
    return voltage.value[last] - voltage.value[first], causes, lasts, seen


def _answered(steps: Changes, jumps: Changes, shifts: Array, slack_s: float) -> np.ndarray:
    """Return which steps have a jump of their own sign at each shift.

    Of a pause shorter than a row nothing else may show.
    """
    found = np.zeros((len(shifts), len(steps)), dtype=bool)
    for sign in (-1.0, 1.0):
        middle = np.sort(jumps.middle_s[np.sign(jumps.size) == sign])
        low = np.searchsorted(middle, steps.earliest_s[None, :] + shifts[:, None] - slack_s)
        high = np.searchsorted(middle, steps.latest_s[None, :] + shifts[:, None] + slack_s, side="right")
        found |= (high > low) & (np.sign(steps.size) == sign)
    return found


def _among_pulses(steps: Changes, jumps: Changes, shifts: Array, slack_s: float) -> np.ndarray:
    """Return which steps lie among pulses of the voltage at each shift: what answers them no row tells."""
    found = np.zeros((len(shifts), len(steps)), dtype=bool)
    for begin, end in jumps.trains:
        early = steps.earliest_s[None, :] + shifts[:, None] >= begin - slack_s
        found |= early & (steps.latest_s[None, :] + shifts[:, None] <= end + slack_s)
    return found


def _weighted_median(values: Array, weights: Array) -> Array:
    """Return the weighted median of each row."""
    order = np.argsort(values, axis=1)
    grown = np.cumsum(np.take_along_axis(weights, order, axis=1), axis=1)
    middle = np.argmax(grown >= grown[:, -1:] / 2, axis=1)
    return np.asarray(np.take_along_axis(values, order, axis=1)[np.arange(len(values)), middle])


def _explained(steps: Changes, jumps: Changes, shifts: Array, slack_s: float) -> np.ndarray:
    """Return which jumps a step of the current explains at each shift."""
    spans = np.vstack([np.column_stack([steps.earliest_s, steps.latest_s]), steps.trains])
    early, late = jumps.earliest_s[None, :] - shifts[:, None], jumps.latest_s[None, :] - shifts[:, None]
    explained = np.zeros(early.shape, dtype=bool)
    for begin, end in spans:
        explained |= (late >= begin - slack_s) & (early <= end + slack_s)
    return explained


def pairs(
    steps: Changes, jumps: Changes, match: Match, *, slack_s: float, single: bool
) -> tuple[Changes, Changes]:
    """Return steps and the jumps that answer them.

    Parameters
    ----------
    steps, jumps : Changes
    match : Match
    slack_s : float [s]
        How far a jump may lie from where its step says.
    single : bool
        Only steps that one jump alone can answer, and jumps about which there is one step; else every pair.
    """
    low = steps.earliest_s[:, None] + match.low_s - slack_s
    high = steps.latest_s[:, None] + match.high_s + slack_s
    ohm = jumps.size[None, :] / steps.size[:, None]
    fits = (jumps.latest_s >= low) & (jumps.earliest_s <= high) & (ohm >= SMALLEST_OHM) & (ohm <= LARGEST_OHM)
    if fits.any():
        # Only the beginning of a soft start is answered at once: a sharp step tells more of the resistance.
        wide = steps.latest_s - steps.earliest_s
        weight = np.abs(np.broadcast_to((steps.size / np.maximum(wide, wide.min()))[:, None], ohm.shape))
        usual = _weighted_median(ohm[fits][None, :], weight[fits][None, :])[0]
        fits &= (ohm > usual / _ALIKE) & (ohm < usual * _ALIKE)
    if single:
        # A row that is a mean shows what happened within it up to the next: steps a row apart are not told
        # from each other.
        reach = slack_s + (match.high_s - match.low_s) / 2 + (jumps.latest_s - jumps.earliest_s)
        about = jumps.earliest_s - match.shift_s - reach, jumps.latest_s - match.shift_s + reach
        within = (steps.latest_s[:, None] >= about[0]) & (steps.earliest_s[:, None] <= about[1])
        fits &= (fits.sum(axis=1, keepdims=True) == 1) & (within.sum(axis=0, keepdims=True) == 1)
    first, second = np.nonzero(fits)
    return steps.only(first), jumps.only(second)
