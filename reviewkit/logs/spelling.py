"""How one line of a log is spelled.

Two lines are spelled alike if they have digits in the same places and the same characters everywhere else.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from reviewkit.logs import places
from reviewkit.logs.places import Bytes, Cell, Kind, Places, Words

_TILE = 128


@dataclass(frozen=True)
class Spelling:
    """How a line is spelled.

    Parameters
    ----------
    line : bytes
        An example, line end included.
    free : tuple of int
        Places that may hold another digit.
    cells : mapping of int to cell
        The wanted columns; none of a line without anything in it, or with too much.
    wide : bool
        Whether it has more cells than columns.
    """

    line: bytes
    free: Places
    cells: Mapping[int, Cell]
    wide: bool = False

    @cached_property
    def _lowest(self) -> tuple[Bytes, Bytes]:
        """The lowest character of each place, and how far another may lie above it; tiled."""
        low = np.frombuffer(self.line, dtype=np.uint8).copy()
        above = np.zeros(len(low), dtype=np.uint8)
        low[list(self.free)], above[list(self.free)] = ord("0"), 9
        return np.tile(low, _TILE), np.tile(above, _TILE)

    def misfits(self, rows: Bytes) -> npt.NDArray[np.intp]:
        """Return which rows are spelled in another way.

        Parameters
        ----------
        rows : array of uint8, shape (n, length of the line)
        """
        width = len(self.line)
        even = len(rows) // _TILE * _TILE
        low, above = self._lowest
        # Characters below the lowest wrap to the top: one comparison does for both ends.
        many = rows[:even].reshape(-1, _TILE * width) - low > above
        rest = rows[even:] - low[:width] > above[:width]
        found = [np.flatnonzero(many) // width] if many.any() else []
        found += [np.flatnonzero(rest) // width + even] if rest.any() else []
        bad: npt.NDArray[np.intp] = np.concatenate(found) if found else np.empty(0, dtype=np.intp)
        return bad[np.diff(bad, prepend=-1) > 0]


def of_line(line: bytes, *, delimiter: str, width: int, kinds: Mapping[int, Kind]) -> Spelling | None:
    """Return how a line is spelled, None where that takes the thorough reader to say.

    Parameters
    ----------
    line : bytes
        With its line end.
    delimiter : str
    width : int
        Number of columns.
    kinds : mapping of int to str
        What the wanted columns hold, by position.
    """
    text = line.decode("latin-1")
    body = text.rstrip("\r\n")
    if '"' in body or "\r" in body or len(text) - len(body) > 2:
        return None
    spans = _spans(body, delimiter)
    if any(end > start for start, end in spans[width:]):
        return Spelling(line, (), {}, wide=True)
    if not body.strip(f"{delimiter} \t"):
        return Spelling(line, (), {})
    cells: dict[int, Cell] = {}
    free = [at for place, span in enumerate(spans) if place not in kinds for at in _digits(body, *span)]
    for place, kind in kinds.items():
        start, end = spans[place] if place < len(spans) else (0, 0)
        cell = places.of_text(body[start:end], start, kind)
        if cell is None:
            return None
        cells[place] = cell
        free += [] if isinstance(cell, Words) else _digits(body, start, end)
    return Spelling(line, tuple(free), cells)


def _spans(body: str, delimiter: str) -> list[tuple[int, int]]:
    """Return where each cell begins and ends, blanks around it left out."""
    spans, start = [], 0
    for cell in body.split(delimiter):
        bare = cell.strip()
        inner = start + len(cell) - len(cell.lstrip())
        spans.append((inner, inner + len(bare)))
        start += len(cell) + len(delimiter)
    return spans


def _digits(body: str, start: int, end: int) -> list[int]:
    return [at for at in range(start, end) if body[at] in "0123456789"]
