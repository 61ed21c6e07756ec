"""What the charge section reads from the review file; what limits that, or common practice, sets.

References
----------
The cell's data sheet wins; defaults are the chemistry's. Termination between C/10 and C/50, a precharge of at
most C/10 below 3.0 V, no current into a full lithium-ion cell: common practice, no source. What a source may
give: USB 2.0 (100 mA and 500 mA unit loads), USB 3.x (900 mA), Battery Charging 1.2 (1.5 A), USB Type-C
current (1.5 A and 3 A at 5 V; IEC 63002 4.4 lists them).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import Field, field_validator, model_validator

from reviewkit.logs import Quantity
from reviewkit.metrology.conformity import Limit
from reviewkit.schema import instruments
from reviewkit.schema.blocks import Ammeter, Cell, LogBlock, LogEntry, Voltmeter
from reviewkit.schema.quantities import Ampere, AmpereHour, Block, Second, checked, filled, own

QUANTITIES: dict[str, Quantity] = {
    "voltage": "V",
    "current": "A",
    "temperature": "degC",
    "source_voltage": "V",
    "source_current": "A",
}
"""The logs of a run and the quantity that each holds."""


class ChargeRun(Block):
    """One charge on one source.

    `voltage` and `current` are at the cell; `source_voltage` and `source_current` at the device's port.
    `cut_on_purpose` says in the reviewer's words what was cut during the charge, no fault of the device's:
    "mains off for 6.5 min".
    """

    source: str = ""
    source_kind: str | None = None
    source_limit_A: Ampere | None = Field(default=None, gt=0)
    source_controls_charge: bool | None = None
    voltage: LogEntry
    current: LogEntry
    temperature: LogEntry | None = None
    source_voltage: LogEntry | None = None
    source_current: LogEntry | None = None
    cable_out_s: Second | None = Field(default=None, ge=0)
    cut_on_purpose: str = ""
    voltage_full_scale_V: float | None = Field(default=None, gt=0)
    current_full_scale_A: Ampere | None = Field(default=None, gt=0)

    @field_validator("source_kind")
    @classmethod
    def _known_kind(cls, kind: str | None) -> str | None:
        source_limit(kind, None)
        return kind

    @model_validator(mode="after")
    def _logs_know_their_keys(self) -> ChargeRun:
        for key, _, entry in self.logs():
            entry.stands_under(key)
        return self

    def logs(self) -> Iterator[tuple[str, Quantity, LogBlock]]:
        """Give the logs named in the run: key, quantity, entry."""
        for key, quantity in QUANTITIES.items():
            entry = getattr(self, key)
            if entry is not None:
                yield key, quantity, entry


class ChargeInputs(Block):
    """The parameters of the charge section."""

    device: dict[str, Any] = Field(default_factory=dict)
    cell: Cell = Field(default_factory=Cell)
    voltmeter: Voltmeter | None = None
    ammeter: Ammeter | None = None
    charge_runs: tuple[ChargeRun, ...] = ()
    source_voltmeter: Voltmeter | None = None
    source_ammeter: Ammeter | None = None
    headings: dict[str, str] = Field(default_factory=dict)
    reader_capacities_Ah: tuple[AmpereHour, ...] = (1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0)


def inputs(names: Mapping[str, Any] | None = None, /, **values: Any) -> ChargeInputs:
    """Return the section's parameters, checked.

    Parameters
    ----------
    names : mapping, optional
        Whatever names there are, as `globals()` in a notebook gives them: the section's own are taken.
    **values
        The section's names one by one, as the review file holds them.

    Raises
    ------
    Faults
        Every fault in them at once.

    Examples
    --------
    >>> declared = inputs(ammeter={"accuracy": "±(1 % + 3)", "resolution": "1 mA"})
    >>> round(declared.ammeter.meter().half_width(0.5), 6)
    0.008
    """
    given = filled(own(names, ChargeInputs) | values)
    return checked(ChargeInputs, instruments.expanded(given))


TRICKLE_SHARE = 0.001
"""A current that would take a thousand hours to fill the cell counts as none; common practice, no source."""

COLD_START_V = 2.5
"""Below this a cell is charged cautiously or not at all; common practice, no source."""


SOURCE_LIMITS_A: Mapping[str, tuple[float, str]] = {
    "usb 2.0 before configuration": (0.100, "USB 2.0, one unit load"),
    "usb 2.0": (0.500, "USB 2.0, five unit loads"),
    "usb 3": (0.900, "USB 3.x, six unit loads of 150 mA"),
    "usb charging port": (1.500, "Battery Charging 1.2"),
    "type-c 1.5 A": (1.500, "USB Type-C current 1.5 A"),
    "type-c 3 A": (3.000, "USB Type-C current 3 A"),
}
"""Largest current that each kind of source may give [A], and who says so."""


def voltage_limit(cell: Cell, *, both_sides: bool) -> Limit:
    """Return the cell's charging limit with its tolerance.

    Parameters
    ----------
    both_sides : bool
        Whether too low a voltage is outside too: true for the voltage that the charger holds.
    """
    low = cell.limit_V - cell.charge_limit_tolerance_V if both_sides else None
    return Limit(low, cell.limit_V + cell.charge_limit_tolerance_V, cell.limit_source)


def charge_current_limit(cell: Cell) -> Limit | None:
    """Return the largest charge current that the cell allows, if it is declared."""
    if cell.max_charge_A is None:
        return None
    return Limit(high=cell.max_charge_A, source="the cell’s data sheet, as declared")


def termination_limit(cell: Cell) -> Limit | None:
    """Return between which currents a charge is to stop: as declared, else C/50 to C/10 where C is known."""
    rated, low, high = cell.rated_capacity_Ah, cell.min_termination_A, cell.max_termination_A
    told, usual = low is not None or high is not None, []
    if rated and low is None and (high is None or rated / 50 < high):
        low, usual = rated / 50, ["C/50"]
    if rated and high is None and (low is None or rated / 10 > low):
        high, usual = rated / 10, [*usual, "C/10"]
    if low is None and high is None:
        return None
    sources = ["the cell’s data sheet, as declared"] * told + [
        " to ".join(usual) + ", common practice"
    ] * bool(usual)
    return Limit(low, high, "; ".join(sources))


def precharge_limit(capacity_Ah: float | None) -> Limit | None:
    """Return C/10, if the capacity is known."""
    if not capacity_Ah:
        return None
    return Limit(high=capacity_Ah / 10, source="C/10 for a deeply discharged cell, common practice")


def afterwards_limit(capacity_Ah: float | None, delivered_Ah: float | None) -> Limit | None:
    """Return the current that counts as none at a full cell, into it or out of it.

    Parameters
    ----------
    capacity_Ah, delivered_Ah : float or None [A.h]
        The charge stands in for a capacity that is not declared.
    """
    size = capacity_Ah or delivered_Ah
    if not size:
        return None
    most = TRICKLE_SHARE * size
    return Limit(-most, most, "C/1000 counts as no current, common practice")


def temperature_limit(cell: Cell) -> Limit:
    """Return the cell's charging range."""
    stated = {"min_charge_C", "max_charge_C"} & cell.model_fields_set
    source = "the cell’s data sheet, as declared" if stated else "0 °C to 45 °C, common practice"
    return Limit(cell.min_charge_C, cell.max_charge_C, source)


def source_limit(kind: str | None, declared_A: float | None) -> Limit | None:
    """Return what the source may give: its declared limit, else that of its kind.

    Raises
    ------
    ValueError
        If the kind is not one of `SOURCE_LIMITS_A`.
    """
    if declared_A is not None:
        return Limit(high=declared_A, source="the source's declared limit")
    if kind is None:
        return None
    if kind not in SOURCE_LIMITS_A:
        raise ValueError(f"'{kind}' is no known kind of source; known: {', '.join(SOURCE_LIMITS_A)}")
    highest, who = SOURCE_LIMITS_A[kind]
    return Limit(high=highest, source=who)
