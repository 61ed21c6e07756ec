"""Pictures out of a film, with nothing in them but their pixels: a contact sheet to choose a spot from."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from reviewkit.film.decode import Film, still
from reviewkit.film.one_pass import Survey
from reviewkit.film.spotting import Spot

WIDEST = 960
"""Width of a contact sheet [pixel]. Chosen: fits a screen, and shows a light of five pixels."""
_DIGITS = (
    *("111101101101111", "010110010010111", "111001111100111", "111001111001111", "101101111001001"),
    *("111100111001111", "111100111101111", "111001010010010", "111101111101111", "111101111001111"),
)


def png(picture: NDArray[np.uint8]) -> bytes:
    """Return grey values, or red, green and blue, as a PNG file without a word in it.

    Examples
    --------
    >>> lamp = look_at(film_file)
    >>> png(contact_sheet(lamp, spots(lamp)))[1:4]
    b'PNG'
    """
    kind = "gray" if picture.ndim == 2 else "rgb24"
    encoder: Any = av.CodecContext.create("png", "w")
    encoder.height, encoder.width = picture.shape[:2]
    encoder.pix_fmt, encoder.time_base = kind, Fraction(1, 1)
    frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(picture), format=kind)
    return b"".join(bytes(packet) for packet in [*encoder.encode(frame), *encoder.encode(None)])


@dataclass(frozen=True)
class Sheet:
    """A picture of the film in which the spots are numbered, and where they are."""

    spots: tuple[Spot, ...]
    picture: NDArray[np.uint8]

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        lines = [
            f"{number}: {spot.x:.0f},{spot.y:.0f}, on {spot.times} times"
            for number, spot in enumerate(self.spots, start=1)
        ]
        data = base64.b64encode(png(self.picture)).decode()
        return {"image/png": data, "text/plain": "\n".join(lines) or "none"}


def spot_sheet(surveyed: Survey) -> Sheet:
    """Return the spots that change like a light, with a picture in which they are numbered.

    Examples
    --------
    >>> sheet = spot_sheet(survey(look_at(film_file)))
    >>> len(sheet.spots), sheet.picture.shape
    (1, (180, 320, 3))
    """
    return Sheet(surveyed.spots, contact_sheet(surveyed.film, surveyed.spots, surveyed.start_s))


def contact_sheet(film: Film, spots: Sequence[Spot], at_s: float = 0.0) -> NDArray[np.uint8]:
    """Return a picture of a film in which the spots are framed and numbered, from 1.

    Examples
    --------
    >>> lamp = look_at(film_file)
    >>> contact_sheet(lamp, spots(lamp)).shape  # rows, columns; red, green and blue
    (180, 320, 3)
    """
    whole = still(film, at_s)
    step = max(1, -(-film.width // WIDEST))
    sheet = np.array(whole[::step, ::step])
    half = max(8, sheet.shape[1] // 50)
    for number, spot in enumerate(spots, start=1):
        _frame(sheet, round(spot.x / step), round(spot.y / step), half)
        _number(sheet, round(spot.x / step) + half + 4, round(spot.y / step) - half, number)
    return sheet


def _frame(sheet: NDArray[np.uint8], x: int, y: int, half: int) -> None:
    for wide, colour in ((half + 1, 0), (half, 255)):
        top, low = max(0, y - wide), min(sheet.shape[0] - 1, y + wide)
        left, right = max(0, x - wide), min(sheet.shape[1] - 1, x + wide)
        sheet[[top, low], left : right + 1] = colour
        sheet[top : low + 1, [left, right]] = colour


def _number(sheet: NDArray[np.uint8], x: int, y: int, number: int) -> None:
    for index, digit in enumerate(str(number)):
        drawn = np.array([one == "1" for one in _DIGITS[int(digit)]]).reshape(5, 3)
        large = np.kron(np.pad(drawn, 1), np.ones((3, 3), bool))
        top, left = max(0, min(y, sheet.shape[0] - 21)), max(0, min(x + 15 * index, sheet.shape[1] - 15))
        sheet[top : top + 21, left : left + 15] = np.where(large, 255, 0)[:, :, None]
