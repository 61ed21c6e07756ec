"""Spreadsheets: the first filled sheet of a workbook, every cell as text."""

from __future__ import annotations

import warnings
import zipfile
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from io import BytesIO
from typing import Any

from reviewkit.errors import InputError

LARGEST_BYTES = 1 << 30
"""An unpacked workbook beyond this is refused: a night at ten rows a second stays far below."""


def rows(data: bytes, *, file: str, error: type[InputError] = InputError) -> list[list[str]]:
    """Return the rows of the first filled sheet of an XLSX workbook, every cell as text.

    Raises
    ------
    InputError
        If it is no readable workbook, too large, or holds nothing.
    """
    try:
        found = _workbook_rows(data)
    except Exception as failure:  # a damaged workbook makes openpyxl fail in a dozen ways
        raise error(
            f"the workbook cannot be read ({type(failure).__name__})", file=file, remedy="Save it as CSV."
        ) from failure
    if found is None:
        raise error("the workbook is too large", file=file, remedy="Save it as CSV.")
    if not found:
        raise error("the workbook is empty", file=file, remedy="Put the table on its first sheet.")
    return found


def _workbook_rows(data: bytes) -> list[list[str]] | None:
    import openpyxl  # only where a workbook is read

    load: Callable[..., Any] = openpyxl.load_workbook  # type: ignore[attr-defined]

    with zipfile.ZipFile(BytesIO(data)) as packed:
        if sum(part.file_size for part in packed.infolist()) > LARGEST_BYTES:
            return None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = load(BytesIO(data), read_only=True, data_only=True)
        for page in book.worksheets:
            # The size a file states may be wrong: count the rows themselves.
            page.reset_dimensions()
            found = [[cell_text(value) for value in row] for row in page.iter_rows(values_only=True)]
            while found and not any(found[-1]):
                found.pop()
            if found:
                return found
    return []


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
