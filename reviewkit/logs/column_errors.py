"""Why a log's columns can't be made out, what the file holds, and the line to paste into the review file."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from reviewkit.errors import LogError
from reviewkit.logs import cells, values
from reviewkit.logs.layout import Layout
from reviewkit.schema.blocks import LogBlock
from reviewkit.tables import csv_table, headers

QUANTITIES = {"V": "voltage", "A": "current", "degC": "temperature"}
EXAMPLES = {"V": "'Voltage (V)'", "A": "'Current (mA)'", "degC": "'Temperature (°C)'"}
UNITS = {"V": ("V", "mV", "µV"), "A": ("A", "mA", "µA", "nA"), "degC": ("°C", "°F", "K")}
LIKELY = {"V": (0.5, 30.0), "A": (1e-7, 15.0), "degC": (-20.0, 80.0)}
"""Readings of a bench as this kit's is: a cell or a port; a charge or a drain; a room or a warm device
(chosen so wide because they are only used to propose a unit)."""
_PLAIN = re.compile(r"[A-Za-zµ°][\w./°µ \-]*|[1-9]\d{0,3}")
_RESERVED = re.compile(r"(?i)(?:true|false|null|yes|no|on|off|~)")
_MOST_COLUMNS = 12


def paste(entry: LogBlock, **more: Any) -> str:
    """Return the log's entry with some keys added, as it can be pasted into a review file.

    Parameters
    ----------
    entry : LogBlock
    more
        Keys and values.
    """
    told = {key: getattr(entry, key) for key in entry.model_fields_set if getattr(entry, key) is not None}
    keys = {"path": entry.path, **told, **more}
    written = (f"{key}: {_scalar(value)}" for key, value in keys.items() if value != "")
    return "{" + ", ".join(written) + "}"


def _scalar(value: Any) -> str:
    if isinstance(value, int | float):
        return f"{value:g}"
    text = str(value)
    plain = _PLAIN.fullmatch(text) and not _RESERVED.fullmatch(text) and text == text.strip()
    return text if plain and ": " not in text and " #" not in text else json.dumps(text, ensure_ascii=False)


def write_it(entry: LogBlock, **more: Any) -> str:
    """Return the sentence that says what to paste."""
    key = f"{entry.key}: " if entry.key else ""
    return f"write into the review file: {key}{paste(entry, **more)}."


def what_there_is(layout: Layout) -> str:
    """Return the columns that a log has with three values of each, in a sentence."""
    shown = []
    for at, name in enumerate(layout.headings[:_MOST_COLUMNS]):
        three = ", ".join(cell[:24] for cell in layout.cells_of(at, 3)) or "empty"
        shown.append(f"{repr(name[:60]) if name else at + 1} ({three})")
    more = f" and {layout.width - _MOST_COLUMNS} more" if layout.width > _MOST_COLUMNS else ""
    if any(layout.headings):
        return f"The file has: {', '.join(shown)}{more}."
    return (
        f"The file has {layout.width} columns without headings, by number from 1: {', '.join(shown)}{more}."
    )


def name_of(layout: Layout, column: int) -> str:
    """Return how the review file names a column: by its heading where no other has the same."""
    heading = layout.headings[column]
    alike = [one for one in layout.headings if headers.plain(one) == headers.plain(heading)]
    return (
        heading
        if heading and len(alike) == 1 and headers.plain(heading) and len(heading) < 80
        else str(column + 1)
    )


def numbers_of(layout: Layout, column: int) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Return the numbers of a column's first rows."""
    found = []
    for cell in layout.cells_of(column, 120):
        number = cells.NUMBER_WITH_UNIT.fullmatch(cell)
        try:
            found.append(csv_table.number(number[1] if number else cell))
        except ValueError:
            continue
    return np.array(found, dtype=float)


def fitting(quantity: str, numbers: np.ndarray[Any, np.dtype[np.float64]]) -> list[str]:
    """Return the units in which numbers of this size would be readings of a bench."""
    if not len(numbers):
        return []
    size = np.quantile(np.abs(numbers), 0.9) if quantity != "degC" else np.median(numbers)
    low, high = LIKELY[quantity]
    fits = []
    for unit in UNITS[quantity]:
        scale, shift = values.conversion(unit, quantity)
        if low <= float(size) * scale + shift <= high:
            fits.append(unit)
    return fits


