"""Tables typed by hand, and the times in them. Every cell is text until its column is known."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Collection, Iterable, Mapping
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING

from reviewkit.errors import TableError
from reviewkit.tables import files, headers

if TYPE_CHECKING:
    import pandas as pd


DELIMITERS = ("\t", ";", ",", "|")
_LARGEST_BYTES = 50_000_000
_LONGEST_LINE = 100_000
_FILL = "Give it a header row and one row per reading."
_SAVE = "Save it as CSV or XLSX."
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")


def read(path: str, *, folder: Path = Path()) -> pd.DataFrame:
    """Read a table typed by hand.

    Parameters
    ----------
    path : str
        Relative to `folder`: CSV with any delimiter, or the first sheet of an XLSX workbook.
    folder : Path
        The review folder.

    Returns
    -------
    pandas.DataFrame
        Every cell as stripped text, "" where there is none. The index is the row as a person counts
        it in the file: a header in the first line is row 1. Empty lines, and lines that begin with
        "#", are left out but counted.

    Raises
    ------
    TableError
        If there is no such file in the folder, it is no table, or a row has more cells than the header.
    """
    import pandas as pd  # not to read a list of chapters

    header, body = rows(path, folder=folder)
    index = pd.Index([number for number, _ in body], name="row", dtype="int64")
    return pd.DataFrame([cells for _, cells in body], columns=header, index=index, dtype=object)


def rows(path: str, *, folder: Path = Path()) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Read a table typed by hand as `read` does, but as plain lists.

    Returns
    -------
    tuple of (list of str, list of (int, list of str))
        The headings; each row's place in the file and its cells, as many as there are headings.

    Raises
    ------
    TableError
        As `read` does.
    """
    target = files.locate(path, folder=folder, error=TableError)
    if target.stat().st_size > _LARGEST_BYTES:
        raise TableError(
            "the file is larger than 50 MB",
            file=path,
            expected="a table typed by hand",
            remedy="Check the name: a meter's log goes elsewhere in the review file.",
        )
    data = files.content(target, file=path, error=TableError, remedy=_FILL)
    kind = files.kind(data[:8])
    if kind == "xlsx":
        lines = files.rows(data, file=path, error=TableError)
    elif kind == "text":
        lines = _rows(files.text(data, file=path, error=TableError, remedy=_SAVE), path)
    else:
        raise TableError("this kind of file is not read", file=path, expected="CSV or XLSX", remedy=_SAVE)
    return _table(lines, path)


