"""Meters' logs: every format, header, unit, clock and fault that a bench meets."""

from reviewkit.logs.log import ClockChange, Gap, Log, LogReport, Quantity, leads_swapped, of_series
from reviewkit.logs.look import Sight, look
from reviewkit.logs.reading import read

__all__ = [
    "ClockChange",
    "Gap",
    "Log",
    "LogReport",
    "Quantity",
    "Sight",
    "leads_swapped",
    "look",
    "of_series",
    "read",
]
