"""Which column of a log is the time, which the reading, and in what unit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from reviewkit.errors import LogError
from reviewkit.logs import cells, refusals, units_found, values
from reviewkit.logs.layout import Layout
from reviewkit.schema.blocks import LogBlock
from reviewkit.tables import headers

TIME_NAMES = (
    "time", "timestamp", "time stamp", "datetime", "date time", "date and time", "elapsed", "elapsed time",
    "test time", "total time", "relative time", "t", "clock", "seconds", "sec", "uhrzeit", "zeit",
    "zeitstempel",    "datum uhrzeit", "heure", "temps", "hora", "tiempo", "ora", "tempo", "tid",
)  # fmt: skip
DATE_NAMES = ("date", "day", "datum", "jour", "fecha", "data", "dato")
UNIT_NAMES = ("unit", "units", "einheit", "unité", "unidad", "unità", "uom", "measure unit", "range unit")
READING_NAMES = (
    "value",
    "reading",
    "display",
    "measurement",
    "measured value",
    "main",
    "main display",
    "messwert",
    "wert",
)
NAMES = {
    "V": (
        "voltage",
        "cell voltage",
        "battery voltage",
        "dc voltage",
        "volts",
        "volt",
        "u",
        "v",
        "vdc",
        "spannung",
        "tension",
    ),
    "A": (
        "current",
        "cell current",
        "charge current",
        "dc current",
        "amps",
        "amp",
        "amperes",
        "i",
        "a",
        "adc",
        "strom",
        "courant",
    ),
    "degC": ("temperature", "cell temperature", "temp", "temperatur", "t"),
}


@dataclass(frozen=True)
class Chosen:
    """Positions of the columns of one quantity.

    Parameters
    ----------
    time, value : int
    day, unit_column : int or None
    time_unit, unit : str
        "" where the file names none.
    notes : tuple of str
    """

    time: int
    value: int
    day: int | None = None
    unit_column: int | None = None
    time_unit: str = ""
    unit: str = ""
    notes: tuple[str, ...] = ()

    @property
    def positions(self) -> tuple[int, ...]:
        """All columns to read."""
        there = (self.time, self.value, self.day, self.unit_column)
        return tuple(sorted({place for place in there if place is not None}))


def choose(layout: Layout, entry: LogBlock, quantity: str) -> Chosen:
    """Return the columns of `quantity`.

    Raises
    ------
    LogError
        If a column or the unit is missing or not the only one: says which there are.
    """
    time, day, time_notes = _time(layout, entry)
    taken = {time, day}
    unit_column = _by_name(layout, UNIT_NAMES, taken)
    value = _value(layout, entry, quantity, {*taken, unit_column}, unit_column)
    refusals.refuse_split_numbers(layout, entry, value)
    unit, unit_column, notes = units_found.unit_of(layout, entry, quantity, value, unit_column)
    time_unit = units_found.own_unit(layout, time)
    return Chosen(time, value, day, unit_column, time_unit, unit, (*time_notes, *notes))


def _by_name(layout: Layout, names: Iterable[str], taken: Iterable[int | None]) -> int | None:
    free = {
        heading: place
        for place, heading in reversed(list(enumerate(layout.headings)))
        if heading and place not in set(taken)
    }
    found = headers.match(free, names)
    return None if found is None else free[found]


def _named(layout: Layout, entry: LogBlock, name: str, key: str) -> int:
    """Return the column that the review file names, by heading or by number from 1."""
    found = headers.match([heading for heading in layout.headings if heading], [name])
    if found is not None:
        return layout.headings.index(found)
    if name.isdigit() and 1 <= int(name) <= layout.width:
        return int(name) - 1
    raise LogError(
        f"there is no column '{name}', which the review file names under '{key}'",
        file=entry.path,
        place="heading row",
        remedy=refusals.what_there_is(layout),
    )


def _sorts(layout: Layout, place: int) -> str:
    seen = [cells.sort(row[place]) for row in layout.sample[:100] if len(row) > place and row[place]]
    return max(set(seen), key=seen.count) if seen else "empty"


def _time(layout: Layout, entry: LogBlock) -> tuple[int, int | None, tuple[str, ...]]:
    kinds = [_sorts(layout, place) for place in range(layout.width)]
    notes: tuple[str, ...] = ()
    if entry.time is not None:
        time: int | None = _named(layout, entry, entry.time, "time")
    else:
        time = _by_name(
            layout,
            TIME_NAMES,
            {place for place, kind in enumerate(kinds) if kind in ("words", "empty", "day")},
        )
    if time is None:
        stamps = [place for place, kind in enumerate(kinds) if kind in ("moment", "clock")]
        if len(stamps) != 1:
            raise LogError(
                "no column is headed as the time",
                file=entry.path,
                place="heading row",
                expected="a heading such as 'Time' or 'Elapsed (s)'",
                remedy=f"Name the column under 'time' in the review file. {refusals.what_there_is(layout)}",
            )
        time = stamps[0]
        notes = ("The column of time stamps was known by its cells: its heading does not say so.",)
    day = _day(layout, kinds, time)
    return time, day, notes


def _day(layout: Layout, kinds: Sequence[str], time: int) -> int | None:
    """Return the column of dates that belongs to a column of times of day."""
    if kinds[time] != "clock":
        return None
    days = [place for place, kind in enumerate(kinds) if kind == "day" and place != time]
    named = _by_name(layout, DATE_NAMES, {place for place in range(layout.width) if place not in days})
    return named if named is not None else (days[0] if len(days) == 1 else None)


def _value(
    layout: Layout, entry: LogBlock, quantity: str, taken: set[int | None], unit_column: int | None
) -> int:
    if entry.value is not None:
        return _named(layout, entry, entry.value, "value")
    free = [
        place
        for place in range(layout.width)
        if place not in taken and _sorts(layout, place) in ("number", "overload", "empty")
    ]
    own = {place: units_found.own_unit(layout, place) for place in free}
    measured = [place for place in free if own[place] and values.of_quantity(own[place], quantity)]
    known = measured or [place for place in free if not own[place]]
    rest = [place for place in range(layout.width) if place not in known]
    usual = (*NAMES[quantity], *(READING_NAMES if not measured else ()))
    named = _by_name(layout, usual, rest)
    alike = [place for place in known if named is not None and _alike(layout, place, named)]
    if named is not None and len(alike) == 1:
        return named
    if len(measured) == 1:
        return measured[0]
    if (
        not measured
        and len(free) == 1
        and (unit_column is not None or entry.unit or units_found.cell_units(layout, free[0], quantity))
    ):
        return free[0]
    raise refusals.no_column(
        layout, entry, quantity, own=own, several=measured or alike, words=_spoiled(layout, quantity, taken)
    )


def _alike(layout: Layout, one: int, other: int) -> bool:
    return headers.plain(layout.headings[one]) == headers.plain(layout.headings[other])


def _spoiled(layout: Layout, quantity: str, taken: set[int | None]) -> int | None:
    """Return the column that is headed as the quantity's and holds words."""
    words = [
        place for place in range(layout.width) if place not in taken and _sorts(layout, place) == "words"
    ]
    rest = [place for place in range(layout.width) if place not in words]
    headed = [place for place in words if values.of_quantity(units_found.own_unit(layout, place), quantity)]
    return headed[0] if headed else _by_name(layout, NAMES[quantity], rest)
