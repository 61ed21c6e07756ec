"""Decimal marks: a point, a comma, or what can't be told; never a thousand taken for a one."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from reviewkit.logs import decimation

_NUMBER = re.compile(r"[+\-\u2212]?\s?(\d[\d.,]*)(?![\d.,])(?:[eE][+\-]?\d+)?\s*(\D*)")
_GROUPS = re.compile(r"[1-9]\d{0,2}([.,]\d{3})+")
_HUNDRED = 100.0
_THIRD_DECIMAL = 0.5
_FEW = 1000


def mark(spelled: Sequence[str]) -> str:
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


def check(values: npt.NDArray[np.float64]) -> None:
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
