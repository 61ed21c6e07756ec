"""How a meter laid out its log: delimiter, header block, heading row, unit row, first row of data."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.logs import cells
from reviewkit.tables import headers

WHITESPACE = " "
DELIMITERS = ("\t", ";", "|", ",", WHITESPACE)
_HEAD_ROWS = 120
_LONGEST_PREAMBLE = 2000
_LEAST_SCORE = 0.3
"""A letter with a number in it scores less, the untidiest log more."""

_RECOGNISED = {"number", "moment", "day", "clock", "overload"}


@dataclass(frozen=True)
class Layout:
    """Where things are in a log.

    Parameters
    ----------
    delimiter : str
        Empty where the rows come apart by themselves (a workbook); a blank stands for any white space.
    headings : tuple of str
        One per column, "" where there is none.
    units : tuple of str
        One per column, from a row of units under the headings; "" where there is none.
    first_row : int
        Rows above the first row of data, empty ones included.
    decimal : {".", ","}
    preamble : tuple of str
        Lines above the headings.
    sample : tuple of tuple of str
        The first rows of data.
    """

    delimiter: str
    headings: tuple[str, ...]
    units: tuple[str, ...]
    first_row: int
    decimal: str
    preamble: tuple[str, ...]
    sample: tuple[tuple[str, ...], ...]

    @property
    def width(self) -> int:
        """Number of columns."""
        return len(self.headings)


def split(line: str, delimiter: str) -> list[str]:
    """Return the cells of one line, stripped; a quote that never closes is taken as it stands."""
    if delimiter == WHITESPACE:
        return line.split()
    if '"' not in line:
        return [cell.strip() for cell in line.split(delimiter)]
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))]
    except (csv.Error, StopIteration):
        return [cell.strip().strip('"') for cell in line.split(delimiter)]


def of_lines(lines: Sequence[str]) -> Layout | None:
    """Return the layout of a text by its first lines, None where no table of numbers is seen."""
    short, long = lines[: 2 * _HEAD_ROWS], lines[:_LONGEST_PREAMBLE]
    found = _best(short)
    return found if found is not None or len(short) == len(long) else _best(long)


def _best(lines: Sequence[str]) -> Layout | None:
    best: Layout | None = None
    best_score = _LEAST_SCORE
    for delimiter in DELIMITERS:
        if delimiter != WHITESPACE and not any(delimiter in line for line in lines):
            continue
        rows = [split(line, delimiter) for line in lines]
        layout = of_rows(rows, delimiter=delimiter, lines=lines)
        score = _score(rows, layout) if layout else 0.0
        if layout and score > best_score + 1e-9:
            best, best_score = layout, score
    return best


def _score(rows: Sequence[Sequence[str]], layout: Layout) -> float:
    """Return the share of rows of the right width times the share of cells that make sense."""
    body = [row for row in rows[layout.first_row :][:_HEAD_ROWS] if any(row)]
    alike = [row for row in body if abs(len(row) - layout.width) <= 1]
    if not body or not alike:
        return 0.0
    seen = [cell for row in alike for cell in row if cell]
    sensible = sum(cells.sort(cell) in _RECOGNISED or (len(cell) <= 12 and cell.isalpha()) for cell in seen)
    named = sum(map(bool, layout.headings)) / layout.width
    return len(alike) / len(body) * sensible / max(1, len(seen)) * (0.8 + 0.2 * named)


def of_rows(
    rows: Sequence[Sequence[str]], *, delimiter: str = "", lines: Sequence[str] = ()
) -> Layout | None:
    """Return the layout of rows already split, None where no table of numbers is seen."""
    sorts = [[cells.sort(cell) for cell in row] for row in rows[:_LONGEST_PREAMBLE]]
    widths = Counter(len(row) for row in sorts if _has_numbers(row) and len(row) > 1)
    if not widths:
        return None
    width = widths.most_common(1)[0][0]
    usual = _usual(sorts, width)
    first = next((place for place, row in enumerate(sorts) if _is_data(row, usual)), None)
    if first is None:
        return None
    heading_row, headings = _headings(rows, first, width)
    units = ("",) * width
    if heading_row is not None and _is_unit_row(headings):
        above, names = _headings(rows, heading_row, width)
        if above is not None and above == heading_row - 1:
            units, headings, heading_row = headings, names, above
    sample = tuple(tuple(row) for row in rows[first : first + _HEAD_ROWS] if any(row))
    end = heading_row if heading_row is not None else first
    preamble = tuple(lines[:end]) if lines else tuple(" ".join(row) for row in rows[:end])
    return Layout(delimiter, headings, units, first, _decimal(sample, delimiter), preamble, sample)


def _has_numbers(sorts: Sequence[str]) -> bool:
    return any(name in ("number", "overload") for name in sorts)


def _usual(sorts: Sequence[Sequence[str]], width: int) -> list[str]:
    """Return what each column usually holds."""
    rows = [row for row in sorts if len(row) == width and _has_numbers(row)]
    usual = []
    for column in range(width):
        seen = Counter(row[column] for row in rows if row[column] != "empty")
        usual.append(seen.most_common(1)[0][0] if seen else "empty")
    return usual


def _is_data(sorts: Sequence[str], usual: Sequence[str]) -> bool:
    """Whether a row holds numbers and times wherever its column usually does."""
    if not _RECOGNISED & set(sorts) or abs(len(sorts) - len(usual)) > 1:
        return False
    pairs = list(zip(sorts, usual, strict=False))
    fits = all(is_ in _RECOGNISED | {"empty"} for is_, should in pairs if should in _RECOGNISED)
    return fits and any(is_ != "empty" and should in _RECOGNISED for is_, should in pairs)


def _headings(rows: Sequence[Sequence[str]], below: int, width: int) -> tuple[int | None, tuple[str, ...]]:
    """Return the nearest row above that can be a row of headings, and its cells."""
    for place in range(below - 1, max(-1, below - 4), -1):
        row = list(rows[place])
        if row and row[0][:1] in "#%/":
            row[0] = row[0].lstrip("#%/ ").strip()
            row = row[1:] if not row[0] and len(row) > width else row
        if len(row) > width:
            row = _joined(row)
        words = sum(any(letter.isalpha() for letter in cell) for cell in row)
        if words and len(row) >= max(2, width - 1):
            return place, tuple((row + [""] * width)[:width])
        if any(row):
            break
    return None, ("",) * width


def _joined(row: Sequence[str]) -> list[str]:
    """Return a heading row split at white space with each unit put back behind its name."""
    joined: list[str] = []
    for cell in row:
        behind = cell[:1] in "([/" or (joined and joined[-1].endswith("/"))
        if behind and joined:
            joined[-1] += f" {cell}"
        else:
            joined.append(cell)
    return joined


def _is_unit_row(row: Sequence[str]) -> bool:
    bare = [re.sub(r"[()\[\]]", "", cell).strip() for cell in row if cell]
    clocks = {"hh:mm:ss", "date", "time", "datetime", "yyyy-mm-dd hh:mm:ss"}
    return bool(bare) and all(headers.is_unit(cell) or cell.lower() in clocks for cell in bare)


def _decimal(sample: Sequence[Sequence[str]], delimiter: str) -> str:
    if delimiter == ",":
        # Inside quotes a comma may still be the decimal mark: cells that hold one show it.
        pass
    numbers = [cell for row in sample for cell in row if cells.sort(cell) == "number"]
    commas = sum("," in cell for cell in numbers)
    return "," if commas > sum("." in cell for cell in numbers) else "."
