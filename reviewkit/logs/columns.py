"""Which columns of a log are its times, which the reading, and in what unit."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from reviewkit.errors import LogError
from reviewkit.logs import cells, column_errors, values
from reviewkit.logs.layout import Layout
from reviewkit.schema.blocks import LogBlock
from reviewkit.tables import headers
from reviewkit.tables.headers import Heading

WORDS = {"V": "voltage", "A": "current", "degC": "temperature"}
_UNIT_LINE = re.compile(r"(?i)^\W*(?:unit|units|einheit|unité|unidad|单位)\W+([^\s;,|]+)\W*$")
_SINGLE = re.compile(r"^(.*[\s_])([A-Za-z])$")


@dataclass(frozen=True)
class Column:
    """One column as its heading and its cells show it.

    Parameters
    ----------
    below : str
        Unit in a row of units.
    kind : str
        What its cells are.
    """

    index: int
    heading: Heading
    below: str
    kind: str

    @property
    def unit(self) -> str:
        """The unit above the column, "" for none."""
        return (
            self.heading.unit
            or headers.unit(self.below)
            or (self.below if headers.is_clock(self.below) else "")
        )

    @property
    def unit_kind(self) -> str:
        """Quantity of the unit."""
        return headers.unit_kind(self.unit)

    def names(self, *meanings: str) -> bool:
        """Whether the heading's words may mean one of these."""
        return bool(self.heading.kinds & set(meanings))


@dataclass(frozen=True)
class TimeColumn:
    """A column that may be the time of the rows.

    Parameters
    ----------
    day : int or None
        The column of dates that belongs to it.
    since : bool
        Whether it counts from the start of the log.
    headed : bool
        Whether its heading says that it is the time.
    """

    index: int
    day: int | None = None
    unit: str = ""
    name: str = ""
    since: bool = False
    headed: bool = True


@dataclass(frozen=True)
class Chosen:
    """The columns of one quantity.

    Parameters
    ----------
    times : tuple of TimeColumn
        Each may be the time; the rows decide.
    unit : str
        "" where the rows or the cells have their own.
    """

    times: tuple[TimeColumn, ...]
    value: int
    unit_column: int | None = None
    unit: str = ""
    notes: tuple[str, ...] = ()

    @property
    def positions(self) -> tuple[int, ...]:
        """All columns to read."""
        times = [column for one in self.times for column in (one.index, one.day)]
        there = (*times, self.value, self.unit_column)
        return tuple(sorted({column for column in there if column is not None}))


class Columns:
    """The columns of a table, and what of them the review file says."""

    def __init__(self, layout: Layout, entry: LogBlock) -> None:
        self.layout = layout
        self.entry = entry

    @cached_property
    def all(self) -> tuple[Column, ...]:
        """Every column."""
        names = self.layout.headings
        return tuple(
            Column(
                column,
                _alone(headers.parse(name), names),
                self.layout.units[column],
                self.layout.kind(column),
            )
            for column, name in enumerate(names)
        )

    def named(self, name: str, key: str) -> int:
        """Return the column that the review file names, by heading or by number from 1."""
        layout = self.layout
        found = headers.match([heading for heading in layout.headings if heading], [name])
        if found is not None:
            return layout.headings.index(found)
        if name.isdigit() and 1 <= int(name) <= layout.width:
            return int(name) - 1
        raise LogError(
            f"there is no column '{name}', which the review file names under '{key}'",
            file=self.entry.path,
            place="heading row",
            remedy=f"{column_errors.what_there_is(layout)} To let the headings tell, "
            f"{column_errors.write_it(self.entry, **{key: ''})}",
        )


def _alone(heading: Heading, names: Sequence[str]) -> Heading:
    """Return a heading without the unit that is none: the A of "Channel_A" beside "Channel_B"."""
    letter = _SINGLE.match(heading.text)
    if not letter or not heading.unit:
        return heading
    others = [_SINGLE.match(name) for name in names if name != heading.text]
    same = [other[2] for other in others if other and other[1] == letter[1]]
    return replace(heading, unit="") if any(not headers.is_unit(mark) for mark in same) else heading


def renamed(layout: Layout, headings: Mapping[str, str] | None) -> Layout:
    """Return a layout headed as the review file's `headings` say."""
    if not headings:
        return layout
    known = {headers.plain(name): meant for name, meant in headings.items()}
    return replace(layout, headings=tuple(known.get(headers.plain(name), name) for name in layout.headings))


