"""The file behind a log, opened just far enough to see its tables, then read column by column."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from reviewkit.errors import LogError
from reviewkit.logs import layout as layouts
from reviewkit.logs import text_file
from reviewkit.logs.layout import Layout
from reviewkit.logs.text_file import Columns
from reviewkit.tables import files

_MOST_BYTES = 1 << 30
_MOST_ROWS = 50_000_000
_EXPORT = "Export it from the meter as CSV."


@dataclass(frozen=True)
class Source:
    """A table of times and readings whose columns are known.

    Parameters
    ----------
    file : str
        As messages name it.
    kind : str
        What the file is: "text", "workbook", "Parquet".
    load : callable
        Takes positions of columns, returns `Columns`.
    line : int
        Rows of the file above the table.
    sheet : str
        Its sheet's name, "" where there are none.
    """

    file: str
    kind: str
    layout: Layout
    load: Callable[[Sequence[int]], Columns]
    line: int = 0
    sheet: str = ""


def open_log(path: str, *, folder: Path, sheet: str | None = None) -> list[Source]:
    """Open a log: text, XLSX or Parquet, by its content.

    Parameters
    ----------
    path : str
    folder : Path
        The review folder.
    sheet : str or None
        The one to read of a workbook, by its name.

    Returns
    -------
    list of Source
        Its tables, at least one: of a workbook all sheets that hold one, of a text those one under another.

    Raises
    ------
    LogError
        If it is none of them, leaves the folder, is empty, or holds no table of numbers.
    """
    target = files.locate(path, folder=folder, error=LogError)
    if target.stat().st_size > _MOST_BYTES:
        raise LogError("the file is larger than 1 GB", file=path, remedy="Log fewer rows a second.")
    try:
        with target.open("rb") as opened:
            head = opened.read(200)
    except OSError as failure:
        problem = f"the file cannot be read ({failure.strerror})"
        raise LogError(problem, file=path, remedy="Allow yourself to read it.") from failure
    kind = files.kind(head)
    if kind == "parquet":
        return [_parquet(target, path)]
    if kind == "xls":
        raise LogError("this is an old XLS workbook", file=path, remedy="Save it as XLSX or CSV.")
    if kind == "xlsx":
        return _workbook(target, path, sheet)
    if what := files.foreign(head):
        raise LogError(f"this is {what}, no log", file=path, remedy=_EXPORT)
    return of_text(text_file.plain_text(target, path), path) or _no_table(path)


def of_text(data: bytes, path: str) -> list[Source]:
    """Return the tables of a text made plain, or of its beginning; none where none is seen.

    Parameters
    ----------
    data : bytes
        UTF-8 with plain line ends, as `text_file.plain_text` and `text_file.plain` give it.
    path : str
        As messages name it.

    Raises
    ------
    LogError
        If a line near its top is far too long.
    """
    return [_of_table(table) for table in text_file.tables(data, path)]


def _of_table(table: text_file.Table) -> Source:
    return Source(table.file, "text", table.layout, lambda wanted: text_file.read(table, wanted), table.line)


def _no_table(file: str) -> list[Source]:
    raise LogError(
        "no table of times and readings is seen in it",
        file=file,
        expected="a heading row, then rows of a time and a number",
        remedy=f"{_EXPORT.removesuffix('.')} with headings.",
    )


def _workbook(folder: Path, path: str, sheet: str | None) -> list[Source]:
    pages = files.sheets(files.content(folder, file=path, error=LogError), file=path, error=LogError)
    if sheet is not None and sheet not in pages:
        raise LogError(
            f"there is no sheet '{sheet}', which the review file names under 'sheet'",
            file=path,
            remedy=f"The workbook has: {', '.join(repr(name) for name in list(pages)[:30])}.",
        )
    found = []
    for name, rows in pages.items():
        layout = layouts.of_rows(rows) if sheet in (None, name) else None
        if layout is not None:
            found.append(_of_sheet(path, name, rows, layout))
    return found or _no_table(path)


def _of_sheet(path: str, name: str, rows: Sequence[Sequence[str]], layout: Layout) -> Source:
    body = rows[layout.first_row :]
    return Source(path, "workbook", layout, lambda wanted: text_file.of_rows(body, layout, wanted), 0, name)


def _parquet(path: Path, file: str) -> Source:
    from pyarrow import parquet  # its part for such files is only loaded for one

    library: Any = parquet
    try:
        opened = library.ParquetFile(path)
        names = [str(name) for name in opened.schema_arrow.names]
        rows = int(opened.metadata.num_rows)
        first = next(opened.iter_batches(batch_size=100), None)
        sample = () if first is None else _sample(first.to_pandas(ignore_metadata=True))
    except Exception as failure:  # a damaged file makes the library fail in many ways
        raise _damaged(file) from failure
    if not 0 < rows <= _MOST_ROWS:
        raise LogError(
            "the file holds no rows" if not rows else f"the file holds {rows} rows",
            file=file,
            expected=f"at most {_MOST_ROWS}",
            remedy="Export it again." if not rows else "Log fewer rows a second.",
        )
    found = Layout("", tuple(names), ("",) * len(names), 0, (), sample, heading_row=0)

    def load(wanted: Sequence[int]) -> Columns:
        try:
            table = library.ParquetFile(path).read(columns=[names[at] for at in sorted(set(wanted))])
            frame = table.to_pandas(ignore_metadata=True)
        except Exception as failure:  # see above
            raise _damaged(file) from failure
        return Columns({at: _series(frame[names[at]]) for at in sorted(set(wanted))})

    return Source(file, "Parquet", found, load)


def _series(column: pd.Series) -> Any:
    typed = pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column)
    typed = typed or pd.api.types.is_datetime64_any_dtype(column) or pd.api.types.is_timedelta64_dtype(column)
    if typed:
        return column
    cells = [files.cell_text(value) if value is not pd.NaT else "" for value in column]
    return text_file.arrow.array(cells, text_file.arrow.string())


def _damaged(file: str) -> LogError:
    problem = "the Parquet file is damaged and cannot be read"
    return LogError(problem, file=file, remedy="Export it again, or as CSV.")


def _sample(frame: pd.DataFrame) -> tuple[tuple[str, ...], ...]:
    return tuple(
        tuple("" if value is pd.NaT else files.cell_text(value) for value in row)
        for row in frame.to_numpy(dtype=object)
    )
