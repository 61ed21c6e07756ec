"""Logs as text: made plain first (encoding, line ends, quotes around whole rows), then read by columns."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from reviewkit.errors import LogError
from reviewkit.logs import cells
from reviewkit.logs import layout as layouts
from reviewkit.logs.layout import WHITESPACE, Layout
from reviewkit.tables import files, headers

HEAD_BYTES = 1 << 18
LONGEST_LINE = 100_000
_EXPORT = "Export it from the meter as CSV."
_MOST_TABLES = 200
_MOST_ODD_STARTS = 0.05
_WRAPPED = 0.9

arrow: Any = pa
"""pyarrow carries no annotations."""


@dataclass(frozen=True)
class Columns:
    """The wanted columns of a table as text, or as the file's own types.

    Parameters
    ----------
    cells : dict of int to pyarrow.Array or pandas.Series
        By position: text, or numbers and moments where the file keeps them as such.
    left_out : int
        Rows of another width, and what stands in the table without being of it.
    cut_off : int
        1 where the last row was cut in its middle and left out.
    widths : Counter
        How many rows had how many cells, of those left out.
    """

    cells: dict[int, Any]
    left_out: int = 0
    cut_off: int = 0
    notes: tuple[str, ...] = ()
    widths: Counter[int] = field(default_factory=Counter)

    @property
    def rows(self) -> int:
        """Number of rows."""
        return len(next(iter(self.cells.values()), ()))


def plain_text(path: Path, file: str) -> bytes:
    """Return a text file's content as UTF-8 with plain line ends, rows in one pair of quotes unwrapped.

    Raises
    ------
    LogError
        If it is empty, damaged or no text.
    """
    data = files.content(path, file=file, error=LogError, empty=b" \t\r\n\xef\xbb\xbf\xff\xfe")
    encoding = files.encoding(data[:HEAD_BYTES])
    if b"\0" in data and not encoding.startswith(("utf-16", "utf-32")):
        raise LogError(
            "the file holds NUL bytes, so it was damaged, as by a full memory card",
            file=file,
            remedy="Export it again, or remove the damaged rows.",
        )
    if encoding != "utf-8" or not _is_utf8(data):
        data = _decoded(data, encoding).encode("utf-8", "replace")
    if not data[:HEAD_BYTES].strip() and not data.strip():
        raise LogError("the file is empty", file=file, remedy="Export it again from the meter.")
    if not files.is_text(data[:20_000].decode("utf-8", "replace")):
        raise LogError("the file is damaged or no text", file=file, remedy=_EXPORT)
    return plain(data)


def plain(data: bytes) -> bytes:
    """Return UTF-8 text, or a stretch of whole lines of one, with plain line ends and unwrapped rows."""
    return _unwrapped(_plain_signs(data))


def _plain_signs(data: bytes) -> bytes:
    """Return text with plain line ends and blanks, and without a spreadsheet's '="…"'."""
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if not data.isascii():
        data = data.replace("\u202f".encode(), b" ").replace("\xa0".encode(), b" ")
    return data.replace(b'="', b'"') if b'"' in data else data


def _is_utf8(data: bytes) -> bool:
    if data.isascii():
        return True
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _decoded(data: bytes, encoding: str) -> str:
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        encoding = "cp1252" if encoding.startswith("utf-8") else encoding
        text = data.decode(encoding, errors="replace")
    if encoding == "cp1252" and (other := _chinese(data)):
        text = other
    return text.removeprefix("\ufeff")


def _chinese(data: bytes) -> str:
    """Return the text in China's national encoding, "" where its head then has none of the words of a log."""
    try:
        text = data.decode("gb18030")
    except UnicodeDecodeError:
        return ""
    found = re.findall(r"[\u4e00-\u9fff]+", text[:5000])
    known = {"time", "date", "voltage", "current", "temperature"}
    return text if any(headers.parse(word).kinds & known for word in found if len(word) > 1) else ""


def _unwrapped(data: bytes) -> bytes:
    """Return rows that stand in one pair of quotes each without it."""
    filled = [line.strip() for line in data[:HEAD_BYTES].split(b"\n", 400)[:400] if line.strip()]
    wrapped = [line for line in filled if _is_wrapped(line)]
    body = filled[filled.index(wrapped[0]) :] if wrapped else []
    separated = any(mark in line for line in wrapped for mark in b",;\t|")
    if not separated or len(wrapped) < _WRAPPED * len(body):
        return data
    return b"\n".join(
        line[1:-1].replace(b'""', b'"') if line[:1] == b'"' == line[-1:] else line
        for line in (line.strip() for line in data.split(b"\n"))
    )