def choose(layout: Layout, entry: LogBlock, quantity: str) -> Chosen:
    """Return the columns of `quantity`.

    Raises
    ------
    LogError
        If a column or the unit is missing or not the only one: says which there are, and what to write.
    """
    there = Columns(layout, entry)
    column_errors.refuse_slip(layout, entry, quantity)
    times = time_columns(there)
    taken = {column for one in times for column in (one.index, one.day) if column is not None}
    unit_column = _unit_column(there, taken)
    value, notes = _value(there, quantity, {*taken, unit_column} - {None}, unit_column)
    column_errors.refuse_split_numbers(layout, entry, value)
    unit, unit_column, more = _unit(there, quantity, value, unit_column)
    return Chosen(
        tuple(one for one in times if one.index != value), value, unit_column, unit, (*notes, *more)
    )


def time_columns(there: Columns) -> list[TimeColumn]:
    """Return the columns that may be the time, those that say so first.

    Raises
    ------
    LogError
        If there is none.
    """
    entry = there.entry
    days = [column for column in there.all if column.kind == "day"]
    if entry.time is not None:
        column = there.all[there.named(entry.time, "time")]
        return [_time(column, days, there)]
    likely = [column for column in there.all if _may_be_time(column)]
    whole = [column for column in likely if not column.names("step")] or likely
    found = [column for column in whole if not column.names("avoided")] or whole
    if not found:
        found = [column for column in days if len(days) == 1]
    if not found:
        raise column_errors.no_time(there.layout, entry)
    return sorted((_time(column, days, there) for column in found), key=lambda one: not one.headed)


def _may_be_time(column: Column) -> bool:
    if column.kind in ("moment", "clock"):
        return True
    if column.kind != "number" or column.unit_kind not in ("", "s"):
        return False
    if column.names("temperature") and not column.unit_kind:
        return column.heading.text.strip()[:1] == "t" and column.heading.words[:1] == ("t",)
    said = column.names("time") or column.unit_kind == "s"
    return said and not (column.names("voltage", "current", "reading", "other") and not column.unit_kind)


def _is_compact(column: Column, there: Columns) -> bool:
    """Whether numbers are times of day in six digits, which a column of dates says."""
    shown = there.layout.cells_of(column.index) if not column.unit else []
    return bool(shown) and all(map(cells.COMPACT_CLOCK.fullmatch, shown))


def _time(column: Column, days: Sequence[Column], there: Columns) -> TimeColumn:
    entry = there.entry
    day = None
    if (column.kind == "clock" or _is_compact(column, there)) and days and not column.names("since"):
        dated = [one for one in days if one.names("date", "time")] or list(days)
        day = dated[0].index if len(dated) == 1 or dated[0].names("date") else None
    unit = entry.time_unit or column.unit
    if column.kind == "number" and not unit and column.heading.unknown:
        unit = f"?{column.heading.unknown}"
    headed = column.names("time", "date") or column.unit_kind == "s" or entry.time is not None
    return TimeColumn(column.index, day, unit, column.heading.text, column.names("since"), headed)


def _unit_column(there: Columns, taken: Iterable[int]) -> int | None:
    """Return the column with the unit of each row, by its heading or because its cells are nothing else."""
    words = [
        column for column in there.all if column.kind in ("words", "empty") and column.index not in set(taken)
    ]
    named = [column.index for column in words if column.names("unit")]
    if named:
        return named[0]
    units = [column.index for column in words if _all_units(there.layout.cells_of(column.index))]
    return units[0] if len(units) == 1 else None


def _all_units(shown: Sequence[str]) -> bool:
    return bool(shown) and all(headers.is_unit(cell) or cells.is_empty(cell) for cell in shown)


def _value(
    there: Columns, quantity: str, taken: set[int | None], unit_column: int | None
) -> tuple[int, tuple[str, ...]]:
    layout, entry = there.layout, there.entry
    if entry.value is not None:
        return there.named(entry.value, "value"), ()
    free = [
        column
        for column in there.all
        if column.index not in taken and column.kind in ("number", "overload", "empty")
    ]
    for some in _by_rank(free, quantity, layout, asked=bool(entry.unit), unit_column=unit_column):
        kept = _fewer(some)
        if len(kept) == 1:
            return kept[0].index, _mean_note(kept[0], some)
        if kept:
            raise column_errors.several(layout, entry, quantity, [column.index for column in kept])
    words = [column.index for column in there.all if column.kind == "words" and column.index not in taken]
    spoiled = [index for index in words if _is_of(there.all[index], quantity)]
    raise column_errors.no_column(layout, entry, quantity, words=spoiled[0] if spoiled else None)


def _is_of(column: Column, quantity: str) -> bool:
    if column.unit_kind:
        return column.unit_kind == quantity
    return column.names(WORDS[quantity])


