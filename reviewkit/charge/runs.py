"""All charges of a review together."""

from __future__ import annotations

from collections.abc import Iterable

from reviewkit.charge.analysis import analyse_one
from reviewkit.charge.findings import ChargeResults
from reviewkit.charge.record import ChargeRecord
from reviewkit.schema.blocks import Cell


def analyse(records: ChargeRecord | Iterable[ChargeRecord], *, cell: Cell | None = None) -> ChargeResults:
    """Return what every run shows.

    Parameters
    ----------
    records : ChargeRecord or iterable of ChargeRecord
    cell : Cell or None
        For limits and C-rates.

    Returns
    -------
    ChargeResults
    """
    each = [records] if isinstance(records, ChargeRecord) else list(records)
    return ChargeResults(tuple(analyse_one(one, cell=cell) for one in each))
