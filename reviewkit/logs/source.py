"""The file behind a log, opened just far enough to see its columns, then read column by column."""

from __future__ import annotations

import mmap
import re
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from reviewkit.errors import LogError
from reviewkit.logs import layout as layouts
from reviewkit.logs import long
from reviewkit.logs.layout import WHITESPACE, Layout
from reviewkit.logs.raw import Columns
from reviewkit.tables import files, xlsx

_HEAD_BYTES = 1 << 18
_LONGEST_LINE = 100_000
_LONG_BYTES = 1 << 20
_MOST_BYTES = 4 << 30
_EXPORT = "Export it from the meter as CSV."


@dataclass(frozen=True)
class Source:
    """A log file whose columns are known.

    Parameters
    ----------
    file : str
        As messages name it.
    layout : Layout
    load : callable
        Takes positions of columns, returns `Columns`.
    load_quickly : callable
        The same for a long, plain text; None where that takes `load`.
    """

    file: str
    layout: Layout
    load: Callable[[Sequence[int]], Columns]
    load_quickly: Callable[[Sequence[int]], Columns | None] = lambda wanted: None


def open_log(path: str, *, folder: Path) -> Source:
    """Open a log: text, XLSX or Parquet, by its content.

    Raises
    ------
    LogError
        If it is none of them, leaves the folder, is empty, or holds no table of numbers.
    """
    place = files.locate(path, folder=folder, error=LogError)
    if place.stat().st_size > _MOST_BYTES:
        raise LogError("the file is larger than 4 GB", file=path, remedy="Log fewer rows a second.")
    try:
        with place.open("rb") as opened:
            head = opened.read(_HEAD_BYTES)
    except OSError as failure:
        problem = f"the file cannot be read ({failure.strerror})"
        raise LogError(problem, file=path, remedy="Allow yourself to read it.") from failure
    kind = files.kind(head[:8])
    if kind == "parquet":
        from reviewkit.logs import parquet  # its library is only loaded for such a file

        return parquet.open_log(place, path)
    if kind == "xls":
        raise LogError("this is an old XLS workbook", file=path, remedy="Save it as XLSX or CSV.")
    if kind == "xlsx":
        rows = xlsx.rows(files.content(place, file=path, error=LogError), file=path, error=LogError)
        found = _needed(layouts.of_rows(rows), path)
        return Source(path, found, lambda wanted: of_rows(rows[found.first_row :], wanted, found.width))
    if what := files.foreign(head):
        raise LogError(f"this is {what}, no log", file=path, remedy=_EXPORT)
    return _open_text(place, path, head)


def _needed(found: Layout | None, file: str) -> Layout:
    if found is None:
        raise LogError(
            "no table of times and readings is seen in it",
            file=file,
            expected="a heading row, then rows of a time and a number",
            remedy=f"{_EXPORT.removesuffix('.')} with headings.",
        )
    return found


def _open_text(place: Path, file: str, head: bytes) -> Source:
    encoding = files.encoding(head)
    whole = len(head) < _HEAD_BYTES
    if whole or b"\0" in head:
        _refuse_nul(place, file, encoding)
    text = head.decode(encoding, errors="ignore" if not whole else "replace").removeprefix("\ufeff")
    if not text.strip():
        files.content(place, file=file, error=LogError)
    if not files.is_text(text[:20_000]):
        raise LogError("the file is damaged or no text", file=file, remedy=_EXPORT)
    lines = _lines(text)
    if max(map(len, lines)) > _LONGEST_LINE:
        long = next(number for number, line in enumerate(lines, 1) if len(line) > _LONGEST_LINE)
        raise LogError(
            f"a line is longer than {_LONGEST_LINE:,} characters".replace(",", " "),
            file=file,
            place=f"row {long}",
            expected="one row per line",
            remedy="Export it again as CSV.",
        )
    found = _needed(layouts.of_lines(lines if whole else lines[:-1]), file)
    return Source(
        file,
        found,
        lambda wanted: _read_text(place, file, encoding, found, wanted),
        lambda wanted: _read_long(place, encoding, found, wanted, head),
    )


def _lines(text: str) -> list[str]:
    """Split at line ends of any system, and at nothing else."""
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _refuse_nul(place: Path, file: str, encoding: str) -> None:
    if encoding.startswith(("utf-16", "utf-32")) or not place.stat().st_size:
        return
    with place.open("rb") as opened, mmap.mmap(opened.fileno(), 0, access=mmap.ACCESS_READ) as seen:
        if seen.find(b"\0") >= 0:
            raise LogError(
                "the file holds NUL bytes, so it was damaged, as by a full memory card",
                file=file,
                remedy="Export it again, or remove the damaged rows.",
            )


