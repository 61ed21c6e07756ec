"""Two logs of one charge, put on one clock."""

from reviewkit.clocks.align import Alignment, align
from reviewkit.clocks.merge import merge

__all__ = ["Alignment", "align", "merge"]
