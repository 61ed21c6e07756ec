"""Two devices, or two editions of one, side by side."""

from reviewkit.side_by_side.pairs import Comparison, Row, pair
from reviewkit.side_by_side.reading import Curve, Published, read
from reviewkit.side_by_side.together import Together, open_two, pair_up

__all__ = ["Comparison", "Curve", "Published", "Row", "Together", "open_two", "pair", "pair_up", "read"]
