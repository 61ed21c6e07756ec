"""Two meters, two clocks: the offset between them, and how well it is known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from reviewkit import wording
from reviewkit.clocks import feasible, match
from reviewkit.clocks.steps import Changes, Samples, jumps, samples, steps
from reviewkit.errors import LogError
from reviewkit.logs import Log
from reviewkit.uncertainty import COVERAGE, Component, Measured

SET_BY_HAND_S = 120.0
"""Two clocks that nobody compared agree within this: common practice, no source."""

DECLARED_S = 2.0
"""An offset read off two displays is good to this: common practice, no source."""

_NEAR_S = 900.0
DAY_S = 86_400.0


@dataclass(frozen=True)
class Alignment:
    """How the current log's clock is put on the voltage log's.

    Parameters
    ----------
    offset : Measured [s]
        Add to what the current meter's clock showed to get what the voltage meter's showed, at
        `at_s`. Where both logs have dates or times of day these are the clocks, else seconds
        counted by the logs.
    shift_s : float [s]
        The same between the logs' indices (`time_s`): add to the current log's.
    rate : Measured or None [1]
        Relative difference of the clocks' rates, where the log is long enough to show one: add
        ``rate · (time − at_s)`` as well.
    at_s : float [s]
        Time, on the current log's index, at which `offset` holds.
    steps_used : int
    how : {"steps", "declared", "stamps"}
    note : str
        For the reader.
    """

    offset: Measured
    shift_s: float
    rate: Measured | None
    at_s: float
    steps_used: int
    how: Literal["steps", "declared", "stamps"]
    note: str

    @property
    def shift(self) -> Measured:
        """What to add to the current log's index to get the voltage log's, at `at_s` [s]."""
        return Measured(self.shift_s, "s", self.offset.components)

    def on_voltage_clock(self, time_s: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Return times of the current log as times of the voltage log, both as their index has them.

        Parameters
        ----------
        time_s : array of float [s]
        """
        own = np.asarray(time_s, dtype=float)
        rate = 0.0 if self.rate is None else self.rate.value
        return np.asarray(own + self.shift_s + rate * (own - self.at_s))


def align(voltage: Log, current: Log, *, declared_offset_s: float | None = None) -> Alignment:
    """Put the current log's clock on the voltage log's.

    Parameters
    ----------
    voltage, current : Log
        Of one charge.
    declared_offset_s : float or None [s]
        Where the review file states one: add to the current meter's clock. Used where the logs
        show no step, and as the place to look for one.

    Returns
    -------
    Alignment

    Raises
    ------
    LogError
        If there is no step in common, no declared offset and no time of day in both logs.
    """
    if voltage.path and voltage.path == current.path:
        return Alignment(Measured(0.0, "s"), 0.0, None, 0.0, 0, "stamps", "Both quantities are in one log.")
    base_s = clock_difference(voltage, current)
    near_s = None if base_s is None else -base_s
    if declared_offset_s is not None:
        near_s = declared_offset_s - (base_s or 0.0)
    found = _by_steps(samples(voltage), samples(current), near_s, base_s or 0.0)
    if found is None and near_s is not None and declared_offset_s is None:
        # A clock may be set to another zone: look at any distance before giving up.
        found = _by_steps(samples(voltage), samples(current), None, base_s or 0.0)
    return found or _without_steps(voltage, current, declared_offset_s, base_s)


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


def _by_steps(voltage: Samples, current: Samples, near_s: float | None, base_s: float) -> Alignment | None:
    """Return the alignment that the current's steps give, None where they give none."""
    all_steps, all_jumps = steps(current), jumps(voltage)
    found = match.best(voltage, all_steps, all_jumps, near_s=near_s, within_s=_NEAR_S)
    if found is None:
        return None
    slack_s = (voltage.interval_s + current.interval_s) / 2
    own, answers = match.pairs(all_steps, all_jumps, found, slack_s=slack_s)
    left_out = 0
    while len(own):
        limits = _bounds(own, answers, slack_s)
        if limits is not None:
            return _alignment(own, answers, limits, found, left_out, base_s)
        keep = _without_worst(own, answers)
        own, answers, left_out = own.only(keep), answers.only(keep), left_out + 1
    return None


def _bounds(own: Changes, answers: Changes, slack_s: float) -> feasible.Bounds | None:
    return feasible.bounds(
        own.middle_s - own.middle_s[0],
        answers.earliest_s - own.latest_s,
        answers.latest_s - own.earliest_s,
        most_scatter_s=slack_s,
    )


def _without_worst(own: Changes, answers: Changes) -> npt.NDArray[np.bool_]:
    """Return which pairs stay when the one farthest from the middle of all goes."""
    apart = answers.middle_s - own.middle_s
    return np.asarray(np.arange(len(own)) != np.argmax(np.abs(apart - np.median(apart))))


def _alignment(
    own: Changes,
    answers: Changes,
    limits: feasible.Bounds,
    found: match.Match,
    left_out: int,
    base_s: float,
) -> Alignment:
    shift_s = limits.shift_s
    rate = _rate(limits)
    return Alignment(
        Measured(shift_s + base_s, "s", _components(own, answers, limits)),
        shift_s,
        rate,
        float(own.middle_s[0]),
        len(own),
        "steps",
        _note(len(own), left_out, found, rate, base_s),
    )


def _components(own: Changes, answers: Changes, limits: feasible.Bounds) -> tuple[Component, ...]:
    if len(own) == 1:
        halves = (
            ("voltage log: rows around the step", answers),
            ("current log: rows around the step", own),
        )
        return tuple(
            Component(name, float(one.latest_s[0] - one.earliest_s[0]) / 2, "s", "rectangular")
            for name, one in halves
        )
    half_s = limits.shift_half_s / COVERAGE
    return (Component(f"clock offset: what {len(own)} steps leave open", half_s, "s", "rectangular"),)


def _rate(limits: feasible.Bounds) -> Measured | None:
    """Return the difference of rates where the steps exclude that there is none."""
    if abs(limits.rate) <= limits.rate_half:
        return None
    half = limits.rate_half / COVERAGE
    part = Component("clock rate: what the steps leave open", half, "1", "rectangular")
    return Measured(limits.rate, "1", (part,))


def _note(used: int, left_out: int, found: match.Match, rate: Measured | None, base_s: float) -> str:
    said = f"From {used} {'step' if used == 1 else 'steps'} of the current and the voltage's answer to each"
    if left_out:
        said += f"; {left_out} more did not fit and {'was' if left_out == 1 else 'were'} left out"
    if rate is not None:
        said += f"; the clocks' rates differ by {rate.value * 1e6:.0f} millionths"
    if found.rival_s is not None:
        rival = wording.quantity(found.rival_s + base_s, None, "s")
        said += f"; ambiguous: an offset of {rival} fits about as well"
    return said + "."


def _without_steps(
    voltage: Log, current: Log, declared_offset_s: float | None, base_s: float | None
) -> Alignment:
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
