"""Which spots of a film change like a light: steeply, up and down again, often, and in one small place."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from reviewkit.film.decode import Film
from reviewkit.film.tracking import Shift

STEEP = 10.0
"""A cell that changes by more than this in `LAG_S` may hold a light [of 255]. Chosen: above what noise, the
hum of
lamps and compression leave of a mean over a cell; a light that fills a tenth of its cell in white reaches
25."""
LAG_S = 0.05
OFTEN = 2
"""A light comes on and goes off at least so often [1]: a hand that passes does it once. Chosen."""
LARGEST = 0.05
"""A spot covers at most this part of the picture [1]; more is the room's light, or a cut. Chosen."""
SAME = 0.8
"""Two spots whose changes agree by more than this [1] are one light and its reflection. Chosen."""
_MARKS = 16


@dataclass(frozen=True)
class Spot:
    """A place of the picture that changes like a light.

    Parameters
    ----------
    x, y : float
        Its middle in the film's first picture, in the film's pixels, as a player shows it.
    times : int
        How often it came on.
    size : float
        Of the whole picture, what part changes with it.
    """

    x: float
    y: float
    times: int
    size: float


class _Changes:
    """Counts of how often each cell came on and went off, and marks by which equal changes are known."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.on, self.off = np.zeros(shape, np.int32), np.zeros(shape, np.int32)
        self.rose, self.fell = np.zeros(shape, bool), np.zeros(shape, bool)
        self.marks = np.zeros((_MARKS, *shape), np.float32)
        self.height = np.zeros(shape, np.float32)
        self.random = np.random.default_rng(1)

    def add(self, step: NDArray[np.float32], edges: NDArray[np.float32]) -> None:
        """Count one picture's changes against the one a little before."""
        # Along an edge of the scene what is left of a shake looks like a change.
        limit = STEEP + 0.35 * edges
        rose, fell = step > limit, step < -limit
        if rose.mean() > LARGEST or fell.mean() > LARGEST:
            return
        begins = rose & ~self.rose
        self.on += begins
        self.off += fell & ~self.fell
        self.rose, self.fell = rose, fell
        self.height = np.maximum(self.height, step * rose)
        if begins.any():
            self.marks[:, begins] += self.random.normal(0, 1, (_MARKS, 1)).astype(np.float32)


class Spotter:
    """Watches the pictures go by for spots that change like a light."""

    def __init__(self, film: Film) -> None:
        self._film, self._changes = film, None  # type: Film, _Changes | None
        self._lag = max(1, round(LAG_S * film.rate_Hz))
        self._last: list[NDArray[np.float32]] = []

    def add(self, cells: NDArray[np.float32], shift: Shift, event: str) -> None:
        """Take the next picture in, and how it lies."""
        still = _held(cells, shift.across, shift.down)
        if self._changes is None:
            self._changes, self._edges = _Changes(still.shape), _edges(still)
        if event == "cut":
            self._last.clear()
        self._last.append(still)
        if len(self._last) > self._lag:
            before = self._last.pop(0)
            # What the whole picture does is exposure, or the room's light.
            same = float(still.mean()) / max(float(before.mean()), 1.0)
            self._changes.add(still - before * np.float32(same), self._edges)

    def spots(self, often: int = OFTEN) -> tuple[Spot, ...]:
        """Return the spots that have come on and gone off so often by now, the likeliest first."""
        return () if self._changes is None else _found(self._changes, self._film, often)


def _held(cells: NDArray[np.float32], across: float, down: float) -> NDArray[np.float32]:
    """Return a picture moved back by a shift, between cells by interpolation; beyond the edge, the edge's."""
    if math.hypot(across, down) < 0.02:
        return cells
    for axis, by in ((0, down), (1, across)):
        whole = math.floor(by)
        part, places = np.float32(by - whole), np.arange(cells.shape[axis]) + whole
        first, second = (np.clip(places + one, 0, cells.shape[axis] - 1) for one in (0, 1))
        cells = (1 - part) * cells.take(first, axis) + part * cells.take(second, axis)
    return cells


def _edges(cells: NDArray[np.float32]) -> NDArray[np.float32]:
    spread = ndimage.maximum_filter(cells, 3) - ndimage.minimum_filter(cells, 3)
    return np.asarray(spread, np.float32)


def _found(changes: _Changes, film: Film, least: int) -> tuple[Spot, ...]:
    times = np.minimum(changes.on, changes.off)
    label, count = ndimage.label(times >= least, np.ones((3, 3)))
    found: list[tuple[float, Spot, NDArray[np.float32]]] = []
    for one in range(1, count + 1):
        part = label == one
        # A light and its glow: the cells that come on nearly as often as the best of them.
        part &= times >= max(least, 0.5 * times[part].max())
        size = float(part.mean())
        if size > LARGEST:
            continue
        weight = np.where(part, changes.height, 0)
        row, column = ndimage.center_of_mass(weight)
        best = np.unravel_index(int(np.argmax(weight)), weight.shape)
        edge, often = film.pixels_per_cell, int(np.median(times[part]))
        spot = Spot(float((column + 0.5) * edge), float((row + 0.5) * edge), often, size)
        found.append((often * float(weight.max()), spot, changes.marks[:, best[0], best[1]]))
    found.sort(key=lambda one: -one[0])
    return tuple(spot for _, spot, _ in _without_reflections(found))


def _without_reflections(
    found: list[tuple[float, Spot, NDArray[np.float32]]],
) -> list[tuple[float, Spot, NDArray[np.float32]]]:
    """Leave out what changes with a stronger spot, and what is ten times weaker than the strongest."""
    kept: list[tuple[float, Spot, NDArray[np.float32]]] = []
    for one in found:
        if all(_agreement(one[2], other[2]) < SAME for other in kept) and one[0] > 0.1 * found[0][0]:
            kept.append(one)
    return kept


def _agreement(one: NDArray[np.float32], other: NDArray[np.float32]) -> float:
    norm = float(np.linalg.norm(one) * np.linalg.norm(other))
    return float(one @ other) / norm if norm else 0.0
