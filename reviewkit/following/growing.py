"""One log while its meter still writes it: what was added since last time, in constant memory.

The layout is found by the kit's own reader from the log's first rows and kept; whatever comes later is read
by the same functions, a few rows of overlap in front, so that midnight, units and shared stamps go on as
they would in the whole file.
"""

from __future__ import annotations

import codecs
import os
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO, Any, Literal

import numpy as np
import numpy.typing as npt

from reviewkit.errors import LogError
from reviewkit.logs import Quantity, columns, reading, source, text_file, timing, values
from reviewkit.logs import layout as layouts
from reviewkit.logs.cells import DAY_S
from reviewkit.logs.log import Log, possible
from reviewkit.logs.reading import Found
from reviewkit.logs.timestamps import Stamps
from reviewkit.logs.timing import Timed
from reviewkit.schema.blocks import LogBlock
from reviewkit.tables import files

Array = npt.NDArray[np.float64]
Standing = Literal["not there", "empty", "locked", "no log yet", "read"]
Event = Literal["", "rewritten", "started anew"]

LEAST_ROWS = 5
"""Rows from which a layout is taken: the fewest with a usual interval and a spelling to go by (chosen)."""

OVERLAP = 24
"""Rows read again in front of new ones: more than share one stamp at ten rows a second (chosen)."""

PIECE, MARK = 1 << 15, 64
"""Bytes read at a time; bytes by which a file is known again (chosen)."""

_SAME_ROW_S = 1e-3


@dataclass(frozen=True)
class Added:
    """The rows that came in since last time.

    Parameters
    ----------
    time_s : array of float [s], shape (n,)
        On the log's own clock, as `reviewkit.logs.read` counts it; rising, and later than all before.
    values : array of float [SI], shape (n,)
        NaN where the meter was beyond its range or gave nothing.
    overloads : int
        How many of them are marks of overload.
    event : str
        What became of the file: "rewritten", "started anew" (rotated, or counting from 0 again), or "".
    """

    time_s: Array
    values: Array
    overloads: int = 0
    event: Event = ""

    def __len__(self) -> int:
        return len(self.time_s)


NOTHING = Added(np.empty(0), np.empty(0))


