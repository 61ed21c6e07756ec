"""Opening what lies in a review folder: only inside it, whatever its encoding, never with a surprise."""

from __future__ import annotations

import codecs
import re
import stat
import warnings
import zipfile
from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime, time, timedelta
from io import BytesIO
from pathlib import Path, PurePosixPath
from typing import Any

from reviewkit.errors import InputError

_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def locate(path: str, *, folder: Path = Path(), error: type[InputError] = InputError) -> Path:
    """Return the file that `path` names, once it is known to be a file inside `folder`.

    Parameters
    ----------
    path : str
        Relative to `folder`; forward or backward slashes.
    folder : Path
        The review folder. Links that lead out of it are refused too.
    error : type of InputError
        What to raise.

    Raises
    ------
    InputError
        If it is absolute, leads out of the folder, is missing or no file.
    """
    written = path.replace("\\", "/")
    pure = PurePosixPath(written)
    if not written or "\0" in written or pure.is_absolute() or ".." in pure.parts or ":" in written:
        raise error(
            "the path leads out of the review folder",
            file=path.replace("\0", "?"),
            expected="a path inside it, such as 'logs/current.csv'",
        )
    try:
        found = (folder / pure).resolve()
        if not found.is_relative_to(folder.resolve()):
            raise error("the link leads out of the review folder", file=path, remedy=_COPY)
        if not found.is_file():
            raise error(_no_file(found), file=path, remedy=_LOOK)
    except RuntimeError as failure:
        raise error(_NOWHERE, file=path, remedy=_LOOK) from failure
    except OSError as failure:
        raise error(f"the file cannot be opened ({failure.strerror})", file=path, remedy=_LOOK) from failure
    return found


_NOWHERE = "the link leads nowhere"
_COPY = "Copy the file into it."
_LOOK = "Check the name, and that the file lies there and may be read."


def _no_file(path: Path) -> str:
    if path.is_dir():
        return "this is a folder"
    if path.is_symlink():
        return _NOWHERE
    return "this is no file but a device or a pipe" if path.exists() else "there is no such file"


def is_plain(path: Path) -> bool:
    """Whether there is a file, by itself or through links, that can be read without waiting for anyone."""
    try:
        return stat.S_ISREG(path.stat().st_mode)
    except (OSError, ValueError):
        return False


_AGAIN = "Export it again from the meter."
_NOTHING = b"\0 \t\r\n\xef\xbb\xbf\xff\xfe"


def content(
    path: Path,
    *,
    file: str,
    error: type[InputError] = InputError,
    remedy: str = _AGAIN,
    empty: bytes = _NOTHING,
) -> bytes:
    """Return a file's bytes.

    Parameters
    ----------
    file, error, remedy
        Of the error where there is one.
    empty : bytes
        A file of nothing but these is empty.

    Raises
    ------
    InputError
        If it cannot be read or is empty.
    """
    try:
        data = path.read_bytes()
    except OSError as failure:
        raise error(f"the file cannot be read ({failure.strerror})", file=file, remedy=_LOOK) from failure
    if not data.strip(empty):
        raise error("the file is empty", file=file, remedy=remedy)
    return data


_FOREIGN = (
    (b"%PDF", "a PDF document"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"\x1f\x8b", "a packed file"),
    (b"BZh", "a packed file"),
    (b"7z\xbc\xaf", "a packed file"),
    (b"Rar!", "a packed file"),
    (b"SQLite format 3", "a database"),
    (b"{\\rtf", "a written document"),
    (b"<!doctype", "a web page"),
    (b"<html", "a web page"),
    (b"<?xml", "an XML file"),
)
_JSON = re.compile(rb'\{\s*(?:"|\}|$)|\[\s*\{')
"""An object opens with a quoted name; a text may begin with a placeholder, `{charge.delivered}`."""
_CONTROL = frozenset(map(chr, range(32))) - set("\t\n\r\v\f\x1a\x1b")
_MOST_CONTROL = 0.01


def foreign(head: bytes) -> str:
    """Return what a file is that can be no table, such as "a picture", by its first bytes; else ""."""
    start = head[:200].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    what = next((what for mark, what in _FOREIGN if start.startswith(mark.lower())), "")
    return what or ("a JSON file" if _JSON.match(start) else "")


def is_text(text: str) -> bool:
    """Whether what was decoded reads as text: hardly a control character among its letters."""
    return sum(map(text.count, _CONTROL)) <= _MOST_CONTROL * len(text)


def kind(head: bytes) -> str:
    """Return "xlsx", "parquet", "xls" or "text", by the first bytes and not by the name."""
    if head.startswith(b"PK\x03\x04"):
        return "xlsx"
    if head.startswith(b"PAR1"):
        return "parquet"
    return "xls" if head.startswith(b"\xd0\xcf\x11\xe0") else "text"


def encoding(head: bytes) -> str:
    """Return the encoding of a text by its mark, else by its first bytes.

    Parameters
    ----------
    head : bytes
        The first few thousand.

    Returns
    -------
    str
        "utf-8" unless something else shows; a later byte may still prove that wrong.
    """
    for mark, name in _MARKS:
        if head.startswith(mark):
            return name
    even, odd = head[0::2], head[1::2]
    if len(head) >= 8 and odd.count(0) > 0.4 * len(odd) and even.count(0) < 0.1 * len(even):
        return "utf-16-le"
    if len(head) >= 8 and even.count(0) > 0.4 * len(even) and odd.count(0) < 0.1 * len(odd):
        return "utf-16-be"
    try:
        head[: max(0, len(head) - 3)].decode("utf-8")
    except UnicodeDecodeError as failure:
        # A character cut in two by the end of the head is no sign of another encoding.
        return "utf-8" if failure.start >= len(head) - 6 else "cp1252"
    return "utf-8"


def decode(data: bytes, *, file: str, error: type[InputError] = InputError) -> str:
    """Return a file's text, from UTF-8, UTF-16 or Windows-1252, with or without a byte order mark.

    Raises
    ------
    InputError
        If it holds NUL characters, as a file does that was cut off by a full disk or is no text.
    """
    name = encoding(data[:4096])
    try:
        text = data.decode(name)
    except UnicodeDecodeError:
        text = data.decode("cp1252" if name == "utf-8" else name, errors="replace")
    if "\0" in text:
        raise error(
            "the file holds NUL bytes, so it is damaged or no text", file=file, remedy="Export it again."
        )
    return text.removeprefix("\ufeff")


def text(data: bytes, *, file: str, error: type[InputError] = InputError, remedy: str) -> str:
    """Return the text of a file written by hand.

    Raises
    ------
    InputError
        If it is of another kind, or damaged.
    """
    if what := foreign(data[:200]):
        raise error(f"this is {what}, no text", file=file, remedy=remedy)
    found = decode(data, file=file, error=error)
    if not is_text(found[:20_000]):
        raise error("the file is damaged or no text", file=file, remedy=remedy)
    return found


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
