"""A readout that displays a voltage in steps, its readings, and what the review file says of it.

The device displays S = k·r while ``S − r + p ≤ m + g·(v − m) < S + p``: r is its step, p the code
transition level (how far above the lower displayed value the next one begins), g its gain about the middle
m of the working range. Rounding to nearest without offset has p = r/2, cutting off p = r, rounding up
p = 0. With a free offset no readings tell the rules apart: rounding to nearest with offset o is the same
readout as cutting off with o + r/2, and as rounding up with o − r/2.

The reference reads x for a true voltage v. Its display's step and a reading's own scatter are each
reading's own; its accuracy is shared by all of them: ``v = y − θ₁·α·y − θ₂·β``, ``|θ| ≤ 1``,
``|y − x| ≤ noise``, α the percent of reading and β what does not grow with the reading.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal
from fractions import Fraction
from typing import Any, Literal

from pydantic import Field, field_validator, model_validator

from reviewkit.metrology.meter import Meter
from reviewkit.schema import instruments, quantities
from reviewkit.schema.blocks import BlinkRule, Cell, Voltmeter, inside
from reviewkit.schema.quantities import Block, Ohm, Percent, Volt

NEAREST, DOWN, UP = "nearest", "down", "up"
DECIMAL_MODES = {NEAREST: ROUND_HALF_UP, DOWN: ROUND_FLOOR, UP: ROUND_CEILING}
"""The rounding mode of Python's `decimal` that each rule is."""

USUAL_GAIN_BOUND = Fraction(4, 100)
"""How far a gain may be from 1 [1]: a divider of two 1 % resistors (together up to 2 % on the divided
voltage) on a reference good to 2 %. The default bound, and the least that a bound which the readings reach
is widened to."""


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
    reference_V, displayed_V : Fraction [V]
    noise_V : Fraction [V]
        Half-width of what is this reading's own: half the reference's step, its scatter.
    """

    row: int
    reference_V: Fraction
    displayed_V: Fraction
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
        Resolution r of the displayed value.
    low_V, high_V : Fraction [V]
        The cell's working range.
    gain_bound : Fraction [1]
        The gain is taken to lie within 1 ± this; 0 for a readout declared to have an offset only.
    """

    step_V: Fraction
    low_V: Fraction
    high_V: Fraction
    gain_bound: Fraction = Fraction()
    reference: Reference = Reference()

    @property
    def middle_V(self) -> Fraction:
        """Middle of the working range [V], where the transition level is stated."""
        return (self.low_V + self.high_V) / 2

    @property
    def reach_V(self) -> Fraction:
        """Largest shared error of the reference at the middle of the range [V]."""
        return self.reference.half_width(self.middle_V)

    @property
    def widened_bound(self) -> Fraction:
        """Bound of the gain where the readings reach the given one [1]: twice that, at least the usual."""
        return max(2 * self.gain_bound, USUAL_GAIN_BOUND)

    def with_gain_bound(self, bound: Fraction) -> Model:
        """Return the model with another bound of the gain."""
        return replace(self, gain_bound=bound)


