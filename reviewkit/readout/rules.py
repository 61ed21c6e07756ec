"""Rounding rules: what each would mean for the device's offset, and when one of them may be named.

With a free offset no readings tell them apart: rounding to nearest with offset o is the same readout as
cutting off with o + r/2, and as rounding up with o − r/2.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP
from fractions import Fraction

from reviewkit.metrology import formatting
from reviewkit.readout.model import Interval

NEAREST, DOWN, UP = "nearest", "down", "up"

RULES = {NEAREST: "rounds to nearest", DOWN: "cuts off", UP: "rounds up"}
"""Rule and the trade's words for it."""

DECIMAL_MODES = {NEAREST: ROUND_HALF_UP, DOWN: ROUND_FLOOR, UP: ROUND_CEILING}
"""The rounding mode of Python's `decimal` that each rule is."""


def offset_of(rule: str, place_V: Fraction, step_V: Fraction) -> Fraction:
    """Return the offset with which a rule has its switching place there [V]; positive reads high."""
    return {NEAREST: step_V / 2, DOWN: step_V, UP: Fraction()}[rule] - place_V


def offsets(place: Interval, step_V: Fraction) -> dict[str, Interval]:
    """Return the equivalent offset under each rule [V].

    Parameters
    ----------
    place : Interval [V]
        Where the shown value changes, for a device that shows the upper value at that very voltage.
    step_V : Fraction [V]

    Notes
    -----
    Rounding up shows the lower value at the switching point itself: closed and open ends change places.
    """
    return {
        NEAREST: place.mirrored(step_V / 2),
        DOWN: place.mirrored(step_V),
        UP: place.swapped().mirrored(Fraction()),
    }


@dataclass(frozen=True)
class Naming:
    """Whether a rule can be named.

    Parameters
    ----------
    rule : str
        "nearest", "down", "up" or "undetermined".
    possible : tuple of str
        Rules whose offset may lie within the bound.
    bound_V : Fraction [V]
    """

    rule: str
    possible: tuple[str, ...]
    bound_V: Fraction


def name(equivalents: dict[str, Interval], bound_V: Fraction) -> Naming:
    """Return the rule, if only one needs no larger offset than the bound.

    Parameters
    ----------
    equivalents : dict
        As `offsets` gives it.
    bound_V : Fraction [V]
        The device's own offset is assumed to be no larger.
    """
    possible = tuple(rule for rule, offset in equivalents.items() if offset.touches(-bound_V, bound_V))
    return Naming(possible[0] if len(possible) == 1 else "undetermined", possible, bound_V)


def alternatives(place_V: float, step_V: float, doubt_V: float) -> str:
    """Return the readout said under each rule: "rounds to nearest and reads 0.02 V low, or cuts off …".

    Parameters
    ----------
    place_V : float [V]
        Best estimate of the switching place.
    step_V : float [V]
    doubt_V : float [V]
        Half-width of the place's interval: decides the digits, and when an offset counts as none.
    """
    decimals = min(max(2, formatting.decimals_for(max(doubt_V, 1e-4), 1)), 3)
    parts = []
    for rule, words in RULES.items():
        offset = float(offset_of(rule, Fraction(place_V), Fraction(step_V)))
        size = formatting.number(abs(offset), decimals)
        way = "low" if offset < 0 else "high"
        none = float(size) == 0
        parts.append(
            f"{words} with no offset" if none else f"{words} and reads {size}{formatting.NO_BREAK}V {way}"
        )
    return ", or ".join(parts)
