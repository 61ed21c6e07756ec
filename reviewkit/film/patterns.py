"""Blinks to readings: groups between pauses, readings between longer ones, and what each could be else.

A reading is sure where no neighbour fits: every blink rises and falls well past both thresholds, every time
lit, gap and pause is one of the film's usual ones, the three kinds of gap lie apart, and nothing that was
recognised as a difficulty lies in it or beside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from reviewkit.film.blinks import SURE_DARK, SURE_LIT, Blink, Switching
from reviewkit.film.difficulties import Difficulty, recognised

APART = 1.3
"""Gaps of two kinds differ by at least this factor [1]. Chosen: a device's own timing varies by a few per
cent."""
USUAL = 0.25
"""Times of one kind lie within this part of their median, and a picture interval [1]. Chosen: a blink missed
makes a gap at least twice as long; two run together make a blink at least twice as long."""
MOST_GROUPS = 4
GOOD, ALONE, CLEARLY = 0.85, 0.9, 0.2
"""An account of a film's gaps fits where this part of its readings has the right groups [1]; one reading
alone,
without another before or behind it, counts a little less than whole; another account is ruled out where it
fits worse by this much. Chosen: one reading in five of a film may be spoilt."""
SHORTEST = 1.2
"""A blink or gap shorter than so many picture intervals may fall between two pictures [1]. Derived: one
interval is the longest time without a picture's beginning; a fifth more is what exposures add."""


