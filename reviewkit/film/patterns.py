"""Blinks to readings: groups between pauses, readings between longer ones, and what each could be else.

A reading is sure where no neighbour fits: every account of the film's gaps tells it alike, every blink rises
and falls well past both thresholds, every time lit, gap and pause is one of the film's usual ones, and
nothing that was recognised as a difficulty lies in it or beside it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from reviewkit.film.accounts import Account, Part, accounts, gaps_of, is_usual
from reviewkit.film.blinks import SURE_DARK, SURE_LIT, Blink, Switching
from reviewkit.film.difficulties import Difficulty, recognised

SHORTEST = 1.2
"""A blink or gap shorter than so many picture intervals may fall between two pictures [1]. Derived: one
interval is the longest time without a picture's beginning; a fifth more is what exposures add."""
MOST_HIDDEN = 9


@dataclass(frozen=True)
class Reading:
    """One telling of the light.

    Parameters
    ----------
    start_s, end_s : float [s]
        On the film's own clock.
    counts : tuple of int
        Blinks in each group.
    most : tuple of int
        How many each could be at most, for all that is seen; as `counts` where the reading is sure.
    why : tuple of str
        What keeps it from being sure; empty where it is.
    otherwise : tuple of tuple of str
        What else its gaps allow: the patterns of one reading, or of several.
    """

    blinks: tuple[Blink, ...]
    groups: tuple[tuple[Blink, ...], ...]
    most: tuple[int, ...]
    why: tuple[str, ...]
    otherwise: tuple[tuple[str, ...], ...] = ()

    @property
    def start_s(self) -> float:
        """When its first blink starts [s]."""
        return self.blinks[0].start_s

    @property
    def end_s(self) -> float:
        """When its last blink ends [s]."""
        return self.blinks[-1].end_s

    @property
    def counts(self) -> tuple[int, ...]:
        """Blinks in each group."""
        return tuple(len(group) for group in self.groups)

    @property
    def pattern(self) -> str:
        """Such as "4 · 2"."""
        return _pattern(self.counts)

    @property
    def sure(self) -> bool:
        """Whether what was filmed leaves no other reading."""
        return not self.why


def _pattern(counts: Sequence[int]) -> str:
    return " · ".join(map(str, counts))


def read(found: Switching, groups: int | None = None) -> tuple[Reading, ...]:
    """Return the readings that a light tells.

    Parameters
    ----------
    groups : int, optional
        How many groups make a reading; else the number that all of them have.

    Examples
    --------
    >>> [len(reading.blinks) for reading in read(filmed.found)]
    [5]
    """
    if not found.blinks:
        return ()
    difficulties = [one for one in recognised(found) if one.decides]
    best, *rivals = accounts(found, difficulties, groups)
    return tuple(_judged(part, best, rivals, found, difficulties, groups) for part in best.parts)


def _judged(
    part: Part,
    best: Account,
    rivals: Sequence[Account],
    found: Switching,
    difficulties: Sequence[Difficulty],
    groups: int | None,
) -> Reading:
    told = found.blinks[part.first : part.beyond]
    places = np.cumsum([0, *part.counts]).tolist()
    parts = tuple(told[first:beyond] for first, beyond in pairwise(places))
    others = [over for one in rivals if (over := _other(one, part))]
    margin_s = best.longest_s + found.level.interval_s
    begin_s, end_s = told[0].start_s - margin_s, told[-1].end_s + margin_s
    near = [one for one in difficulties if one.overlaps(begin_s, end_s)]
    why = dict.fromkeys([one.kind for one in near])
    why |= dict.fromkeys(_doubts(told, parts, best, found, (begin_s, end_s)))
    if others or best.strange > best.allowed:
        why["pauses" if groups else "no rule"] = None
    if groups is not None and len(parts) != groups:
        why["groups"] = None
    most = part.counts
    if why:
        most = _most(parts, near, best, found) if near or not others else most
    otherwise = dict.fromkeys(tuple(_pattern(one.counts) for one in over) for over in others)
    otherwise.pop((_pattern(part.counts),), None)
    return Reading(told, parts, most, tuple(why), tuple(otherwise))


def _other(rival: Account, part: Part) -> tuple[Part, ...]:
    """Return what another account makes of a reading's blinks; nothing if the same, or nothing that fits."""
    over = rival.over(part.first, part.beyond)
    same = len(over) == 1 and over[0] == part
    return () if same or any(one.fit == "strange" for one in over) else over


def _most(
    parts: Sequence[Sequence[Blink]], near: Sequence[Difficulty], best: Account, found: Switching
) -> tuple[int, ...]:
    """Return how many blinks each group could have."""
    lit_s = float(np.median([one.length_s for one in found.blinks]))
    period_s = lit_s + (best.inner_s if best.inner_s > 0 else best.longest_s)
    most = tuple(len(part) + _hidden(part, near, period_s) for part in parts)
    # Where something speaks against it and nobody knows where, any of them may have one more.
    return most if most != tuple(map(len, parts)) else tuple(count + 1 for count in most)


def _hidden(part: Sequence[Blink], near: Sequence[Difficulty], period_s: float) -> int:
    """Return how many more blinks of a group what lies over it could hide."""
    begin_s, end_s = part[0].start_s - period_s, part[-1].end_s + period_s
    over = [one for one in near if one.overlaps(begin_s, end_s)]
    hidden_s = sum(min(one.end_s, end_s) - max(one.start_s, begin_s) for one in over)
    return min(len(over) + int(hidden_s / period_s), MOST_HIDDEN)


def _doubts(
    told: Sequence[Blink],
    parts: Sequence[Sequence[Blink]],
    best: Account,
    found: Switching,
    within_s: tuple[float, float],
) -> Iterator[str]:
    """Walk what in a reading itself leaves room for another."""
    level, step_s = found.level, found.level.interval_s
    if within_s[0] < level.time_s[0] or within_s[1] > level.time_s[-1]:
        yield "edge"
    first = found.blinks.index(told[0])
    depth = found.depth[first : first + len(told) + 1]
    if min(one.height for one in told) < SURE_LIT or max(depth) > SURE_DARK:
        yield "weak"
    lit_s = [one.length_s for one in told]
    usual_s = float(np.median([one.length_s for one in found.blinks]))
    inner = [gap for part in parts for gap in gaps_of(part)]
    pauses = [after[0].start_s - before[-1].end_s for before, after in pairwise(parts)]
    if not all(is_usual(one, usual_s, step_s) for one in lit_s):
        yield "uneven"
    if not all(is_usual(one, best.inner_s, step_s) for one in inner):
        yield "uneven"
    if not all(is_usual(one, best.pause_s, step_s) for one in pauses):
        yield "pauses"
    if _close(best.inner_s, best.pause_s, step_s) or _close(best.pause_s, best.between_s, step_s):
        yield "pauses"
    longest_s = float(np.diff(level.time_s[told[0].first : told[-1].last + 2]).max(initial=step_s))
    if min([usual_s, *([best.inner_s] if inner else [])]) < SHORTEST * longest_s:
        yield "fast"


def _close(short_s: float, long_s: float, step_s: float) -> bool:
    """Whether two kinds of gap lie so close that one may be taken for the other; not where one isn't seen."""
    return long_s - short_s < 0.35 * short_s + 2 * step_s
