"""Where the view goes: hand shake followed, cuts and zooms noticed, the light's surround kept in view.

Each picture is laid over a reference by phase correlation (Kuglin and Hines, 1975: the displacement of two
pictures is the place of the peak of their cross-power spectrum's inverse transform), to a tenth of a cell.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from reviewkit.errors import FilmError
from reviewkit.film.decode import FINE, Box, Film, Picture, pictures

HALF = 24
"""Half the edge of what is kept around the light [points]. Chosen: a light of 20 points and as much again
around it, by which one sees whether something covers it."""
REACH = 26
"""How far hand shake may carry the view [points]: a twenty-fifth of the picture's width. Chosen."""
ALIKE = 0.6
"""Two pictures of one scene are alike by more than this [1]; between takes it falls to about 0.2. Chosen."""
LEAP = 3.0
"""A view that goes further than this from one picture to the next [cells], a fiftieth of the picture, was not
carried by a hand: some 10 cells a second is the most that a hand does at 24 pictures a second. Chosen."""
MOST = 120_000
"""Pictures of which the light's surround is kept [1]: an hour at 30 a second takes 260 MB. Chosen."""
_EDGE = 2 * HALF + 1
_FINEST, _COARSEST = 0.02, 0.25
"""Spatial frequencies that place a picture [1/cell]: below lie shadows, above noise. Chosen."""


@dataclass(frozen=True)
class Shift:
    """How one picture lies against another: displacement in cells, likeness from 0 to 1."""

    across: float
    down: float
    likeness: float


class Aligner:
    """Lays pictures over a reference that is replaced where the view has changed for good."""

    def __init__(self) -> None:
        self._reference: NDArray[np.complex64] | None = None
        self._last: NDArray[np.complex64] | None = None
        self._from = (0.0, 0.0)
        self._at = (0.0, 0.0)

    def lay(self, cells: NDArray[np.float32]) -> tuple[Shift, str]:
        """Return a picture's shift against the first, and "cut" or "moved" where the view changed with it."""
        now = self._spectrum(cells)
        if self._reference is None or self._last is None:
            self._reference = self._last = now
            return Shift(0.0, 0.0, 1.0), ""
        found, event = self._against(self._reference, now, self._from), ""
        if found.likeness < ALIKE:
            step = self._against(self._last, now, self._at)
            event = "moved" if step.likeness >= ALIKE else "cut"
            if event == "moved" or found.likeness < ALIKE / 2:
                found = step if event == "moved" else Shift(*self._at, 0.0)
            self._reference, self._from = now, (found.across, found.down)
        jump = math.hypot(found.across - self._at[0], found.down - self._at[1])
        if not event and jump > LEAP:
            event = "cut"
        self._last, self._at = now, (found.across, found.down)
        return found, event

    def _spectrum(self, cells: NDArray[np.float32]) -> NDArray[np.complex64]:
        rows, columns = cells.shape
        window = _window(rows, columns)
        # A lamp that fills a tenth of the view in white must not outweigh the scene.
        even = np.minimum(cells, np.percentile(cells, 97))
        spectrum = fft.rfft2((even - even.mean()) * window)
        return np.asarray(spectrum * _band(rows, columns), np.complex64)

    def _against(
        self, one: NDArray[np.complex64], other: NDArray[np.complex64], origin: tuple[float, float]
    ) -> Shift:
        product = np.conj(one) * other
        size = np.abs(product)
        # Between plain correlation (noise does no harm) and phase alone (a sharp peak).
        peak_of = fft.irfft2(product / np.sqrt(size + 1e-6 * float(size.max()) + 1e-9))
        rows, columns = peak_of.shape
        row, column = divmod(int(peak_of.argmax()), columns)
        down = _signed(row + _peak(peak_of[np.arange(row - 1, row + 2) % rows, column]), rows)
        across = _signed(column + _peak(peak_of[row, np.arange(column - 1, column + 2) % columns]), columns)
        turn = _turned(one.shape, rows, columns, across, down)
        norm = math.sqrt(float(_energy(one) * _energy(other))) + 1e-9
        likeness = float(_energy_of(product * turn)) / norm
        return Shift(origin[0] + across, origin[1] + down, likeness)


