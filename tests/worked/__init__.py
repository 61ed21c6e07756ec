"""Published worked examples, reproduced beside their sources."""

from worked.annex_g import display_step, gum_g41, gum_table_g2, sums_of_doubts
from worked.annex_h import gum_h1, gum_h2, gum_h3
from worked.charging import on_the_shelf, switches, taper
from worked.check import Check, Row
from worked.decisions import binomial, guard_bands, resistors, trials_needed
from worked.intervals import Intervals, Kinds, Sections, charge_kinds, honest_intervals, honest_sections
from worked.meters import accuracy_statements, burden

__all__ = [
    "Check",
    "Intervals",
    "Kinds",
    "Row",
    "Sections",
    "accuracy_statements",
    "binomial",
    "burden",
    "charge_kinds",
    "display_step",
    "guard_bands",
    "gum_g41",
    "gum_h1",
    "gum_h2",
    "gum_h3",
    "gum_table_g2",
    "honest_intervals",
    "honest_sections",
    "on_the_shelf",
    "resistors",
    "sums_of_doubts",
    "switches",
    "taper",
    "trials_needed",
]
