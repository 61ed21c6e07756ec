"""In what unit a log's readings are: as the review file, the heading, the rows or the header block say."""

from __future__ import annotations

import re

from reviewkit.errors import LogError
from reviewkit.logs import cells, values
from reviewkit.logs.layout import Layout
from reviewkit.schema.blocks import LogBlock
from reviewkit.tables import headers

QUANTITIES = {"V": "voltage", "A": "current", "degC": "temperature"}
EXAMPLES = {"V": "'Voltage (V)'", "A": "'Current (mA)'", "degC": "'Temperature (°C)'"}
_USUAL_UNITS = {"V": "V", "A": "mA", "degC": "°C"}
_UNIT_LINE = re.compile(r"(?i)^\W*(?:unit|units|einheit)\W+([^\s;,|]+)\W*$")


def own_unit(layout: Layout, place: int) -> str:
    """Return the unit in a column's heading or under it."""
    heading = layout.headings[place]
    inside = re.search(r"[(\[]\s*(hh:mm|mm:ss)\s*[)\]]", heading)
    if inside:
        return inside[1]
    return headers.split_unit(heading)[1] or layout.units[place].strip("()[] ") or _bare_unit(heading)


def _bare_unit(heading: str) -> str:
    """Return the unit where a heading is nothing else: "mA"."""
    return values.tidy_unit(heading) if headers.is_unit(values.tidy_unit(heading)) else ""


def cell_units(layout: Layout, place: int, quantity: str) -> bool:
    """Whether readings carry their unit in the cell: "3.512 V"."""
    found = (cells.NUMBER_WITH_UNIT.fullmatch(row[place]) for row in layout.sample if len(row) > place)
    return any(match is not None and values.of_quantity(match[2], quantity) for match in found)


def unit_of(
    layout: Layout, entry: LogBlock, quantity: str, value: int, unit_column: int | None
) -> tuple[str, int | None, tuple[str, ...]]:
    """Return the unit: the review file's, else the heading's, the rows' own or the header block's."""
    own = own_unit(layout, value)
    if entry.unit:
        _checked(entry, quantity, entry.unit, "the review file")
        differs = own and values.tidy_unit(own) != values.tidy_unit(entry.unit)
        note = (
            (f"Unit taken as {entry.unit}, as the review file says; the heading says {own}.",)
            if differs
            else ()
        )
        return entry.unit, None, note
    if own:
        _checked(entry, quantity, own, f"the heading '{layout.headings[value]}'")
        return own, None, ()
    if unit_column is not None or cell_units(layout, value, quantity):
        return "", unit_column, ()
    for line in layout.preamble:
        found = _UNIT_LINE.match(line)
        if found and values.of_quantity(found[1], quantity):
            return found[1], None, ()
    raise LogError(
        f"no unit is given for the {QUANTITIES[quantity]}",
        file=entry.path,
        place=f"column '{layout.headings[value] or value + 1}'",
        expected=f"a heading with a unit, such as {EXAMPLES[quantity]}",
        remedy=f"Write it into the review file: {{path: {entry.path}, unit: {_USUAL_UNITS[quantity]}}}.",
    )


def _checked(entry: LogBlock, quantity: str, unit: str, who: str) -> None:
    if not values.of_quantity(unit, quantity):
        raise LogError(
            f"'{unit}', which {who} gives, is no unit of {QUANTITIES[quantity]}",
            file=entry.path,
            remedy="Check which column and which log stands where in the review file.",
        )
