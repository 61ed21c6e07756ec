"""Which offset of the clocks lets the voltage answer the current's steps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reviewkit.logs.clock_sync.steps import Array, Changes, Samples

LARGEST_OHM = 1.0
"""A cell with its leads has less: a larger jump is a lead pulled off, not an answer to the current."""

_AS_GOOD = 0.85


@dataclass(frozen=True)
class Match:
    """The offset at which the logs fit each other best.

    Parameters
    ----------
    shift_s : float [s]
        Add to the current log's times.
    score : float
        Correlation of steps and answers, 1 at best.
    rival_s : float or None [s]
        Another offset that fits about as well.
    """

    shift_s: float
    score: float
    rival_s: float | None


def best(
    voltage: Samples, steps: Changes, jumps: Changes, *, near_s: float | None, within_s: float
) -> Match | None:
    """Return the offset at which steps and jumps fit best, None where none of them do.

    Parameters
    ----------
    voltage : Samples
    steps, jumps : Changes
        Of the current and of the voltage.
    near_s : float or None [s]
        Where to look; None: anywhere.
    within_s : float [s]
        How far around `near_s`.
    """
    if not len(steps) or not len(jumps):
        return None
    shifts = (jumps.middle_s[:, None] - steps.middle_s[None, :])[
        np.sign(jumps.size)[:, None] == np.sign(steps.size)[None, :]
    ]
    if near_s is not None:
        shifts = shifts[np.abs(shifts - near_s) <= within_s]
    if not len(shifts):
        return None
    shifts = np.unique(shifts)
    scores = _scores(voltage, steps, jumps, shifts)
    top = int(np.argmax(scores))
    if scores[top] < 0.3:
        return None
    width = float(np.max(steps.latest_s - steps.earliest_s) + np.max(jumps.latest_s - jumps.earliest_s))
    apart = np.abs(shifts - shifts[top]) > 2 * width
    rivals = np.where(apart, scores, -1.0)
    rival = int(np.argmax(rivals))
    close = scores >= scores[top] - 0.02
    middle = float(np.median(shifts[close & (np.abs(shifts - shifts[top]) <= width)]))
    doubtful = rivals[rival] >= _AS_GOOD * scores[top]
    return Match(middle, float(scores[top]), float(shifts[rival]) if doubtful else None)


def _scores(voltage: Samples, steps: Changes, jumps: Changes, shifts: Array) -> Array:
    """Return the correlation between steps and what the voltage does at their moments, per offset."""
    most_V = LARGEST_OHM * float(np.abs(steps.size).max())
    slack = voltage.interval_s / 2
    before = _at(voltage, steps.earliest_s[None, :] + shifts[:, None] - slack)
    after = _at(voltage, steps.latest_s[None, :] + shifts[:, None] + slack)
    answers = np.where(np.abs(after - before) <= most_V, after - before, 0.0)
    all_jumps = float(np.linalg.norm(jumps.size[np.abs(jumps.size) <= most_V]))
    all_answers = np.maximum(np.linalg.norm(answers, axis=1), max(all_jumps, 1e-9))
    return np.asarray(answers @ steps.size / (np.linalg.norm(steps.size) * all_answers))


def _at(voltage: Samples, moments: Array) -> Array:
    """Return the reading that stands at each moment: the last one before it."""
    place = np.searchsorted(voltage.time_s, moments, side="right") - 1
    return voltage.value[np.clip(place, 0, len(voltage.value) - 1)]


def pairs(steps: Changes, jumps: Changes, match: Match, *, slack_s: float) -> tuple[Changes, Changes]:
    """Return steps and the jumps that answer them, one to one.

    Parameters
    ----------
    steps, jumps : Changes
    match : Match
    slack_s : float [s]
        How far a jump may lie from where its step says.
    """
    taken: list[tuple[int, int]] = []
    for step in range(len(steps)):
        low = steps.earliest_s[step] + match.shift_s - slack_s
        high = steps.latest_s[step] + match.shift_s + slack_s
        fits = (jumps.latest_s >= low) & (jumps.earliest_s <= high)
        fits &= np.sign(jumps.size) == np.sign(steps.size[step])
        fits &= np.abs(jumps.size) <= LARGEST_OHM * np.abs(steps.size[step])
        if fits.any():
            taken.append((step, int(np.argmax(np.where(fits, np.abs(jumps.size), -1.0)))))
    single = [(step, jump) for step, jump in taken if sum(jump == other for _, other in taken) == 1]
    first = np.array([step for step, _ in single], dtype=np.intp)
    second = np.array([jump for _, jump in single], dtype=np.intp)
    return steps.only(first), jumps.only(second)
