"""Spreadsheets: the filled sheets of a workbook, every cell as text."""

from __future__ import annotations

import warnings
import zipfile
from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime, time, timedelta
from io import BytesIO
from typing import Any

from reviewkit.errors import InputError

LARGEST_BYTES = 400 << 20
"""An unpacked workbook beyond this is refused: a full sheet of times and readings stays far below."""
_MOST_RATIO = 100
"""No sheet shrinks more than this when it is packed."""
_SMALL_BYTES = 10 << 20
_MOST_ROWS, _MOST_CELLS, _MOST_EMPTY = 1 << 20, 20_000_000, 10_000


def rows(data: bytes, *, file: str, error: type[InputError] = InputError) -> list[list[str]]:
    """Return the rows of the first filled sheet of an XLSX workbook, every cell as text.

    Raises
    ------
    InputError
        As `sheets` does.
    """
    return next(iter(sheets(data, file=file, error=error).values()))


def sheets(data: bytes, *, file: str, error: type[InputError] = InputError) -> dict[str, list[list[str]]]:
    """Return the rows of all filled sheets of an XLSX workbook by their names, every cell as text.

    Raises
    ------
    InputError
        If it is no readable workbook, too large, or holds nothing.
    """
    try:
        found = _workbook_rows(data)
    except Exception as failure:  # a damaged workbook makes openpyxl fail in a dozen ways
        if _is_whole(data):
            raise error(
                "the workbook is in a form that is not read here, although it may be whole",
                file=file,
                remedy="Open it in a spreadsheet program and save it again as XLSX, or as CSV.",
            ) from failure
        raise error(
            "the workbook is damaged and cannot be read", file=file, remedy="Save it again, or as CSV."
        ) from failure
    if found is None:
        raise error(
            "the workbook is larger than a table can be, or holds a cell far below its table",
            file=file,
            remedy="Save the table alone, as CSV.",
        )
    if not found:
        raise error("the workbook is empty", file=file, remedy="Put the table on its first sheet.")
    return found


def _is_whole(data: bytes) -> bool:
    """Whether the parts of a packed file are what they say, whatever they hold."""
    try:
        with zipfile.ZipFile(BytesIO(data)) as packed:
            names = set(packed.namelist())
            return any(name.startswith("xl/xlsx.") for name in names) and packed.testzip() is None
    except Exception:  # as many ways again
        return False


def _workbook_rows(data: bytes) -> dict[str, list[list[str]]] | None:
    import openpyxl  # only where a workbook is read

    load: Callable[..., Any] = openpyxl.load_workbook  # type: ignore[attr-defined]

    with zipfile.ZipFile(BytesIO(data)) as packed:
        if any(map(_bursts, packed.infolist())):
            return None
        if sum(part.file_size for part in packed.infolist()) > LARGEST_BYTES:
            return None
    sheets: dict[str, list[list[str]]] = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = load(BytesIO(data), read_only=True, data_only=True)
        for page in book.worksheets:
            # The size a file states may be wrong: count the rows themselves.
            page.reset_dimensions()
            found = _rows(page.iter_rows(values_only=True))
            if found is None:
                return None
            while found and not any(found[-1]):
                found.pop()
            if found:
                sheets[str(page.title)] = found
    return sheets


def _bursts(part: zipfile.ZipInfo) -> bool:
    return part.file_size > max(_SMALL_BYTES, _MOST_RATIO * part.compress_size)


def _rows(page: Iterable[Sequence[Any]]) -> list[list[str]] | None:
    """Return a sheet's rows, None if there are more than a sheet has: the numbers in the file may lie."""
    found: list[list[str]] = []
    count = empty = 0
    for row in page:
        count += len(row)
        empty = 0 if any(value is not None for value in row) else empty + 1
        if len(found) >= _MOST_ROWS or count > _MOST_CELLS or empty > _MOST_EMPTY:
            return None
        found.append([cell_text(value) for value in row])
    return found


def cell_text(value: Any) -> str:
    """Return a spreadsheet cell as text: numbers to the 15 digits that a sheet keeps, ISO dates."""
    if value is None:
        return ""
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() and abs(value) < 1e15 else f"{value:.15g}"
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        return f"{value.total_seconds():.15g}"
    return str(value).strip()
