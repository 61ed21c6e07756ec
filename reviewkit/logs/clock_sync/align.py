"""Two meters, two clocks: the offset between them, and how well it is known."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from reviewkit.logs import Log
from reviewkit.logs.clock_sync import match
from reviewkit.logs.clock_sync.alignment import (
    DECLARED_S,
    Alignment,
    Alternative,
    clock_difference,
    without_steps,
)
from reviewkit.logs.clock_sync.match import Expected, Match
from reviewkit.logs.clock_sync.steps import Array, Changes, jumps, samples, steps
from reviewkit.metrology import COVERAGE, Component, Measured, formatting

QUARTZ = 150e-6
"""How far the rates of two quartz clocks differ at most, each up to 50 millionths off and more when warm:
common practice, no source."""

ANY_CLOCK = 1e-3
_RATE_STEP = 0.5e-6


@dataclass(frozen=True)
class Bounds:
    """What the pairs leave open, each as middle and half-width of the 95 % interval.

    Parameters
    ----------
    shift_s, shift_half_s : float [s]
        At the reference time.
    rate, rate_half : float
        Relative difference of the clocks' rates.
    """

    shift_s: float
    shift_half_s: float
    rate: float
    rate_half: float


def bounds(since_s: Array, low_s: Array, high_s: Array, *, most_scatter_s: float) -> Bounds | None:
    """Return the shifts and rates that satisfy ``low ≤ shift + rate · since ≤ high`` for all pairs.

    Every shift that the pairs allow is taken as equally likely; a small difference of the rates as
    likelier than a large one.

    Parameters
    ----------
    since_s : array [s]
        Time of each pair since the reference time.
    low_s, high_s : array [s]
        Ends of the shift that each pair allows.
    most_scatter_s : float [s]
        The bounds may be widened by so much.

    Returns
    -------
    Bounds or None
        None where the pairs contradict each other.
    """
    for fastest in (QUARTZ, ANY_CLOCK):
        found = _at_rates(since_s, low_s, high_s, fastest, 0.0)
        if found is not None:
            return found
    few, many = 0.0, most_scatter_s
    if _at_rates(since_s, low_s, high_s, ANY_CLOCK, many) is None:
        return None
    for _ in range(12):
        middle = (few + many) / 2
        fits = _at_rates(since_s, low_s, high_s, ANY_CLOCK, middle) is not None
        few, many = (few, middle) if fits else (middle, many)
    # The widening that lets them just agree leaves a point; twice as much leaves room for the truth.
    return _at_rates(since_s, low_s, high_s, ANY_CLOCK, 2 * many)


def _at_rates(since_s: Array, low_s: Array, high_s: Array, fastest: float, scatter_s: float) -> Bounds | None:
    """Return what is left open with rates up to `fastest`, tried one by one."""
    rates = np.arange(-fastest, fastest + _RATE_STEP / 2, _RATE_STEP)
    drift = rates[:, None] * since_s[None, :]
    low = np.max(low_s - scatter_s - drift, axis=1)
    high = np.min(high_s + scatter_s - drift, axis=1)
    fits = high > low
    if not fits.any():
        return None
    rates, low, high = rates[fits], low[fits], high[fits]
    weight = (1.02 - np.abs(rates) / fastest) * (high - low)
    shift_s = float(np.average((low + high) / 2, weights=weight))
    rate = float(np.average(rates, weights=weight))
    return Bounds(
        shift_s,
        _half(low - shift_s, high - shift_s, weight),
        rate,
        _half(rates - rate - _RATE_STEP / 2, rates - rate + _RATE_STEP / 2, weight),
    )


def _half(low: Array, high: Array, weight: Array) -> float:
    """Return the half-width around 0 that holds 95 % of evenly filled stretches."""
    few, many = 0.0, float(np.max(np.abs(np.r_[low, high])))
    for _ in range(30):
        half = (few + many) / 2
        inside = np.clip(np.minimum(high, half) - np.maximum(low, -half), 0.0, None) / (high - low)
        few, many = (half, many) if np.average(inside, weights=weight) < COVERAGE else (few, half)
    return many


_BY_HAND_S, _STARTED_S = 120.0, 600.0
"""Clocks that show a time of day agree, and loggers that count were started, within about so much: common
practice, no source."""

_FAR, _ANYWHERE = 20.0, 9.0
"""What an offset however far away counts beforehand, as twice a log-likelihood: where clocks can be compared,
far ones are ruled out if a near one fits as well; where they only count seconds, none is. Chosen."""

_IMPLAUSIBLE_S, _IMPLAUSIBLE_RATE = 600.0, 2e-4
"""Beyond these an offset of clocks with a time of day, and a difference of rates, is called implausible.
Chosen: clocks set by hand are nearer, and quartz clocks twice as alike."""


def align(voltage: Log, current: Log, *, declared_offset_s: float | None = None) -> Alignment:
    """Put the current log's clock on the voltage log's.

    Parameters
    ----------
    voltage, current : Log
        Of one charge.
    declared_offset_s : float or None [s]
        Where the review file states one: add to the current meter's clock. Used where the logs
        show no step, and as what is to be expected where they do.

    Raises
    ------
    LogError
        If there is no step in common, no declared offset and no time of day in both logs.
    """
    if voltage.path and voltage.path == current.path:
        return Alignment(Measured(0.0, "s"), 0.0, None, 0.0, 0, "stamps", "Both quantities are in one log.")
    base_s = clock_difference(voltage, current)
    expected = _expected(base_s, declared_offset_s)
    own, other = samples(current), samples(voltage)
    all_steps, all_jumps = steps(own), jumps(other)
    found = match.matches(other, own, all_steps, all_jumps, expected)
    slack_s = 1e-4 * float(np.ptp(own.time_s)) if len(own.time_s) else 0.0
    tried = [_way(all_steps, all_jumps, one, slack_s) for one in found]
    ways = [way for way in tried if len(way.own)]
    if not ways:
        return without_steps(voltage, current, declared_offset_s, base_s)
    return _alignment(ways, base_s, declared_offset_s)


def _expected(base_s: float | None, declared_offset_s: float | None) -> Expected:
    if declared_offset_s is not None:
        return Expected(declared_offset_s - (base_s or 0.0), 5 * DECLARED_S, _ANYWHERE)
    if base_s is None:
        return Expected(0.0, _STARTED_S, _ANYWHERE)
    return Expected(-base_s, _BY_HAND_S, _FAR, zones=True)


@dataclass(frozen=True)
class _Way:
    """One way to fit the logs: what its pairs of step and jump leave open."""

    match: Match
    own: Changes
    answers: Changes
    limits: Bounds
    left_out: int
    widened: bool = False
    """Whether more than the pairs' own rows is left open."""

    @property
    def at_s(self) -> float:
        return float(self.own.middle_s[0]) if len(self.own) else 0.0

    def alternative(self) -> Alternative:
        rate = self.limits.rate if abs(self.limits.rate) > self.limits.rate_half else 0.0
        return Alternative(self.limits.shift_s, self.limits.shift_half_s, rate, self.match.worse)


