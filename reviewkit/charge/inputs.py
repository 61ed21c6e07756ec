"""What the charge section reads from the review file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import Field, field_validator

from reviewkit.charge.limits import source_limit
from reviewkit.logs import Quantity
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
