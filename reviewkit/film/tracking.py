"""Where the view goes: hand shake followed, cuts and zooms noticed, the light's surround kept in view.

Each picture is laid over a reference by phase correlation (Kuglin and Hines, 1975: the displacement of two
pictures is the place of the peak of their cross-power spectrum's inverse transform), to a tenth of a cell.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from reviewkit.errors import FilmError
from reviewkit.film.decode import Box, Film, Picture

HALF = 24
"""Half the edge of what is kept around the light [points]. Chosen: a light of 20 points and as much again
around it, by which one sees whether something covers it."""
RIM = 8
"""A light whose middle comes nearer to the picture's edge than this is lost from view [points]. Chosen: half
of a light of 16."""
ALIKE = 0.6
"""Two pictures of one scene are alike by more than this [1]; between takes it falls to about 0.2. Chosen."""
FAR = 3.0
"""Cells brighter than the upper quartile by more than so many times the quartiles' distance are far out [1]:
Tukey, Exploratory Data Analysis, 1977, 2D."""
HALO = 5
"""How far around them a lamp still sheds light [cells]. Chosen: in a dark room, from where the table is far
out to where a lamp adds a quarter to it."""
PARTS = 4, 6
"""Rows and columns of parts in which two pictures are compared where they are not alike as a whole. Chosen: a
lamp, or a hand, fills some of them; another view changes all."""
REMEMBERED = 3
"""Views before the last one to which the film may return [1]. Chosen: a hand's coming and going makes two."""
LEAP = 3.0
"""A view that goes further than this from one picture to the next [cells], a fiftieth of the picture, was not
carried by a hand: some 10 cells a second is the most that a hand does at 24 pictures a second. Chosen."""
MOST = 120_000
"""Pictures of which the light's surround is kept [1]: an hour at 30 a second takes 260 MB. Chosen."""
_EDGE = 2 * HALF + 1
_FINEST, _COARSEST = 0.02, 0.25
"""Spatial frequencies that place a picture [1/cell]: below lie shadows, above noise. Chosen."""


@dataclass(frozen=True, slots=True)
class Shift:
    """How one picture lies against another: displacement in cells, likeness from 0 to 1."""

    across: float
    down: float
    likeness: float


@dataclass(frozen=True)
class _Spectrum:
    """What of a picture's spectrum places it, and its energy."""

    waves: NDArray[np.complex64]
    energy: float


class Aligner:
    """Lays pictures over a reference that is replaced where the view has changed for good."""

    def __init__(self) -> None:
        self._reference: _Spectrum | None = None
        self._last: _Spectrum | None = None
        self._from = (0.0, 0.0)
        self._at = (0.0, 0.0)
        self._earlier: list[tuple[_Spectrum, tuple[float, float]]] = []

    def lay(self, cells: NDArray[np.float32]) -> tuple[Shift, str]:
        """Return a picture's shift against the first, and "cut" or "moved" where the view changed with it."""
        band = _band(*cells.shape)
        now = band.spectrum(cells)
        if self._reference is None or self._last is None:
            self._reference = self._last = now
            return Shift(0.0, 0.0, 1.0), ""
        found, event = band.compared(self._reference, now, self._from), ""
        if found.likeness < ALIKE and (back := self._as_before(band, now)):
            found, event = back, "cut"
        elif found.likeness < ALIKE:
            self._earlier = [*self._earlier, (self._reference, self._from)][-REMEMBERED:]
            step = band.laid(self._last, now, self._at)
            event = "moved" if step.likeness >= ALIKE else "cut"
            if event == "moved" or found.likeness < ALIKE / 2:
                found = step if event == "moved" else Shift(*self._at, 0.0)
            self._reference, self._from = now, (found.across, found.down)
        jump = math.hypot(found.across - self._at[0], found.down - self._at[1])
        if not event and jump > LEAP:
            event = "cut"
        self._last, self._at = now, (found.across, found.down)
        return found, event

    def _as_before(self, band: _Band, now: _Spectrum) -> Shift | None:
        """Return how a picture lies where the view is again what it was: a hand has gone."""
        for number, (spectrum, origin) in reversed(list(enumerate(self._earlier))):
            found = band.compared(spectrum, now, origin)
            if found.likeness >= ALIKE:
                del self._earlier[number]
                self._reference, self._from = spectrum, origin
                return found
        return None