def _energy(spectrum: NDArray[np.complex64]) -> float:
    return float(np.sum(np.abs(spectrum) ** 2))


def _energy_of(product: NDArray[np.complex64]) -> float:
    return float(np.sum(product.real))


def _turned(
    shape: tuple[int, ...], rows: int, columns: int, across: float, down: float
) -> NDArray[np.complex64]:
    """Return the phases that take a displacement back."""
    rates = fft.fftfreq(rows)[:, None] * down + np.arange(shape[1])[None, :] / columns * across
    return np.asarray(np.exp(2j * np.pi * rates), np.complex64)


_WINDOWS: dict[tuple[int, int], tuple[NDArray[np.float32], NDArray[np.float32]]] = {}


def _prepared(rows: int, columns: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    if (rows, columns) not in _WINDOWS:
        window = np.outer(np.hanning(rows), np.hanning(columns)).astype(np.float32)
        wave = np.hypot(fft.fftfreq(rows)[:, None], np.arange(columns // 2 + 1)[None, :] / columns)
        band = ((wave >= _FINEST) & (wave <= _COARSEST)).astype(np.float32)
        _WINDOWS[rows, columns] = window, band
    return _WINDOWS[rows, columns]


def _window(rows: int, columns: int) -> NDArray[np.float32]:
    return _prepared(rows, columns)[0]


def _band(rows: int, columns: int) -> NDArray[np.float32]:
    return _prepared(rows, columns)[1]


def _peak(three: NDArray[np.float32]) -> float:
    """Return where between its neighbours a peak lies, by the parabola through the three [cells]."""
    left, top, right = (float(one) for one in three)
    bend = left - 2 * top + right
    return 0.5 * (left - right) / bend if bend < 0 else 0.0


def _signed(place: float, size: int) -> float:
    return place - size if place > size / 2 else place


@dataclass
class Track:
    """A light's surround through a film, held still.

    Parameters
    ----------
    time_s : numpy.ndarray [s]
        Time stamps.
    patch : numpy.ndarray of uint8
        The strongest of red, green and blue around the light, (pictures, 49, 49) points, 0 to 255.
    colour : numpy.ndarray of float32
        The two colour differences at the light, (pictures, 2).
    shift : numpy.ndarray of float32
        How far the view has gone, (pictures, 2) cells.
    likeness : numpy.ndarray of float32
        To the reference, as far as noise lets it be seen.
    whole : numpy.ndarray of float32
        Median brightness of the whole picture.
    cuts_s, moves_s : list of float [s]
        Where one take follows another, and where the view went on to something else.
    lost_s : list of float [s]
        Where hand shake carried the light's surround out of what is looked at.
    """

    film: Film
    middle: tuple[float, float]
    time_s: NDArray[np.float64]
    patch: NDArray[np.uint8]
    colour: NDArray[np.float32]
    shift: NDArray[np.float32]
    likeness: NDArray[np.float32]
    whole: NDArray[np.float32]
    cuts_s: list[float] = field(default_factory=list)
    moves_s: list[float] = field(default_factory=list)
    lost_s: list[float] = field(default_factory=list)


def track(film: Film, middle: tuple[float, float], *, start_s: float = 0.0, end_s: float = math.inf) -> Track:
    """Follow a light's surround through a film.

    Parameters
    ----------
    middle : tuple of float
        Where the light is in the film's first picture looked at, across and down, in the film's pixels.

    Raises
    ------
    FilmError
        If the place lies outside the picture, no picture lies between the times, or there are too many.
    """
    if not (0 <= middle[0] < film.width and 0 <= middle[1] < film.height):
        raise FilmError(
            f"{middle[0]:g},{middle[1]:g} lies outside the picture",
            file=film.path.name,
            expected=f"at most {film.width - 1},{film.height - 1}",
        )
    edge = (HALF + REACH) * film.pixels_per_point
    box = Box(round(middle[0]) - edge, round(middle[1]) - edge, 2 * edge, 2 * edge)
    kept, aligner = _Kept(film, box, box.inside(film)), Aligner()
    for picture in pictures(film, start_s=start_s, end_s=end_s, box=kept.inside):
        if len(kept.time_s) >= MOST:
            raise FilmError(
                f"more than {MOST} pictures", file=film.path.name, remedy="Look at it in parts: --from, --to."
            )
        kept.add(picture, *aligner.lay(picture.cells))
    if len(kept.time_s) < 3:
        raise FilmError("fewer than three pictures lie between these times", file=film.path.name)
    return kept.track(middle)


class _Kept:
    """What is kept of the pictures that have gone by."""

    def __init__(self, film: Film, box: Box, inside: Box) -> None:
        self.film, self.box, self.inside = film, box, inside
        self.time_s: list[float] = []
        self.patches: list[NDArray[np.uint8]] = []
        self.rows: list[tuple[float, ...]] = []
        self.cuts_s: list[float] = []
        self.moves_s: list[float] = []
        self.lost_s: list[float] = []

    def add(self, picture: Picture, shift: Shift, event: str) -> None:
        """Keep one picture, held still by its shift."""
        assert picture.crop is not None
        points = FINE * shift.across, FINE * shift.down
        if max(map(abs, points)) > REACH:
            self.lost_s.append(picture.time_s)
        point = self.film.pixels_per_point
        row = (self.box.top - self.inside.top) / point + HALF + REACH + points[1]
        column = (self.box.left - self.inside.left) / point + HALF + REACH + points[0]
        value, tints = _strongest(picture)
        patch = _around(value, row, column)
        self.time_s.append(picture.time_s)
        self.patches.append(np.clip(patch, 0, 255).astype(np.uint8))
        centre = tints[:, max(0, int(row) - 4) : int(row) + 5, max(0, int(column) - 4) : int(column) + 5]
        tint = centre.mean((1, 2)) if centre.size else np.zeros(2)
        whole = float(np.median(picture.cells))
        self.rows.append((*map(float, tint), shift.across, shift.down, shift.likeness, whole))
        if event:
            (self.cuts_s if event == "cut" else self.moves_s).append(picture.time_s)

    def track(self, middle: tuple[float, float]) -> Track:
        """Return it all as arrays."""
        rows = np.array(self.rows, np.float32)
        patch = np.empty((len(self.patches), _EDGE, _EDGE), np.uint8)
        for place, one in enumerate(self.patches):
            patch[place] = one
        return Track(
            self.film,
            middle,
            np.array(self.time_s),
            patch,
            *(rows[:, 0:2], rows[:, 2:4], rows[:, 4], rows[:, 5]),
            self.cuts_s,
            self.moves_s,
            self.lost_s,
        )


def _strongest(picture: Picture) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return the strongest of red, green and blue, point by point (BT.709), and the colour differences."""
    assert picture.crop is not None
    luma, tints = picture.crop, picture.colour
    if tints is None or not tints.size:
        return luma, np.zeros((2, *luma.shape), np.float32)
    blue, red = (_fitted(one, luma.shape) for one in tints)
    top = np.maximum(np.maximum(1.5748 * red, 1.8556 * blue), -0.1873 * blue - 0.4681 * red)
    return luma + top, np.stack([blue, red])


def _fitted(plane: NDArray[np.float32], shape: tuple[int, ...]) -> NDArray[np.float32]:
    rows = np.minimum(np.arange(shape[0]) * plane.shape[0] // shape[0], plane.shape[0] - 1)
    columns = np.minimum(np.arange(shape[1]) * plane.shape[1] // shape[1], plane.shape[1] - 1)
    return plane[np.ix_(rows, columns)]


def _around(plane: NDArray[np.float32], row: float, column: float) -> NDArray[np.float32]:
    """Return the points around a place, between points by interpolation; beyond the edge, the edge's."""
    top, left = math.floor(row) - HALF, math.floor(column) - HALF
    rows = np.clip(np.arange(top, top + _EDGE + 1), 0, plane.shape[0] - 1)
    columns = np.clip(np.arange(left, left + _EDGE + 1), 0, plane.shape[1] - 1)
    part = plane[np.ix_(rows, columns)]
    low, right = row - math.floor(row), column - math.floor(column)
    across = (1 - right) * part[:, :-1] + right * part[:, 1:]
    return np.asarray((1 - low) * across[:-1] + low * across[1:], np.float32)
