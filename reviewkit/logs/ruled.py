"""The quick way to read a long log: lines that are spelled alike are read together, digit by digit.

A stretch of the file at a time; whatever is out of the ordinary is left to the thorough reader.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from reviewkit.logs import spelling
from reviewkit.logs.gathered import Gathered, Rows, Unlike
from reviewkit.logs.places import Bytes, Kind
from reviewkit.logs.spelling import Spelling

STRETCH_BYTES = 1 << 20
_LONGEST_LINE = 1000
_MOST_SPELLINGS = 100


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


def read(plan: Plan) -> Gathered | None:
    """Return the wanted columns of the whole file, None where it takes the thorough reader.

    Parameters
    ----------
    plan : Plan
    """
    found = Gathered(plan.kinds)
    try:
        with plan.place.open("rb") as opened:
            for start, stop in _cuts(plan):
                opened.seek(start)
                data = opened.read(stop - start)
                share = (stop - plan.start) / (plan.stop - plan.start)
                _enter_stretch(plan, found, data if data.endswith(b"\n") else data + b"\n", share)
    except Unlike:
        return None
    return found


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


def _enter_stretch(plan: Plan, found: Gathered, data: bytes, share: float) -> None:
    """Enter a stretch: at once where all lines are spelled alike, else those of one length at a time."""
    if b"\0" in data:
        raise Unlike
    text = np.frombuffer(data, dtype=np.uint8)
    for known in plan.known[-1:]:
        if len(text) % len(known.line) == 0:
            lines = text.reshape(-1, len(known.line))
            if not len(known.misfits(lines)):
                found.make_room(len(lines), share=share)
                _enter(plan, found, known, lines, slice(None))
                return
    ends = np.flatnonzero(text == ord("\n"))
    found.make_room(len(ends), share=share)
    starts = np.r_[0, ends[:-1] + 1]
    lengths = ends - starts + 1
    if lengths.max() > _LONGEST_LINE:
        raise Unlike
    for length in np.flatnonzero(np.bincount(lengths)):
        which = np.flatnonzero(lengths == length)
        shape = (len(text) - length + 1,)
        windows = np.ndarray(shape, dtype=f"V{length}", buffer=text.data, strides=(1,))
        lines = windows[starts[which]].view(np.uint8).reshape(-1, length)
        _enter_lines(plan, found, lines, which)


def _enter_lines(plan: Plan, found: Gathered, lines: Bytes, which: npt.NDArray[np.intp]) -> None:
    """Enter lines of one length: those that are spelled as the first one is, and so on with the rest."""
    while len(which):
        first = lines[:1]
        fitting = (one for one in reversed(plan.known) if len(one.line) == len(first[0]))
        known = next((one for one in fitting if not len(one.misfits(first))), None)
        known = known or plan.spelled(first.tobytes())
        others = known.misfits(lines)
        if not len(others):
            _enter(plan, found, known, lines, which)
            return
        fits = np.ones(len(lines), dtype=bool)
        fits[others] = False
        _enter(plan, found, known, lines[fits], which[fits])
        lines, which = lines[others], which[others]


def _enter(plan: Plan, found: Gathered, spelled: Spelling, lines: Bytes, which: Rows) -> None:
    if not spelled.cells:
        found.leave_out(which, wide=len(lines) if spelled.wide else 0)
    for at, cell in spelled.cells.items():
        found.put(at, cell, lines, which, kind=plan.kinds[at])
