"""The source log's clock beside the record's: the current into the device steps with the cell's own."""

from __future__ import annotations

import pandas as pd

from reviewkit import logs
from reviewkit.charge.record import ChargeRecord
from reviewkit.errors import LogError
from reviewkit.logs import clock_sync
from reviewkit.metrology import Component, Measured

_SHARE = 0.5
"""The port's current is read as the voltage over this many ohms: any below what a cell may have does."""

UNCOMPARED_S = 120.0
"""Two clocks that nobody compared agree within this: common practice, no source."""


def lag(record: ChargeRecord) -> Measured:
    """Return what to add to the record's times to reach the source log's [s].

    Parameters
    ----------
    record : ChargeRecord
        With a log of the source's current, already moved by what is declared.

    Notes
    -----
    Where the two currents share no step, the clocks are taken as they stand.
    """
    assert record.source_current_A is not None
    port, own = (_rising(series) for series in (record.source_current_A * _SHARE, record.current_A))
    try:
        found = clock_sync.align(logs.of_series(port, "V"), logs.of_series(own, "A"))
    except LogError:
        doubt = Component("source log’s clock, never compared", UNCOMPARED_S, "s", "rectangular")
        return Measured(0.0, "s", (doubt,))
    return Measured(
        found.shift_s,
        "s",
        tuple(
            Component(f"source log’s clock: {part.name}", part.size, part.unit, part.distribution)
            for part in found.offset.components
        ),
    )


def _rising(series: pd.Series) -> pd.Series:
    known = series.dropna()
    return known[~known.index.duplicated()]
