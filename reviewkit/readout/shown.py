"""What a device shows, as a number: digits, a count of blinks for each digit, or only a mark."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from fractions import Fraction
from math import gcd

from reviewkit.readout.model import exact
from reviewkit.tables import csv_table

_PATTERN = re.compile(r"^\s*\d+\s*(?:x|×)?\s*[a-z ]*?(?:blinks?|flash(?:es)?|pulses?)\b", re.IGNORECASE)
_DIGITS_APART = re.compile(r"^\s*(\d)\s*(?:-|–|/|;|\s|pause|then)+\s*(\d)\s*$", re.IGNORECASE)
_VOLTS = re.compile(r"\s*V(?:olts?)?\s*$")


def volts(text: str) -> Fraction | None:
    """Return the voltage that a shown value stands for, exactly; None for a mark that is no voltage.

    Parameters
    ----------
    text : str
        "3.9", "3,9 V", "3-9", "4 blinks, pause, 2 blinks" (4.2 V); "3 bars", "75 %" and "half" are marks.
    """
    plain = _VOLTS.sub("", text.strip())
    apart = _DIGITS_APART.match(plain)
    if apart:
        return exact(f"{apart[1]}.{apart[2]}")
    if _PATTERN.match(plain):
        counts = [int(found) for found in re.findall(r"\d+", plain)]
        return exact(f"{counts[0]}.{counts[1]}") if len(counts) == 2 and max(counts) < 10 else None
    try:
        return exact(csv_table.number(plain))
    except ValueError:
        return None


def decimals(values: Iterable[Fraction]) -> int:
    """Return how many decimals the shown values have."""
    count = 0
    for value in values:
        while (value * 10**count).denominator != 1:
            count += 1
    return count


def step_of(values: Sequence[Fraction]) -> Fraction | None:
    """Return the largest step of which every shown value is a multiple [V]; None if all are zero.

    Parameters
    ----------
    values : sequence of Fraction [V]
    """
    scale = 10 ** decimals(values)
    largest = gcd(*(int(value * scale) for value in values)) if values else 0
    return Fraction(largest, scale) if largest else None


def coarser_steps(step_V: Fraction, values: Sequence[Fraction]) -> tuple[Fraction, ...]:
    """Return the multiples of a step that every shown value is a multiple of too, finest first [V].

    Parameters
    ----------
    step_V : Fraction [V]
        A step of which every value is a multiple.
    values : sequence of Fraction [V]
    """
    largest = step_of(values) or step_V
    times = int(largest / step_V)
    return tuple(step_V * part for part in range(2, times + 1) if times % part == 0)