@dataclass(frozen=True)
class Interval:
    """An interval with ends that belong to it or don't.

    Parameters
    ----------
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


def around(intervals: Iterable[Interval]) -> Interval:
    """Return the smallest interval that holds all of them."""
    several = list(intervals)
    low = min(several, key=lambda one: (one.low, one.low_open))
    high = max(several, key=lambda one: (one.high, not one.high_open))
    return Interval(low.low, high.high, low.low_open, high.high_open)


def offset_of(rule: str, transition_V: Fraction, step_V: Fraction) -> Fraction:
    """Return the offset with which a rule has its transition level there [V]; positive reads high."""
    return {NEAREST: step_V / 2, DOWN: step_V, UP: Fraction()}[rule] - transition_V


def offsets(transition: Interval, step_V: Fraction) -> dict[str, Interval]:
    """Return the equivalent offset under each rule [V].

    Parameters
    ----------
    transition : Interval [V]
        For a device that displays the upper value at the very transition.
    step_V : Fraction [V]

    Notes
    -----
    Rounding up displays the lower value at the transition itself: closed and open ends change places.
    """
    return {
        NEAREST: transition.mirrored(step_V / 2),
        DOWN: transition.mirrored(step_V),
        UP: transition.swapped().mirrored(Fraction()),
    }


def possible_rules(equivalents: dict[str, Interval], bound_V: Fraction) -> tuple[str, ...]:
    """Return the rules that need no larger offset than the bound; one alone may be named.

    Parameters
    ----------
    equivalents : dict
        As `offsets` gives it.
    bound_V : Fraction [V]
        The device's own offset, at the middle of the range, is assumed to be no larger.
    """
    return tuple(rule for rule, offset in equivalents.items() if offset.touches(-bound_V, bound_V))


FLOOR_V = {"LFP": 2.5}
"""Lower end of the working range where none is given, by chemistry: common practice, no source."""
_FLOOR_V = 3.0
LEAST_RANGE_V, MOST_V = 0.1, 6.0
"""A working range is at least so wide, and ends no higher [V]. Chosen: one step of a usual readout; beyond
any lithium-ion cell."""

COLUMNS = ("reference", "shown", "uncertainty", "load", "warning", "remark")


class ReadoutInputs(Block):
    """The parameters of the section, checked."""

    device: dict[str, Any] = Field(default_factory=dict)
    claims: tuple[dict[str, Any], ...] = ()
    cell: Cell = Cell()
    voltmeter: Voltmeter | None = None
    readout_voltmeter: Voltmeter | None = None
    readout_table: str = ""
    readout_columns: dict[str, str] = Field(default_factory=dict)
    readout_shows: Literal["", "volts", "marks"] = ""
    readout_resolution_V: Volt | None = Field(default=None, gt=0, le=2)
    readout_offset_bound_V: Volt | None = Field(default=None, gt=0)
    readout_gain_bound_percent: Percent = Field(default=100 * float(USUAL_GAIN_BOUND), ge=0, le=20)
    readout_range_V: tuple[Volt, Volt] | None = None
    readout_wanted_width_V: Volt = Field(default=0.02, gt=0)
    readout_cell_ohm: Ohm | None = Field(default=None, ge=0, le=10)
    readout_blinks: BlinkRule = BlinkRule()

    @field_validator("voltmeter", "readout_voltmeter", "readout_range_V", mode="before")
    @classmethod
    def _empty_is_none(cls, value: Any) -> Any:
        return value or None

    @field_validator("readout_table")
    @classmethod
    def _stays_inside(cls, path: str) -> str:
        return inside(path) if path else ""

    @field_validator("readout_columns")
    @classmethod
    def _known_columns(cls, columns: dict[str, str]) -> dict[str, str]:
        unknown = sorted(set(columns) - set(COLUMNS))
        if unknown:
            raise ValueError(f"'{unknown[0]}' is none of the columns {', '.join(COLUMNS)}")
        return columns

    @model_validator(mode="after")
    def _makes_sense(self) -> ReadoutInputs:
        low, high = self.range_V
        if not 0 < low < high:
            raise ValueError("readout_range_V: the lower end first, then the higher, such as [3.0, 4.2]")
        if high - low < LEAST_RANGE_V or high > MOST_V:
            raise ValueError(
                f"readout_range_V: at least {LEAST_RANGE_V:g} V wide, up to {MOST_V:g} V; such as [3.0, 4.2]"
            )
        step, bound = self.readout_resolution_V, self.readout_offset_bound_V
        if step and bound and bound > step / 2:
            raise ValueError(
                "readout_offset_bound_V: at most half of readout_resolution_V, else no rule can be named"
            )
        return self

    @property
    def range_V(self) -> tuple[float, float]:
        """The cell's working range [V]: as given, else from the chemistry's usual floor to its limit.

        A data sheet's floor counts only where it is higher: nobody should be sent to prepare a cell that
        is nearly empty.
        """
        if self.readout_range_V is not None:
            return self.readout_range_V
        usual = FLOOR_V.get(self.cell.chemistry, _FLOOR_V)
        return max(usual, self.cell.floor_V or usual), self.cell.limit_V

    @property
    def name(self) -> str:
        """What the review calls the device."""
        return str(self.device.get("name") or "the device")

    def meter_for(self, highest_V: float) -> Meter | None:
        """Return the smallest range of the reference meter that shows this voltage; None without a meter."""
        block = self.readout_voltmeter or self.voltmeter
        if block is None:
            return None
        scales = sorted(self._volts(one.full_scale) for one in block.ranges if one.full_scale is not None)
        meters = (block.meter(scale) for scale in scales)
        return next((one for one in meters if one.fits(highest_V)), None) or block.meter()

    @staticmethod
    def _volts(scale: float | str) -> float:
        from reviewkit.metrology.units import to_unit

        return to_unit(scale, "V")

    def claim_V(self) -> tuple[float, str] | None:
        """Return what the maker claims as the largest readout error [V], and who says so."""
        from reviewkit.metrology.units import to_unit

        for claim in self.claims:
            if claim.get("about") == "readout.largest_error" and claim.get("at_most") is not None:
                return to_unit(claim["at_most"], "V"), str(claim.get("source") or "the maker's claim")
        return None


def inputs(names: Mapping[str, Any] | None = None, /, **values: Any) -> ReadoutInputs:
    """Return the parameters of the section, checked.

    Parameters
    ----------
    names : mapping, optional
        Whatever names there are, as `globals()` in a notebook gives them: the section's own are taken.
    **values
        The section's names one by one, as the review file holds them.

    Raises
    ------
    Faults
        One error per parameter at fault.

    Examples
    --------
    >>> bench = inputs(cell={"chemistry": "NMC"}, readout_table="readout.csv", readout_resolution_V="100 mV")
    >>> bench.readout_resolution_V
    0.1
    """
    given = quantities.own(names, ReadoutInputs) | values
    return quantities.checked(ReadoutInputs, instruments.expanded(given))
