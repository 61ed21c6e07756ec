"""Long logs in plain text, read the quick way where they are plain enough for it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.logs import cells, places, ruled
from reviewkit.logs.fixed import Moments
from reviewkit.logs.gathered import Gathered
from reviewkit.logs.layout import WHITESPACE, Layout
from reviewkit.logs.places import Kind, Number, Stamp
from reviewkit.logs.raw import Columns, Marks
from reviewkit.logs.ruled import Plan

_DAY_US = 86_400_000_000
_ONE_BYTE = ("utf-8", "utf-8-sig", "cp1252")


def read(
    place: Path, encoding: str, found: Layout, wanted: Sequence[int], *, head: bytes, cut: bool
) -> Columns | None:
    """Return the wanted columns, None where it takes the thorough reader.

    Parameters
    ----------
    place : Path
    encoding : str
    found : Layout
    wanted : sequence of int
        Positions of columns.
    head : bytes
        The file's beginning, with its first row of data.
    cut : bool
        Whether the last row was cut in its middle.
    """
    start = _first_byte(head, found.first_row)
    kinds = dict(_kinds(found, wanted))
    if encoding not in _ONE_BYTE or found.delimiter == WHITESPACE or start is None or None in kinds.values():
        return None
    stop = place.stat().st_size
    if cut:
        stop = _last_line(place, stop)
    known = {at: kind for at, kind in kinds.items() if kind}
    plan = Plan(place, start, stop, found.delimiter, found.width, known)
    read_so = ruled.read(plan) if stop > start else None
    if read_so is None or not _plain_numbers(plan, read_so, found.decimal):
        return None
    return _columns(plan, read_so, int(cut))


def _first_byte(head: bytes, rows: int) -> int | None:
    """Return where the first row of data begins; None where line ends are of another kind."""
    start = 3 if head.startswith(b"\xef\xbb\xbf") else 0
    if head.count(b"\r") != head.count(b"\r\n") + head.endswith(b"\r"):
        return None
    for _ in range(rows):
        start = head.find(b"\n", start) + 1
        if not start:
            return None
    return start


def _last_line(place: Path, size: int) -> int:
    """Return where the last line begins."""
    with place.open("rb") as opened:
        opened.seek(max(0, size - ruled.STRETCH_BYTES))
        return max(0, size - ruled.STRETCH_BYTES) + opened.read().rfind(b"\n") + 1


def _kinds(found: Layout, wanted: Sequence[int]) -> Iterator[tuple[int, Kind | None]]:
    for at in sorted(set(wanted)):
        seen = [row[at] for row in found.sample if at < len(row) and row[at]]
        sorts = Counter(map(cells.sort, seen))
        yield at, places.kind_of(seen, sorts.most_common(1)[0][0] if sorts else "empty")


def _plain_numbers(plan: Plan, found: Gathered, decimal: str) -> bool:
    """Whether no number leaves open what is its decimal mark."""
    for at in (at for at, kind in plan.kinds.items() if kind == "number"):
        spelled = [one.cells.get(at) for one in plan.known]
        numbers = [one for one in spelled if isinstance(one, Number)]
        marks = {one.mark for one in numbers}
        if not marks <= {"", decimal} or (len(marks) > 1 and len(found.words[at]) > 1):
            return False
    return True


def _columns(plan: Plan, found: Gathered, cut_off: int) -> Columns | None:
    frame: dict[int, Any] = {}
    marks: dict[int, Marks] = {}
    moments: dict[int, Moments] = {}
    for at, kind in plan.kinds.items():
        if kind == "number":
            frame[at] = found.numbers(at)
            if len(found.words[at]) > 1:
                marks[at] = Marks(found.said(at), tuple(found.words[at]))
        elif kind == "clock":
            frame[at] = _missing(found.times_us(at), found.times_us(at) < 0).view("m8[us]")
        elif kind == "iso":
            epoch_us = _since_epoch(found, at)
            if epoch_us is None:
                return None
            frame[at] = epoch_us
        elif kind == "moment":
            moments[at] = _moments(plan, found, at)
        else:
            codes = found.said(at).astype(np.intp) - 1
            frame[at] = pd.Categorical.from_codes(codes, categories=pd.Index(found.words[at][1:]))
    columns = Columns(
        pd.DataFrame(frame, copy=False),
        unreadable=found.wide,
        cut_off=cut_off,
        clocks=frozenset(at for at, kind in plan.kinds.items() if kind == "clock"),
        marks=marks,
        moments=moments,
    )
    left_out = found.left_out()
    return columns if left_out is None else columns.only(~left_out)


def _missing(times_us: npt.NDArray[np.int64], where: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """Return times with the mark of a missing one where there is none."""
    if where.any():
        times_us[where] = np.iinfo(np.int64).min
    return times_us


def _since_epoch(found: Gathered, at: int) -> npt.NDArray[np.datetime64] | None:
    """Return moments of dates that begin with the year; None where a date is of no calendar."""
    try:
        days = np.array(["1970-01-01", *found.words[at][1:]], dtype="M8[D]").astype(np.int64)
    except ValueError:
        return None
    codes, times_us = found.said(at), found.times_us(at)
    times_us += (days * _DAY_US)[codes]
    return _missing(times_us, codes == 0).view("M8[us]")


def _moments(plan: Plan, found: Gathered, at: int) -> Moments:
    spelled = [one.cells.get(at) for one in plan.known]
    half_day = any(isinstance(one, Stamp) and bool(one.half) for one in spelled)
    seconds = found.times_us(at) / 1e6
    if (found.said(at) == 0).any():
        seconds[found.said(at) == 0] = np.nan
    return Moments(found.said(at).astype(np.intp) - 1, found.words[at][1:], seconds, half_day)