def _is_wrapped(line: bytes) -> bool:
    inside = line[1:-1].replace(b'""', b"")
    return len(line) > 2 and line[:1] == line[-1:] == b'"' and b'"' not in inside


@dataclass(frozen=True)
class Table:
    """One table of a text: a stretch of lines with a layout of its own.

    Parameters
    ----------
    data : bytes
        Of the whole file.
    start, end : int
        First byte, and the one behind the last.
    line : int
        Lines above it.
    """

    file: str
    data: bytes
    start: int
    end: int
    line: int
    layout: Layout


def tables(data: bytes, file: str) -> list[Table]:
    """Return the tables of a text, most often one.

    Raises
    ------
    LogError
        If a line near its top is far too long.
    """
    ends = np.flatnonzero(np.frombuffer(data, dtype=np.uint8) == ord("\n"))
    starts = np.r_[0, ends + 1]
    bounds = np.r_[ends, len(data)]
    head = data[:HEAD_BYTES].decode("utf-8", "replace").split("\n")
    _refuse_long(head, file)
    if len(data) > HEAD_BYTES:
        head = head[:-1]
    first = layouts.of_lines(head)
    if first is None:
        return []
    found = []
    cuts = [0, *_further_headings(data, starts, bounds, first), len(starts)]
    for begin, end in pairwise(cuts):
        stop = int(bounds[end - 1])
        layout = first if begin == 0 else layouts.of_lines(_lines(data, int(starts[begin]), stop)[:400])
        if layout is not None:
            found.append(Table(file, data, int(starts[begin]), stop, begin, layout))
    return found


def _lines(data: bytes, start: int, stop: int) -> list[str]:
    return data[start : min(stop, start + HEAD_BYTES)].decode("utf-8", "replace").split("\n")


def _refuse_long(lines: Sequence[str], file: str) -> None:
    if max(map(len, lines)) <= LONGEST_LINE:
        return
    raise LogError(
        f"a line is longer than {LONGEST_LINE:,} characters".replace(",", " "),
        file=file,
        place=f"row {next(at for at, line in enumerate(lines, 1) if len(line) > LONGEST_LINE)}",
        expected="one row per line",
        remedy="Export it again as CSV.",
    )


_WORDY = np.array([chr(sign).isalpha() or sign >= 128 or chr(sign) in "#[" for sign in range(256)])


def _further_headings(
    data: bytes, starts: npt.NDArray[np.intp], bounds: npt.NDArray[np.intp], layout: Layout
) -> list[int]:
    """Return the lines on which another table begins: a heading row unlike the first, with data below."""
    array = np.frombuffer(data, dtype=np.uint8)
    signs = array[np.minimum(starts, len(data) - 1)]
    quoted = np.flatnonzero(signs == ord('"'))
    if len(quoted):
        signs[quoted] = array[np.minimum(starts[quoted] + 1, len(data) - 1)]
    odd = np.flatnonzero(_WORDY[signs])
    odd = odd[odd >= layout.first_row]
    if len(odd) > max(_MOST_TABLES, _MOST_ODD_STARTS * len(starts)):
        return []
    lines = [(int(at), data[starts[at] : bounds[at]].decode("utf-8", "replace")) for at in odd[:_MOST_TABLES]]
    return [at for at, line in lines if _is_other_heading(line, layout)]


def _is_other_heading(line: str, layout: Layout) -> bool:
    row = layouts.split(line.lstrip("# "), layout.delimiter)
    while row and not row[-1]:
        row.pop()
    own = layout.headings if any(layout.headings) else layout.heading_cells
    known = [bool(headers.parse(cell).kinds - {"plain"}) or headers.is_unit(cell) for cell in row]
    values = any(cells.sort(cell) in layouts.RECOGNISED for cell in row)
    return sum(known) >= 2 and not values and row != list(own[: len(row)])


def read(table: Table, wanted: Sequence[int]) -> Columns:
    """Return the wanted columns of a table, every cell as stripped text.

    Parameters
    ----------
    table : Table
    wanted : sequence of int
        Positions.
    """
    found, wanted = table.layout, sorted(set(wanted))
    body = _body(table)
    cut = (
        _looks_cut(body, found, wanted)
        if not body.endswith(b"\n") and table.end == len(table.data)
        else False
    )
    if cut:
        body = body[: body.rfind(b"\n") + 1]
    read_quickly = None if found.delimiter == WHITESPACE else _at_once(body, found, wanted)
    if read_quickly is not None:
        return Columns(read_quickly, cut_off=int(cut))
    rows = [
        layouts.split(line, found.delimiter)
        for line in body.decode("utf-8", "replace").split("\n")
        if line.strip()
    ]
    return of_rows(rows, found, wanted, cut_off=int(cut))


