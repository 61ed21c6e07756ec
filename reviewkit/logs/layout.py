"""How a meter laid out its log: delimiter, header block, heading row, unit row, first row of data."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from reviewkit.logs import cells
from reviewkit.tables import headers

WHITESPACE = " "
DELIMITERS = ("\t", ";", "|", ",")
_HEAD_ROWS = 120
_LONGEST_PREAMBLE = 2000
_LEAST_SCORE = 0.3
"""A letter with a number in it scores less, the untidiest log more (chosen by the fault corpus)."""
_PLAIN_SCORE = 0.55
"""From here on a delimiter explains the rows, and white space is not tried (chosen: as above)."""

RECOGNISED = {"number", "moment", "day", "clock", "overload"}


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
        One per column, from a row of units beside the headings; "" where there is none.
    first_row : int
        Rows above the first row of data, empty ones included.
    preamble : tuple of str
        Lines above the headings.
    sample : tuple of tuple of str
        The first rows of data.
    heading_cells : tuple of str
        The heading row as it stands, where it has not as many cells as the rows below; else empty.
    heading_row : int or None
        Where the headings stand, from 0.
    """

    delimiter: str
    headings: tuple[str, ...]
    units: tuple[str, ...]
    first_row: int
    preamble: tuple[str, ...]
    sample: tuple[tuple[str, ...], ...]
    heading_cells: tuple[str, ...] = ()
    heading_row: int | None = None

    @property
    def width(self) -> int:
        """Number of columns."""
        return len(self.headings)

    def cells_of(self, column: int, most: int = 100) -> list[str]:
        """Return the first filled cells of a column."""
        return [row[column] for row in self.sample if len(row) > column and row[column]][:most]

    def kind(self, column: int) -> str:
        """Return what a column usually holds, as `cells.sort` calls it."""
        seen = Counter(cells.sort(cell) for cell in self.cells_of(column))
        return seen.most_common(1)[0][0] if seen else "empty"

    def name(self, column: int) -> str:
        """Return a column's heading, or its number from 1 where it has none."""
        return self.headings[column] or str(column + 1)


