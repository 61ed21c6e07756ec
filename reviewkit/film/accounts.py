"""Which gaps between blinks part groups, and which part readings: every account that a film allows.

A gap lies inside a group, between the groups of a reading, or between readings. Nothing in a film says which;
but gaps of one kind are alike, the kinds are longer in this order, and every reading that is seen whole has
its groups. An account puts two boundaries between the three kinds. What all accounts that hold agree upon is
known, and nothing else.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from reviewkit.film.blinks import Blink, Switching
from reviewkit.film.difficulties import Difficulty

FINE = 1.08
"""Gaps of two kinds differ by at least this factor, and by what two pictures' times leave open [1]. Chosen:
devices' own timing is steady to some per cent."""
OPEN = 1.25
"""By how many picture intervals equal gaps may seem to differ [1]. Derived: by one, and a quarter for
exposures and for pictures that come unevenly."""
USUAL = 0.25
"""Times of one kind lie within this part of their median, and a picture interval [1]. Chosen: a blink missed
makes a gap at least twice as long; two run together make a blink at least twice as long."""
MOST_GROUPS = 4
LONGEST_S = 5.0
"""No gap inside a reading is longer than this [s]. Chosen: whoever counts would take what follows for another
reading. It bears only on films in which no gap of the kind is seen."""
SOONEST_S = 0.8
"""Single blinks that follow sooner are one group [s]. Chosen: a value that is told by one blink can't be
written down in less. It bears only on readings of one group."""
SPOILT = 5
"""An account holds if it explains all of the clear readings but one in so many [1]. Chosen: what disturbs one
reading in five unnoticed would be noticed in the others."""
ENOUGH = 3
"""Pauses alike that show, without a rule, that readings have several groups [1]: a person who presses a key
does not do so three times to a quarter of an interval. Chosen."""


@dataclass(frozen=True)
class Part:
    """A reading in an account: its blinks, the groups' sizes, how it agrees with the account.

    Parameters
    ----------
    first, beyond : int
        Blinks from here up to there.
    fit : str
        "whole"; "open" where the film's edge or a difficulty excuses what is missing; "strange".
    """

    first: int
    beyond: int
    counts: tuple[int, ...]
    fit: str


@dataclass(frozen=True)
class Account:
    """The kinds of gap in a film, and the readings that follow.

    Parameters
    ----------
    pause_from_s, between_from_s : float [s]
        Where the kinds part.
    inner_s, pause_s, between_s : float [s]
        Usual length of each; not a number where none is seen.
    longest_s : float [s]
        The longest gap that a reading may hold.
    """

    number: int
    pause_from_s: float
    between_from_s: float
    inner_s: float
    pause_s: float
    between_s: float
    longest_s: float
    pauses: int
    width: float
    parts: tuple[Part, ...] = ()

    @cached_property
    def strange(self) -> int:
        """How many readings contradict it."""
        return sum(one.fit == "strange" for one in self.parts)

    @cached_property
    def allowed(self) -> int:
        """How many may."""
        return sum(one.fit != "open" for one in self.parts) // SPOILT

    @cached_property
    def explained(self) -> int:
        """Blinks of the readings that have their groups; the clear ones count double."""
        told = [one for one in self.parts if one.fit != "strange" and len(one.counts) == self.number]
        return sum((one.beyond - one.first) * (1 + (one.fit == "whole")) for one in told)

    def over(self, first: int, beyond: int) -> tuple[Part, ...]:
        """Return its readings that share blinks with a stretch of them."""
        return tuple(one for one in self.parts if one.first < beyond and one.beyond > first)


def accounts(found: Switching, difficulties: Sequence[Difficulty], groups: int | None) -> tuple[Account, ...]:
    """Return the accounts of a film's gaps that hold, the likeliest first; at least one.

    Parameters
    ----------
    groups : int, optional
        How many groups make a reading, by the review's rule.
    """
    numbers = [groups] if groups else list(range(MOST_GROUPS, 0, -1))
    edges = [0.0, *_boundaries(sorted(gaps_of(found.blinks)), found.level.interval_s), math.inf]
    gaps = tuple(_seen(before, after, difficulties) for before, after in pairwise(found.blinks))
    tried = [
        one
        for number in numbers
        for index, low in enumerate(edges)
        for high in (edges[index:] if number > 1 else [low])
        if (one := _account(found, gaps, difficulties, number, low, high)) is not None
    ]
    tried.sort(
        key=lambda one: (one.strange, -one.explained, math.isnan(one.inner_s), -one.number, -one.width)
    )
    best = tried[0]
    near = [one for one in tried if one.strange <= best.strange + best.allowed]
    return tuple(near if groups else _without_rule(near))


def gaps_of(blinks: Sequence[Blink]) -> list[float]:
    """Return the times from each blink's end to the next one's start [s]."""
    return [after.start_s - before.end_s for before, after in pairwise(blinks)]


def is_usual(time_s: float, usual_s: float, step_s: float) -> bool:
    """Whether a time may be one of its kind; any, where none is known."""
    return not math.isfinite(usual_s) or abs(time_s - usual_s) <= USUAL * usual_s + step_s


