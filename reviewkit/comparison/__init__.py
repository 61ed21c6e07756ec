"""Two devices, or two editions of one, side by side."""

from reviewkit.comparison.pairs import Comparison, Row, pair
from reviewkit.comparison.reading import Curve, Published, read
from reviewkit.comparison.together import Together, open_two, pair_up

__all__ = ["Comparison", "Curve", "Published", "Row", "Together", "open_two", "pair", "pair_up", "read"]
