"""Before a bench session: what to prepare, on which ranges, for how long."""

from reviewkit.bench_plan.burden import burden
from reviewkit.bench_plan.charges import charge_log, charge_time_s, taper_s
from reviewkit.bench_plan.drains import connecting, drain_log, drain_ranges
from reviewkit.bench_plan.foretold import Foretold, WithAndWithout, foretold
from reviewkit.bench_plan.inputs import Session, inputs
from reviewkit.bench_plan.readings import readings
from reviewkit.bench_plan.trials import cautions, trials

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
