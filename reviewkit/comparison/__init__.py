"""Several devices, or editions of one, side by side."""

from reviewkit.comparison.rows import Against, Comparison, Row, side_by_side
from reviewkit.comparison.sharing import Sharing, sharing
from reviewkit.comparison.together import MOST, Curve, Published, Together, open_all, put_together, read

__all__ = [
    "MOST",
    "Against",
    "Comparison",
    "Curve",
    "Published",
    "Row",
    "Sharing",
    "Together",
    "open_all",
    "put_together",
    "read",
    "sharing",
    "side_by_side",
]
