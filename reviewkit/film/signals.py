"""How fast a light flashes, as far as its film can tell, and whether it may harm who sees it.

References
----------
WCAG 2.2, success criterion 2.3.1, and its glossary's "general flash and red flash thresholds": pairs of
opposing
changes of relative luminance by 0.1 or more, the darker state below 0.80; no more than three in any one
second,
unless they cover less than a quarter of any 10 degrees of the visual field (341 × 256 of 1024 × 768 pixels).
Nyquist and Shannon: of rates above half the pictures' rate a film shows an image at a lower one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from reviewkit.film.blinks import Blink, Switching
from reviewkit.film.decode import Film, pictures
from reviewkit.film.patterns import SHORTEST, USUAL
from reviewkit.metrology.measured import Measured
from reviewkit.metrology.uncertainty import Component

CLOCK = 1e-4
"""How far off a camera's clock may be [1]: crystal oscillators of phones, from memory; ten times what is
usual."""
FEWEST = 3
"""Flashes that show a rate [1]: two intervals, to be compared. Chosen."""
LONGEST_CYCLE = 8
BREATHING = 0.3
"""A light that is neither lit nor dark for more than this part of its time breathes [1]. Chosen: a blink's
ramps are shorter than its plateau."""
FLASH, DARKER, MOST, AREA = 0.1, 0.8, 3, 0.25
"""WCAG 2.2: change of relative luminance, luminance of the darker state, flashes in a second, part of the
field."""
FIELD = (341 / 1024, 256 / 768)
"""WCAG 2.2: the 10 degrees of the visual field, across and down, as parts of the picture."""


@dataclass(frozen=True)
class Flashing:
    """What a film tells of a flashing light.

    Parameters
    ----------
    kind : str
        "regular", "pattern" (flashes of a cycle that are not alike), "breathing", "too fast", "few".
    rate : Measured or None [Hz]
        Flashes in a second; only of regular ones that the film can tell.
    at_least_Hz : float or None
        Where it can't.
    image_Hz : float
        A light that flashes at this rate would look the same; infinite where the pictures' times rule it out.
    lit_s, dark_s : tuple of float [s]
        One cycle.
    half_s : float [s]
        Half-width of the interval that holds each of them.
    """

    kind: str
    rate: Measured | None
    at_least_Hz: float | None
    image_Hz: float
    lit_s: tuple[float, ...]
    dark_s: tuple[float, ...]
    half_s: float
    flashes: int
    seconds: float


def flashing(found: Switching) -> Flashing:
    """Return how fast a light flashes, from all its blinks; whole cycles only."""
    blinks, step_s = found.blinks, found.level.interval_s
    lit = [one.length_s for one in blinks[:-1]]
    dark = [after.start_s - before.end_s for before, after in pairwise(blinks)]
    seconds = blinks[-1].start_s - blinks[0].start_s if blinks else 0.0
    image = _image_Hz(found, len(lit) / seconds if seconds else 0.0)
    if len(blinks) < FEWEST:
        return Flashing("few", None, None, image, tuple(lit), tuple(dark), step_s, len(lit), seconds)
    size = _cycle(lit, dark, step_s)
    rate = _rate(blinks, step_s) if size == 1 else None
    cycle = [
        tuple(float(np.mean(times[place::size])) for place in range(size)) if size else tuple(times)
        for times in (lit, dark)
    ]
    kind, at_least = "regular" if size == 1 else "pattern", None
    if min(np.median(lit), np.median(dark)) < SHORTEST * step_s:
        kind, at_least, rate = "too fast", (len(lit) - 1) / seconds, None
    elif _ramped(found) > BREATHING:
        kind = "breathing"
    return Flashing(kind, rate, at_least, image, cycle[0], cycle[1], step_s, len(lit), seconds)


def _cycle(lit: Sequence[float], dark: Sequence[float], step_s: float) -> int:
    """Return after how many flashes all is repeated; 0 where nothing is."""

    def same(one: float, other: float) -> bool:
        return abs(one - other) <= 0.5 * USUAL * (one + other) / 2 + 1.5 * step_s

    for size in range(1, min(LONGEST_CYCLE, len(lit) // 2) + 1):
        pairs = [
            (times[place], times[place + size]) for times in (lit, dark) for place in range(len(lit) - size)
        ]
        if all(same(*pair) for pair in pairs):
            return size
    return 0


def _rate(blinks: Sequence[Blink], step_s: float) -> Measured:
    """Return the rate by a straight line through the times at which flashes begin."""
    start = np.array([one.start_s for one in blinks])
    number = np.arange(len(start)) - (len(start) - 1) / 2
    spread = math.sqrt(float(number @ number))
    period_s = float(number @ start) / spread**2
    rest = start - start.mean() - period_s * number
    scatter_s = math.sqrt(float(rest @ rest) / max(1, len(start) - 2))
    slope = -1 / period_s**2 / spread
    seen = Component("the picture that shows a flash first", step_s, "s", "rectangular", slope)
    parts = [seen, Component("the camera’s clock", CLOCK, "1", "rectangular", 1 / period_s)]
    if scatter_s > step_s / math.sqrt(3):
        parts.append(Component("scatter of the flashes", scatter_s, "s", "normal", slope, dof=len(start) - 2))
    return Measured(1 / period_s, "Hz", tuple(parts))


def _image_Hz(found: Switching, rate_Hz: float) -> float:
    """Return the lowest rate above half the pictures' that would look the same."""
    steps = np.diff(found.level.time_s)
    uneven = float(np.std(steps) / np.mean(steps)) > 0.02
    return math.inf if uneven else max(0.0, 1 / found.level.interval_s - rate_Hz)