def _way(all_steps: Changes, all_jumps: Changes, found: Match, slack_s: float) -> _Way:
    """Return what the pairs of one match leave open; where no jump of its own answers, where it may lie."""
    own, answers = match.pairs(all_steps, all_jumps, found, slack_s=slack_s, single=True)
    left_out, scatter_s = 0, slack_s + _wide(own) + _wide(answers)
    while len(own):
        limits = bounds(
            own.middle_s - own.middle_s[0],
            answers.earliest_s - own.latest_s,
            answers.latest_s - own.earliest_s,
            most_scatter_s=scatter_s,
        )
        if limits is not None:
            whole = _with_the_best(limits, found, slack_s)
            return _Way(found, own, answers, whole, left_out, widened=whole is not limits)
        keep = _without_worst(own, answers)
        own, answers, left_out = own.only(keep), answers.only(keep), left_out + 1
    own, answers = match.pairs(all_steps, all_jumps, found, slack_s=slack_s, single=False)
    low = min((answers.earliest_s - own.latest_s).min(initial=found.low_s), found.low_s)
    high = max((answers.latest_s - own.earliest_s).max(initial=found.high_s), found.high_s)
    limits = Bounds((low + high) / 2, (high - low) / 2, 0.0, 0.0)
    return _Way(found, own, answers, limits, left_out, widened=True)


def _with_the_best(limits: Bounds, found: Match, slack_s: float) -> Bounds:
    """Return what single pairs leave open; where what fits the logs best lies outside, that as well.

    A pair may be of two that only happen to lie near each other.
    """
    low, high = limits.shift_s - limits.shift_half_s, limits.shift_s + limits.shift_half_s
    first, last = found.best_s
    if low <= last + slack_s and first - slack_s <= high:
        return limits
    low, high = min(low, first), max(high, last)
    return replace(limits, shift_s=(low + high) / 2, shift_half_s=(high - low) / 2, rate=0.0)


