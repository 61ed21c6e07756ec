"""What a charge is judged against, and who says so.

References
----------
The cell's data sheet wins; defaults are the chemistry's. Termination between C/10 and C/50, a precharge of at
most C/10 below 3.0 V, no current into a full lithium-ion cell: common practice, no source.
"""

from __future__ import annotations

from reviewkit.metrology.conformity import Limit
from reviewkit.schema.blocks import Cell

TRICKLE_SHARE = 0.001
"""A current that would take a thousand hours to fill the cell counts as none; common practice, no source."""

COLD_START_V = 2.5
"""Below this a cell is charged cautiously or not at all; common practice, no source."""


def voltage(cell: Cell, *, both_sides: bool) -> Limit:
    """Return the cell's charging limit with its tolerance.

    Parameters
    ----------
    cell : Cell
    both_sides : bool
        Whether too low a voltage is outside too: true for the voltage that the charger holds.
    """
    low = cell.limit_V - cell.charge_limit_tolerance_V if both_sides else None
    return Limit(low, cell.limit_V + cell.charge_limit_tolerance_V, cell.limit_source)


def charge_current(cell: Cell) -> Limit | None:
    """Return the largest charge current that the cell allows, if it is declared."""
    if cell.max_charge_A is None:
        return None
    return Limit(high=cell.max_charge_A, source="the cell’s data sheet, as declared")


def termination(capacity_Ah: float | None) -> Limit | None:
    """Return C/50 to C/10, if the capacity is known."""
    if not capacity_Ah:
        return None
    return Limit(capacity_Ah / 50, capacity_Ah / 10, "C/50 to C/10, common practice")


def precharge(capacity_Ah: float | None) -> Limit | None:
    """Return C/10, if the capacity is known."""
    if not capacity_Ah:
        return None
    return Limit(high=capacity_Ah / 10, source="C/10 for a deeply discharged cell, common practice")


def afterwards(capacity_Ah: float | None, delivered_Ah: float | None) -> Limit | None:
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


def temperature(cell: Cell) -> Limit:
    """Return the cell's charging range."""
    stated = {"min_charge_C", "max_charge_C"} & cell.model_fields_set
    source = "the cell’s data sheet, as declared" if stated else "0 °C to 45 °C, common practice"
    return Limit(cell.min_charge_C, cell.max_charge_C, source)