def no_unit(layout: Layout, entry: LogBlock, quantity: str, column: int, unknown: str) -> LogError:
    """Return the error where nothing says in what unit the readings are."""
    numbers = numbers_of(layout, column)
    fits = fitting(quantity, numbers)
    told = (
        f"'{unknown}' is no unit that is known"
        if unknown
        else f"no unit is given for the {QUANTITIES[quantity]}"
    )
    size = ""
    if len(numbers):
        low, high = float(np.min(numbers)), float(np.max(numbers))
        which = " or ".join(fits) or "no unit that a bench has"
        size = f"Their size, {low:g} to {high:g} near the top, would fit {which}. "
        size += "Which it is can't be told: look at the meter. " if len(fits) > 1 else ""
    value = {} if entry.value else {"value": name_of(layout, column)}
    many, of = cells.multiple(unknown)
    if many != 1 and values.of_quantity(of, quantity):
        fits = [f"{many:g} {values.tidy_unit(of)}"]
        size = f"A count would be {fits[0]}. "
    proposed = "mA" if quantity == "A" and "mA" in fits else next(iter(fits), "")
    if quantity == "A" and "A" in fits and np.max(np.abs(numbers)) < 10:
        proposed = "A"
    line = f"If they are {proposed}, {write_it(entry, **value, unit=proposed)}" if fits else ""
    return LogError(
        told,
        file=entry.path,
        place=f"column '{layout.name(column)}'",
        expected=f"a heading with a unit, such as {EXAMPLES[quantity]}",
        remedy=f"{size}{what_there_is(layout)} {line}".strip(),
    )


def two_units(layout: Layout, entry: LogBlock, quantity: str, column: int, units: Sequence[str]) -> LogError:
    """Return the error where a heading and the rows below it name different units."""
    fits = [unit for unit in fitting(quantity, numbers_of(layout, column)) if unit in units] or [units[0]]
    return LogError(
        f"the heading says {units[0]}, the rows say {units[1]}",
        file=entry.path,
        place=f"column '{layout.name(column)}'",
        expected="one unit",
        remedy=f"{what_there_is(layout)} If it is {fits[0]}, "
        f"{write_it(entry, value=name_of(layout, column), unit=fits[0])}",
    )


def no_time(layout: Layout, entry: LogBlock) -> LogError:
    """Return the error where no column is the time."""
    rising = [column for column in range(layout.width) if _rises(layout, column)]
    told = [column for column in rising if not headers.parse(layout.headings[column]).kinds & {"other"}]
    name = name_of(layout, told[0]) if told else ""
    line = f"If it is {name!r}, {write_it(entry, time=name)}"
    if not told:
        line = "No column here can be the time: export the log with the time of each row."
    return LogError(
        "no column is headed as the time",
        file=entry.path,
        place="heading row",
        expected="a heading such as 'Time' or 'Elapsed (s)'",
        remedy=f"{what_there_is(layout)} {line}",
    )


def _rises(layout: Layout, column: int) -> bool:
    if layout.kind(column) != "number" or headers.parse(layout.headings[column]).unit_kind not in ("", "s"):
        return False
    numbers = numbers_of(layout, column)
    return len(numbers) > 1 and bool((np.diff(numbers) >= 0).all()) and numbers[-1] > numbers[0]


def time_unit(layout: Layout, entry: LogBlock, column: int, problem: str, proposed: str) -> LogError:
    """Return the error where it can't be told in what unit the times count."""
    name = {} if entry.time else {"time": name_of(layout, column)}
    line = f"If they are {proposed}, {write_it(entry, **name, time_unit=proposed)}" if proposed else ""
    choice = "hh:mm or mm:ss" if ":" in proposed else "s, ms, min, h"
    return LogError(
        problem,
        file=entry.path,
        place=f"column '{layout.name(column)}'",
        expected=f"a heading with the unit of the times, or 'time_unit' in the review file: {choice}",
        remedy=f"{what_there_is(layout)} {line}".strip(),
    )


def several(layout: Layout, entry: LogBlock, quantity: str, places: Sequence[int]) -> LogError:
    """Return the error where each of several columns may be the quantity's."""
    names = ", ".join(f"'{layout.headings[column]}'" for column in places)
    return LogError(
        f"several columns may be the {QUANTITIES[quantity]}: {names}",
        file=entry.path,
        place="heading row",
        expected=f"one heading such as {EXAMPLES[quantity]}",
        remedy=f"{what_there_is(layout)} If it is the first of them, "
        f"{write_it(entry, value=name_of(layout, places[0]))}",
    )


