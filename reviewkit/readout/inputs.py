"""What the section takes from the review file."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field, field_validator, model_validator

from reviewkit.metrology.meter import Meter
from reviewkit.readout.model import USUAL_GAIN_BOUND
from reviewkit.schema import quantities
from reviewkit.schema.blocks import Cell, Voltmeter, inside
from reviewkit.schema.quantities import Block, Ohm, Percent, Volt

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
        return max(usual, self.cell.floor_V or 0.0), self.cell.limit_V

    @property
    def name(self) -> str:
        """What the review calls the device."""
        return str(self.device.get("name") or "the device")

    def meter_for(self, highest_V: float) -> Meter | None:
        """Return the smallest range of the reference meter that shows this voltage; None without a meter."""
        block = self.readout_voltmeter or self.voltmeter
        if block is None:
            return None
        scales = [one.full_scale for one in block.ranges if one.full_scale is not None]
        meters = [block.meter(scale) for scale in (self._volts(scale) for scale in scales)]
        fitting = [one for one in meters if one.fits(highest_V)]
        return min(fitting, key=lambda one: one.full_scale or 0.0) if fitting else block.meter()

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


def inputs(**values: Any) -> ReadoutInputs:
    """Return the parameters of the section, checked.

    Raises
    ------
    Faults
        One error per parameter at fault.
    """
    return quantities.checked(ReadoutInputs, values)
