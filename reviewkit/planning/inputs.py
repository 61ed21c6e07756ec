"""What is known before a bench session: cell, meters, what to expect; and how a plan writes its answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import Field, field_validator, model_validator

from reviewkit.metrology import formatting, units
from reviewkit.metrology.meter import Meter
from reviewkit.schema import instruments
from reviewkit.schema.blocks import Ammeter, Cell, Voltmeter
from reviewkit.schema.quantities import Ampere, Block, Percent, Second, Volt, checked, own


def volts(value_V: float) -> str:
    """Return a voltage with millivolts as its last digit, tenths of them where it is small.

    Parameters
    ----------
    value_V : float [V]
        Set by hand or foretold: no uncertainty decides its digits.
    """
    if abs(value_V) >= 1:
        return f"{formatting.number(value_V, 3)}{formatting.NO_BREAK}V"
    millivolts = 1e3 * value_V
    whole = abs(millivolts - round(millivolts)) < 1e-6 or abs(millivolts) >= 100
    return f"{formatting.number(millivolts, 0 if whole else 1)}{formatting.NO_BREAK}mV"


def minutes(ends_s: tuple[float, float]) -> str:
    """Return a span of time between two guesses: "4 to 11 min".

    Parameters
    ----------
    ends_s : tuple of (float, float) [s]
        In either order.
    """
    low, high = sorted(end / 60 for end in ends_s)
    decimals = 1 if abs(high) < 10 else 0
    return (
        f"{formatting.number(low, decimals)} to {formatting.number(high, decimals)}{formatting.NO_BREAK}min"
    )


class Session(Block):
    """The parameters of a plan; those that the review file has too mean the same there."""

    cell: Cell
    voltmeter: Voltmeter
    ammeter: Ammeter
    drain_ammeter: Ammeter | None = None
    readout_resolution_V: Volt = Field(default=0.1, gt=0)
    readout_wanted_width_V: Volt = Field(default=0.05, gt=0)
    readout_range_V: tuple[Volt, Volt] = (3.0, 4.2)
    charge_current_A: Ampere = Field(default=0.5, gt=0)
    charge_stop_A: Ampere = Field(default=0.05, gt=0)
    drain_mean_A: Ampere = Field(default=50e-6, gt=0)
    drain_highest_A: Ampere = Field(default=2e-3, gt=0)
    drain_pulse_s: Second | None = Field(default=None, gt=0)
    drain_period_s: Second | None = Field(default=None, gt=0)
    drain_notice_V: Volt = Field(default=0.05, gt=0)
    trials_bound_percent: tuple[Percent, ...] = (10.0, 5.0, 1.0)

    @field_validator("drain_ammeter", mode="before")
    @classmethod
    def _empty_is_the_same(cls, value: Any) -> Any:
        return value or None

    @field_validator("cell")
    @classmethod
    def _has_capacity(cls, cell: Cell) -> Cell:
        if cell.rated_capacity_Ah is None:
            raise ValueError("a plan needs the cell's rated_capacity_Ah")
        return cell

    @field_validator("trials_bound_percent")
    @classmethod
    def _are_shares(cls, bounds: tuple[float, ...]) -> tuple[float, ...]:
        if not all(0 < bound < 100 for bound in bounds):
            raise ValueError("bounds over 0 % and under 100 %")
        return bounds

    @model_validator(mode="after")
    def _in_order(self) -> Session:
        low, high = self.readout_range_V
        if high <= low:
            raise ValueError("readout_range_V goes from the lower to the higher voltage")
        if self.charge_stop_A >= self.charge_current_A:
            raise ValueError("charge_stop_A is below charge_current_A: a charge ends as its current falls")
        if self.drain_highest_A < self.drain_mean_A:
            raise ValueError("drain_highest_A is not below drain_mean_A")
        return self

    @property
    def capacity_Ah(self) -> float:
        """The cell's rated capacity [A.h]."""
        return self.cell.rated_capacity_Ah or 0.0

    def ranges(self) -> tuple[Meter, ...]:
        """Return every range of the ammeter that logs a charge, the finest first."""
        return _ranges(self.ammeter)

    def drain_ranges(self) -> tuple[Meter, ...]:
        """Return every range of the ammeter that reads a drain, the finest first."""
        return _ranges(self.drain_ammeter or self.ammeter)


def _ranges(ammeter: Ammeter) -> tuple[Meter, ...]:
    scales = [one.full_scale for one in ammeter.ranges] or [None]
    found = [ammeter.meter(None if scale is None else units.to_unit(scale, "A")) for scale in scales]
    return tuple(sorted(found, key=lambda one: one.full_scale or float("inf")))


def inputs(names: Mapping[str, Any] | None = None, /, **values: Any) -> Session:
    """Return the parameters of a plan, checked.

    Parameters
    ----------
    names : mapping, optional
        Whatever names there are, as `globals()` in a notebook gives them: the plan's own are taken.
    **values
        The fields of `Session` one by one.

    Raises
    ------
    Faults
        Every fault in them at once.

    Examples
    --------
    >>> session = inputs(
    ...     cell={"rated_capacity_Ah": 3.0},
    ...     voltmeter={"accuracy": "±(0.5 % + 2)", "resolution": "1 mV"},
    ...     ammeter={"accuracy": "±(1 % + 3)", "resolution": "1 mA", "burden_ohm": 0.03},
    ... )
    >>> session.capacity_Ah
    3.0
    """
    given = instruments.expanded(own(names, Session) | values)
    return checked(Session, given, file="the parameter cell")