def _wide(changes: Changes) -> float:
    """Return the usual width of the intervals in which changes happened [s]."""
    return float(np.median(changes.latest_s - changes.earliest_s)) if len(changes) else 0.0


def _without_worst(own: Changes, answers: Changes) -> npt.NDArray[np.bool_]:
    """Return which pairs stay when the one farthest from the middle of all goes."""
    apart = answers.middle_s - own.middle_s
    return np.asarray(np.arange(len(own)) != np.argmax(np.abs(apart - np.median(apart))))


def _alignment(ways: list[_Way], base_s: float | None, declared_s: float | None) -> Alignment:
    best, base = ways[0], base_s or 0.0
    shift_s, rate = best.limits.shift_s, _rate(best.limits)
    others = tuple(way.alternative() for way in ways)
    offset = Measured(shift_s + base, "s", _components(ways))
    note = _note(best, rate) + _doubts(offset, rate, others, base_s, declared_s)
    return Alignment(offset, shift_s, rate, best.at_s, len(best.own), "steps", note, others)


def _components(ways: list[_Way]) -> tuple[Component, ...]:
    best = ways[0]
    if len(ways) > 1:
        middle = best.limits.shift_s
        far = max(abs(way.limits.shift_s - middle) + way.limits.shift_half_s for way in ways)
        name = f"clock offset: {len(ways)} ways in which the steps fit"
        return (Component(name, far / COVERAGE, "s", "rectangular"),)
    if len(best.own) == 1 and not best.widened:
        halves = (
            ("voltage log: rows around the step", best.answers),
            ("current log: rows around the step", best.own),
        )
        return tuple(
            Component(name, float(one.latest_s[0] - one.earliest_s[0]) / 2, "s", "rectangular")
            for name, one in halves
        )
    half_s = best.limits.shift_half_s / COVERAGE
    many = "1 step leaves" if len(best.own) == 1 else f"{len(best.own)} steps leave"
    name = f"clock offset: what {many} open"
    return (Component(name, half_s, "s", "rectangular"),)


def _rate(limits: Bounds) -> Measured | None:
    """Return the difference of rates where the steps exclude that there is none."""
    if abs(limits.rate) <= limits.rate_half:
        return None
    half = limits.rate_half / COVERAGE
    part = Component("clock rate: what the steps leave open", half, "1", "rectangular")
    return Measured(limits.rate, "1", (part,))


def _note(best: _Way, rate: Measured | None) -> str:
    used, left_out = len(best.own), best.left_out
    said = f"From {used} {'step' if used == 1 else 'steps'} of the current and the voltage's answer to each"
    if left_out:
        said += f"; {left_out} more did not fit and {'was' if left_out == 1 else 'were'} left out"
    if rate is not None:
        said += f"; the clocks' rates differ by {rate.value * 1e6:.0f} millionths"
    return said + "."


def _doubts(
    offset: Measured,
    rate: Measured | None,
    ways: tuple[Alternative, ...],
    base_s: float | None,
    declared_s: float | None,
) -> str:
    """Return what a reader should know before trusting the offset."""
    said, base = "", base_s or 0.0
    if len(ways) > 1:
        fit = formatting.listed([formatting.quantity(way.shift_s + base, None, "s") for way in ways[1:5]])
        said += (
            f" The match is ambiguous: {fit} {'fits' if len(ways) == 2 else 'fit'} about as well, and the "
            "uncertainty covers all of them. State 'clock_offset_s' if you know it."
        )
    if declared_s is not None and not offset.low <= declared_s <= offset.high:
        said += (
            f" The review file declares {formatting.quantity(declared_s, None, 's')}, which the steps "
            "contradict: the steps are followed."
        )
    if base_s is not None and declared_s is None and abs(offset.value) > _IMPLAUSIBLE_S:
        said += (
            " Clocks that both show a time of day are hardly that far apart: check that both logs are of the "
            "same charge, or state 'clock_offset_s'."
        )
    if rate is not None and abs(rate.value) > _IMPLAUSIBLE_RATE:
        said += " No quartz clock is that far off: check the times of both logs."
    return said
