"""Readings: numbers in any spelling, no thousand read as one; overloads; a unit per file, row or cell."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from reviewkit.logs import cells, decimation, timestamps
from reviewkit.metrology import units
from reviewkit.tables import csv_table, headers

arrow: Any = pa
compute: Any = pc
Numbers = npt.NDArray[np.float64]
_LONGEST_CELL = 100
GOOD, EMPTY, OVERLOAD, UNREADABLE = range(4)
OTHERS_ROWS = 0.3
"""From this share of empty cells on, they are rows of another column and no missing readings (chosen)."""


@dataclass(frozen=True)
class Readings:
    """A column of readings in SI.

    Parameters
    ----------
    values : array of float [SI]
        NaN for whatever is no reading.
    overloads, empty, unreadable : int
        How many of the NaN are what.
    first_unreadable : int or None
        Position of the first cell that makes no sense.
    units : tuple of str
        Units that occur.
    blank : array of bool or None
        Which cells are empty, where one is.
    """

    values: Numbers
    overloads: int = 0
    empty: int = 0
    unreadable: int = 0
    first_unreadable: int | None = None
    units: tuple[str, ...] = ()
    blank: npt.NDArray[np.bool_] | None = None


def conversion(unit: str, quantity: str) -> tuple[float, float]:
    """Return scale and shift that bring a reading in `unit` to `quantity`'s SI unit.

    Raises
    ------
    ValueError
        If `unit` is of another kind.
    """
    many, of = cells.multiple(unit)
    spelled = tidy_unit(of)
    if quantity == "degC":
        name = {"c": "degC", "f": "degF", "k": "kelvin"}.get(
            spelled.lower().strip("°º ").replace("deg", ""), spelled
        )
        zero = units.to_unit(f"0 {name}", "degC")
        return units.to_unit(f"1 {name}", "degC") - zero, zero
    return many * units.factor(spelled, quantity), 0.0


def tidy_unit(text: str) -> str:
    """Return a unit as the kit calls it: "DC mV" → "mV", "Volts" → "V"; an unknown one as it stands."""
    return headers.unit(text) or text.strip().strip("()[]")


def of_quantity(unit: str, quantity: str) -> bool:
    """Whether readings in `unit` can be brought to `quantity`'s unit."""
    try:
        conversion(unit, quantity)
    except (ValueError, ArithmeticError):
        return False
    return True


def readings(
    column: Any,
    quantity: str,
    *,
    unit: str,
    row_units: Any,
) -> Readings:
    """Return a column of cells as readings.

    Parameters
    ----------
    column : pyarrow.Array of str, or Series of numbers
    quantity : {"V", "A", "degC"}
    unit : str
        Unit of cells that have none of their own; "" for none: such cells are unreadable.
    row_units : pyarrow.Array of str or None
        Unit of each row; wins over `unit`.

    Raises
    ------
    ValueError
        If it can't be told what is a decimal mark and what stands between thousands.
    """
    spelled: Any = None
    if (
        isinstance(column, pd.Series)
        and pd.api.types.is_numeric_dtype(column)
        and not pd.api.types.is_bool_dtype(column)
    ):
        plain = column.to_numpy(dtype=float, na_value=np.nan, copy=True)
        check_thousands(plain)
        state = np.where(np.isnan(plain), EMPTY, GOOD).astype(np.int8)
    else:
        column = timestamps.as_text(column)
        quick = _all_numbers(column)
        if quick is not None and row_units is None and unit:
            check_thousands(quick)
            if _within(quick):
                return _all_good(quick, quantity, unit)
        plain, state, spelled = _from_text(column)
    over = np.abs(plain) >= cells.LARGEST
    state[over] = OVERLOAD
    plain = np.where(over, np.nan, plain)
    if row_units is not None:
        spelled = row_units
    return _scaled(plain, state, spelled, quantity, unit)


def _within(plain: Numbers) -> bool:
    highest, lowest = np.fmax.reduce(plain, initial=0.0), np.fmin.reduce(plain, initial=0.0)
    return bool(max(highest, -lowest) < cells.LARGEST)


def _all_good(plain: Numbers, quantity: str, unit: str) -> Readings:
    """Return numbers of one unit, all within the meter's range; a missing one is an empty cell."""
    scale, shift = conversion(unit, quantity)
    values = plain if (scale, shift) == (1.0, 0.0) else plain * scale + shift
    return Readings(values, empty=int(np.isnan(plain).sum()), units=(unit,))


