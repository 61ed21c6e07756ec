"""The pictures of a film, one after another, as brightness in few cells; nothing is kept.

A film is read as its decoder hands it over: the plane of brightness as it is, no conversion of colours, every
picture averaged down before anything else is done with it. Times are the pictures' own time stamps.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from reviewkit.errors import FilmError

COLUMNS = 160
"""Cells along the longer edge of a picture [1]. Chosen: a light of a hundredth of the picture's width fills
a cell, and a picture of 160 × 90 cells costs less than its decoding."""
FINE = 4
"""Points of the finer crop along one cell [1]. Chosen: 640 across, where a light of 5 mm filmed with a hand's
width around it is some ten points wide."""
_PLANAR = ("yuv420p", "yuvj420p", "yuv422p", "yuvj422p", "yuv444p", "nv12", "yuv420p10le", "gray")
_REMEDY = "Open it in a player: if that shows it, save it again as MP4 (H.264)."


@dataclass(frozen=True)
class Film:
    """What a film says of itself.

    Parameters
    ----------
    width, height : int
        As a player shows it, in its own pixels.
    turned : int
        Quarter turns to the left by which the stored pictures are turned to be shown.
    rate_Hz : float
        Mean number of pictures in a second.
    duration_s : float
        As declared; 0 where it isn't.
    """

    path: Path
    width: int
    height: int
    turned: int
    rate_Hz: float
    duration_s: float

    @property
    def pixels_per_cell(self) -> int:
        """Edge of a cell in the film's own pixels."""
        return max(1, round(max(self.width, self.height) / COLUMNS))

    @property
    def pixels_per_point(self) -> int:
        """Edge of a point of the finer crop in the film's own pixels."""
        return max(1, round(self.pixels_per_cell / FINE))


@dataclass(frozen=True)
class Box:
    """A rectangle of a film in its own pixels, as a player shows it."""

    left: int
    top: int
    width: int
    height: int

    @property
    def middle(self) -> tuple[float, float]:
        """Its middle, across and down."""
        return self.left + self.width / 2, self.top + self.height / 2

    def inside(self, film: Film) -> Box:
        """Return the part of it that lies in the picture."""
        left, top = max(0, self.left), max(0, self.top)
        right, low = min(film.width, self.left + self.width), min(film.height, self.top + self.height)
        return Box(left, top, max(0, right - left), max(0, low - top))


class Picture:
    """One picture of a film; what is asked of it is made then, and only while it is the one shown.

    Parameters
    ----------
    time_s : float [s]
        Its time stamp, from the film's start.
    """

    def __init__(self, frame: Any, time_s: float, film: Film) -> None:
        planar = frame.format.name in _PLANAR
        self._frame = frame if planar else frame.reformat(format="yuv420p")
        self.time_s, self._film = time_s, film
        self._luma, self._top = _plane(self._frame, 0)

    @cached_property
    def cells(self) -> NDArray[np.float32]:
        """Brightness of the whole picture, 0 (black) to 255, rows by columns of cells."""
        return self._shown(_averaged(self._luma, self._film.pixels_per_cell, most=2))

    @cached_property
    def colours(self) -> NDArray[np.float32]:
        """Red, green and blue of the whole picture as a screen is told them, 0 to 1, (3, rows, columns)."""
        light = self.cells / np.float32(255)
        tints = _tints(self._frame, self._film, light.shape)
        if tints is None:
            return np.stack([light, light, light])
        red_share, blue_share = _shares(self._frame)
        red = light + 2 * (1 - red_share) * tints[1]
        blue = light + 2 * (1 - blue_share) * tints[0]
        green = (light - red_share * red - blue_share * blue) / (1 - red_share - blue_share)
        return np.asarray(np.clip(np.stack([red, green, blue]), 0, 1), np.float32)

    def part(self, box: Box) -> tuple[NDArray[np.float32], NDArray[np.float32] | None]:
        """Return brightness in points, and the two colour differences as stored (none in a grey film).

        Parameters
        ----------
        box : Box
            In whole points, inside the picture.
        """
        rows, columns = _stored(box, self._film)
        light = self._shown(_averaged(self._luma[rows, columns], self._film.pixels_per_point))
        return light, _colour(self._frame, rows, columns, self._film.turned)

    def _shown(self, stored: NDArray[np.float32]) -> NDArray[np.float32]:
        return _from_black(np.rot90(stored, self._film.turned), self._top, self._frame)


