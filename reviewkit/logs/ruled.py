"""The quick way to read a long log: lines that are spelled alike are read together, digit by digit.

A stretch of the file at a time, several side by side; whatever is out of the ordinary is left to the thorough
reader.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from reviewkit.logs import spelling
from reviewkit.logs.spelling import Bytes, Kind, Number, Spelling, Stamp

STRETCH_BYTES = 1 << 20
_LONGEST_LINE = 1000
_MOST_SPELLINGS = 100
_MOST_DATES = 100
_MOST_THREADS = 4

Rows = npt.NDArray[np.intp]


class Unlike(Exception):
    """The file has something that takes the thorough reader."""


@dataclass(frozen=True)
class Plan:
    """What to read, and how lines were found to be spelled so far.

    Parameters
    ----------
    place : Path
    start, stop : int
        First byte of the first row; end of the last.
    delimiter : str
    width : int
        Number of columns.
    kinds : mapping of int to str
        What the wanted columns hold, by position.
    known : list of Spelling
        Grows as lines are met.
    """

    place: Path
    start: int
    stop: int
    delimiter: str
    width: int
    kinds: Mapping[int, Kind]
    known: list[Spelling] = field(default_factory=list)

    def spelled(self, line: bytes) -> Spelling:
        """Return how a line is spelled that is unlike all the ones known."""
        found = spelling.of_line(line, delimiter=self.delimiter, width=self.width, kinds=self.kinds)
        if found is None or len(self.known) >= _MOST_SPELLINGS:
            raise Unlike
        self.known.append(found)
        return found


@dataclass
class Stretch:
    """The wanted columns of some rows in a row.

    Parameters
    ----------
    numbers : dict of int to array of float
        NaN where a cell is no number.
    times_us : dict of int to array of int [µs]
        Times of day; −1 where a cell is none.
    said : dict of int to array of int
        For each row which of `words` its cell says.
    words : dict of int to list of str
        Different cells that are no numbers and no times, dates among them; the first one is empty.
    filled : array of bool
        False for a line without anything in it, or with too much.
    wide : int
        Lines with more cells than columns.
    """

    numbers: dict[int, npt.NDArray[np.float64]]
    times_us: dict[int, npt.NDArray[np.int64]]
    said: dict[int, npt.NDArray[np.int16]]
    words: dict[int, list[str]]
    filled: npt.NDArray[np.bool_]
    wide: int = 0

    def put(self, at: int, cell: spelling.Cell, rows: Bytes, which: Rows | slice) -> None:
        """Enter what one cell says in some rows."""
        if isinstance(cell, Number):
            self.numbers[at][which] = cell.read(rows)
        elif isinstance(cell, Stamp):
            self._stamp(at, cell, rows, which)
        elif cell.text:
            self.said[at][which] = self._code(at, cell.text)

    def _stamp(self, at: int, cell: Stamp, rows: Bytes, which: Rows | slice) -> None:
        if cell.hour:
            found = cell.microseconds(rows)
            if found is None:
                raise Unlike
            self.times_us[at][which] = found
        if cell.day:
            first, texts = cell.days(rows)
            codes = np.array([self._code(at, text) for text in texts], dtype=np.int16)
            self.said[at][which] = np.repeat(codes, np.diff(np.r_[first, len(rows)]))

    def _code(self, at: int, text: str) -> int:
        words = self.words[at]
        if text not in words:
            if len(words) > _MOST_DATES:
                raise Unlike
            words.append(text)
        return words.index(text)


def read(plan: Plan) -> Stretch | None:
    """Return the wanted columns of the whole file, None where it takes the thorough reader.

    Parameters
    ----------
    plan : Plan
    """
    try:
        cuts = list(_cuts(plan))
        if len(cuts) < 2:
            return _joined(plan, [_stretch(plan, *cut) for cut in cuts])
        with ThreadPoolExecutor(min(_MOST_THREADS, os.cpu_count() or 1)) as pool:
            return _joined(plan, list(pool.map(lambda cut: _stretch(plan, *cut), cuts)))
    except Unlike:
        return None


def _cuts(plan: Plan) -> Iterator[tuple[int, int]]:
    """Give the stretches of the file, each from the start of a line to the end of one."""
    start = plan.start
    with plan.place.open("rb") as opened:
        while start < plan.stop:
            end = plan.stop
            if start + STRETCH_BYTES + _LONGEST_LINE < plan.stop:
                opened.seek(start + STRETCH_BYTES)
                behind = opened.read(_LONGEST_LINE).find(b"\n")
                if behind < 0:
                    raise Unlike
                end = start + STRETCH_BYTES + behind + 1
            yield start, end
            start = end


def _stretch(plan: Plan, start: int, stop: int) -> Stretch:
    with plan.place.open("rb") as opened:
        opened.seek(start)
        data = opened.read(stop - start)
    if not data.endswith(b"\n"):
        data += b"\n"
    text = np.frombuffer(data, dtype=np.uint8)
    for known in plan.known[-1:]:
        width = len(known.line)
        if len(text) % width == 0 and known.cells:
            rows = text.reshape(-1, width)
            if not len(known.misfits(rows)):
                found = _empty(plan, len(rows))
                _enter(found, known, rows, slice(None))
                return found
    return _sorted_out(plan, text)


def _empty(plan: Plan, count: int) -> Stretch:
    """Return a stretch in which nothing is entered."""
    stamps = [at for at, kind in plan.kinds.items() if kind in ("iso", "moment", "clock")]
    numbers = [at for at, kind in plan.kinds.items() if kind == "number"]
    return Stretch(
        {at: np.full(count, np.nan) for at in numbers},
        {at: np.full(count, -1, dtype=np.int64) for at in stamps},
        {at: np.zeros(count, dtype=np.int16) for at in plan.kinds},
        {at: [""] for at in plan.kinds},
        np.ones(count, dtype=bool),
    )


def _sorted_out(plan: Plan, text: Bytes) -> Stretch:
    """Return a stretch whose lines are spelled in several ways: those of one length at a time."""
    ends = np.flatnonzero(text == ord("\n"))
    starts = np.r_[0, ends[:-1] + 1]
    lengths = ends - starts + 1
    counts = np.bincount(lengths)
    if len(counts) > _LONGEST_LINE:
        raise Unlike
    found = _empty(plan, len(ends))
    for length in np.flatnonzero(counts):
        which = np.flatnonzero(lengths == length)
        lines = np.ndarray((len(text) - length + 1,), dtype=f"V{length}", buffer=text.data, strides=(1,))[
            starts[which]
        ]
        _of_one_length(plan, found, lines.view(np.uint8).reshape(-1, length), which)
    return found


def _of_one_length(plan: Plan, found: Stretch, rows: Bytes, which: Rows) -> None:
    """Enter lines of one length, spelled in any way."""
    untried = [one for one in reversed(plan.known) if len(one.line) == rows.shape[1]]
    while len(which):
        known = untried.pop(0) if untried else plan.spelled(rows[0].tobytes())
        others = known.misfits(rows)
        if len(others) == len(rows):
            continue
        fits = np.ones(len(rows), dtype=bool)
        fits[others] = False
        _enter(found, known, rows if not len(others) else rows[fits], which[fits])
        rows, which = rows[others], which[others]


def _enter(found: Stretch, spelled: Spelling, rows: Bytes, which: Rows | slice) -> None:
    if not spelled.cells:
        found.filled[which] = False
        found.wide += len(rows) if spelled.wide else 0
    for at, cell in spelled.cells.items():
        found.put(at, cell, rows, which)


def _joined(plan: Plan, stretches: Sequence[Stretch]) -> Stretch:
    """Return all stretches as one; codes of words are made to mean the same in all."""
    words = {
        at: list(dict.fromkeys(one for part in stretches for one in part.words[at])) for at in plan.kinds
    }
    for part in stretches:
        for at, own in part.words.items():
            if own != words[at][: len(own)]:
                part.said[at] = np.array([words[at].index(one) for one in own], dtype=np.int16)[part.said[at]]
    filled = np.concatenate([part.filled for part in stretches])
    joined = Stretch({}, {}, {}, words, filled, sum(part.wide for part in stretches))
    for name in ("numbers", "times_us", "said"):
        for at in tuple(getattr(stretches[0], name)):
            # Taken out one by one: two copies of a single column at most are held at once.
            getattr(joined, name)[at] = np.concatenate([getattr(part, name).pop(at) for part in stretches])
    return joined
