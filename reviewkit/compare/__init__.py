"""Two devices, or two editions of one, side by side."""

from reviewkit.compare.pairs import Comparison, Row, pair

__all__ = ["Comparison", "Row", "pair"]
