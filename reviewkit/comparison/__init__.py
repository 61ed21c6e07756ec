"""Several devices, or editions of one, side by side."""

from reviewkit.comparison.rows import Comparison as Comparison
from reviewkit.comparison.rows import Sharing as Sharing
from reviewkit.comparison.rows import sharing, side_by_side
from reviewkit.comparison.together import Published as Published
from reviewkit.comparison.together import Together as Together
from reviewkit.comparison.together import open_all, put_together, read

__all__ = ["open_all", "put_together", "read", "sharing", "side_by_side"]