def _all_numbers(text: Any) -> Numbers | None:
    """Return a column of nothing but plain numbers, None where one cell is none."""
    try:
        found = compute.cast(text, arrow.float64())
    except arrow.ArrowInvalid:
        return None
    return np.array(found.to_numpy(zero_copy_only=False)) if not found.null_count else None


def _from_text(column: Any) -> tuple[Numbers, npt.NDArray[np.int8], list[str] | None]:
    """Return numbers, what each cell is, and the units within cells where there are any.

    A meter shows few different readings: each is looked at once.
    """
    codes, kinds = _coded(column)
    short = [cell if len(cell) <= _LONGEST_CELL else "too long" for cell in kinds]
    text = pd.Series([cell.strip() for cell in short], dtype=object)
    decimal = decimal_mark(text.to_list())
    between = r"(?<=\d)[ ’'](?=\d{3}(?!\d))"
    plain = text.str.replace(between + ("|[.]" if decimal == "," else "|,"), "", regex=True)
    point = plain.str.replace(decimal, ".", regex=False).str.replace("\u2212", "-", regex=False)
    numbers = pd.to_numeric(point, errors="coerce").to_numpy(dtype=float, na_value=np.nan, copy=True)
    states = np.full(len(text), GOOD, dtype=np.int8)
    own_units = [""] * len(text)
    for row in np.flatnonzero(~np.isfinite(numbers)):
        numbers[row], states[row], own_units[row] = _cell(text.iloc[row])
    spelled = [own_units[code] for code in codes] if any(own_units) else None
    return numbers[codes], states[codes], spelled


def _coded(column: Any) -> tuple[npt.NDArray[np.integer], list[str]]:
    """Return for each row which of the different texts it says."""
    coded = compute.dictionary_encode(column)
    return coded.indices.to_numpy(zero_copy_only=False), [kind or "" for kind in coded.dictionary.to_pylist()]


def _cell(text: str) -> tuple[float, int, str]:
    """Return the number in a cell that is no plain number, what the cell is, and its unit."""
    if cells.is_empty(text):
        return np.nan, EMPTY, ""
    if cells.is_overload(text):
        return np.nan, OVERLOAD, ""
    found = cells.NUMBER_WITH_UNIT.fullmatch(text)
    if not found and not cells.NUMBER.fullmatch(text):
        return np.nan, UNREADABLE, ""
    try:
        return csv_table.number(found[1] if found else text), GOOD, found[2] if found else ""
    except ValueError:
        return np.nan, UNREADABLE, ""


def _scaled(
    plain: Numbers,
    state: npt.NDArray[np.int8],
    spelled: Any,
    quantity: str,
    unit: str,
) -> Readings:
    """Bring every reading to SI by its own unit, or by the column's."""
    known: tuple[str, ...] = (unit,)
    if spelled is None and not unit:
        state[state == GOOD] = UNREADABLE
        values = np.full(len(plain), np.nan)
    elif spelled is None:
        scale, shift = conversion(unit, quantity)
        values = plain if (scale, shift) == (1.0, 0.0) else plain * scale + shift
    else:
        values = np.full(len(plain), np.nan)
        codes, kinds = _coded(arrow.array(spelled, arrow.string()) if isinstance(spelled, list) else spelled)
        used = {code: tidy_unit(kind) or unit for code, kind in enumerate(kinds)}
        foreign = np.zeros(len(plain), dtype=bool)
        for code, own in used.items():
            here = codes == code
            if not of_quantity(own, quantity):
                state[here & (state == GOOD)] = UNREADABLE
                foreign |= here & headers.is_unit(own)
                continue
            scale, shift = conversion(own, quantity)
            values[here] = plain[here] * scale + shift
        if OTHERS_ROWS < foreign.mean() < 1:
            state[foreign] = EMPTY  # another channel's rows: they take turns
        known = tuple(dict.fromkeys(own for own in used.values() if of_quantity(own, quantity)))
    bad = np.flatnonzero(state == UNREADABLE)
    return Readings(
        values,
        overloads=int((state == OVERLOAD).sum()),
        empty=int((state == EMPTY).sum()),
        unreadable=len(bad),
        first_unreadable=int(bad[0]) if len(bad) else None,
        units=known,
        blank=state == EMPTY if (state == EMPTY).any() else None,
    )


