"""Both logs in one table, on the voltage log's clock."""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.logs import Log
from reviewkit.logs.clock_sync.alignment import Alignment


def merge(
    voltage: Log, current: Log, alignment: Alignment, *, rows: Literal["both", "voltage", "current"] = "both"
) -> pd.DataFrame:
    """Return both quantities in one table.

    Parameters
    ----------
    voltage, current : Log
    alignment : Alignment
    rows : {"both", "voltage", "current"}
        Whose times the table has.

    Returns
    -------
    pandas.DataFrame
        `time_s` on the voltage log's clock, `voltage_V`, `current_A`; a straight line between
        neighbouring readings, NaN inside a gap, beside a missing reading and outside a log.
    """
    of_current = alignment.on_voltage_clock(current.time_s)
    times = {"voltage": voltage.time_s, "current": of_current}.get(rows)
    if times is None:
        times = np.union1d(voltage.time_s, of_current)
    return pd.DataFrame(
        {
            "time_s": times,
            "voltage_V": between(voltage, voltage.time_s, times),
            "current_A": between(current, of_current, times),
        }
    )


def between(
    log: Log, own_s: npt.NDArray[np.float64], times_s: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """Return a log's reading at other times, NaN where its own rows don't tell.

    Parameters
    ----------
    log : Log
    own_s : array [s]
        Times of the log's rows, on the clock of `times_s`.
    times_s : array [s]
    """
    readings = log.series.to_numpy(dtype=float)
    if len(own_s) < 2:
        return np.asarray(np.where(np.isin(times_s, own_s), readings[0], np.nan))
    place = np.clip(np.searchsorted(own_s, times_s, side="right") - 1, 0, len(own_s) - 2)
    width_s = own_s[place + 1] - own_s[place]
    # A shift may leave two rows a billionth of a second apart at one time: the first one's reading holds.
    share = (times_s - own_s[place]) / np.where(width_s > 0, width_s, 1.0)
    value = readings[place] + share * (readings[place + 1] - readings[place])
    value[log.gap_intervals[place] | (share < 0) | (share > 1)] = np.nan
    # A row's own reading stands, whatever lies on either side of it.
    for at, end in ((place, 0.0), (place + 1, 1.0)):
        exact = share == end
        value[exact] = readings[at[exact]]
    return np.asarray(value)
