"""How fast a light flashes, as far as its film can tell, and whether it may harm who sees it.

References
----------
WCAG 2.2, success criterion 2.3.1, and its glossary's "general flash and red flash thresholds": a general
flash is a pair of opposing changes of relative luminance by 0.1 or more, the darker state below 0.80; a red
one a pair of opposing transitions to or from a state with R/(R + G + B) of 0.8 or more, whose chromaticities
(CIE 1976 UCS) differ by more than 0.2. No more than three in any one second, unless they cover no more than a
quarter of any 10 degrees of the visual field (341 × 256 of 1024 × 768 pixels).
Nyquist and Shannon: of rates above half the pictures' rate a film shows an image at a lower one.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from reviewkit.film.accounts import USUAL, gaps_of
from reviewkit.film.blinks import Blink, Switching
from reviewkit.film.decode import Film, Picture, pictures
from reviewkit.film.patterns import SHORTEST
from reviewkit.metrology.measured import Measured
from reviewkit.metrology.uncertainty import Component

CLOCK = 1e-4
"""How far off a camera's clock may be [1]: crystal oscillators of phones, from memory; ten times what is
usual."""
FEWEST = 3
"""Flashes that show a rate [1]: two intervals, to be compared. Chosen."""
LONGEST_CYCLE = 8
SHORTEST_UNLIKE = 2.5
"""Unlike flashes shorter than so many picture intervals may be alike, and unlike only in the film [1].
Derived: rounded to pictures, each of their ends is up to one interval off, and half as much for exposures."""
BREATHING = 0.3
"""A light that is neither lit nor dark for more than this part of its time breathes [1]. Chosen: a blink's
ramps are shorter than its plateau."""
FLASH, DARKER, MOST, AREA = 0.1, 0.8, 3, 0.25
"""WCAG 2.2: change of relative luminance, luminance of the darker state, flashes in a second, part of the
field."""
RED, APART = 0.8, 0.2
"""WCAG 2.2: red's share in a saturated red, distance of the two states' chromaticities."""
FIELD = (341 / 1024, 256 / 768)
"""WCAG 2.2: the 10 degrees of the visual field, across and down, as parts of the picture."""
GLARE = 0.01
"""What a screen in a lit room sheds of its white where it is told to be black [1]: sRGB's own viewing flare
(IEC 61966-2-1, from memory). Without it black has no chromaticity, and a dark picture's noise may be a
saturated red."""


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
    """Return how fast a light flashes, from all its blinks; whole cycles only.

    Examples
    --------
    >>> flashing(filmed.found).rate is None  # three blinks and two are no steady flashing
    True
    """
    blinks, step_s = found.blinks, found.level.interval_s
    lit, dark = _times(blinks)
    size = _cycle(lit, dark, step_s)
    if not size and len(blinks) > FEWEST + 1:
        # The first may have begun before the film, or before the light took up its beat.
        later = _times(blinks[1:])
        size = _cycle(*later, step_s)
        if size:
            blinks, (lit, dark) = blinks[1:], later
    seconds = blinks[-1].start_s - blinks[0].start_s if blinks else 0.0
    image = _image_Hz(found, len(lit) / seconds if seconds else 0.0)
    if len(blinks) < FEWEST:
        return Flashing("few", None, None, image, tuple(lit), tuple(dark), step_s, len(lit), seconds)
    rate = _rate(blinks, step_s) if size == 1 else None
    cycle = [
        tuple(float(np.mean(times[index::size])) for index in range(size)) if size else tuple(times)
        for times in (lit, dark)
    ]
    kind, at_least = "regular" if size == 1 else "pattern", None
    shortest = float(min(np.median(lit), np.median(dark))) / step_s
    if shortest < SHORTEST or (size != 1 and shortest < SHORTEST_UNLIKE):
        kind, at_least, rate = "too fast", (len(lit) - 1) / seconds, None
    elif _ramped(found) > BREATHING:
        kind = "breathing"
    return Flashing(kind, rate, at_least, image, cycle[0], cycle[1], step_s, len(lit), seconds)


def _times(blinks: Sequence[Blink]) -> tuple[list[float], list[float]]:
    """Return how long each but the last was lit, and how long it was dark after it [s]."""
    return [one.length_s for one in blinks[:-1]], gaps_of(blinks)


def _cycle(lit: Sequence[float], dark: Sequence[float], step_s: float) -> int:
    """Return after how many flashes all is repeated; 0 where nothing is.

    What two flashes don't show may show in the means of many: 0.25 s and 0.35 s dark by turns.
    """
    size = _repeated(lit, dark, step_s)
    if size != 1:
        return size
    for longer in range(2, min(LONGEST_CYCLE, len(lit) // 3) + 1):
        for times in (lit, dark):
            means = [float(np.mean(times[first::longer])) for first in range(longer)]
            if max(means) - min(means) > max(UNLIKE_PICTURES * step_s, UNLIKE * max(means)):
                return longer
    return 1


UNLIKE_PICTURES, UNLIKE = 1.5, 0.1
"""Means of times at one place of a cycle and at another differ by more than so many picture intervals, and by
more than this part [1]. Derived: of equal times, rounded to pictures, the means differ by one interval at
most; half as much again for exposures. The part is chosen: devices' own clocks wander less."""