class GrowingLog:
    """A log that is read as it grows.

    Parameters
    ----------
    entry : LogBlock
        As the review file names it.
    quantity : {"V", "A", "degC"}
    folder : Path
        The review folder.
    headings : mapping of str to str, optional
        What headings of one's own meters mean.
    """

    def __init__(
        self,
        entry: LogBlock,
        quantity: Quantity,
        *,
        folder: Path,
        headings: Mapping[str, str] | None = None,
    ) -> None:
        self.entry, self.quantity = entry, quantity
        self.standing: Standing = "not there"
        self.told = ""
        """What stands in the way of reading it, in a sentence."""
        self.first: Log | None = None
        """Its first rows as the kit's reader has them: unit, clock, notes."""
        self.found: Found | None = None
        self.left_out = 0
        self.last_s = -np.inf
        self._place, self._folder, self._headings = folder / entry.path, folder, headings
        self._seen_at = (0, 0, 0)
        self._event: Event = ""
        self._first_row: tuple[float, float] | None = None
        self._zero: Log | None = None
        self._heard_s = 0.0
        self._begin()

    def _begin(self) -> None:
        """Forget where in the file reading stands; what has been read stays."""
        self._offset, self._head_mark, self._tail_mark = 0, b"", b""
        self._decoder: codecs.IncrementalDecoder | None = None
        self._pending = self._head = ""
        self._tail: deque[Sequence[str]] = deque(maxlen=OVERLAP)
        self._tail_s: deque[float] = deque(maxlen=OVERLAP)
        self.found = None

    def poll(self, now_s: float) -> Added:
        """Return what was added since last time; `standing` and `told` say how it stands with the file.

        Parameters
        ----------
        now_s : float [s]
            This computer's clock: where a log that counts from 0 begins anew, it says how much later.
        """
        try:
            pieces = list(self._pieces(now_s))
        except FileNotFoundError:
            self.standing, self.told = "not there", ""
            return NOTHING
        except OSError as failure:
            self.standing, self.told = "locked", failure.strerror or str(failure)
            return NOTHING
        filled = [piece for piece in pieces if len(piece) or piece.overloads]
        event, self._event = self._event, ""
        if not filled:
            return replace(NOTHING, event=event)
        return Added(
            np.concatenate([piece.time_s for piece in filled]),
            np.concatenate([piece.values for piece in filled]),
            sum(piece.overloads for piece in filled),
            event,
        )

    def _pieces(self, now_s: float) -> list[Added]:
        info = self._place.stat()
        seen = (info.st_size, info.st_mtime_ns, info.st_ino)
        if seen == self._seen_at:
            return []
        found = []
        with self._place.open("rb") as opened:
            if not self._is_the_same(opened):
                self._begin()
                self._event = "rewritten"
            opened.seek(self._offset)
            while data := opened.read(PIECE):
                self._remember(data)
                found.append(self._take(data, now_s))
        if not self._offset:
            self.standing, self.told = "empty", ""
        self._seen_at = seen
        return found

    @property
    def written_s(self) -> float | None:
        """When the file was last written, by its file system [s]."""
        return self._seen_at[1] / 1e9 if self._seen_at[1] else None

    def _is_the_same(self, opened: IO[bytes]) -> bool:
        """Whether the file still begins, and stands just before where reading stopped, as it did."""
        if not self._offset:
            return True
        head = opened.read(len(self._head_mark))
        opened.seek(self._offset - len(self._tail_mark))
        return head == self._head_mark and opened.read(len(self._tail_mark)) == self._tail_mark

    def _remember(self, data: bytes) -> None:
        if len(self._head_mark) < MARK:
            self._head_mark += data[: MARK - len(self._head_mark)]
        self._offset += len(data)
        self._tail_mark = (self._tail_mark + data)[-MARK:]

    def _take(self, data: bytes, now_s: float) -> Added:
        if self._decoder is None:
            self._decoder = self._decoder_for(data)
        text = self._pending + self._decoder.decode(data)
        whole, end, self._pending = text.rpartition("\n")
        if len(self._pending) > text_file.LONGEST_LINE:
            self.standing, self.told, self._pending = "no log yet", "a line has no end", ""
        if not end:
            return self._standing_still()
        lines = text_file.plain((whole + end).encode()).decode().split("\n")[:-1]
        if self.found is None:
            self._head += "\n".join(lines) + "\n"
            if not self._opened():
                return NOTHING
            lines = self._head.split("\n")[self._first_line() : -1]
            self._head = ""
        return self._rows(lines, now_s)

    def _decoder_for(self, data: bytes) -> codecs.IncrementalDecoder:
        if what := files.foreign(data[:200]) or {"xlsx": "a workbook", "xls": "a workbook"}.get(
            files.kind(data[:200]), ""
        ):
            self.told = f"this is {what}: only text can be followed; have the meter write CSV"
        encoding = files.encoding(data[: text_file.HEAD_BYTES])
        encoding = "utf-8-sig" if encoding == "utf-8" else encoding
        return codecs.getincrementaldecoder(encoding)(errors="replace")

    def _standing_still(self) -> Added:
        if self.standing != "read":
            self.standing = "no log yet"
        return NOTHING

    def _opened(self) -> bool:
        """Find the layout in the rows so far; say what stands in the way where there is none yet."""
        self.standing = "no log yet"
        try:
            there = source.of_text(self._head.encode(), self.entry.path)
            there = [
                replace(one, layout=columns.renamed(one.layout, self._headings))
                for one in there
                if one.line + one.layout.first_row + LEAST_ROWS <= self._head.count("\n")
            ]
            if not there:
                self.told = self.told or "no rows of times and readings yet"
                return False
            found = reading.find_in(there, self.entry, self.quantity)
            first = reading.read_found(found, self.quantity)
            for fault in possible(first, self.entry):
                raise fault
        except LogError as fault:
            self.told = fault.message
            return False
        finally:
            if len(self._head) > text_file.HEAD_BYTES:
                # It has shown no log for so long: look at what comes from here on.
                self._head = self._head if self.found else ""
        self.found, self.first, self.standing, self.told = found, first, "read", ""
        return True

    def _first_line(self) -> int:
        assert self.found is not None
        return self.found.source.line + self.found.source.layout.first_row

    def _rows(self, lines: Sequence[str], now_s: float) -> Added:
        assert self.found is not None
        layout = self.found.source.layout
        rows = [row for row in (layouts.split(line, layout.delimiter) for line in lines) if any(row)]
        if text_file.of_rows(rows, layout, self.found.chosen.positions).left_out:
            good = [row for row in rows if not self._is_odd(row)]
            self.left_out += len(rows) - len(good)
            rows = good
        if not rows:
            return NOTHING
        try:
            return self._read(rows, now_s)
        except (LogError, ValueError):
            return self._afresh(rows, now_s)

    def _is_odd(self, row: Sequence[str]) -> bool:
        assert self.found is not None
        return bool(text_file.of_rows([row], self.found.source.layout, [self.found.chosen.value]).left_out)

    def _afresh(self, rows: Sequence[Sequence[str]], now_s: float) -> Added:
        """Read rows that do not go on from those before: the meter began to count again."""
        self._tail.clear()
        self._tail_s.clear()
        self._zero, self._event = self._zero or self.first, "started anew"
        try:
            return self._read(rows, now_s)
        except (LogError, ValueError) as failure:
            self.told = str(failure)
            self.left_out += len(rows)
            return NOTHING

    def _read(self, rows: Sequence[Sequence[str]], now_s: float) -> Added:
        """Read rows behind those of the overlap, on one line of time with them."""
        assert self.found is not None
        before, chosen, layout = len(self._tail), self.found.chosen, self.found.source.layout
        raw = text_file.of_rows([*self._tail, *rows], layout, chosen.positions)
        timed = timing.timed(raw, chosen.times, layout, self.entry)
        units = None if chosen.unit_column is None else raw.cells[chosen.unit_column]
        read = values.readings(raw.cells[chosen.value], self.quantity, unit=chosen.unit, row_units=units)
        arranged = timing.arrange(timed.stamps, read.values)
        at = np.arange(raw.rows)[arranged.rows]
        time_s = arranged.seconds + self._shift(at, arranged.seconds, before, now_s, timed)
        placed = np.full(raw.rows, np.nan)
        placed[at] = time_s
        shown = read.values * self.entry.sign
        fresh = at[(at >= before) & (time_s > self.last_s + _SAME_ROW_S / 2)]
        overloads = self._overloads(raw.cells[chosen.value], units, before) if read.overloads else 0
        self._keep(rows, placed[before:])
        if not len(fresh):
            return replace(NOTHING, overloads=overloads)
        if self._first_row is None:
            self._first_row, self._zero = (float(placed[fresh[0]]), float(shown[fresh[0]])), self.first
        self.last_s, self._heard_s = float(placed[fresh[-1]]), now_s
        return Added(placed[fresh], shown[fresh], overloads)

    def _keep(self, rows: Sequence[Sequence[str]], time_s: Array) -> None:
        for row, moment in zip(rows[-OVERLAP:], time_s[-OVERLAP:].tolist(), strict=True):
            self._tail.append(row)
            self._tail_s.append(moment)

    def _overloads(self, cells: Any, units: Any, before: int) -> int:
        """Return how many of the new rows are marks of overload."""
        assert self.found is not None
        own = None if units is None else units[before:]
        unit = self.found.chosen.unit
        return values.readings(cells[before:], self.quantity, unit=unit, row_units=own).overloads

    def _shift(
        self, at: npt.NDArray[np.intp], seconds: Array, before: int, now_s: float, timed: Timed
    ) -> float:
        """Return what to add to a piece's times to put them on the log's own line of time [s]."""
        known = np.array([*self._tail_s])
        old = at < before
        apart = known[at[old]] - seconds[old]
        apart = apart[np.isfinite(apart)]
        if len(apart):
            return float(np.median(apart))
        if self._first_row is not None:
            return self._anew(timed.stamps, seconds, now_s)
        counts_on = timed.stamps.origin is None and not timed.stamps.of_day
        return 0.0 if counts_on else -float(seconds[0])

    def _anew(self, stamps: Stamps, seconds: Array, now_s: float) -> float:
        """Return what puts a file that was begun again on the line of time of the one before [s].

        By the clocks in both; where they only count from 0, the same first row says that it is the same log
        written again, and else this computer's clock how much later it began.
        """
        old, first = self._zero, self._first_row
        assert old is not None
        assert first is not None
        assert self.first is not None
        if old.started is not None and stamps.origin is not None:
            shift = (stamps.origin.replace(tzinfo=None) - old.started.replace(tzinfo=None)).total_seconds()
        elif old.time_of_day_s is not None and stamps.of_day:
            shift = -old.time_of_day_s
            behind = self.last_s - DAY_S / 2 - (float(seconds[-1]) + shift)
            shift += DAY_S * max(0.0, float(np.ceil(behind / DAY_S)))
        else:
            again = self._event != "started anew" and abs(float(seconds[0]) - first[0]) < _SAME_ROW_S
            if again and self.first.series.iloc[0] == first[1]:
                return 0.0
            shift = self.last_s + now_s - self._heard_s - float(seconds[-1])
            shift = max(shift, self.last_s + float(np.diff(seconds[:2]).sum() or 1.0) - float(seconds[0]))
        if float(seconds[0]) + shift > self.last_s:
            self._event = "started anew"
        return shift


def free_bytes(folder: Path) -> int:
    """Return how much room is left on the disk that holds a folder [byte]."""
    import shutil

    return shutil.disk_usage(folder if folder.is_dir() else os.curdir).free