def look_at(path: str | Path) -> Film:
    """Return what a film says of itself.

    Raises
    ------
    FilmError
        If there is no such file, or it holds no pictures that can be decoded.

    Examples
    --------
    >>> lamp = look_at(film_file)
    >>> lamp.width, lamp.height, lamp.rate_Hz
    (320, 180, 30.0)
    """
    folder = Path(path)
    with _opened(folder) as container:
        stream = _stream(container, folder)
        first = next(_frames(container, stream, folder), None)
        if first is None:
            raise FilmError("not one picture of it can be decoded", file=folder.name, remedy=_REMEDY)
        turned = round(float(first.rotation) / 90) % 4
        width, height = (first.height, first.width) if turned % 2 else (first.width, first.height)
        rate = float(stream.average_rate or stream.guessed_rate or 30)
        length = stream.duration * stream.time_base if stream.duration else (container.duration or 0) / 1e6
        return Film(folder, width, height, turned, rate, float(length))


def pictures(film: Film, *, start_s: float = 0.0, end_s: float = math.inf) -> Iterator[Picture]:
    """Walk the pictures of a film.

    Parameters
    ----------
    film : Film
    start_s, end_s : float [s]
        Only pictures from here up to there.

    Raises
    ------
    FilmError
        If it can't be decoded at all, or its time stamps go backwards throughout.
    """
    with _opened(film.path) as container:
        stream = _stream(container, film.path)
        origin = float((stream.start_time or 0) * stream.time_base)
        if start_s > 0:
            # To the key picture before; what is decoded up to the start is dropped.
            container.seek(int((start_s + origin) / stream.time_base), stream=stream, backward=True)
        last = -math.inf
        for count, frame in enumerate(_frames(container, stream, film.path)):
            time_s = (
                count / film.rate_Hz if frame.pts is None else float(frame.pts * stream.time_base) - origin
            )
            if time_s > end_s:
                return
            if time_s >= start_s - 1e-9 and time_s > last:
                last = time_s
                yield Picture(frame, time_s, film)


def still(film: Film, time_s: float) -> NDArray[np.uint8]:
    """Return the picture shown at a time in colour, rows by columns by (red, green, blue), as shown."""
    with _opened(film.path) as container:
        stream = _stream(container, film.path)
        origin = float((stream.start_time or 0) * stream.time_base)
        container.seek(int(max(0.0, time_s + origin) / stream.time_base), stream=stream, backward=True)
        shown = None
        for frame in _frames(container, stream, film.path):
            if shown is not None and float((frame.pts or 0) * stream.time_base) - origin > time_s + 1e-6:
                break
            shown = frame
        if shown is None:
            raise FilmError(f"no picture at {time_s:.2f} s can be decoded", file=film.path.name)
        return np.ascontiguousarray(np.rot90(shown.to_ndarray(format="rgb24"), film.turned))


def _opened(path: Path) -> Any:
    if not path.is_file():
        raise FilmError("no such file", file=str(path), expected="a film")
    if not path.stat().st_size:
        raise FilmError("the file is empty", file=path.name, remedy="Copy it from the camera again.")
    try:
        return av.open(str(path))
    except (av.FFmpegError, OSError) as failure:
        raise FilmError(
            "this is no film, or its beginning or its index is damaged", file=path.name, remedy=_REMEDY
        ) from failure


def _stream(container: Any, path: Path) -> Any:
    # A sound file's cover is a picture, and no film.
    moving = [one for one in container.streams.video if not int(one.disposition) & 0x400]
    if not moving:
        sound = " only sound" if container.streams.audio else " no pictures"
        raise FilmError(f"it holds{sound}", file=path.name, expected="a film with moving pictures")
    moving[0].thread_type = "AUTO"
    return moving[0]


def _frames(container: Any, stream: Any, path: Path) -> Iterator[Any]:
    """Walk the pictures that can be decoded; packets that can't be are passed over."""
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets)
        except StopIteration:
            return
        except av.FFmpegError:
            # The rest of the file is damaged: what came before stands.
            return
        try:
            yield from packet.decode()
        except av.FFmpegError:
            continue


_FULL_RANGE = 2


def _from_black(luma: NDArray[np.float32], top: float, frame: Any) -> NDArray[np.float32]:
    """Return brightness from 0 to 255; black is code 16 of 255 unless the film says 0 (BT.709, 4.6)."""
    scaled = luma * np.float32(255.0 / top)
    if _is_full(frame):
        return scaled
    return np.asarray(np.clip((scaled - 16) * np.float32(255 / 219), 0, 255), np.float32)


def _is_full(frame: Any) -> bool:
    return int(frame.color_range) == _FULL_RANGE or frame.format.name.startswith("yuvj")


