"""Published worked examples, reproduced beside their sources."""

from reviewkit.worked.annex_g import display_step, gum_g41, gum_table_g2, sums_of_doubts
from reviewkit.worked.annex_h import gum_h1, gum_h2, gum_h3
from reviewkit.worked.charging import on_the_shelf, switches, taper
from reviewkit.worked.check import Check, Row
from reviewkit.worked.decisions import binomial, guard_bands, resistors, trials_needed
from reviewkit.worked.intervals import Intervals, honest_intervals
from reviewkit.worked.meters import accuracy_statements, burden

__all__ = [
    "Check",
    "Intervals",
    "Row",
    "accuracy_statements",
    "binomial",
    "burden",
    "display_step",
    "guard_bands",
    "gum_g41",
    "gum_h1",
    "gum_h2",
    "gum_h3",
    "gum_table_g2",
    "honest_intervals",
    "on_the_shelf",
    "resistors",
    "sums_of_doubts",
    "switches",
    "taper",
    "trials_needed",
]