def split(line: str, delimiter: str) -> list[str]:
    """Return the cells of one line, stripped; a quote that never closes is taken as it stands."""
    if delimiter == WHITESPACE:
        return [cell.strip('"') for cell in line.split()]
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
    if len(short) == len(long) or (found is not None and len(found.sample) >= _HEAD_ROWS // 2):
        return found
    return _best(long) or found


def _best(lines: Sequence[str]) -> Layout | None:
    """Return the layout that explains most rows; white space where no other delimiter explains them."""
    found: list[tuple[float, Layout]] = []
    for delimiter in (*DELIMITERS, WHITESPACE):
        if delimiter == WHITESPACE and any(score >= _PLAIN_SCORE for score, _ in found):
            break
        if delimiter != WHITESPACE and not any(delimiter in line for line in lines):
            continue
        rows = [split(line, delimiter) for line in lines]
        layout = of_rows(rows, delimiter=delimiter, lines=lines)
        score = _score(rows, layout) if layout else 0.0
        if layout and delimiter == WHITESPACE and _holds_separators(layout):
            score = 0.0
        if layout and score > _LEAST_SCORE:
            found.append((score, layout))
    return max(found, key=lambda one: (round(one[0], 9), -found.index(one)))[1] if found else None


def _holds_separators(layout: Layout) -> bool:
    """Whether words between blanks hold several separators: the blanks are not what parts the cells."""
    spoiled = (
        any(mark in cell for mark in ";|") or cell.count(",") > 1 or re.search(r"[^\W\d],[\d+-]", cell)
        for row in layout.sample
        for cell in row
        if cells.sort(cell) == "words"
    )
    return any(map(bool, spoiled))


def _score(rows: Sequence[Sequence[str]], layout: Layout) -> float:
    """Return the share of rows of the right width times the share of cells that make sense."""
    body = [row for row in rows[layout.first_row :][:_HEAD_ROWS] if any(row)]
    alike = [row for row in body if abs(len(row) - layout.width) <= 1]
    if not body or not alike:
        return 0.0
    seen = [cell for row in alike for cell in row if cell]
    sensible = sum(cells.sort(cell) in RECOGNISED or (len(cell) <= 12 and cell.isalpha()) for cell in seen)
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
    first = _first_row(sorts, usual)
    if first is None:
        return None
    sample = tuple(tuple(row) for row in rows[first : first + _HEAD_ROWS] if any(row))
    while width > 2 and not any(len(row) >= width and row[width - 1] for row in sample):
        if _is_headed(rows, first, width):
            break  # a column that is headed and happens to be empty
        width -= 1
    found = Layout(delimiter, ("",) * width, ("",) * width, first, (), sample)
    return _headed(found, rows, lines)


def _headed(found: Layout, rows: Sequence[Sequence[str]], lines: Sequence[str]) -> Layout:
    """Return a layout with its headings and units, from the rows just above the data."""
    width, first = found.width, found.first_row
    index = _heading_row(rows, first, width)
    units, own = [""] * width, [""] * width
    end = first
    if index is not None:
        end = index
        own = _cells(rows[index], width)
        above = index - 1
        if _is_unit_row(own):
            higher = _heading_row(rows, index, width)
            if higher is not None:
                units, own, end = own, _cells(rows[higher], width), higher
        elif (
            above >= 0
            and len(_cells(rows[above], width)) == width
            and _is_unit_row(_cells(rows[above], width))
        ):
            units, end = _cells(rows[above], width), above
    heading_row = None if index is None else (end if units == [""] * width else min(end, index))
    preamble = tuple(lines[:end]) if lines else tuple(" ".join(row) for row in rows[:end])
    if (
        len(own) < width
        and len(own) == width - 1
        and found.sample
        and not any(row[-1] for row in found.sample if len(row) == width)
    ):
        own = [*own, ""]
    own = _labels(found) if index is None else _rejoined(own, width)
    if len(own) != width:
        return replace(found, preamble=preamble, heading_cells=tuple(own), heading_row=heading_row)
    units = (units + [""] * width)[:width]
    return replace(found, headings=tuple(own), units=tuple(units), preamble=preamble, heading_row=heading_row)


def _rejoined(own: list[str], width: int) -> list[str]:
    """Return headings put together again where a comma of their own parted name and unit: "Time, s"."""
    pairs = [at for at, (name, behind) in enumerate(pairwise(own)) if _is_unit_of(name, behind)]
    if len(own) - width != len(pairs):
        return own
    joined = [f"{name}, {own[at + 1]}" if at in pairs else name for at, name in enumerate(own)]
    return [name for at, name in enumerate(joined) if at - 1 not in pairs]


def _is_unit_of(name: str, unit: str) -> bool:
    named = headers.parse(name)
    kinds = {headers.KIND_OF.get(kind) for kind in named.kinds}
    return not named.unit and headers.is_unit(unit) and headers.unit_kind(unit) in kinds


def _labels(found: Layout) -> list[str]:
    """Return the words that stand before each row's numbers, "V: 3.5 I: 0.4", as headings."""
    own = [""] * found.width
    for column in range(1, found.width):
        before = {row[column - 1] for row in found.sample if len(row) > column}
        label = next(iter(before), "")
        if len(before) == 1 and label[-1:] in (":", "=") and found.kind(column) == "number":
            own[column] = label.rstrip(":=")
    return own


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


def _first_row(sorts: Sequence[Sequence[str]], usual: Sequence[str]) -> int | None:
    """Return the first row of data: one of a kind with the next, which a line above the headings is not."""
    data = [row_index for row_index, row in enumerate(sorts) if _is_data(row, usual)]
    filled = [row_index for row_index, row in enumerate(sorts) if set(row) - {"empty"}]
    following = dict(pairwise(filled))
    return next(
        (row_index for row_index in data if following.get(row_index) in {*data, None}), next(iter(data), None)
    )


def _is_data(sorts: Sequence[str], usual: Sequence[str]) -> bool:
    """Whether a row holds numbers and times wherever its column usually does."""
    if not RECOGNISED & set(sorts) or abs(len(sorts) - len(usual)) > 1:
        return False
    pairs = list(zip(sorts, usual, strict=False))
    fits = all(is_ in RECOGNISED | {"empty"} for is_, should in pairs if should in RECOGNISED)
    return fits and any(is_ != "empty" and should in RECOGNISED for is_, should in pairs)


def _heading_row(rows: Sequence[Sequence[str]], below: int, width: int) -> int | None:
    """Return the nearest row above that can be a row of headings."""
    for index in range(below - 1, max(-1, below - 4), -1):
        row = _cells(rows[index], width)
        words = sum(any(letter.isalpha() for letter in cell) for cell in row)
        values = sum(cells.sort(cell) in ("number", "moment", "clock") for cell in row)
        if words and len(row) >= 2 and not (values and len(row) != width) and values < words:
            return index
        if any(row):
            break
    return None


def _is_headed(rows: Sequence[Sequence[str]], first: int, width: int) -> bool:
    """Whether the last column has a heading: no row of headings ends in a separator as the data do."""
    row = _heading_row(rows, first, width)
    above = [] if row is None else _cells(rows[row], width)
    if row is not None and len(rows[row]) > width and not rows[row][-1]:
        return False
    return len(above) >= width and bool(above[-1])


def _cells(cells_there: Sequence[str], width: int) -> list[str]:
    """Return a heading row's cells, without the mark of a comment and without empty ones beyond the rows."""
    row = [cell.strip() for cell in cells_there]
    if row and row[0][:1] in ("#", "%", "/", ";") and len(row[0]) < 60:
        row[0] = row[0].lstrip("#%/; ").strip()
        row = row[1:] if not row[0] and len(row) > width else row
    while len(row) > width and not row[-1]:
        row = row[:-1]
    return _joined(row) if len(row) > width else row


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


_CALENDAR = {"date", "time", "datetime", "yyyy-mm-dd hh:mm:ss", "-", "1", "#", "n/a", "iso", "text"}


def _is_unit_row(row: Sequence[str]) -> bool:
    bare = [re.sub(r"[()\[\]{}<>]", "", cell).strip() for cell in row if cell]
    units = [headers.is_unit(cell) or headers.is_clock(cell) for cell in bare]
    known = [unit or cell.lower() in _CALENDAR for unit, cell in zip(units, bare, strict=True)]
    return any(units) and all(known)
