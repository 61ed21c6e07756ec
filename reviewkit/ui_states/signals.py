"""What the indicator says: how fast it flashes, and whether it can be mistaken.

References
----------
GUM 4.3.9 (triangular distribution). WCAG 2.2, success criterion 2.3.1: no more than three flashes in any
one second, unless they are small or faint. Irregular patterns: a train of two short flashes and a long one
has no one rate (interpretation letter to the MUTCD on flashing beacons).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from reviewkit.metrology import Component, Measured
from reviewkit.ui_states.model import Machine, State

STOPWATCH_S = 0.3
"""Half-width of a hand-stopped time [s]: common practice, no source."""
ALIKE = 0.25
"""Lit or dark times within this part of each other count as one: common practice, no source."""
FLASHES_PER_SECOND = 3
"""WCAG 2.3.1."""


@dataclass(frozen=True)
class Signal:
    """What was counted of one signal of the indicator.

    Parameters
    ----------
    name : str
        What `shows` of a state calls it.
    seconds : float or None [s]
        Time in which they were counted.
    frame_s : float or None [s]
        Time of one frame where they were counted in a video; None: by eye and stopwatch.
    lit_s, dark_s : tuple of float [s]
        Lit and dark times of one cycle, where the flashes are not all alike.
    """

    name: str
    flashes: int | None = None
    seconds: float | None = None
    frame_s: float | None = None
    lit_s: tuple[float, ...] = ()
    dark_s: tuple[float, ...] = ()

    @property
    def regular(self) -> bool:
        """Whether all flashes of a cycle are alike, so that it has one rate."""
        return _alike(self.lit_s) and _alike(self.dark_s)

    @property
    def rate(self) -> Measured | None:
        """Flashes per second [Hz]; None where nothing was counted or the flashes are not alike."""
        if not self.regular:
            return None
        if self.flashes and self.seconds:
            return flash_rate(self.flashes, self.seconds, self.frame_s)
        if self.lit_s and self.dark_s and self.frame_s:
            return flash_rate_of_times(self.lit_s, self.dark_s, self.frame_s)
        return None


def _alike(times: Sequence[float]) -> bool:
    return not times or max(times) - min(times) <= ALIKE * max(times)


def flash_rate(flashes: int, seconds: float, frame_s: float | None = None) -> Measured:
    """Return the rate of flashes counted in a time [Hz].

    The window may cut a flash at either end: the count is off by up to one, triangular. The time is off by
    a hand on a stopwatch, or by one video frame at each end.

    Examples
    --------
    >>> rate = flash_rate(20, 10.0, frame_s=1 / 30)
    >>> rate.value, rate.unit
    (2.0, 'Hz')
    """
    rate = flashes / seconds
    half, shape = (STOPWATCH_S, "stopwatch") if frame_s is None else (frame_s, "video frames")
    return Measured(
        rate,
        "Hz",
        (
            Component("a flash cut by the window", 1.0, "1", "triangular", 1 / seconds),
            Component(shape, half, "s", "rectangular" if frame_s is None else "triangular", -rate / seconds),
        ),
    )


def flash_rate_of_times(lit_s: Sequence[float], dark_s: Sequence[float], frame_s: float) -> Measured:
    """Return the rate from the lit and dark times of one cycle in a video [Hz], each end off by a frame."""
    period = (sum(lit_s) + sum(dark_s)) / len(lit_s)
    slope = -1 / period**2 / len(lit_s)
    return Measured(1 / period, "Hz", (Component("video frames", frame_s, "s", "triangular", slope),))


def most_in_a_second(signal: Signal) -> float | None:
    """Return the most flashes that begin within one second; for a regular signal its rate."""
    rate = signal.rate
    if rate is not None:
        return rate.value
    if not signal.lit_s or len(signal.dark_s) != len(signal.lit_s):
        return None
    cycle = [lit + dark for lit, dark in zip(signal.lit_s, signal.dark_s, strict=True)]
    period = sum(cycle)
    starts = [sum(cycle[:number]) for number in range(len(cycle))]

    def before(time_s: float, start: float) -> int:
        """Return how many times a flash began before a time; the last binary digits decide nothing."""
        return math.ceil(round((time_s - start) / period, 9))

    return max(sum(before(begin + 1, one) - before(begin, one) for one in starts) for begin in starts)


def flashes_too_fast(signal: Signal) -> str:
    """Return "yes", "no", "the meter can't tell" or "not counted": more than three flashes in a second."""
    rate, most = signal.rate, most_in_a_second(signal)
    if rate is not None and rate.low <= FLASHES_PER_SECOND < rate.high:
        return "the count can’t tell"
    if most is None:
        return "not counted"
    return "yes" if most > FLASHES_PER_SECOND else "no"


@dataclass(frozen=True)
class Ambiguity:
    """Two states that call for different things, and a signal that doesn't say which it is.

    Parameters
    ----------
    why : str
        "the same signal", or "rates too close to tell apart".
    """

    states: tuple[str, str]
    shows: tuple[str, str]
    why: str

    def to_dict(self) -> dict[str, object]:
        """Return the pair as a finding's value holds it."""
        return {"states": list(self.states), "shows": list(self.shows), "why": self.why}


def ambiguous(machine: Machine, signals: Mapping[str, Signal]) -> tuple[Ambiguity, ...]:
    """Return the pairs of states whose signals can be mistaken for each other where that matters.

    It matters where the actions given for them differ; without actions, where one charges and the other
    doesn't, or one is a fault. A dark indicator is no signal.
    """
    found = []
    for one, other in combinations(machine.states.values(), 2):
        why = _mistaken(one, other, signals) if one.shows and other.shows and _differ(one, other) else ""
        if why:
            found.append(Ambiguity((one.name, other.name), (one.shows, other.shows), why))
    return tuple(found)


def _differ(one: State, other: State) -> bool:
    if one.action and other.action:
        return one.action.casefold() != other.action.casefold()
    return one.error != other.error or (one.charging is not other.charging)


def _mistaken(one: State, other: State, signals: Mapping[str, Signal]) -> str:
    if one.shows.casefold() == other.shows.casefold():
        return "the same signal"
    first, second = signals.get(one.shows), signals.get(other.shows)
    if first is None or second is None or _colour(one.shows) != _colour(other.shows):
        return ""
    if first.rate is None or second.rate is None:
        return ""
    apart = first.rate.high < second.rate.low or second.rate.high < first.rate.low
    return "" if apart else "rates too close to tell apart"


_COLOURS = ("red", "amber", "orange", "yellow", "green", "blue", "white")


def _colour(shows: str) -> str:
    return next((name for name in _COLOURS if name in shows.casefold().split()), "")


def silent_errors(states: Iterable[State]) -> tuple[str, ...]:
    """Return the states in which the device has noticed a fault and shows nothing."""
    return tuple(
        state.name for state in states if state.error and not state.shows and not state.light_percent
    )