def _ramped(found: Switching) -> float:
    first, last = found.blinks[0].first, found.blinks[-1].last
    share = found.share[first : last + 1]
    return float(((share > 0.15) & (share < 0.85)).mean())


@dataclass(frozen=True)
class FlashThreshold:
    """Whether a film exceeds WCAG's threshold for general flashes.

    Parameters
    ----------
    exceeded_s : float or None [s]
        When it first does.
    most : float
        Flashes in the worst second, wherever in the picture.
    area : float
        Of 10 degrees of the visual field, the part that flashes more than three times in the worst second.
    """

    exceeded_s: float | None
    most: float
    area: float


def general_flashes(film: Film, *, start_s: float = 0.0, end_s: float = math.inf) -> FlashThreshold:
    """Judge a film by WCAG's threshold for general flashes, cell by cell.

    Raises
    ------
    FilmError
        If it can't be decoded.
    """
    counter: _Transitions | None = None
    exceeded: float | None = None
    most = area = 0.0
    for picture in pictures(film, start_s=start_s, end_s=end_s):
        counter = counter or _Transitions(picture.cells.shape)
        count = counter.add(picture.time_s, _luminance(picture.cells))
        most = max(most, float(count.max()) / 2)
        now = _largest_part(count > 2 * MOST)
        area = max(area, now)
        if now >= AREA and exceeded is None:
            exceeded = picture.time_s
    return FlashThreshold(exceeded, most, area)


def _luminance(cells: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return relative luminance (WCAG 2.2, of grey: sRGB's curve)."""
    value = cells / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4).astype(np.float32)


class _Transitions:
    """Counts opposing changes of luminance in each cell within the last second."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.low, self.high = np.full(shape, np.inf, np.float32), np.full(shape, -np.inf, np.float32)
        self.way = np.zeros(shape, np.int8)
        self.last: list[tuple[float, NDArray[np.bool_]]] = []

    def add(self, time_s: float, now: NDArray[np.float32]) -> NDArray[np.int64]:
        """Return how many changes each cell has had in the second up to now."""
        self.low, self.high = np.minimum(self.low, now), np.maximum(self.high, now)
        up = (self.way <= 0) & (now - self.low >= FLASH) & (self.low < DARKER)
        down = (self.way >= 0) & (self.high - now >= FLASH) & (now < DARKER)
        self.way = np.where(up, 1, np.where(down, -1, self.way)).astype(np.int8)
        turned = up | down
        self.low, self.high = np.where(turned, now, self.low), np.where(turned, now, self.high)
        self.last = [one for one in self.last if one[0] > time_s - 1]
        if turned.any():
            self.last.append((time_s, turned))
        return np.asarray(sum(one.astype(np.int64) for _, one in self.last) + np.zeros(now.shape, np.int64))


def _largest_part(flashing: NDArray[np.bool_]) -> float:
    """Return the part of 10 degrees of the field, wherever they lie, that flashes."""
    if not flashing.any():
        return 0.0
    rows, columns = flashing.shape
    field = max(1, round(FIELD[1] * rows)), max(1, round(FIELD[0] * columns))
    return float(ndimage.uniform_filter(flashing.astype(np.float32), field, mode="constant").max())