class _Band:
    """The spatial frequencies that place a picture of one size; the others are never worked out."""

    def __init__(self, rows: int, columns: int) -> None:
        self.shape = rows, columns
        self.window = np.outer(np.hanning(rows), np.hanning(columns)).astype(np.float32)
        down, across = fft.fftfreq(rows), np.arange(columns // 2 + 1) / columns
        self.rows, self.columns = np.nonzero(np.abs(down) <= _COARSEST)[0], int((across <= _COARSEST).sum())
        self.down, self.across = down[self.rows], across[: self.columns]
        wave = np.hypot(self.down[:, None], self.across[None, :])
        self.inside = ((wave >= _FINEST) & (wave <= _COARSEST)).astype(np.float32)
        # The bands that a lamp on the mains draws across a picture, row after row, wander by themselves.
        self.inside[:, 0] = self.inside[self.down == 0] = 0

    def spectrum(self, cells: NDArray[np.float32]) -> _Spectrum:
        """Return a picture's spectrum in the band."""
        # A lamp that fills a tenth of the view in white must not outweigh the scene, nor, in a dark room,
        # what it sheds on the table.
        low, middle, high, top = np.percentile(cells, (25, 50, 75, 97))
        even, far = np.minimum(cells, top), cells > high + FAR * (high - low)
        if far.any():
            even = np.where(ndimage.binary_dilation(far, iterations=HALO), np.float32(middle), even)
        half = fft.rfft((even - even.mean()) * self.window, axis=1)[:, : self.columns]
        waves = np.asarray(fft.fft(half, axis=0)[self.rows] * self.inside, np.complex64)
        return _Spectrum(waves, float(np.vdot(waves, waves).real))

    def laid(self, one: _Spectrum, other: _Spectrum, origin: tuple[float, float]) -> Shift:
        """Return how one picture lies against another that itself lies at `origin`."""
        product = np.conj(one.waves) * other.waves
        size = np.abs(product)
        rows, columns = self.shape
        # Between plain correlation (noise does no harm) and phase alone (a sharp peak).
        whole = np.zeros((rows, self.columns), np.complex64)
        whole[self.rows] = product / np.sqrt(size + np.float32(1e-6 * float(size.max()) + 1e-9))
        peak_of = fft.irfft(fft.ifft(whole, axis=0), columns, axis=1)
        row, column = divmod(int(peak_of.argmax()), columns)
        down = _signed(row + _peak(peak_of[np.arange(row - 1, row + 2) % rows, column]), rows)
        across = _signed(column + _peak(peak_of[row, np.arange(column - 1, column + 2) % columns]), columns)
        # How much is alike once the displacement is taken back.
        left, right = self._back(across, down)
        likeness = float((left @ product @ right).real) / (math.sqrt(one.energy * other.energy) + 1e-9)
        return Shift(origin[0] + across, origin[1] + down, likeness)

    def compared(self, one: _Spectrum, other: _Spectrum, origin: tuple[float, float]) -> Shift:
        """Return how one picture lies against another, alike as a whole or in half of its parts."""
        found = self.laid(one, other, origin)
        if found.likeness >= ALIKE:
            return found
        return replace(found, likeness=self._parts_alike(one, other, found, origin))

    def _parts_alike(
        self, one: _Spectrum, other: _Spectrum, shift: Shift, origin: tuple[float, float]
    ) -> float:
        """Return how alike half of the parts of two pictures are at least, one laid over the other."""
        left, right = self._back(shift.across - origin[0], shift.down - origin[1])
        pictures = []
        for waves in (one.waves, other.waves * left[:, None] * right[None, :]):
            whole = np.zeros((self.shape[0], self.columns), np.complex64)
            whole[self.rows] = waves
            pictures.append(fft.irfft(fft.ifft(whole, axis=0), self.shape[1], axis=1))
        high, wide = (size // count for size, count in zip(self.shape, PARTS, strict=True))
        first, second = (
            each[: PARTS[0] * high, : PARTS[1] * wide].reshape(PARTS[0], high, PARTS[1], wide)
            for each in pictures
        )
        shared, *energies = (
            (a * b).sum((1, 3)) for a, b in ((first, second), (first, first), (second, second))
        )
        return float(np.median(shared / (np.sqrt(energies[0] * energies[1]) + 1e-9)))

    def _back(self, across: float, down: float) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        """Return by what the waves of a picture are turned to take a displacement back, along both axes."""
        return np.exp(2j * np.pi * down * self.down), np.exp(2j * np.pi * across * self.across)


@cache
def _band(rows: int, columns: int) -> _Band:
    return _Band(rows, columns)


def _peak(three: NDArray[np.float32]) -> float:
    """Return where between its neighbours a peak lies, by the parabola through the three [cells]."""
    left, top, right = (float(one) for one in three)
    bend = left - 2 * top + right
    return 0.5 * (left - right) / bend if bend < 0 else 0.0


def _signed(position: float, size: int) -> float:
    return position - size if position > size / 2 else position


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
        Where hand shake, or a cut, carried the light out of the picture.
    """

    film: Film
    middle: tuple[float, float]
    time_s: NDArray[np.float64] = field(repr=False)
    patch: NDArray[np.uint8] = field(repr=False)
    colour: NDArray[np.float32] = field(repr=False)
    shift: NDArray[np.float32] = field(repr=False)
    likeness: NDArray[np.float32] = field(repr=False)
    whole: NDArray[np.float32] = field(repr=False)
    cuts_s: list[float] = field(default_factory=list)
    moves_s: list[float] = field(default_factory=list)
    lost_s: list[float] = field(default_factory=list)


class ViewPath:
    """Where the view goes, picture by picture."""

    def __init__(self, film: Film) -> None:
        self.film, self._aligner = film, Aligner()
        self.time_s: list[float] = []
        self.shifts: list[Shift] = []
        self.whole: list[float] = []
        self.cuts_s: list[float] = []
        self.moves_s: list[float] = []

    def add(self, picture: Picture) -> tuple[Shift, str]:
        """Take the next picture in; return its shift, and "cut" or "moved" where the view changed with it.

        Raises
        ------
        FilmError
            If there are too many.
        """
        if len(self.time_s) >= MOST:
            raise FilmError(
                f"more than {MOST} pictures",
                file=self.film.path.name,
                remedy="Look at it in parts: --from, --to.",
            )
        shift, event = self._aligner.lay(picture.cells)
        self.time_s.append(picture.time_s)
        self.shifts.append(shift)
        self.whole.append(float(np.median(picture.cells)))
        if event:
            (self.cuts_s if event == "cut" else self.moves_s).append(picture.time_s)
        return shift, event


class Follower:
    """Keeps what lies around one place of the first picture, held still.

    Raises
    ------
    FilmError
        If the place lies outside the picture.
    """

    def __init__(self, film: Film, middle: tuple[float, float]) -> None:
        if not (0 <= middle[0] < film.width and 0 <= middle[1] < film.height):
            raise FilmError(
                f"{middle[0]:g},{middle[1]:g} lies outside the picture",
                file=film.path.name,
                expected=f"at most {film.width - 1},{film.height - 1}",
            )
        self.film, self.middle = film, middle
        point, (column, row) = film.pixels_per_point, (round(one) for one in middle)
        # Points are counted so that one begins at the light's middle.
        self._from = row % point, column % point
        self._points = (film.height - self._from[0]) // point, (film.width - self._from[1]) // point
        self._at = row // point, column // point
        self._rim = min(RIM, self._within(*self._at))
        expected = 1.05 * film.duration_s * film.rate_Hz + 256
        # Of what is not written to, no memory is taken.
        self._patch = np.empty((min(MOST, int(expected)), _EDGE, _EDGE), np.uint8)
        self._colour = np.zeros((len(self._patch), 2), np.float32)
        self._lost: set[int] = set()

    def add(self, picture: Picture, shift: Shift, number: int) -> None:
        """Keep the surround in one picture, whose number from the first is given."""
        fine = self.film.pixels_per_cell / self.film.pixels_per_point
        across, down = fine * shift.across, fine * shift.down
        at = self._at[0] + down, self._at[1] + across
        if self._within(*at) < self._rim:
            self._lost.add(number)
        if number >= len(self._patch):
            longer = number + number // 4 + 1
            self._patch.resize((longer, _EDGE, _EDGE), refcheck=False)
            self._colour.resize((longer, 2), refcheck=False)
        value, tint = self._points_around(picture, *at)
        self._patch[number], self._colour[number] = np.clip(value, 0, 255), tint

    def _within(self, row: float, column: float) -> float:
        """Return how far a place lies from the picture's edge [points]; less than 0 outside."""
        return min(row, column, self._points[0] - 1 - row, self._points[1] - 1 - column)

    def _points_around(
        self, picture: Picture, row: float, column: float
    ) -> tuple[NDArray[np.float32], Sequence[float]]:
        """Return the points around a place, between points by interpolation; beyond the edge, the edge's."""
        rows, columns = (
            np.clip(np.arange(_EDGE + 1) + math.floor(at) - HALF, 0, count - 1)
            for at, count in zip((row, column), self._points, strict=True)
        )
        point, (top, left) = self.film.pixels_per_point, self._from
        part = Box(
            *(left + int(columns[0]) * point, top + int(rows[0]) * point),
            *(int(columns[-1] - columns[0] + 1) * point, int(rows[-1] - rows[0] + 1) * point),
        )
        light, tints = _strongest(*picture.part(part))
        where = np.ix_(rows - rows[0], columns - columns[0])
        near = slice(HALF - 4, HALF + 5)
        tint = [float(one[where][near, near].mean()) for one in tints] or [0.0, 0.0]
        low, right = np.float32(row - math.floor(row)), np.float32(column - math.floor(column))
        light = light[where]
        light = (1 - right) * light[:, :-1] + right * light[:, 1:]
        return (1 - low) * light[:-1] + low * light[1:], tint

    def track(self, view: ViewPath) -> Track:
        """Return it all as arrays.

        Raises
        ------
        FilmError
            If there are fewer than three pictures.
        """
        count = len(view.time_s)
        if count < 3:
            raise FilmError("fewer than three pictures lie between these times", file=self.film.path.name)
        return Track(
            self.film,
            self.middle,
            np.array(view.time_s),
            self._patch[:count],
            self._colour[:count],
            np.array([(one.across, one.down) for one in view.shifts], np.float32),
            np.array([one.likeness for one in view.shifts], np.float32),
            np.array(view.whole, np.float32),
            view.cuts_s,
            view.moves_s,
            [view.time_s[number] for number in sorted(self._lost)],
        )


def _strongest(
    light: NDArray[np.float32], tints: NDArray[np.float32] | None
) -> tuple[NDArray[np.float32], list[NDArray[np.float32]]]:
    """Return the strongest of red, green and blue, point by point (BT.709), and the colour differences."""
    if tints is None or not tints.size:
        return light, []
    blue, red = (_fitted(one, light.shape) for one in tints)
    top = np.maximum(np.maximum(1.5748 * red, 1.8556 * blue), -0.1873 * blue - 0.4681 * red)
    return light + top, [blue, red]


def _fitted(plane: NDArray[np.float32], shape: tuple[int, ...]) -> NDArray[np.float32]:
    rows = np.minimum(np.arange(shape[0]) * plane.shape[0] // shape[0], plane.shape[0] - 1)
    columns = np.minimum(np.arange(shape[1]) * plane.shape[1] // shape[1], plane.shape[1] - 1)
    return plane[np.ix_(rows, columns)]
