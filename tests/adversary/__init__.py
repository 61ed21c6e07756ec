"""Charges at random whose truth is known, from a simulation of their own: nothing here comes from the kit.

Cells, chargers, meters and clocks are drawn by `draw(kind, seed)`; even seeds are for tuning, odd ones for
judging. The result holds the two logs, writes a review folder, and knows the truth of every finding.
"""

from adversary.draws import KINDS, Charge, draw
from adversary.truth import Truth

__all__ = ["KINDS", "Charge", "Truth", "draw"]
