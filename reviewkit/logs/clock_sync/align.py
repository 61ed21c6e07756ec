"""Two meters, two clocks: the offset between them, and how well it is known."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from reviewkit.logs import Log
from reviewkit.logs.clock_sync import feasible, match
from reviewkit.logs.clock_sync.alignment import Alignment
from reviewkit.logs.clock_sync.steps import Changes, Samples, jumps, samples, steps
from reviewkit.logs.clock_sync.without_steps import clock_difference, without_steps
from reviewkit.metrology import COVERAGE, Component, Measured, formatting

_NEAR_S = 900.0


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
    return found or without_steps(voltage, current, declared_offset_s, base_s)


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
        rival = formatting.quantity(found.rival_s + base_s, None, "s")
        said += f"; ambiguous: an offset of {rival} fits about as well"
    return said + "."
