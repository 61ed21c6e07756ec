"""A readout that shows a voltage in steps, and the readings that were taken of it.

The device shows S = k·r while ``S − r + p ≤ m + g·(v − m) < S + p``: r is its step, p the switching
place (how far above the lower shown value the change lies), g its gain about the middle m of the working
range. Rounding to nearest without offset has p = r/2, cutting off p = r, rounding up p = 0.

The reference shows x for a true voltage v. Its display's step and a reading's own scatter are each
reading's own; its accuracy is one unknown θ for all of them: ``v = y − θ·(α·y + β)``, ``|θ| ≤ 1``,
``|y − x| ≤ noise``.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from reviewkit.metrology.meter import Meter


def exact(value: float | str | Decimal | Fraction) -> Fraction:
    """Return the decimal number that was typed, not its binary neighbour: 0.1 → 1/10."""
    return value if isinstance(value, Fraction) else Fraction(str(value))


@dataclass(frozen=True)
class Reading:
    """One reading of the device beside the reference.

    Parameters
    ----------
    row : int
        Row of the table, as a person counts.
    reference_V, shown_V : Fraction [V]
    noise_V : Fraction [V]
        Half-width of what is this reading's own: half the display's step, its scatter.
    """

    row: int
    reference_V: Fraction
    shown_V: Fraction
    noise_V: Fraction = Fraction()


@dataclass(frozen=True)
class Reference:
    """What all readings of one meter share, and what each has of its own.

    Parameters
    ----------
    slope : Fraction [1]
        Percent of reading, as a share.
    floor : Fraction [V]
        The part of the accuracy that does not grow with the reading.
    noise_V : Fraction [V]
        Half the display's step.
    label : str
        Name of the shared unknown.
    """

    slope: Fraction = Fraction()
    floor: Fraction = Fraction()
    noise_V: Fraction = Fraction()
    label: str = ""

    def half_width(self, voltage_V: Fraction) -> Fraction:
        """Return the largest shared error at a voltage [V]."""
        return self.slope * abs(voltage_V) + self.floor

    @classmethod
    def of(cls, meter: Meter) -> Reference:
        """Return a meter's accuracy split into the shared part and the display's own step.

        Notes
        -----
        Counts already hold the display's step, so half a step is taken out of them, not added.
        """
        noise = exact(meter.resolution) / 2
        stated = meter.accuracy
        floor = exact(stated.counts) * exact(meter.resolution) + exact(stated.absolute)
        if meter.states_counts:
            floor = max(Fraction(), floor - noise)
        return cls(exact(stated.percent) / 100, floor, noise, meter.label)


@dataclass(frozen=True)
class Model:
    """What is taken for granted about a readout before it is read.

    Parameters
    ----------
    step_V : Fraction [V]
        Resolution r of the shown value.
    low_V, high_V : Fraction [V]
        The cell's working range.
    gain_bound : Fraction [1]
        The gain lies within 1 ± this; 0 for a readout that can only have an offset.
    reference : Reference
    """

    step_V: Fraction
    low_V: Fraction
    high_V: Fraction
    gain_bound: Fraction = Fraction()
    reference: Reference = Reference()

    @property
    def middle_V(self) -> Fraction:
        """Middle of the working range [V], where the switching place is stated."""
        return (self.low_V + self.high_V) / 2

    @property
    def reach_V(self) -> Fraction:
        """Largest shared error of the reference at the middle of the range [V]."""
        return self.reference.half_width(self.middle_V)

    @property
    def steps(self) -> range:
        """Numbers k of the steps (from k·r to (k + 1)·r) that the working range touches."""
        first = self.low_V // self.step_V
        return range(first, max(first + 1, -(-self.high_V // self.step_V)))


@dataclass(frozen=True)
class Interval:
    """An interval with ends that belong to it or don't.

    Parameters
    ----------
    low, high : Fraction
    low_open, high_open : bool
        Whether the end itself is excluded.
    """

    low: Fraction
    high: Fraction
    low_open: bool = False
    high_open: bool = False

    @property
    def width(self) -> Fraction:
        """Distance of the ends."""
        return self.high - self.low

    @property
    def middle(self) -> Fraction:
        """Middle of the interval."""
        return (self.low + self.high) / 2

    def holds(self, value: Fraction) -> bool:
        """Whether `value` lies in the interval."""
        above = value > self.low or (value == self.low and not self.low_open)
        return above and (value < self.high or (value == self.high and not self.high_open))

    def mirrored(self, about: Fraction) -> Interval:
        """Return the interval of ``about − value``."""
        return Interval(about - self.high, about - self.low, self.high_open, self.low_open)

    def swapped(self) -> Interval:
        """Return the same ends, open where they were closed and closed where they were open."""
        return Interval(self.low, self.high, not self.low_open, not self.high_open)

    def touches(self, low: Fraction, high: Fraction) -> bool:
        """Whether any value of it lies from `low` to `high`, both included."""
        if self.high < low or self.low > high:
            return False
        return not (self.high == low and self.high_open) and not (self.low == high and self.low_open)


def around(intervals: list[Interval]) -> Interval:
    """Return the smallest interval that holds all of them."""
    low = min(intervals, key=lambda one: (one.low, one.low_open))
    high = max(intervals, key=lambda one: (one.high, not one.high_open))
    return Interval(low.low, high.high, low.low_open, high.high_open)
