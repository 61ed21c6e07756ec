"""Leads the wrong way round: seen from the readings, said aloud, never put right in silence."""

from __future__ import annotations

import numpy as np

from reviewkit.logs.log import Log

_RISE_V = 0.02


def leads_swapped(voltage: Log, current: Log) -> bool:
    """Whether the ammeter's leads are swapped: the cell's voltage rises while the current is negative.

    Parameters
    ----------
    voltage, current : Log
        Their clocks need not agree better than some minutes.

    Notes
    -----
    Charging current into the cell is positive. A drain, where voltage and charge fall together, is no
    sign of swapped leads.
    """
    volts = voltage.series.dropna()
    amps = current.series.dropna()
    if len(volts) < 3 or len(amps) < 3:
        return False
    there = np.interp(volts.index, amps.index, amps.to_numpy())
    strong = 0.1 * float(np.abs(there).max())
    if strong == 0:
        return False
    rise = np.diff(volts.to_numpy())
    between = (there[:-1] + there[1:]) / 2
    while_negative = float(rise[between < -strong].sum())
    while_positive = float(rise[between > strong].sum())
    return while_negative > _RISE_V and while_negative > while_positive
