"""When a lamp's light comes on, goes off or changes: times to propose for trials and chapters."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from reviewkit.errors import FilmError
from reviewkit.film.decode import Box, Film, pictures
from reviewkit.film.level import GAMMA

BESIDE_S = 0.4
"""How long a level has to last on either side of a change [s]: longer than a blink, shorter than a press of a
key and the next. Chosen."""
CHANGE = 0.12
"""A change of less than this part of the higher level is none [1]: half of what a lamp's neighbouring steps
usually differ by, common practice, no source."""
NOISE = 8.0
"""Nor is one of less than so many standard deviations from picture to picture [1]. Chosen."""
DARK = 0.1
"""A light of less than this part of the film's brightest is off [1], where nothing is known of the room.
Chosen."""


@dataclass(frozen=True)
class Moment:
    """A change of light.

    Parameters
    ----------
    time_s, half_s : float [s]
        On the film's own clock; half-width of the interval that holds it.
    kind : {"on", "off", "brighter", "dimmer"}
    before, after : float
        Level on either side, of the film's brightest.
    """

    time_s: float
    half_s: float
    kind: str
    before: float
    after: float


def moments(
    film: Film, *, box: Box | None = None, start_s: float = 0.0, end_s: float = math.inf
) -> tuple[Moment, ...]:
    """Return the moments at which the light in a part of the picture changes for good.

    Parameters
    ----------
    box : Box, optional
        Where to look; else the whole picture.

    Raises
    ------
    FilmError
        If the film can't be decoded, or the box lies outside the picture.

    Examples
    --------
    >>> moments(look_at(film_file))  # a blink is no change for good
    ()
    """
    edge = film.pixels_per_cell
    part = (box or Box(0, 0, film.width, film.height)).inside(film)
    rows = slice(part.top // edge, max(part.top // edge + 1, (part.top + part.height) // edge))
    columns = slice(part.left // edge, max(part.left // edge + 1, (part.left + part.width) // edge))
    if not part.width or not part.height:
        raise FilmError("the box lies outside the picture", file=film.path.name)
    time_s: list[float] = []
    light: list[float] = []
    for picture in pictures(film, start_s=start_s, end_s=end_s):
        time_s.append(picture.time_s)
        light.append(float(((picture.cells[rows, columns] / 255) ** GAMMA).mean()))
    if len(time_s) < 3:
        raise FilmError("fewer than three pictures lie between these times", file=film.path.name)
    return _changes(np.array(time_s), np.array(light))


def _changes(time_s: NDArray[np.float64], light: NDArray[np.float64]) -> tuple[Moment, ...]:
    step_s = float(np.median(np.diff(time_s)))
    wide = max(3, round(BESIDE_S / step_s))
    top = float(np.quantile(light, 0.995)) or 1.0
    middle = ndimage.median_filter(light, wide, mode="nearest")
    half = wide // 2 + 1
    before, after = np.roll(middle, half), np.roll(middle, -half)
    before[:half], after[-half:] = middle[0], middle[-1]
    noise = 1.4826 * float(np.median(np.abs(np.diff(light)))) / math.sqrt(2)
    change = np.abs(after - before)
    limit = np.maximum(CHANGE * np.maximum(before, after), max(NOISE * noise, 0.002))
    largest = (change >= ndimage.maximum_filter1d(change, 2 * wide + 1)) & (change > limit)
    label, count = ndimage.label(largest)
    found = []
    for one in range(1, count + 1):
        index = int(np.nonzero(label == one)[0].mean())
        found.append(_moment(time_s, light, index, wide, float(before[index]), float(after[index]), top))
    return tuple(found)


def _moment(
    time_s: NDArray[np.float64],
    light: NDArray[np.float64],
    index: int,
    wide: int,
    before: float,
    after: float,
    top: float,
) -> Moment:
    """Return when the light crosses the middle of two levels."""
    near = slice(max(1, index - wide), min(len(light), index + wide + 1))
    beyond = (light[near] > (before + after) / 2) == (after > before)
    first = near.start + int(np.argmax(beyond))
    kinds = ("on", "brighter") if after > before else ("off", "dimmer")
    off = min(before, after) < DARK * top
    return Moment(
        float(time_s[first]),
        float(time_s[first] - time_s[first - 1]),
        kinds[0] if off else kinds[1],
        before / top,
        after / top,
    )
