"""Two logs of one charge, put on one clock."""

from reviewkit.clocks.align import align
from reviewkit.clocks.alignment import Alignment
from reviewkit.clocks.merge import merge
from reviewkit.clocks.without_steps import clock_difference

__all__ = ["Alignment", "align", "clock_difference", "merge"]