def _plane(frame: Any, number: int) -> tuple[NDArray[Any], float]:
    """Return a plane as it lies in memory, and its largest value."""
    plane = frame.planes[number]
    deep = frame.format.name.endswith("10le")
    kind, top = (np.dtype("<u2"), 1023.0) if deep else (np.dtype("u1"), 255.0)
    wide = plane.line_size // kind.itemsize
    whole = np.frombuffer(plane, kind)[: plane.height * wide].reshape(plane.height, wide)
    return whole[:, : plane.width], top


def _averaged(plane: NDArray[Any], edge: int, most: int = 4) -> NDArray[np.float32]:
    """Return the means of squares, from at most `most` by `most` pixels of each."""
    step = max(1, edge // most)
    inside = edge // step
    rows, columns = plane.shape[0] // edge, plane.shape[1] // edge
    total = np.zeros((rows, columns), np.uint16 if plane.dtype.itemsize == 1 else np.uint32)
    for down in range(inside):
        for across in range(inside):
            first, left = down * step + step // 2, across * step + step // 2
            total += plane[first::edge, left::edge][:rows, :columns]
    return total.astype(np.float32) / np.float32(inside * inside)


def _stored(box: Box, film: Film) -> tuple[slice, slice]:
    """Return the rows and columns of the stored picture that a box of the shown one covers."""
    left, top, right, low = box.left, box.top, box.left + box.width, box.top + box.height
    wide, high = film.width, film.height
    turned = {
        0: (top, low, left, right),
        1: (left, right, high - low, high - top),
        2: (high - low, high - top, wide - right, wide - left),
        3: (wide - right, wide - left, top, low),
    }[film.turned]
    return slice(turned[0], turned[1]), slice(turned[2], turned[3])


def _colour_planes(frame: Any) -> tuple[list[NDArray[Any]], float]:
    """Return the planes of the two colour differences, blue's first, and their largest value."""
    if frame.format.name == "gray":
        return [], 255.0
    if frame.format.name == "nv12":
        both = np.frombuffer(frame.planes[1], "u1").reshape(-1, frame.planes[1].line_size)
        both = both[: frame.height // 2, : frame.width // 2 * 2]
        return [both[:, 0::2], both[:, 1::2]], 255.0
    (first, top), (second, _) = _plane(frame, 1), _plane(frame, 2)
    return [first, second], top


def _colour(frame: Any, rows: slice, columns: slice, turned: int) -> NDArray[np.float32] | None:
    """Return the two colour differences of a part of the picture."""
    planes, top = _colour_planes(frame)
    if not planes:
        return None
    high, wide = frame.height / planes[0].shape[0], frame.width / planes[0].shape[1]
    part = (
        slice(int(rows.start / high), math.ceil(rows.stop / high)),
        slice(int(columns.start / wide), math.ceil(columns.stop / wide)),
    )
    middle, scale = (top + 1) / 2, np.float32(255.0 / top)
    return np.stack([np.rot90((one[part].astype(np.float32) - middle) * scale, turned) for one in planes])


def _tints(frame: Any, film: Film, shape: tuple[int, ...]) -> list[NDArray[np.float32]] | None:
    """Return the two colour differences of each cell, -0.5 to 0.5, from four points of it; None without."""
    planes, top = _colour_planes(frame)
    if not planes:
        return None
    counts = shape[::-1] if film.turned % 2 else shape
    along = []
    for count, pixels, points in zip(counts, (frame.height, frame.width), planes[0].shape, strict=True):
        quarters = (np.arange(2 * count) + 0.5) / 2 * film.pixels_per_cell
        along.append(np.minimum((quarters * points / pixels).astype(int), points - 1))
    range_of = top if _is_full(frame) else top * 224 / 255
    found = []
    for one in planes:
        some = one[along[0]][:, along[1]].astype(np.float32)
        mean = some.reshape(counts[0], 2, counts[1], 2).mean((1, 3))
        found.append(np.rot90((mean - np.float32((top + 1) / 2)) / np.float32(range_of), film.turned))
    return found


_SD, _BT601, _BT709 = 720, (0.299, 0.114), (0.2126, 0.0722)
_CODED_601 = (5, 6)


def _shares(frame: Any) -> tuple[float, float]:
    """Return red's and blue's share in brightness (BT.709, 3.2; BT.601, 2.5.1).

    Where a film does not say which it is, players take the latter for less than 720 lines: common practice,
    no source.
    """
    said = int(frame.colorspace)
    if said in _CODED_601 or (said != 1 and min(frame.height, frame.width) < _SD):
        return _BT601
    return _BT709