def _rows(text: str, file: str) -> list[list[str]]:
    """Split a text into rows of stripped cells; an empty line stays as an empty row."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    if max(map(len, lines.split("\n"))) > _LONGEST_LINE:
        raise TableError("a line is longer than 100 000 characters", file=file, remedy=_SAVE)
    delimiter = _delimiter(lines, file)
    _check_quotes(lines, delimiter, file)
    return [[cell.strip() for cell in row] for row in _split(lines, delimiter, file)]


def _split(text: str, delimiter: str, file: str) -> list[list[str]]:
    try:
        return list(csv.reader(StringIO(text), delimiter=delimiter, skipinitialspace=True))
    except csv.Error as failure:
        raise TableError(
            "the file is no table", file=file, expected="rows of cells", remedy=_SAVE
        ) from failure


def _check_quotes(text: str, delimiter: str, file: str) -> None:
    """Refuse a quote that is opened and not closed where its cell ends: it would swallow whole rows."""
    reader = csv.reader(StringIO(text), delimiter=delimiter, skipinitialspace=True, strict=True)
    width, line = 0, 1
    try:
        for row in reader:
            width = width or len(row)
            swallowed = (part.count(delimiter) >= width - 1 for cell in row for part in cell.split("\n")[1:])
            if width > 1 and any(swallowed):
                break
            line = reader.line_num + 1
        else:
            return
    except csv.Error as failure:
        if "unexpected end" not in str(failure):
            return
    raise TableError(
        "a quote opens in this row and swallows the rows below",
        file=file,
        place=f"row {line}",
        expected="double quotes in pairs, around a cell",
        remedy="Remove the quote, or close it.",
    )


def _delimiter(text: str, file: str) -> str:
    """Return the delimiter that gives most rows as many cells as the header has, more than one."""
    best, best_score = ",", (0.0, 0)
    for delimiter in DELIMITERS:
        rows = [row for row in _split(text[:200_000], delimiter, file) if _counts(row)][:200]
        if not rows or len(rows[0]) < 2:
            continue
        alike = sum(len(row) == len(rows[0]) for row in rows) / len(rows)
        if (alike, len(rows[0])) > best_score:
            best, best_score = delimiter, (alike, len(rows[0]))
    return best


def _counts(row: Iterable[str]) -> bool:
    """Whether a row holds anything, and is no remark."""
    cells = [cell.strip() for cell in row]
    return any(cells) and not cells[0].startswith("#")


def _table(lines: list[list[str]], file: str) -> tuple[list[str], list[tuple[int, list[str]]]]:
    filled = [(number, row) for number, row in enumerate(lines, start=1) if _counts(row)]
    if not filled:
        raise TableError("the table is empty", file=file, remedy=_FILL)
    (first, header), body = filled[0], filled[1:]
    while header and not header[-1]:
        header = header[:-1]
    _check_header(header, file, first)
    for number, row in body:
        if any(row[len(header) :]):
            raise TableError(
                f"the row has {len(row)} cells, the header {len(header)}",
                file=file,
                place=f"row {number}",
                remedy="Put a cell that holds the delimiter in double quotes, or use ';' as the delimiter.",
            )
    return header, [(number, (row + [""] * len(header))[: len(header)]) for number, row in body]


def _check_header(header: list[str], file: str, row: int) -> None:
    values = [name for name in header if _NUMBER.fullmatch(name)]
    if values:
        raise TableError(
            f"the first row holds values such as '{values[0]}', no headings",
            file=file,
            place=f"row {row}",
            expected="a row of headings",
            remedy="Put one above it.",
        )
    twice = sorted({name for name in header if name and header.count(name) > 1})
    if twice:
        raise TableError(
            f"two columns are headed '{twice[0]}'", file=file, place="header", remedy="Rename one of them."
        )


def pick(
    frame: pd.DataFrame,
    wanted: Mapping[str, Iterable[str]],
    *,
    file: str,
    named: Mapping[str, str] | None = None,
    optional: Collection[str] = (),
) -> dict[str, str]:
    """Return which column holds what.

    Parameters
    ----------
    frame : pandas.DataFrame
        As `read` gives it.
    wanted : mapping of str to iterable of str
        For each meaning the usual headings; case, punctuation and a unit behind don't matter.
    file : str
        Named in messages.
    named : mapping of str to str, optional
        For each meaning the heading that the review file names; it wins.
    optional : collection of str
        Meanings that may be missing; they are then not in the result.

    Raises
    ------
    TableError
        If a column that is named or needed is missing: says which there are.
    """
    return columns(
        [str(column) for column in frame.columns], wanted, file=file, named=named, optional=optional
    )


def columns(
    there: list[str],
    wanted: Mapping[str, Iterable[str]],
    *,
    file: str,
    named: Mapping[str, str] | None = None,
    optional: Collection[str] = (),
) -> dict[str, str]:
    """Return which of the headings that are there is what; else as `pick`."""
    picked: dict[str, str] = {}
    for meaning, aliases in wanted.items():
        told = (named or {}).get(meaning)
        usual = [meaning, *aliases]
        found = headers.match(there, [told] if told else usual)
        if found is not None:
            picked[meaning] = found
        elif told or meaning not in optional:
            raise TableError(
                f"there is no column '{told}'" if told else f"there is no column for '{meaning}'",
                file=file,
                place="header",
                expected="a heading such as " + ", ".join(f"'{name}'" for name in usual[:3]),
                remedy=f"The file has: {', '.join(repr(name) for name in there)}.",
            )
    return picked


def number(text: str) -> float:
    """Return a number as people write it: "4.12", "4,12", "−0.3", "1 234,5".

    Raises
    ------
    ValueError
        If it is none, or not finite.
    """
    plain = re.sub(r"[\s\u00a0\u202f\u2009']", "", text).replace("\u2212", "-").replace("\u2013", "-")
    if "," in plain:
        # Where both marks occur the last one is the decimal mark.
        last = max(plain.rfind(","), plain.rfind("."))
        whole = plain[:last].replace(",", "").replace(".", "")
        plain = f"{whole}.{plain[last + 1 :]}"
    if not _NUMBER.fullmatch(plain) or not math.isfinite(float(plain)):
        raise ValueError(f"'{text}' is no number")
    return float(plain)


def numbers(frame: pd.DataFrame, column: str, *, file: str, empty_allowed: bool = True) -> pd.Series:
    """Return a column as numbers, NaN where a cell is empty.

    Raises
    ------
    TableError
        At the first cell that is no number: names row and column.
    """
    import pandas as pd

    values = []
    for row, cell in frame[column].items():
        if not cell and empty_allowed:
            values.append(math.nan)
            continue
        try:
            values.append(number(cell))
        except ValueError as failure:
            problem = str(failure) if cell else "the cell is empty"
            raise TableError(
                problem, file=file, place=f"row {row}, column '{column}'", expected="a number such as 4.12"
            ) from failure
    return pd.Series(values, index=frame.index, name=column, dtype=float)


def seconds(text: str) -> float:
    """Return a moment in seconds.

    Parameters
    ----------
    text : str
        "754", "12:34", "1:02:03", each with or without a fraction: Normal Play Time, as it stands in
        Media Fragments URI 1.0, 4.2.1. More than 59 minutes or seconds beside a larger unit are no time.

    Raises
    ------
    ValueError
        If it is none.
    """
    total = 0.0
    parts = text.split(":")
    for index, part in enumerate(parts):
        amount = number(part)
        is_whole = amount == int(amount) or index == len(parts) - 1
        if len(parts) > 3 or amount < 0 or (index and amount >= 60) or not is_whole:
            raise ValueError(f"'{text}' is no time")
        total = 60 * total + amount
    return total


def stamp(moment_s: float) -> str:
    """Return a moment as players show it: 83 → "1:23", 3723 → "1:02:03"."""
    minutes, left = divmod(int(moment_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"


def precise(moment_s: float) -> str:
    """Return a moment as WebVTT has it: 83.5 → "00:01:23.500"."""
    whole, thousandths = divmod(round(moment_s * 1000), 1000)
    minutes, left = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02d}:{minutes:02d}:{left:02d}.{thousandths:03d}"


def fragment(moment_s: float) -> str:
    """Return what leads to a moment behind a video's address (Media Fragments URI 1.0): "#t=83.5"."""
    text = f"{moment_s:.3f}".rstrip("0").rstrip(".")
    return f"#t={text}"