_NUMBER = re.compile(r"[+\-\u2212]?\s?(\d[\d.,]*)(?![\d.,])(?:[eE][+\-]?\d+)?\s*(\D*)")
_GROUPS = re.compile(r"[1-9]\d{0,2}([.,]\d{3})+")
_HUNDRED = 100.0
_THIRD_DECIMAL = 0.5
_FEW = 1000


def decimal_mark(spelled: Sequence[str]) -> str:
    """Return the decimal mark of a column's numbers.

    Parameters
    ----------
    spelled : sequence of str
        The different cells of the column, with or without units.

    Returns
    -------
    {".", ","}
        The other one, where it occurs, stands between thousands.

    Raises
    ------
    ValueError
        If the cells leave it open: two of them that don't go together.
    """
    found = [match for match in map(_NUMBER.fullmatch, spelled) if match]
    numbers = [match[1] for match in found]
    groups = {_grouping(number) for number in numbers} - {""}
    if len(groups) > 1:
        raise ValueError(_unlike(numbers, ",."))
    points, commas = ([number for number in numbers if sign in number] for sign in ".,")
    if groups:
        between = groups.pop()
        _check_groups(numbers, between)
        return "." if between == "," else ","
    if points and commas:
        raise ValueError(_unlike(numbers, ".,"))
    _check_thousands(numbers, several_units=len({match[2] for match in found}) > 1)
    return "," if commas else "."


def _grouping(number: str) -> str:
    """Return the mark that a number by itself shows to stand between thousands; "" if it shows none."""
    for sign, other in (",.", ".,"):
        if number.count(sign) > 1 or (0 <= number.find(sign) < number.find(other)):
            return sign
    return ""


def _check_groups(numbers: Iterable[str], between: str) -> None:
    decimal = "." if between == "," else ","
    for number in numbers:
        whole = number.split(decimal)[0]
        if between in number and not _GROUPS.fullmatch(whole):
            raise ValueError(f"'{number}' has a decimal mark where other rows have one between thousands")


def _check_thousands(numbers: Sequence[str], *, several_units: bool) -> None:
    marked = [number for number in numbers if not number.isdigit()]
    whole = [int(number) for number in numbers if number.isdigit() and len(number) < 4]
    if several_units or not marked or max(whole, default=0) < _HUNDRED:
        return
    if all(_GROUPS.fullmatch(number) for number in marked):
        raise ValueError(_open(marked[0]))


def _unlike(numbers: Iterable[str], signs: str) -> str:
    examples = [next((one for one in numbers if sign in one), "") for sign in signs]
    return f"some rows have a decimal point and some a comma, such as '{examples[0]}' and '{examples[1]}'"


def _open(number: str) -> str:
    return f"'{number}' may be {re.sub('[.,]', '', number)}, or {number.replace(',', '.')}"


def check_thousands(values: npt.NDArray[np.float64]) -> None:
    """Look for thousands that were read as ones: 998, 999, 1.000, 1.001.

    Parameters
    ----------
    values : array of float
        A column that was read as plain numbers.

    Raises
    ------
    ValueError
        If it has whole numbers up to hundreds, numbers from one to ten with three decimals, and no others.
    """
    if _shows_no_thousands(values):
        return
    size = np.abs(values[np.isfinite(values)])
    broken = size[size % 1 != 0]
    if not len(broken) or broken.min() < 1 or broken.max() >= 10:
        return
    whole = size[size % 1 == 0]
    if whole.max(initial=0) < _HUNDRED or np.any(whole >= 1000):
        return
    thousandths = np.round(broken * 1000)
    fine = np.abs(broken * 1000 - thousandths) < 1e-6
    if fine.all() and np.mean(thousandths % 10 != 0) >= _THIRD_DECIMAL:
        raise ValueError(_open(f"{broken[0]:.3f}"))


def _shows_no_thousands(values: npt.NDArray[np.float64]) -> bool:
    """Whether the size of the numbers, or of some, rules a mark between thousands out."""
    if max(np.fmax.reduce(values, initial=0.0), -np.fmin.reduce(values, initial=0.0)) < _HUNDRED:
        return True
    some = values[decimation.rows(len(values), _FEW)]
    some = np.abs(some[np.isfinite(some)])
    return bool(np.any((some % 1 != 0) & ((some < 1) | (some >= 10))))