def _body(table: Table) -> bytes:
    start = table.start
    for _ in range(table.layout.first_row):
        start = table.data.index(b"\n", start) + 1
    return table.data[start : table.end + 1]


def _at_once(body: bytes, found: Layout, wanted: Sequence[int]) -> dict[int, Any] | None:
    """Return the columns where every row has as many cells as the first; None where one has not."""
    from pyarrow import csv

    reader: Any = csv
    line = (
        body[: body.find(b"\n")].decode("utf-8", "replace")
        if b"\n" in body
        else body.decode("utf-8", "replace")
    )
    width = len(layouts.split(line, found.delimiter))
    if width < found.width or (b'"' in body[-2000:] and body.count(b'"') % 2):
        return None
    names = [str(column) for column in range(width)]
    extra = [str(column) for column in range(found.width, width)]
    try:
        table = reader.read_csv(
            arrow.BufferReader(body),
            read_options=reader.ReadOptions(column_names=names),
            parse_options=reader.ParseOptions(delimiter=found.delimiter),
            convert_options=reader.ConvertOptions(
                include_columns=[*map(str, wanted), *extra],
                column_types={name: arrow.string() for name in names},
                strings_can_be_null=False,
            ),
        )
    except arrow.ArrowInvalid:
        return None
    import pyarrow.compute as pc

    compute: Any = pc
    if any(compute.any(compute.greater(compute.binary_length(table[name]), 0)).as_py() for name in extra):
        return None
    return {column: stripped(table[str(column)].combine_chunks()) for column in wanted}


def stripped(array: Any) -> Any:
    """Return text without blanks around it."""
    import pyarrow.compute as pc

    compute: Any = pc
    if isinstance(array, arrow.ChunkedArray):
        array = arrow.concat_arrays(array.chunks) if array.num_chunks else arrow.array([], arrow.string())
    _, ends, data = array.buffers()
    if data is None or not len(array):
        return array
    signs = np.frombuffer(data, dtype=np.uint8)
    bounds = np.frombuffer(ends, dtype=np.int32)[array.offset : array.offset + len(array) + 1]
    filled = bounds[1:] > bounds[:-1]
    edges = signs[np.r_[bounds[:-1][filled], bounds[1:][filled] - 1]]
    blank = (edges <= ord(" ")) | (edges > 127)
    return compute.utf8_trim_whitespace(array) if blank.any() else array


def of_rows(
    rows: Sequence[Sequence[str]], found: Layout, wanted: Sequence[int], *, cut_off: int = 0
) -> Columns:
    """Return the wanted columns of rows already split.

    A row with more cells is left out and counted; so is one with fewer, unless all it lacks are words or the
    reading itself: nothing may slip into another column's place.
    """
    width = found.width
    wordy = [found.kind(column) in ("words", "empty") for column in range(width)]
    numbers = [column for column in range(width) if not wordy[column]]
    least = max(numbers, default=width - 1) + 1
    good: list[Sequence[str]] = []
    widths: Counter[int] = Counter()
    for row in rows:
        if not any(row):
            continue
        if (least <= len(row) <= width) or len(row) == 1 or (len(row) > width and not any(row[width:])):
            good.append(row)
        else:
            widths[len(row)] += 1
    columns = {
        column: arrow.array([row[column] if column < len(row) else "" for row in good], arrow.string())
        for column in sorted(set(wanted))
    }
    return Columns(columns, left_out=widths.total(), cut_off=cut_off, widths=widths)


def _looks_cut(body: bytes, found: Layout, wanted: Sequence[int]) -> bool:
    """Whether a last line without a line end has fewer cells, or shorter ones, than every row before."""
    text = body[body.rfind(b"\n") + 1 :].decode("utf-8", "replace")
    if not text.strip():
        return False
    row = layouts.split(text, found.delimiter)
    last = max(wanted)
    if len(row) <= last:
        return True
    if last != found.width - 1:
        return False
    before = [line[last] for line in found.sample[:-1] if len(line) > last]
    usual = {_decimals(cell) for cell in before if cell[-1:].isdigit()}
    if usual == {0}:
        # Whole numbers have no decimals to miss, but they may have fewer digits than any row near the top.
        fewest = min(len(cell.lstrip("+-")) for cell in before if cell)
        return row[last].isdigit() and len(row[last]) < fewest
    return len(usual) == 1 and _decimals(row[last]) < min(usual)


def _decimals(number: str) -> int:
    return len(re.split(r"[.,]", number)[-1]) if re.search(r"[.,]", number) else 0
