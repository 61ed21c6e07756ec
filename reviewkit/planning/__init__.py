"""Before a bench session: what to prepare, on which ranges, for how long."""

from reviewkit.planning.charges import burden, charge_log, foretold
from reviewkit.planning.charges import charge_log_s as charge_log_s
from reviewkit.planning.inputs import Session as Session
from reviewkit.planning.inputs import inputs
from reviewkit.planning.other_sections import cautions, connecting, drain_log, drain_ranges, readings, trials

__all__ = [
    "burden",
    "cautions",
    "charge_log",
    "connecting",
    "drain_log",
    "drain_ranges",
    "foretold",
    "inputs",
    "readings",
    "trials",
]
