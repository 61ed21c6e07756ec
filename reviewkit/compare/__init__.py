"""Two devices, or two editions of one, side by side."""

from reviewkit.compare.pairs import Comparison, Row, pair
from reviewkit.compare.reading import Curve, Published, read
from reviewkit.compare.together import Together, open_two, side_by_side

__all__ = ["Comparison", "Curve", "Published", "Row", "Together", "open_two", "pair", "read", "side_by_side"]
