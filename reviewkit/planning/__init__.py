"""Before a bench session: what to prepare, on which ranges, for how long."""

from reviewkit.planning.charges import (
    Foretold,
    WithAndWithout,
    burden,
    charge_log,
    charge_time_s,
    foretold,
    taper_s,
)
from reviewkit.planning.inputs import Session, inputs
from reviewkit.planning.other_sections import cautions, connecting, drain_log, drain_ranges, readings, trials

__all__ = [
    "Foretold",
    "Session",
    "WithAndWithout",
    "burden",
    "cautions",
    "charge_log",
    "charge_time_s",
    "connecting",
    "drain_log",
    "drain_ranges",
    "foretold",
    "inputs",
    "readings",
    "taper_s",
    "trials",
]