def no_column(layout: Layout, entry: LogBlock, quantity: str, *, words: int | None) -> LogError:
    """Return the error where no column is the quantity's; `words` is one headed as it that holds words."""
    what = QUANTITIES[quantity]
    problem, expected = f"no column is headed as the {what}", f"one heading such as {EXAMPLES[quantity]}"
    if words is not None:
        word = next((cell for cell in layout.cells_of(words) if cells.sort(cell) == "words"), "")[:40]
        problem, expected = (
            f"the column '{layout.name(words)}' holds mostly words, such as '{word}'",
            "numbers",
        )
    return LogError(
        problem,
        file=entry.path,
        place="heading row" if words is None else "",
        expected=expected,
        remedy=_other_or_named(layout, entry, quantity),
    )


def _other_or_named(layout: Layout, entry: LogBlock, quantity: str) -> str:
    held = [
        f"'{name}' is a {QUANTITIES[kind]}"
        for name in layout.headings
        if (kind := headers.parse(name).unit_kind) in QUANTITIES and kind != quantity
    ]
    if held:
        return f"Check which log stands where in the review file: {', '.join(held[:3])}."
    for column in range(layout.width):
        found = headers.parse(layout.headings[column])
        taken = found.unit_kind or found.kinds & {"time", "date", "avoided", *QUANTITIES.values()}
        numbers = numbers_of(layout, column) if layout.kind(column) == "number" and not taken else np.empty(0)
        counted = len(numbers) > 1 and bool((np.diff(numbers) == 1).all())
        fits = [] if counted else fitting(quantity, numbers)
        if fits:
            unit = {} if entry.unit else {"unit": fits[0]}
            name = name_of(layout, column)
            return f"{what_there_is(layout)} If it is {name!r}, {write_it(entry, value=name, **unit)}"
    return what_there_is(layout)


def refuse_slip(layout: Layout, entry: LogBlock, quantity: str) -> None:
    """Refuse headings that are more or fewer than the cells below them: which belongs to which can't be told.

    Raises
    ------
    LogError
        Unless the review file names both columns by their numbers.
    """
    if not layout.heading_cells or ((entry.time or "").isdigit() and (entry.value or "").isdigit()):
        return
    refuse_split_numbers(layout, entry, len(layout.heading_cells) - 1)
    time = next(
        (
            column
            for column in range(layout.width)
            if layout.kind(column) in ("moment", "clock") or _rises(layout, column)
        ),
        0,
    )
    value = _likely_value(layout, quantity, time)
    fits = fitting(quantity, numbers_of(layout, value))
    unit = {} if entry.unit or not fits else {"unit": fits[0]}
    raise LogError(
        f"the heading row has {len(layout.heading_cells)} cells, the rows below it {layout.width}: "
        "which heading belongs to which column can't be told",
        file=entry.path,
        place=f"row {(layout.heading_row or 0) + 1}",
        expected="as many headings as columns",
        remedy=f"{what_there_is(layout)} If these are the time and the {QUANTITIES[quantity]}, "
        f"{write_it(entry, time=str(time + 1), value=str(value + 1), **unit)}",
    )


def _likely_value(layout: Layout, quantity: str, time: int) -> int:
    """Return the column of numbers that the headings, could they be trusted, or the sizes point to."""
    word = {"V": "voltage", "A": "current", "degC": "temperature"}[quantity]
    named = [at for at, name in enumerate(layout.heading_cells) if word in headers.parse(name).kinds]
    sized = [at for at in range(layout.width) if fitting(quantity, numbers_of(layout, at))]
    likely = [at for at in (*named, *sized) if at not in (time, layout.width) and at in sized]
    return likely[0] if likely else min(time + 1, layout.width - 1)


def refuse_split_numbers(layout: Layout, entry: LogBlock, value: int) -> None:
    """Refuse numbers that their decimal comma has split in two: 3,512 read as 3 and 512.

    Raises
    ------
    LogError
    """
    wide = bool(layout.heading_cells) and len(layout.heading_cells) < layout.width
    if layout.delimiter != "," or not (wide or (any(layout.headings) and not layout.headings[-1])):
        return
    rows = [row for row in layout.sample if len(row) == layout.width]
    if (
        rows
        and value + 1 < layout.width
        and all(row[value].lstrip("+-").isdigit() and row[-1].isdigit() for row in rows)
    ):
        raise LogError(
            f"the rows have more cells than the heading row, as '{','.join(rows[0])}': "
            "their commas may be decimal marks",
            file=entry.path,
            place=f"row {layout.first_row + 1}",
            expected="a comma between cells or within numbers, not both",
            remedy="Export it with ';' between the cells.",
        )
