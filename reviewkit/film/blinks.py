"""When a light is lit and when it is dark, from its level; what lies between the two is not decided.

On and off have thresholds of their own, at 60 % and 40 % of the way from the dark level to the lit one near
by, so that noise does not switch twice and a camera that opens its aperture takes the thresholds with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from reviewkit.film.level import Level

ON, OFF = 0.6, 0.4
"""Thresholds, of the way from dark to lit [1]: half the light, give or take a tenth. Chosen."""
NEAR_S = 4.0
"""How far around a picture its lit and dark levels are looked for [s]: a reading and the pause behind it.
Chosen."""
LEAST = 0.3
"""The least that the lit level near by may be of that of the whole film [1]. Chosen: exposure that falls by
two stops with the light in view."""
SURE_LIT, SURE_DARK = 0.7, 0.3
"""A blink that gets this high, a gap that gets this low, was one [1]. Chosen: as far from the thresholds as
they are apart, ten times the noise of a film of a light worth reading."""
BUMP = 0.15
"""A rise or dip of this size between the thresholds may be half a blink [1]. Chosen."""
NOISIEST = 0.06
"""Noise of a level by which nothing is decided any more [1]: a fifth of the margin of a sure blink.
Chosen."""
FADING = 1.25
"""Pictures of a usual rise or fall that show neither dark nor full light, by which a light fades [1].
Derived: a light that switches at once does so in at most one picture's exposure."""
FULL = 0.06
"""Within this of its lowest and highest, a level is dark or full [1]. Chosen: compression leaves some per
cent."""
CLIPPED = 245.0
"""A light of this code is as bright as a film can show [of 255]. Chosen: white, less what compression
takes."""
_OPEN = 1.25
"""A light came on within this of the beginning of the first picture that shows it, in picture intervals:
after the one before had gathered its light, and before this one has. Derived: an interval for an exposure up
to the whole of it, where a part of one shows; a quarter because the rows of a picture begin one after another
(chosen: what drawn films leave open)."""


@dataclass(frozen=True)
class Blink:
    """One time that the light was lit.

    Parameters
    ----------
    start_s, length_s : float [s]
        On the film's own clock.
    start_half_s, length_half_s : float [s]
        Half-widths of the intervals that hold them: the pictures decide no finer.
    height : float
        Of the way from dark to lit, what it reached at least half of its time.
    first, last : int
        Pictures that show it.
    """

    start_s: float
    length_s: float
    start_half_s: float
    length_half_s: float
    height: float
    first: int
    last: int

    @property
    def end_s(self) -> float:
        """When it went dark [s]."""
        return self.start_s + self.length_s


@dataclass(frozen=True)
class Switching:
    """A light's times on and off.

    Parameters
    ----------
    share : numpy.ndarray
        Of the way from the dark level near by to the lit one, picture by picture.
    depth : tuple of float
        How dark it got before each blink, and after the last, in the same measure.
    unclear_s : tuple of float [s]
        When the level rose or fell by half a blink and turned back.
    fades : bool
        The light takes several pictures to come on, or to go off. A blink then lasts from the middle of the
        one to the middle of the other, and anything between their ends is left open.
    """

    level: Level
    blinks: tuple[Blink, ...]
    share: NDArray[np.float64] = field(repr=False)
    depth: tuple[float, ...]
    unclear_s: tuple[float, ...]
    fades: bool = False


def switching(level: Level) -> Switching:
    """Return when a light was lit.

    Examples
    --------
    >>> found = switching(filmed.found.level)
    >>> [f"{blink.start_s:.1f} s" for blink in found.blinks]
    ['1.3 s', '1.6 s', '1.9 s', '2.7 s', '3.0 s']
    """
    if not level.flashes:
        return Switching(level, (), level.light, (), ())
    share = _share(level)
    runs = _runs(share)
    blinks = tuple(_blink(level, share, first, last) for first, last in runs)
    edges = [0, *(edge for run in runs for edge in (run[0], run[1] + 1)), len(share)]
    depth = tuple(
        float(share[begin:end].min()) if end > begin else 0.0
        for begin, end in zip(edges[::2], edges[1::2], strict=True)
    )
    unclear = [*_bumps(level, share, edges), *_dips(level, share, runs)]
    slopes = [_slopes(share, runs, edge, max(FULL, 4 * level.noise)) for edge in range(len(runs))]
    between = np.array([[end - begin - 1 for begin, end in pair] for pair in slopes])
    fades = bool(slopes) and float(np.median(between, axis=0).mean()) >= FADING
    if fades:
        is_clipped = _is_clipped(level, blinks)
        blinks = tuple(_faded(level, *one, is_clipped=is_clipped) for one in zip(blinks, slopes, strict=True))
    return Switching(level, blinks, share, depth, tuple(sorted(unclear)), fades)


def _share(level: Level) -> NDArray[np.float64]:
    """Return how far each picture is on the way from dark to lit."""
    reach = max(1, round(NEAR_S / level.interval_s))
    light = level.light
    low = ndimage.percentile_filter(light, 5, 2 * reach + 1) if reach < 40 else _slow_low(light, reach)
    whole = float(np.quantile(light - low, 0.995))
    high = ndimage.maximum_filter1d(light, 2 * reach + 1)
    # The brightest picture near by is a noisy one: what half of the bright ones reach.
    high = np.minimum(high, _typical_high(light, low, high, reach))
    return np.asarray((light - low) / np.maximum(high - low, LEAST * whole))