def _repeated(lit: Sequence[float], dark: Sequence[float], step_s: float) -> int:
    """Return after how many flashes each is like its predecessor; 0 where none is."""

    def same(one: float, other: float) -> bool:
        return abs(one - other) <= 0.5 * USUAL * (one + other) / 2 + 1.5 * step_s

    for size in range(1, min(LONGEST_CYCLE, len(lit) // 2) + 1):
        pairs = [
            (times[index], times[index + size]) for times in (lit, dark) for index in range(len(lit) - size)
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
    """Whether a film exceeds WCAG's threshold for one kind of flashes.

    Parameters
    ----------
    kind : {"general", "red"}
    exceeded_s : tuple of float or None [s]
        When it first does, and when last.
    most : int
        Flashes in the worst second, wherever in the picture.
    area : float
        Of 10 degrees of the visual field, the most that flashes more than three times in one second.
    """

    kind: str
    exceeded_s: tuple[float, float] | None
    most: int
    area: float


class FlashJudge:
    """Watches the pictures go by for flashes that may harm who sees them, cell by cell.

    A film is judged as it is shown where it fills a screen of WCAG's usual size. How large it is on a
    reader's own screen, and how fast the lamp itself flashes, it can't tell.
    """

    def __init__(self) -> None:
        self._general, self._red = _Worst("general"), _Worst("red")
        self._counters: tuple[Transitions, RedTransitions] | None = None

    def see(self, picture: Picture) -> None:
        """Take in one picture."""
        linear = _linear(picture.colours)
        if self._counters is None:
            shape = linear.shape[1:]
            self._counters = Transitions(shape), RedTransitions(shape)
        luminance = np.tensordot(_LUMINANCE, linear, 1)
        self._general.add(picture.time_s, self._counters[0].add(picture.time_s, luminance))
        self._red.add(picture.time_s, self._counters[1].add(picture.time_s, linear))

    @property
    def judged(self) -> tuple[FlashThreshold, FlashThreshold]:
        """What was seen by now: general flashes, red ones."""
        return self._general.so_far, self._red.so_far


def judge(film: Film, *, start_s: float = 0.0, end_s: float = math.inf) -> tuple[FlashThreshold, ...]:
    """Judge a film by WCAG's thresholds for general and for red flashes.

    Raises
    ------
    FilmError
        If it can't be decoded.

    Examples
    --------
    >>> [(threshold.kind, threshold.exceeded_s) for threshold in judge(look_at(film_file))]
    [('general', None), ('red', None)]
    """
    watching = FlashJudge()
    for picture in pictures(film, start_s=start_s, end_s=end_s):
        watching.see(picture)
    return watching.judged


class _Worst:
    """The worst second by now."""

    def __init__(self, kind: str) -> None:
        self.so_far = FlashThreshold(kind, None, 0, 0.0)

    def add(self, time_s: float, changes: NDArray[np.int16]) -> None:
        """Take in how many changes each cell has had in the second up to now."""
        before, most = self.so_far, int(changes.max()) // 2
        area = _largest_part(changes >= 2 * (MOST + 1)) if most > MOST else 0.0
        span = before.exceeded_s
        if area > AREA:
            span = (span[0] if span else time_s, time_s)
        self.so_far = FlashThreshold(before.kind, span, max(before.most, most), max(before.area, area))


_LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)
"""WCAG 2.2, relative luminance: shares of red, green and blue."""
_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]], np.float32)
"""IEC 61966-2-1, 5.2: from red, green and blue, linear, to CIE 1931 XYZ."""
_CURVE = np.arange(1025, dtype=np.float32) / 1024
_CURVE = np.where(_CURVE <= 0.04045, _CURVE / 12.92, ((_CURVE + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _linear(colours: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return amounts of light (WCAG 2.2, relative luminance: sRGB's curve)."""
    return np.asarray(_CURVE[np.rint(colours * 1024).astype(np.int16)], np.float32)


class _LastSecond:
    """How many changes each cell has had in the second up to now."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        self._count = np.zeros(shape, np.int16)
        self._changes: deque[tuple[float, NDArray[np.bool_]]] = deque()

    def add(self, time_s: float, changed: NDArray[np.bool_]) -> NDArray[np.int16]:
        """Take in which cells change at a moment; return the counts."""
        while self._changes and self._changes[0][0] <= time_s - 1 + _SAME_S:
            self._count -= self._changes.popleft()[1]
        if changed.any():
            self._count += changed
            self._changes.append((time_s, changed))
        return self._count


_SAME_S = 1e-6


class Transitions:
    """Counts opposing changes of luminance in each cell within the last second."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        self._low, self._high = np.full(shape, np.inf, np.float32), np.full(shape, -np.inf, np.float32)
        self._way, self._last = np.zeros(shape, np.int8), _LastSecond(shape)

    def add(self, time_s: float, now: NDArray[np.float32]) -> NDArray[np.int16]:
        """Return how many changes each cell has had in the second up to now."""
        self._low, self._high = np.minimum(self._low, now), np.maximum(self._high, now)
        up = (self._way <= 0) & (now - self._low >= FLASH) & (self._low < DARKER)
        down = (self._way >= 0) & (self._high - now >= FLASH) & (now < DARKER)
        self._way[up], self._way[down] = 1, -1
        turned = up | down
        self._low[turned], self._high[turned] = now[turned], now[turned]
        return self._last.add(time_s, turned)


class RedTransitions:
    """Counts opposing transitions to and from a saturated red in each cell within the last second."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        # The least and the most red state since the last transition: red's share, chromaticity.
        self._least, self._most = (
            np.full((3, *shape), np.inf, np.float32),
            np.full((3, *shape), -1, np.float32),
        )
        self._way, self._last = np.zeros(shape, np.int8), _LastSecond(shape)

    def add(self, time_s: float, linear: NDArray[np.float32]) -> NDArray[np.int16]:
        """Return how many transitions each cell has had in the second up to now."""
        now = _redness(linear)
        less, more = now[0] < self._least[0], now[0] > self._most[0]
        self._least, self._most = np.where(less, now, self._least), np.where(more, now, self._most)
        to = (self._way <= 0) & (now[0] >= RED) & (_distance(now, self._least) > APART)
        back = (self._way >= 0) & (self._most[0] >= RED) & (_distance(now, self._most) > APART)
        self._way[to], self._way[back] = 1, -1
        turned = to | back
        if turned.any():
            self._least, self._most = np.where(turned, now, self._least), np.where(turned, now, self._most)
        return self._last.add(time_s, turned)


def _redness(linear: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return red's share, and u′ and v′ of the CIE 1976 UCS diagram (CIE 15:2004, 8.2.2.1)."""
    seen = linear + np.float32(GLARE)
    x, y, z = np.tensordot(_XYZ, seen, 1)
    below = x + 15 * y + 3 * z
    return np.stack([seen[0] / seen.sum(0), 4 * x / below, 9 * y / below])


def _distance(one: NDArray[np.float32], other: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(np.hypot(one[1] - other[1], one[2] - other[2]), np.float32)


def _largest_part(flashing: NDArray[np.bool_]) -> float:
    """Return the part of 10 degrees of the field, wherever they lie, that flashes."""
    if not flashing.any():
        return 0.0
    rows, columns = flashing.shape
    field = max(1, round(FIELD[1] * rows)), max(1, round(FIELD[0] * columns))
    return float(ndimage.uniform_filter(flashing.astype(np.float32), field, mode="constant").max())
