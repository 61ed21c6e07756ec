"""How bright a light is from picture to picture, and what of the picture speaks against believing it.

Each picture of the light's surround is taken apart: the surround as it is while the light is dark, times the
exposure, plus the light's own picture, times its level. What is left over is something else: a hand, another
light, another view.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from reviewkit.film.tracking import HALF, Track

GAMMA = 2.2
"""Exponent from a film's codes to amounts of light [1]: IEC 61966-2-1 is close to it all along. A camera's
own curve differs; thresholds lie at half the light, where a tenth of the exponent moves them by 3 %."""
FLASHING = 12.0
"""A point that changes by more than this between two pictures a twentieth of a second apart flashes [of 255].
Chosen: three times the noise of a phone's film in a dim room."""
LAG_S = 0.05
SEARCHED = 14
"""How far from where it was pointed at a light is looked for [points]: a finger's error on a screen.
Chosen."""
CHANGED, ALONE = 3.0, 4.5
"""What is left over in two eighths of the surround, or in one alone, and means that something is there [of
255]. Chosen: rendered films leave at most 2.3 and 3.6 with shake and compression; a hand of the table's own
brightness leaves more of its pattern."""
COMPARED = 600
"""So many pictures, those with the largest changes, tell what changes together [1]. Chosen."""
APART, OTHERS, TOGETHER = 0.5, 0.15, 0.7
"""Points whose changes agree with the light's by less than the first are another's; where more than the
second part of all are, the light is what agrees by more than the third [1]. Chosen: points of one light
agree by 0.9, of two in their own times by chance."""
STEADY, OWN = 0.1, 0.25
"""A light whose level changes by less than this share is steady; what flashes meanwhile, and by this part of
what flashes most, is another light [1]. Chosen: noise stays below the one; glow on the table does not flash
by itself."""
SEVERAL = 4
"""A light beside the spot flashes at least so often [1]. Chosen: something that passes by and back does so
twice."""
BRIEF_S = 0.5
"""A light beside the spot is lit for less than this each time, or it is taken for something that covers [s].
Chosen: a finger rests for longer."""
SHEDS = 0.35
"""What another light sheds on the spot at most, of its own, if the two are to be told apart [1]. Chosen: at
half of it one could be taken for the other."""
TOO_DARK = 8.0
"""A surround that is darker than this [of 255] would not show a hand. Chosen: a stop above black noise."""
_OCTANTS = 8
_AXIS = np.arange(2 * HALF + 1) - HALF
_AWAY = np.hypot(*np.meshgrid(_AXIS, _AXIS))


@dataclass(frozen=True)
class Level:
    """A light's level through a film.

    Parameters
    ----------
    time_s : numpy.ndarray [s]
        Time stamps of the pictures.
    light : numpy.ndarray
        Amount of light at the spot above what its surround sheds there, largest about 1.
    noise : float
        Standard deviation of `light` from picture to picture while nothing happens.
    disturbed : numpy.ndarray of bool
        Something covers the light or its surround.
    change : numpy.ndarray
        The picture of the light's own change, 49 × 49 points; all zero where nothing flashes.
    mask : numpy.ndarray of bool
        The points that are the light.
    is_dark : bool
        The surround is too dark to show whether something covers the light.
    exposure : numpy.ndarray
        How bright the surround is, 1 in the middle.
    beside : numpy.ndarray of bool
        The points that are another light, whose part in `light` is taken out.
    """

    track: Track
    time_s: NDArray[np.float64] = field(repr=False)
    light: NDArray[np.float64] = field(repr=False)
    noise: float
    disturbed: NDArray[np.bool_] = field(repr=False)
    change: NDArray[np.float64] = field(repr=False)
    mask: NDArray[np.bool_] = field(repr=False)
    is_dark: bool
    exposure: NDArray[np.float64] = field(repr=False)
    beside: NDArray[np.bool_] = field(repr=False)

    @property
    def interval_s(self) -> float:
        """Usual time from one picture to the next [s]."""
        return float(np.median(np.diff(self.time_s)))

    @property
    def flashes(self) -> bool:
        """Whether anything at the spot changes like a light."""
        return bool(self.mask.any())