def _boundaries(gaps: Sequence[float], interval_s: float) -> list[float]:
    return [
        math.sqrt(max(short, 1e-3) * long)
        for short, long in pairwise(gaps)
        if long > FINE * short and long - short > OPEN * interval_s
    ]


@dataclass(frozen=True)
class _Gap:
    """A gap as far as it was seen: its length, and its longest part that nothing disturbs [s]."""

    length_s: float
    least_s: float
    is_clear: bool


def _seen(before: Blink, after: Blink, difficulties: Sequence[Difficulty]) -> _Gap:
    begin_s, end_s = before.end_s, after.start_s
    over = [one for one in difficulties if one.overlaps(before.start_s, after.end_s)]
    least_s, now_s = 0.0, begin_s
    for one in sorted(over, key=lambda one: one.start_s):
        least_s, now_s = max(least_s, min(one.start_s, end_s) - now_s), max(now_s, one.end_s)
    return _Gap(end_s - begin_s, max(least_s, end_s - now_s), not over)


def _account(
    found: Switching,
    gaps: Sequence[_Gap],
    difficulties: Sequence[Difficulty],
    number: int,
    low: float,
    high: float,
) -> Account | None:
    """Return the account of two boundaries, none where its kinds can't be."""
    lengths, step_s = [one.length_s for one in gaps], found.level.interval_s
    kinds = (
        [one for one in lengths if one < low],
        [one for one in lengths if low <= one < high],
        [one for one in lengths if one >= high],
    )
    inner_s, pause_s, between_s = (float(np.median(one)) if one else math.nan for one in kinds)
    if inner_s > LONGEST_S or pause_s > LONGEST_S:
        return None
    if number == 1 and not kinds[0] and min(kinds[2], default=math.inf) < SOONEST_S - step_s:
        return None
    known = inner_s if number == 1 else pause_s
    if math.isfinite(known):
        longest_s = (1 + USUAL) * known + step_s
    else:
        longest_s = min(LONGEST_S, min(kinds[2], default=math.inf) / FINE)
    width = _width(lengths, low) * _width(lengths, high)
    bare = Account(number, low, high, inner_s, pause_s, between_s, longest_s, len(kinds[1]), width)
    return replace(bare, parts=tuple(_parts(bare, found, gaps, difficulties)))


def _parts(
    account: Account, found: Switching, gaps: Sequence[_Gap], difficulties: Sequence[Difficulty]
) -> Iterator[Part]:
    blinks = found.blinks
    begin_s, end_s = (float(found.level.time_s[index]) for index in (0, -1))
    longer = [number + 1 for number, gap in enumerate(gaps) if gap.length_s >= account.between_from_s]
    for first, beyond in pairwise([0, *longer, len(blinks)]):
        inside = gaps[first : beyond - 1]
        pauses = [number + 1 for number, gap in enumerate(inside) if gap.length_s >= account.pause_from_s]
        counts = tuple(after - before for before, after in pairwise([0, *pauses, beyond - first]))
        reach = blinks[first].start_s - account.longest_s, blinks[beyond - 1].end_s + account.longest_s
        is_cut = (first == 0 and reach[0] < begin_s) or (beyond == len(blinks) and reach[1] > end_s)
        is_spoilt = any(one.overlaps(*reach) for one in difficulties)
        if not _agrees(account, inside, found.level.interval_s):
            fit = "strange"
        elif is_spoilt or (is_cut and len(counts) < account.number):
            fit = "open"
        else:
            fit = "whole" if len(counts) == account.number else "strange"
        yield Part(first, beyond, counts, fit)


def _agrees(account: Account, inside: Sequence[_Gap], step_s: float) -> bool:
    """Whether the gaps of a reading that nothing disturbs are of their kinds, and its pauses not too many."""
    clear = [gap.length_s for gap in inside if gap.is_clear]
    pauses = [gap for gap in clear if gap >= account.pause_from_s]
    inner = [gap for gap in clear if gap < account.pause_from_s]
    return (
        sum(gap.least_s >= account.pause_from_s for gap in inside) < account.number
        and all(is_usual(one, account.pause_s, step_s) for one in pauses)
        and all(is_usual(one, account.inner_s, step_s) for one in inner)
    )


def _width(gaps: Sequence[float], boundary: float) -> float:
    """Return by which factor the gaps below and above a boundary differ."""
    below, above = [one for one in gaps if one < boundary], [one for one in gaps if one >= boundary]
    return min(min(above) / max(*below, 1e-3), 5.0) if below and above else 2.0


def _without_rule(near: Sequence[Account]) -> list[Account]:
    """Leave out accounts that take another's pauses for times between readings, where enough are alike."""
    shown = [one for one in near if one.number > 1 and one.pauses >= ENOUGH and not one.strange]
    return [
        one
        for one in near
        if not any(
            one.pause_from_s == other.pause_from_s
            and one.number < other.number
            and one.between_from_s < other.between_from_s
            for other in shown
        )
    ]
