"""Why a log's columns can't be made out, and what to do about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from reviewkit.errors import LogError
from reviewkit.logs import cells, units_found, values
from reviewkit.logs.layout import Layout
from reviewkit.schema.blocks import LogBlock


def what_there_is(layout: Layout) -> str:
    """Return the headings that a log has, in a sentence."""
    names = [f"'{heading[:60]}'" for heading in layout.headings if heading]
    if not names:
        return f"The file has {layout.width} columns without headings: name them by number, from 1."
    return f"The file has: {', '.join(names[:30])}."


def refuse_split_numbers(layout: Layout, entry: LogBlock, value: int) -> None:
    """Refuse numbers that their decimal comma has split in two: 3,512 read as 3 and 512.

    Raises
    ------
    LogError
    """
    behind = value + 1
    if layout.delimiter != "," or not any(layout.headings) or behind >= layout.width or layout.headings[-1]:
        return
    rows = [row for row in layout.sample if len(row) == layout.width]
    if rows and all(row[value].lstrip("+-").isdigit() and row[-1].isdigit() for row in rows):
        raise LogError(
            f"the rows have more cells than the heading row, as '{','.join(rows[0])}': "
            "their commas may be decimal marks",
            file=entry.path,
            place=f"row {layout.first_row + 1}",
            expected="a comma between cells or within numbers, not both",
            remedy="Export it with ';' between the cells.",
        )


def no_column(
    layout: Layout,
    entry: LogBlock,
    quantity: str,
    *,
    own: Mapping[int, str],
    several: Sequence[int],
    words: int | None,
) -> LogError:
    """Return the error where no column, or more than one, may be the quantity's.

    Parameters
    ----------
    layout : Layout
    entry : LogBlock
    quantity : {"V", "A", "degC"}
    own : mapping of int to str
        Units of the columns of numbers.
    several : sequence of int
        Columns of which each may be it.
    words : int or None
        The column that is headed as it and holds words.
    """
    what = units_found.QUANTITIES[quantity]
    problem = f"no column is headed as the {what}"
    if several:
        problem = f"several columns may be the {what}: {', '.join(_named(layout, several))}"
    elif words is not None:
        problem = (
            f"the column {_named(layout, [words])[0]} holds mostly words, such as '{_word(layout, words)}'"
        )
    return LogError(
        problem,
        file=entry.path,
        place="heading row" if words is None or several else "",
        expected="numbers" if words is not None and not several else _expected(quantity),
        remedy=_remedy(layout, own, quantity, several=bool(several)),
    )


def _expected(quantity: str) -> str:
    return f"one heading such as {units_found.EXAMPLES[quantity]}"


def _named(layout: Layout, places: Sequence[int]) -> list[str]:
    return [f"'{layout.headings[place]}'" for place in places]


def _word(layout: Layout, place: int) -> str:
    found = (row[place] for row in layout.sample if len(row) > place)
    return next((cell for cell in found if cells.sort(cell) == "words"), "")[:40]


def _remedy(layout: Layout, own: Mapping[int, str], quantity: str, *, several: bool) -> str:
    names = [name for name in layout.headings if name]
    if several and len(set(names)) < len(names):
        return "Give each column a heading of its own, or name it by its number, from 1, under 'value'."
    held = [
        f"'{layout.headings[place]}' is a {what}"
        for place, unit in own.items()
        for kind, what in units_found.QUANTITIES.items()
        if kind != quantity and unit and values.of_quantity(unit, kind)
    ]
    if held:
        return f"Check which log stands where in the review file: {', '.join(held[:3])}."
    return f"Name the column under 'value' in the review file. {what_there_is(layout)}"