def _by_rank(
    free: Sequence[Column], quantity: str, layout: Layout, *, asked: bool, unit_column: int | None
) -> list[list[Column]]:
    """Return the columns that may hold the quantity, in groups, the likeliest first."""
    others = set(WORDS.values()) - {WORDS[quantity]}
    word, unit = WORDS[quantity], quantity
    measured = [column for column in free if not column.names("avoided")]
    said = [column for column in measured if column.names(word)]
    of_unit = [column for column in measured if column.unit_kind == unit and not column.names(*others)]
    bare = [column for column in of_unit if not column.heading.words]
    unitless = [
        column
        for column in said
        if not column.unit_kind and not (column.names("time") and word != "temperature")
    ]
    celled = [
        column for column in free if not column.unit_kind and cell_units(layout, column.index, quantity)
    ]
    generic = [column for column in measured if column.names("reading") and not column.unit_kind]
    ranks = [
        [column for column in said if column.unit_kind == unit] or bare,
        of_unit,
        [column for column in unitless if column.index in {one.index for one in celled}] or unitless,
        celled,
    ]
    if unit_column is not None or asked or not any(ranks):
        left = [
            column
            for column in generic or measured
            if not column.unit_kind and not column.names("other", *others)
        ]
        beside = [column for column in left if unit_column is not None and column.index == unit_column - 1]
        ranks.append(generic or beside or (left if unit_column is not None or asked else []))
    return ranks


def _fewer(some: Sequence[Column]) -> list[Column]:
    """Return the columns without those that say themselves that they are none of the rows' own readings."""
    measured = [
        column
        for column in some
        if not column.names("avoided")
        and (not column.names("other") or {"charge"} & set(column.heading.words))
    ] or list(some)
    plain = [column for column in measured if not column.names("mean")]
    return plain if len(plain) == 1 and len(measured) == 1 else measured


def _mean_note(column: Column, some: Sequence[Column]) -> tuple[str, ...]:
    if column.names("mean"):
        return (f"Column '{column.heading.text}': each row is a mean over its interval.",)
    return ()


def cell_units(layout: Layout, column: int, quantity: str) -> bool:
    """Whether readings carry their unit in the cell: "3.512 V"."""
    found = (cells.NUMBER_WITH_UNIT.fullmatch(cell) for cell in layout.cells_of(column))
    return any(match is not None and values.of_quantity(match[2], quantity) for match in found)


def _unit(
    there: Columns, quantity: str, index: int, unit_column: int | None
) -> tuple[str, int | None, tuple[str, ...]]:
    """Return the unit: the review file's, else the heading's, the rows' own or the header block's."""
    layout, entry, column = there.layout, there.entry, there.all[index]
    if entry.unit:
        return entry.unit, None, _declared_unit(entry, quantity, column)
    if column.unit:
        _check_unit(entry, quantity, column.unit, f"the heading '{column.heading.text}'")
        _refuse_two_units(there, quantity, column, unit_column)
        return column.unit, None, ()
    if unit_column is not None and _row_units(layout, quantity, unit_column):
        return "", unit_column, ()
    if cell_units(layout, index, quantity):
        return "", None, ()
    for line in layout.preamble:
        found = _UNIT_LINE.match(line)
        if found and values.of_quantity(found[1], quantity):
            return found[1], None, ()
    raise column_errors.no_unit(layout, entry, quantity, index, column.heading.unknown)


def _declared_unit(entry: LogBlock, quantity: str, column: Column) -> tuple[str, ...]:
    """Check the unit that the review file gives; say so where the heading gives another."""
    declared, own = entry.unit or "", column.unit
    _check_unit(entry, quantity, declared, "the review file")
    if not own or values.tidy_unit(own) == values.tidy_unit(declared):
        return ()
    return (f"Unit taken as {declared}, as the review file says; the heading says {own}.",)


def _refuse_two_units(there: Columns, quantity: str, column: Column, unit_column: int | None) -> None:
    own, index = column.unit, column.index
    below = headers.unit(column.below)
    others = {below} if headers.unit_kind(below) == quantity else set()
    if unit_column == index + 1:
        others |= _row_units(there.layout, quantity, unit_column)
    if others - {own}:
        raise column_errors.two_units(
            there.layout, there.entry, quantity, index, (own, sorted(others - {own})[0])
        )


def _row_units(layout: Layout, quantity: str, unit_column: int | None) -> set[str]:
    """Return the units of the quantity that the rows name."""
    if unit_column is None:
        return set()
    shown = {values.tidy_unit(cell) for cell in set(layout.cells_of(unit_column))}
    return {unit for unit in shown if values.of_quantity(unit, quantity)}


def _check_unit(entry: LogBlock, quantity: str, unit: str, who: str) -> None:
    if not values.of_quantity(unit, quantity):
        said = "unit" if unit == entry.unit else "value"
        raise LogError(
            f"'{unit}', which {who} gives, is no unit of {column_errors.QUANTITIES[quantity]}",
            file=entry.path,
            remedy="Check which column and which log stands where in the review file. "
            f"To let the headings tell, {column_errors.write_it(entry, **{said: ''})}",
        )
