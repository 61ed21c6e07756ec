"""Two logs of one charge, put on one clock."""

from reviewkit.logs.clock_sync.align import align
from reviewkit.logs.clock_sync.alignment import Alignment
from reviewkit.logs.clock_sync.merge import merge
from reviewkit.logs.clock_sync.without_steps import clock_difference

__all__ = ["Alignment", "align", "clock_difference", "merge"]
