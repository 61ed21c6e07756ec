"""Logs with too few readings, and readings that the meter named in the review file could not have shown."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from reviewkit.errors import LogError
from reviewkit.logs.log import Log
from reviewkit.metrology import formatting
from reviewkit.metrology.meter import Meter


def beyond_range(log: Log, meter: Meter | None) -> Iterator[LogError]:
    """Give a fault if readings lie beyond the meter's range.

    Parameters
    ----------
    log : Log
    meter : Meter or None
        The range in use; None where the review file names no meter.
    """
    readings = log.series.to_numpy(dtype=float)
    largest = float(max(np.fmax.reduce(readings, initial=0.0), -np.fmin.reduce(readings, initial=0.0)))
    if meter is None or meter.full_scale is None or meter.fits(largest):
        return
    yield LogError(
        f"its largest reading, {formatting.quantity(largest, None, log.quantity)}, "
        "is beyond the meter’s range",
        file=log.path,
        expected=f"at most {formatting.quantity(meter.full_scale, None, log.quantity)}",
        remedy="Check the unit in its heading, and the meter's range in the review file.",
    )


def too_few(log: Log, least: int, *, remedy: str) -> Iterator[LogError]:
    """Give a fault if a log has fewer readings than `least`; `remedy` says what to do."""
    known = int(log.series.notna().sum())
    if known < least:
        problem = f"only {known} reading{'s' if known != 1 else ''}"
        yield LogError(problem, file=log.path, expected=f"at least {least}", remedy=remedy)