def _slow_low(light: NDArray[np.float64], reach: int) -> NDArray[np.float64]:
    """Return the dark level near by: the lowest of short means, from block to block."""
    smooth = ndimage.median_filter(light, 3)
    return np.asarray(ndimage.uniform_filter1d(ndimage.minimum_filter1d(smooth, 2 * reach + 1), reach))


def _typical_high(
    light: NDArray[np.float64], low: NDArray[np.float64], high: NDArray[np.float64], reach: int
) -> NDArray[np.float64]:
    lit = light > low + 0.5 * (high - low)
    total = ndimage.uniform_filter1d(np.where(lit, light, 0.0), 2 * reach + 1)
    count = ndimage.uniform_filter1d(lit.astype(float), 2 * reach + 1)
    return np.where(count > 1e-9, total / np.maximum(count, 1e-9), high)


def _runs(share: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Return first and last picture of each time that the light is on: on above `ON`, off below `OFF`."""
    above, below = share > ON, share < OFF
    state = np.where(above, 1, np.where(below, 0, -1))
    known = np.maximum.accumulate(np.where(state >= 0, np.arange(len(state)), 0))
    on = (state[known] == 1).astype(int)
    change = np.diff(np.concatenate([[0], on, [0]]))
    return list(
        zip(np.nonzero(change == 1)[0].tolist(), (np.nonzero(change == -1)[0] - 1).tolist(), strict=True)
    )


def _blink(level: Level, share: NDArray[np.float64], first: int, last: int) -> Blink:
    time_s = level.time_s
    before = time_s[first] - time_s[first - 1] if first else level.interval_s
    after = time_s[last + 1] - time_s[last] if last + 1 < len(time_s) else level.interval_s
    start_s, end_s = float(time_s[first]), float(time_s[last] + after)
    return Blink(
        start_s,
        end_s - start_s,
        _OPEN * float(before),
        # An interval from the pictures' times, and an exposure in which a part of a bright light shows.
        float(before) + float(after),
        float(np.quantile(share[first : last + 1], 0.5))
        if last - first > 1
        else float(share[first : last + 1].max()),
        first,
        last,
    )


def _slopes(
    share: NDArray[np.float64], runs: list[tuple[int, int]], index: int, near: float
) -> tuple[tuple[int, int], tuple[int, int]]:
    """Return the last dark and the first full picture of a blink, and its last full and first dark one."""
    first, last = runs[index]
    before = runs[index - 1][1] + 1 if index else 0
    after = runs[index + 1][0] if index + 1 < len(runs) else len(share)
    lit = share[first : last + 1]
    full = np.nonzero(lit >= np.quantile(lit, 0.75) - near)[0]
    found = []
    for part in (share[before:first][::-1], share[last + 1 : after]):
        dark = np.nonzero(part <= part.min(initial=1.0) + near)[0]
        found.append(int(dark[0]) if len(dark) else 0)
    return (first - 1 - found[0], first + int(full[0])), (first + int(full[-1]), last + 1 + found[1])


def _is_clipped(level: Level, blinks: Sequence[Blink]) -> bool:
    """Whether the light, lit, is as bright as the film can show, or brighter."""
    lit = [(one.first + one.last) // 2 for one in blinks]
    return bool(np.median(level.track.patch[lit][:, level.mask]) >= CLIPPED)


def _faded(
    level: Level, blink: Blink, slopes: tuple[tuple[int, int], tuple[int, int]], *, is_clipped: bool
) -> Blink:
    """Return a blink from the middle of its rise to the middle of its fall.

    Of a light that is brighter than the film can show, the rise may go on unseen: up to the blink's middle.
    """
    time_s = level.time_s
    (dark, full), (still, gone) = [
        tuple(float(time_s[min(max(one, 0), len(time_s) - 1)]) for one in pair) for pair in slopes
    ]
    start_s, end_s = (dark + full) / 2, (still + gone) / 2
    least_s = _OPEN * level.interval_s
    open_s = [max((full - dark) / 2, least_s), max((gone - still) / 2, least_s)]
    if is_clipped:
        open_s = [max(one, (end_s - start_s) / 2) for one in open_s]
    return replace(
        blink, start_s=start_s, length_s=end_s - start_s, start_half_s=open_s[0], length_half_s=sum(open_s)
    )


def _bumps(level: Level, share: NDArray[np.float64], edges: list[int]) -> list[float]:
    """Return when a dark light brightened and went dark again without being lit."""
    least = max(BUMP, 6 * level.noise)
    found = []
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        part = share[begin:end]
        if len(part) < 3:
            continue
        # Against the lowest on either side; the slopes of the blinks themselves rise to the ends.
        left, right = np.minimum.accumulate(part), np.minimum.accumulate(part[::-1])[::-1]
        rise = part - np.maximum(left, right)
        inner = rise > least
        label, count = ndimage.label(inner)
        found += [float(level.time_s[begin + np.nonzero(label == one)[0][0]]) for one in range(1, count + 1)]
    return found


def _dips(level: Level, share: NDArray[np.float64], runs: list[tuple[int, int]]) -> list[float]:
    """Return when a lit light darkened and brightened again without going out."""
    least = max(BUMP, 6 * level.noise)
    found = []
    for first, last in runs:
        part = np.minimum(share[first : last + 1], 1.0)
        if len(part) < 3:
            continue
        left, right = np.maximum.accumulate(part), np.maximum.accumulate(part[::-1])[::-1]
        deepest = int(np.argmax(np.minimum(left, right) - part))
        if min(left[deepest], right[deepest]) - part[deepest] > least:
            found.append(float(level.time_s[first + deepest]))
    return found
