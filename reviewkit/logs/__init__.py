"""Meters' logs: every format, header, unit, clock and fault that a bench meets."""

from reviewkit.logs.log import Log, Quantity
from reviewkit.logs.passes import one_pass
from reviewkit.logs.plain import of_series
from reviewkit.logs.reading import Peek, peek, read
from reviewkit.logs.report import ClockChange, Gap, LogReport
from reviewkit.logs.signs import leads_swapped

__all__ = [
    "ClockChange",
    "Gap",
    "Log",
    "LogReport",
    "Peek",
    "Quantity",
    "leads_swapped",
    "of_series",
    "one_pass",
    "peek",
    "read",
]
