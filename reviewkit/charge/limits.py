"""What a charge is judged against, and who says so.

References
----------
The cell's data sheet wins; defaults are the chemistry's. Termination between C/10 and C/50, a precharge of at
most C/10 below 3.0 V, no current into a full lithium-ion cell: common practice, no source. What a source may
give: USB 2.0 (100 mA and 500 mA unit loads), USB 3.x (900 mA), Battery Charging 1.2 (1.5 A), USB Type-C
current (1.5 A and 3 A at 5 V; IEC 63002 4.4 lists them).
"""

from __future__ import annotations

from collections.abc import Mapping

from reviewkit.metrology.conformity import Limit
from reviewkit.schema.blocks import Cell

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


def voltage(cell: Cell, *, both_sides: bool) -> Limit:
    """Return the cell's charging limit with its tolerance.

    Parameters
    ----------
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


def termination(cell: Cell) -> Limit | None:
    """Return between which currents a charge is to stop: as declared, else C/50 to C/10 where C is known."""
    rated, low, high = cell.rated_capacity_Ah or 0.0, cell.min_termination_A, cell.max_termination_A
    told, usual = low is not None or high is not None, []
    if low is None and rated and (high is None or rated / 50 < high):
        low, usual = rated / 50, ["C/50"]
    if high is None and rated and (not told or rated / 10 > (low or 0.0)):
        high, usual = rated / 10, [*usual, "C/10"]
    if low is None and high is None:
        return None
    sources = ["the cell’s data sheet, as declared"] * told + [
        " to ".join(usual) + ", common practice"
    ] * bool(usual)
    return Limit(low, high, "; ".join(sources))


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