@dataclass(frozen=True)
class Gaps:
    """The three kinds of gap in a film: within a group, between groups, between readings [s].

    `rivals`: whether the film's gaps could be parted otherwise, nearly as well.
    """

    inner_s: float
    pause_s: float
    between_s: float
    pause_from_s: float
    between_from_s: float
    rivals: bool


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
    """

    blinks: tuple[Blink, ...]
    groups: tuple[tuple[Blink, ...], ...]
    most: tuple[int, ...]
    why: tuple[str, ...]

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
        return " · ".join(map(str, self.counts))

    @property
    def sure(self) -> bool:
        """Whether what was filmed leaves no other reading."""
        return not self.why


def read(found: Switching, groups: int | None = None) -> tuple[Reading, ...]:
    """Return the readings that a light tells.

    Parameters
    ----------
    groups : int, optional
        How many groups make a reading; else the number that all of them have.
    """
    blinks = found.blinks
    if not blinks:
        return ()
    kinds = _kinds(blinks, found, groups)
    difficulties = [one for one in recognised(found) if one.decides]
    told = _parted(blinks, kinds.between_from_s)
    return tuple(_judged(one, kinds, found, difficulties, groups) for one in told)


def _gaps(blinks: Sequence[Blink]) -> list[float]:
    return [after.start_s - before.end_s for before, after in pairwise(blinks)]


def _parted(blinks: Sequence[Blink], longer_s: float) -> list[tuple[Blink, ...]]:
    """Return the runs of blinks between gaps from some length on."""
    parts: list[list[Blink]] = [[blinks[0]]]
    for gap_s, blink in zip(_gaps(blinks), blinks[1:], strict=True):
        if gap_s >= longer_s:
            parts.append([])
        parts[-1].append(blink)
    return [tuple(part) for part in parts]


def _fit(
    blinks: Sequence[Blink], low_s: float, high_s: float, number: int, ends_s: tuple[float, float, float]
) -> float:
    """Return which part of the readings has so many groups, times which part of their gaps is alike."""
    told = _parted(blinks, high_s)
    whole = [
        one
        for one in told
        # What the film's beginning or end may have cut off counts half.
        if one[0].start_s - ends_s[0] >= high_s or one is not told[0]
        if ends_s[1] - one[-1].end_s >= high_s or one is not told[-1]
    ]
    right = [len(_parted(one, low_s)) == number for one in whole]
    all_right = all(len(_parted(one, low_s)) == number for one in told)
    share = sum(right) / len(right) if right else ALONE * all_right
    inner = [gap for gap in _gaps(blinks) if gap < low_s]
    usual = float(np.median(inner)) if inner else 0.0
    return share * sum(_usual(one, usual, ends_s[2]) for one in inner) / len(inner) if inner else share


def _kinds(blinks: Sequence[Blink], found: Switching, groups: int | None) -> Gaps:
    """Return where the kinds of gap part: where the most readings have as many groups as they should."""
    gaps = sorted(_gaps(blinks))
    ends_s = float(found.level.time_s[0]), float(found.level.time_s[-1]), found.level.interval_s
    parts = [0.0, *_boundaries(gaps, found.level.interval_s), math.inf]
    wanted = [groups] if groups else range(MOST_GROUPS, 0, -1)
    tried: list[tuple[float, float, float, float]] = []
    for number in wanted:
        for place, low in enumerate(parts):
            for high in parts[place : place + 1] if number == 1 else parts[place + 1 :]:
                fit = round(_fit(blinks, low, high, number, ends_s), 2)
                tried.append((fit, _width(gaps, low) * _width(gaps, high), low, high))
        if max(tried)[0] >= GOOD:
            break
    fit, _, low, high = max(tried)
    # Another account that fits nearly as well may be the right one.
    rivals = sum(other >= fit - CLEARLY for other, *_ in tried) > 1
    inner, pause = [one for one in gaps if one < low], [one for one in gaps if low <= one < high]
    between = [one for one in gaps if one >= high]
    usual = [float(np.median(one)) if one else math.nan for one in (inner, pause, between)]
    return Gaps(usual[0], usual[1], usual[2], low, high, rivals)


def _boundaries(gaps: Sequence[float], interval_s: float) -> list[float]:
    return [
        math.sqrt(max(short, 1e-3) * long)
        for short, long in pairwise(gaps)
        if long > APART * short and long - short > interval_s
    ]


def _width(gaps: Sequence[float], boundary: float) -> float:
    """Return by which factor the gaps below and above a boundary differ."""
    below, above = [one for one in gaps if one < boundary], [one for one in gaps if one >= boundary]
    return min(above[0] / max(below[-1], 1e-3), 5.0) if below and above else 2.0


def _judged(
    told: tuple[Blink, ...],
    kinds: Gaps,
    found: Switching,
    difficulties: Sequence[Difficulty],
    groups: int | None,
) -> Reading:
    parts = tuple(_parted(told, kinds.pause_from_s))
    margin_s = _margin(kinds, found)
    begin_s, end_s = told[0].start_s - margin_s, told[-1].end_s + margin_s
    near = [one for one in difficulties if one.overlaps(begin_s, end_s)]
    why = dict.fromkeys([one.kind for one in near])
    why |= dict.fromkeys(_doubts(told, parts, kinds, found, margin_s))
    if groups is not None and kinds.rivals:
        why["pauses"] = None
    if groups is not None and len(parts) != groups:
        why["groups"] = None
    if groups is None and math.isfinite(kinds.pause_s) != math.isfinite(kinds.between_s):
        # One kind of longer gap, and nobody said what it parts.
        why["no rule"] = None
    period_s = float(np.median([one.length_s for one in found.blinks])) + (
        kinds.inner_s if math.isfinite(kinds.inner_s) else margin_s
    )
    most = tuple(len(part) + _hidden(part, near, margin_s, period_s) for part in parts)
    if why and most == tuple(map(len, parts)):
        # Something speaks against it, nobody knows where.
        most = tuple(count + 1 for count in most)
    return Reading(told, parts, most if why else tuple(map(len, parts)), tuple(why))


def _margin(kinds: Gaps, found: Switching) -> float:
    """Return the time beside a reading in which a blink would belong to it [s]."""
    known = [one for one in (kinds.pause_s, kinds.inner_s) if math.isfinite(one)]
    lit_s = float(np.median([one.length_s for one in found.blinks]))
    return (1 + USUAL) * max(known, default=2 * lit_s) + lit_s + found.level.interval_s


def _hidden(part: Sequence[Blink], near: Sequence[Difficulty], margin_s: float, period_s: float) -> int:
    """Return how many more blinks of a group what lies over it could hide."""
    begin_s, end_s = part[0].start_s - period_s, part[-1].end_s + period_s
    over = [one for one in near if one.overlaps(begin_s, end_s)]
    hidden_s = sum(min(one.end_s, end_s) - max(one.start_s, begin_s) for one in over)
    return min(len(over) + int(hidden_s / period_s), 9)


def _doubts(
    told: Sequence[Blink], parts: Sequence[Sequence[Blink]], kinds: Gaps, found: Switching, margin_s: float
) -> Iterator[str]:
    """Walk what in a reading itself leaves room for another."""
    level, step_s = found.level, found.level.interval_s
    if told[0].start_s - level.time_s[0] < margin_s or level.time_s[-1] - told[-1].end_s < margin_s:
        yield "edge"
    first = found.blinks.index(told[0])
    depth = found.depth[first : first + len(told) + 1]
    if min(one.height for one in told) < SURE_LIT or max(depth) > SURE_DARK:
        yield "weak"
    lit_s = [one.length_s for one in told]
    usual_s = float(np.median([one.length_s for one in found.blinks]))
    if any(not _usual(one, usual_s, step_s) for one in lit_s):
        yield "uneven"
    inner = [gap for part in parts for gap in _gaps(part)]
    pauses = [after[0].start_s - before[-1].end_s for before, after in pairwise(parts)]
    if any(not _usual(one, kinds.inner_s, step_s) for one in inner):
        yield "uneven"
    if any(not _usual(one, kinds.pause_s, step_s) for one in pauses):
        yield "pauses"
    if _close(kinds.inner_s, kinds.pause_s, step_s) or _close(kinds.pause_s, kinds.between_s, step_s):
        yield "pauses"
    longest_s = float(np.diff(level.time_s[told[0].first : told[-1].last + 2]).max(initial=step_s))
    if min([usual_s, *([kinds.inner_s] if inner else [])]) < SHORTEST * longest_s:
        yield "fast"


def _usual(time_s: float, usual_s: float, step_s: float) -> bool:
    return not math.isfinite(usual_s) or abs(time_s - usual_s) <= USUAL * usual_s + step_s


def _close(short_s: float, long_s: float, step_s: float) -> bool:
    known = math.isfinite(short_s) and math.isfinite(long_s)
    return known and long_s - short_s < 0.35 * short_s + 2 * step_s
