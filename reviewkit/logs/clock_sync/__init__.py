"""Two logs of one charge, put on one clock."""

from reviewkit.logs.clock_sync.align import Alignment, Alternative, align, clock_difference

__all__ = ["Alignment", "Alternative", "align", "clock_difference"]
