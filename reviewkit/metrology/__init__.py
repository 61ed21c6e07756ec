"""Uncertainty budgets: what a number's doubt is made of, and which doubts two numbers share.

References
----------
JCGM 100:2008 (GUM): 4.3 (Type B), 5.1.2 (law of propagation), 5.2.2 (correlated inputs), F.2.2.1
(digital displays), G.4.1 (effective degrees of freedom). JCGM 101:2008: propagation of distributions.
"""

from reviewkit.metrology.measured import Measured, difference, means, propagate
from reviewkit.metrology.uncertainty import (
    BOUNDED_COVERAGE,
    COVERAGE,
    Component,
    Distribution,
    coverage_factor,
    effective_dof,
    left_of_step,
    merged,
    resolution,
    shaken_left,
    student_factor,
)

__all__ = [
    "BOUNDED_COVERAGE",
    "COVERAGE",
    "Component",
    "Distribution",
    "Measured",
    "coverage_factor",
    "difference",
    "effective_dof",
    "left_of_step",
    "means",
    "merged",
    "propagate",
    "resolution",
    "shaken_left",
    "student_factor",
]
