"""Two meters, two clocks: the offset between them, from steps, as declared, or by their own times."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from reviewkit.errors import LogError
from reviewkit.logs import Log, clock_match
from reviewkit.logs.clock_match import Expected, Match
from reviewkit.logs.current_steps import Array, Changes, jumps, samples, steps
from reviewkit.metrology import COVERAGE, Component, Measured, formatting


@dataclass(frozen=True)
class Alternative:
    """One of the ways in which the logs fit each other.

    Parameters
    ----------
    shift_s : float [s]
        Add to the current log's index.
    half_s : float [s]
        Half of the 95 % interval around it.
    rate : float
        Relative difference of the clocks' rates that goes with it; 0 where none shows.
    worse : float
        Twice the log-likelihood by which it fits worse than the best.
    """

    shift_s: float
    half_s: float
    rate: float = 0.0
    worse: float = 0.0


@dataclass(frozen=True)
class Alignment:
    """How the current log's clock is put on the voltage log's.

    Parameters
    ----------
    offset : Measured [s]
        Add to what the current meter's clock showed to get what the voltage meter's showed, at
        `at_s`. Where both logs have dates or times of day these are the clocks, else seconds
        counted by the logs. Its interval covers all `alternatives`.
    shift_s : float [s]
        The same between the logs' indices (`time_s`): add to the current log's.
    rate : Measured or None [1]
        Relative difference of the clocks' rates, where the log is long enough to show one: add
        ``rate · (time − at_s)`` as well.
    at_s : float [s]
        Time, on the current log's index, at which `offset` holds.
    how : {"steps", "declared", "stamps"}
    note : str
        For the reader.
    alternatives : tuple of Alternative
        Every way in which the steps fit that the logs do not rule out, the best first; one where there is no
        doubt, none where no step tells.
    """

    offset: Measured
    shift_s: float
    rate: Measured | None
    at_s: float
    steps_used: int
    how: Literal["steps", "declared", "stamps"]
    note: str
    alternatives: tuple[Alternative, ...] = ()

    @property
    def shift(self) -> Measured:
        """What to add to the current log's index to get the voltage log's, at `at_s` [s]."""
        return Measured(self.shift_s, "s", self.offset.components)

    @property
    def ambiguous(self) -> bool:
        """Whether the steps fit in more than one way."""
        return len(self.alternatives) > 1

    def on_voltage_clock(self, time_s: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Return times of the current log as times of the voltage log, both as their index has them.

        Parameters
        ----------
        time_s : array of float [s]
        """
        own = np.asarray(time_s, dtype=float)
        if self.rate is None:
            return np.asarray(own + self.shift_s)
        return np.asarray(own + self.shift_s + self.rate.value * (own - self.at_s))


SET_BY_HAND_S = 120.0
"""Two clocks that nobody compared agree within this: common practice, no source."""

DECLARED_S = 2.0
"""An offset read off two displays is good to this: common practice, no source."""
DAY_S = 86_400.0


def clock_difference(voltage: Log, current: Log) -> float | None:
    """Return what to add to a shift between indices to get the offset between clocks [s].

    None where the logs don't both have dates or times of day.
    """
    first, second = voltage.started, current.started
    if first is not None and second is not None and (first.tzinfo is None) == (second.tzinfo is None):
        return (first - second).total_seconds()
    if voltage.time_of_day_s is None or current.time_of_day_s is None:
        return None
    apart = voltage.time_of_day_s - current.time_of_day_s
    return (apart + DAY_S / 2) % DAY_S - DAY_S / 2


def without_steps(
    voltage: Log, current: Log, declared_offset_s: float | None, base_s: float | None
) -> Alignment:
    """Return the alignment by a declared offset, else by the clocks' own times; without both `LogError`."""
    why = "The logs share no step that shows in both"
    if declared_offset_s is not None:
        part = Component("clock offset as declared", DECLARED_S, "s", "rectangular")
        return _assumed(
            declared_offset_s,
            (part, *_lags(voltage, current)),
            base_s,
            "declared",
            f"{why}: declared offset used.",
        )
    if base_s is None:
        raise LogError(
            "it shares no step with the voltage log, and the two have no time of day in common",
            file=current.path,
            expected="a charge that starts or stops within both logs",
            remedy="State 'clock_offset_s' in the review file: what to add to the current log's seconds.",
        )
    part = Component("clocks never compared", SET_BY_HAND_S, "s", "rectangular")
    note = f"{why}: the clocks' own times used, taken to agree within {SET_BY_HAND_S:.0f} s."
    return _assumed(0.0, (part, *_lags(voltage, current)), base_s, "stamps", note)


def _lags(voltage: Log, current: Log) -> tuple[Component, ...]:
    return tuple(
        Component(f"{name} log: time stamps cut off", log.report.stamp_lag_s, "s", "rectangular")
        for name, log in (("voltage", voltage), ("current", current))
        if log.report.stamp_lag_s
    )


def _assumed(
    offset_s: float,
    parts: tuple[Component, ...],
    base_s: float | None,
    how: Literal["declared", "stamps"],
    note: str,
) -> Alignment:
    return Alignment(Measured(offset_s, "s", parts), offset_s - (base_s or 0.0), None, 0.0, 0, how, note)


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
    found = clock_match.matches(other, own, all_steps, all_jumps, expected)
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
    own, answers = clock_match.pairs(all_steps, all_jumps, found, slack_s=slack_s, single=True)
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
    own, answers = clock_match.pairs(all_steps, all_jumps, found, slack_s=slack_s, single=False)
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