def _read_long(
    place: Path, encoding: str, found: Layout, wanted: Sequence[int], head: bytes
) -> Columns | None:
    if place.stat().st_size < _LONG_BYTES:
        return None
    cut = _is_cut_off(place, encoding, found, wanted)
    return long.read(place, encoding, found, wanted, head=head, cut=cut)


def _read_text(place: Path, file: str, encoding: str, found: Layout, wanted: Sequence[int]) -> Columns:
    """Read the wanted columns all at once; where a row has too many cells, line by line."""
    _refuse_nul(place, file, encoding)
    cut = _is_cut_off(place, encoding, found, wanted)
    try:
        frame = _usual(place, encoding, found, wanted)
    except UnicodeDecodeError:
        encoding = "cp1252" if encoding.startswith("utf-8") else encoding
        return _line_by_line(place, file, encoding, found, wanted)
    except (pd.errors.ParserWarning, ValueError, OverflowError):
        return _line_by_line(place, file, encoding, found, wanted)
    return Columns(frame.iloc[:-1] if cut else frame, cut_off=int(cut))


def _usual(place: Path, encoding: str, found: Layout, wanted: Sequence[int]) -> pd.DataFrame:
    with warnings.catch_warnings():
        # A first row wider than the rest is only warned of, and cut: read line by line instead.
        warnings.simplefilter("error", pd.errors.ParserWarning)
        return _all_columns(place, encoding, found)[sorted(set(wanted))]


def _all_columns(place: Path, encoding: str, found: Layout) -> pd.DataFrame:
    # Without a choice of columns pandas refuses a row that is too wide, with one it would cut it.
    return pd.read_csv(
        place,
        sep=r"\s+" if found.delimiter == WHITESPACE else found.delimiter,
        header=None,
        names=list(range(found.width)),
        index_col=False,
        skiprows=found.first_row,
        decimal=found.decimal,
        encoding=encoding,
        engine="c",
        keep_default_na=False,
        na_values=[""],
        skipinitialspace=True,
        low_memory=False,
    )


def _line_by_line(place: Path, file: str, encoding: str, found: Layout, wanted: Sequence[int]) -> Columns:
    data = files.content(place, file=file, error=LogError)
    lines = _lines(data.decode(encoding, errors="replace").removeprefix("\ufeff"))
    cut = bool(lines[-1].strip()) and _looks_cut(lines[-1], found, wanted)
    body = lines[found.first_row : -1 if cut else None]
    rows = [layouts.split(line, found.delimiter) for line in body if line.strip()]
    return replace(of_rows(rows, wanted, found.width), cut_off=int(cut))


def of_rows(rows: Sequence[Sequence[str]], wanted: Sequence[int], width: int) -> Columns:
    """Return the wanted columns of rows already split; a row with more cells counts as unreadable."""
    filled = [row for row in rows if any(row)]
    good = [row for row in filled if not any(row[width:])]
    cells = {place: [row[place] if place < len(row) else "" for row in good] for place in sorted(set(wanted))}
    return Columns(pd.DataFrame(cells, dtype=object), unreadable=len(filled) - len(good))


def _is_cut_off(place: Path, encoding: str, found: Layout, wanted: Sequence[int]) -> bool:
    with place.open("rb") as opened:
        opened.seek(max(0, place.stat().st_size - 4096) & ~3)
        tail = opened.read()
    text = tail.decode(
        "utf-16-le" if encoding == "utf-16" else encoding.replace("-sig", ""), errors="replace"
    )
    last = _lines(text)[-1]
    return bool(last.strip()) and _looks_cut(last, found, wanted)


def _looks_cut(line: str, found: Layout, wanted: Sequence[int]) -> bool:
    """Whether a last line without a line end has fewer cells, or shorter ones, than every row before."""
    cells = layouts.split(line, found.delimiter)
    if len(cells) <= max(wanted):
        return True
    last = max(wanted)
    if last != found.width - 1:
        return False
    usual = {
        _decimals(row[last]) for row in found.sample[:-1] if len(row) > last and row[last][-1:].isdigit()
    }
    if usual == {0}:
        # Whole numbers have no decimals to miss, but they may have fewer digits than any row near the top.
        return cells[last].isdigit() and len(cells[last]) < _fewest_digits(found, last)
    return len(usual) == 1 and _decimals(cells[last]) < min(usual)


def _fewest_digits(found: Layout, at: int) -> int:
    return min(len(row[at].lstrip("+-")) for row in found.sample[:-1] if len(row) > at and row[at])


def _decimals(number: str) -> int:
    return len(re.split(r"[.,]", number)[-1]) if re.search(r"[.,]", number) else 0
