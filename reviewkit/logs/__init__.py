"""Meters' logs: every format, header, unit, clock and fault that a bench meets."""

from reviewkit.logs.log import ClockChange as ClockChange
from reviewkit.logs.log import Gap as Gap
from reviewkit.logs.log import Log as Log
from reviewkit.logs.log import LogReport as LogReport
from reviewkit.logs.log import Quantity as Quantity
from reviewkit.logs.log import leads_swapped, of_series
from reviewkit.logs.look import Sight as Sight
from reviewkit.logs.look import look
from reviewkit.logs.reading import read

__all__ = ["leads_swapped", "look", "of_series", "read"]