def measure(track: Track) -> Level:
    """Return the level of the light in the middle of a track.

    Examples
    --------
    >>> level = measure(filmed.found.level.track)
    >>> bool(level.light[40] > 0.9), bool(level.light[0] < 0.1)  # lit at 1.33 s, dark at first
    (True, True)
    """
    time_s = track.time_s
    lag = max(1, round(LAG_S / float(np.median(np.diff(time_s)))))
    activity = _activity(track.patch, lag)
    mask = _of_one(track.patch, lag, _mask(activity))
    if not mask.any():
        still = np.zeros(len(time_s))
        flat = np.zeros(_AWAY.shape)
        return Level(track, time_s, still, 0.0, still > 0, flat, mask, False, still + 1, mask)
    rows, columns = np.nonzero(mask)
    at = rows.mean(), columns.mean()
    away = np.hypot(_AXIS[:, None] + HALF - at[0], _AXIS[None, :] + HALF - at[1])
    radius = float(away[mask].max())
    # Of a light that fills what is kept, the corners are left.
    ring = (away > min(1.5 * radius + 3, HALF - 2)) & (away < HALF + 6)
    light = _above(track.patch, mask, _means(track.patch, ring))
    beside = _beside(track.patch, lag, light / _scale(light), mask)
    ring &= ~ndimage.binary_dilation(beside, iterations=3)
    around = _means(track.patch, ring)
    light, other = _above(track.patch, mask, around), np.zeros(len(time_s))
    if beside.any():
        other = _above(track.patch, beside, around)
        if _is_light(other, time_s):
            light, other = _parted(light, other, lag), other / _scale(other)
        else:
            beside, other = np.zeros(mask.shape, bool), np.zeros(len(time_s))
    scale = _scale(light)
    noise = 1.4826 * float(np.median(np.abs(np.diff(light)))) / scale / np.sqrt(2)
    lit = light > np.quantile(light, 0.05) + scale / 2
    views = _views(track.patch, lit, other > 0.5)
    disturbed = _disturbed(track.patch, views, ring, away, at)
    code = float(np.median(track.patch[:: max(1, len(time_s) // 200), ring]))
    exposure = around / (float(np.median(around)) or 1.0)
    return Level(
        *(track, time_s, light / scale, noise, disturbed, views[1], mask, code < TOO_DARK, exposure, beside),
    )


def _activity(
    patch: NDArray[np.uint8], lag: int, only: NDArray[np.intp] | None = None
) -> NDArray[np.float64]:
    """Return how often each point rises and falls like a light, steep and often, whichever is rarer."""
    rises, falls = np.zeros(patch.shape[1:]), np.zeros(patch.shape[1:])
    looked_at = np.arange(lag, len(patch)) if only is None else only[only >= lag]
    for begin in range(0, len(looked_at), 512):
        pictures = looked_at[begin : begin + 512]
        step = patch[pictures].astype(np.int16) - patch[pictures - lag]
        rises += np.minimum(np.maximum(step - FLASHING, 0), 50).sum(0)
        falls += np.minimum(np.maximum(-step - FLASHING, 0), 50).sum(0)
    return np.minimum(rises, falls) / lag


def _beside(
    patch: NDArray[np.uint8], lag: int, level: NDArray[np.float64], mask: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Return the points that flash, and often, while the light itself is steady."""
    if mask.all():
        return np.zeros(mask.shape, bool)
    span = ndimage.maximum_filter1d(level, 2 * lag + 1) - ndimage.minimum_filter1d(level, 2 * lag + 1)
    steady = np.nonzero(span < STEADY)[0]
    own = _activity(patch, lag, steady)
    smooth = ndimage.uniform_filter(own, 3)
    strongest = float(smooth[~mask].max(initial=0.0))
    # As often as a light comes on and goes off to be one: more than something that passes by does. What all
    # points do alike is the room's light.
    least = max(OWN * strongest, 3 * float(np.median(smooth[~mask])))
    if strongest < max(SEVERAL * 50, least):
        return np.zeros(mask.shape, bool)
    return np.asarray((smooth >= least) & ~mask)


def _scale(light: NDArray[np.float64]) -> float:
    return float(np.quantile(light, 0.995) - np.quantile(light, 0.05)) or 1.0


def _above(
    patch: NDArray[np.uint8], points: NDArray[np.bool_], around: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the amount of light at some points above what the surround sheds there."""
    inside = _means(patch, points)
    return inside - _share(inside, around) * around


def _is_light(other: NDArray[np.float64], time_s: NDArray[np.float64]) -> bool:
    """Whether what flashes beside a light comes on and off like one, and not like a finger that rests."""
    on = other > np.quantile(other, 0.05) + _scale(other) / 2
    label, count = ndimage.label(on)
    spans = [
        time_s[min(one[0].stop, len(on) - 1)] - time_s[one[0].start] for one in ndimage.find_objects(label)
    ]
    return count >= SEVERAL and float(np.median(spans)) < BRIEF_S


def _parted(light: NDArray[np.float64], other: NDArray[np.float64], lag: int) -> NDArray[np.float64]:
    """Return a light's level without what another beside it sheds there."""
    steps, others = light[lag:] - light[:-lag], other[lag:] - other[:-lag]
    alone = (np.abs(others) > _scale(other) / 2) & (np.abs(steps) < SHEDS * _scale(light))
    if alone.sum() < SEVERAL:
        return light
    return light - float(np.median(steps[alone] / others[alone])) * other


def _mask(activity: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return the points of the light nearest to the middle, none where nothing flashes."""
    smooth = ndimage.uniform_filter(activity, 3)
    near = np.where(_AWAY <= SEARCHED, smooth, 0)
    strongest = float(near.max())
    # Once up and once down, by more than the threshold.
    if strongest < FLASHING / 2:
        return np.zeros(activity.shape, bool)
    found, count = ndimage.label(smooth >= 0.4 * strongest)
    nearest = min(range(1, count + 1), key=lambda one: float(_AWAY[found == one].min()))
    part = found == nearest
    return np.asarray(part & (smooth >= 0.4 * smooth[part].max()))


def _of_one(patch: NDArray[np.uint8], lag: int, mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return, of two lights that touch, the one nearest to the middle; all points if they change together."""
    if not mask.any():
        return mask
    rows, columns = np.nonzero(mask)
    changes = np.zeros(len(patch))
    for begin in range(lag, len(patch), 512):
        now = patch[begin : begin + 512, rows, columns].astype(np.int16)
        before = patch[begin - lag : begin - lag + len(now), rows, columns]
        changes[begin : begin + len(now)] = np.abs(now - before).mean(1)
    some = np.sort(np.argsort(changes[lag:])[-COMPARED:]) + lag
    steps = patch[some][:, rows, columns].astype(np.float32) - patch[some - lag][:, rows, columns]
    away = np.hypot(rows - HALF, columns - HALF)
    own = steps[:, away <= away.min() + 2].mean(1)
    alike = own @ steps / (np.linalg.norm(own) * np.linalg.norm(steps, axis=0) + 1e-9)
    if (alike < APART).mean() < OTHERS:
        return mask
    one = np.zeros(mask.shape, bool)
    one[rows, columns] = alike > TOGETHER
    return one


def _means(patch: NDArray[np.uint8], points: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return the mean amount of light over some points, picture by picture."""
    amounts = (np.arange(256) / 255.0) ** GAMMA
    rows, columns = np.nonzero(points)
    return np.concatenate(
        [amounts[patch[begin : begin + 2048, rows, columns]].mean(1) for begin in range(0, len(patch), 2048)]
    )


def _share(inside: NDArray[np.float64], around: NDArray[np.float64]) -> float:
    """Return what the light's place sheds of what its surround does, while the light is dark."""
    share = inside / np.maximum(around, 1e-6)
    dark = share <= np.quantile(share, 0.4)
    return float(np.median(share[dark]))


def _views(
    patch: NDArray[np.uint8], lit: NDArray[np.bool_], other: NDArray[np.bool_]
) -> list[NDArray[np.float64]]:
    """Return the surround while it is dark; what the light adds; what another beside it adds, and both."""
    dark = _middle_of(patch, np.nonzero(~lit & ~other)[0])
    own = lit & ~other if (lit & ~other).any() else lit
    views = [dark, _middle_of(patch, np.nonzero(own)[0]) - dark]
    if other.any():
        for one in (other & ~lit, other & lit):
            if one.sum() >= SEVERAL:
                views.append(_middle_of(patch, np.nonzero(one)[0]) - dark)
    return views


def _middle_of(patch: NDArray[np.uint8], places: NDArray[np.intp]) -> NDArray[np.float64]:
    some = places[:: max(1, len(places) // 150)]
    return np.asarray(np.median(patch[some], axis=0), np.float64)


def _disturbed(
    patch: NDArray[np.uint8],
    pictures: Sequence[NDArray[np.float64]],
    ring: NDArray[np.bool_],
    away: NDArray[np.float64],
    at: tuple[float, float],
) -> NDArray[np.bool_]:
    """Return whether an eighth of the surround shows what neither exposure nor the light explains."""
    turn = np.arctan2(_AXIS[:, None] + HALF - at[0], _AXIS[None, :] + HALF - at[1])
    octant = ((turn + np.pi) / (2 * np.pi) * _OCTANTS).astype(int) % _OCTANTS
    near = ring & (away < away[ring].min() + 14)
    parts = [near & (octant == one) for one in range(_OCTANTS)]
    parts = [part for part in parts if part.sum() >= 12] or [near]
    left = np.empty((len(patch), len(parts)), np.float32)
    views = [ndimage.uniform_filter(one, 3) for one in pictures]
    base = np.stack([one[near] for one in views], axis=1)
    solver = np.linalg.pinv(base)
    index = [part[near] for part in parts]
    for begin in range(0, len(patch), 256):
        block = ndimage.uniform_filter(patch[begin : begin + 256].astype(np.float32), (0, 3, 3))[:, near]
        rest = np.abs(block - block @ solver.T @ base.T)
        left[begin : begin + 256] = np.stack([rest[:, one].mean(1) for one in index], axis=1)
    usual = np.median(left, axis=0)
    strange, alone = (left > np.maximum(3 * usual, usual + one) for one in (CHANGED, ALONE))
    return np.asarray((strange.sum(1) >= 2) | alone.any(1))
