"""Uncertainty budgets: what a number's doubt is made of, and which doubts two numbers share.

A `Measured` is a value with its `Component`s: it adds, subtracts, multiplies and divides with the unknowns
that two of them share, and `help(metrology.Measured)` says what it can be asked.

References
----------
JCGM 100:2008 (GUM): 4.3 (Type B), 5.1.2 (law of propagation), 5.2.2 (correlated inputs), F.2.2.1
(digital displays), G.4.1 (effective degrees of freedom). JCGM 101:2008: propagation of distributions.
"""

from reviewkit.metrology.measured import Measured as Measured
from reviewkit.metrology.measured import difference, means, propagate
from reviewkit.metrology.uncertainty import BOUNDED_COVERAGE as BOUNDED_COVERAGE
from reviewkit.metrology.uncertainty import COVERAGE as COVERAGE
from reviewkit.metrology.uncertainty import Component as Component
from reviewkit.metrology.uncertainty import Distribution as Distribution
from reviewkit.metrology.uncertainty import coverage_factor, resolution
from reviewkit.metrology.uncertainty import effective_dof as effective_dof
from reviewkit.metrology.uncertainty import left_of_step as left_of_step
from reviewkit.metrology.uncertainty import merged as merged
from reviewkit.metrology.uncertainty import shaken_left as shaken_left
from reviewkit.metrology.uncertainty import student_factor as student_factor

__all__ = ["coverage_factor", "difference", "means", "propagate", "resolution"]
