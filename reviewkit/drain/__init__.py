"""Standby drain: what a device takes from its cell when it is off."""

from reviewkit.drain.decompose import Decomposition, Settled, decompose, settled
from reviewkit.drain.findings import findings
from reviewkit.drain.inputs import DrainInputs, DrainState, check, inputs, slug
from reviewkit.drain.ranges import Fitness, connecting, fitness
from reviewkit.drain.sentences import advice, summary
from reviewkit.drain.states import (
    Days,
    Drain,
    StateDrain,
    datasets,
    days,
    measure,
    self_discharge_A,
    self_discharge_days,
)

__all__ = [
    "Days",
    "Decomposition",
    "Drain",
    "DrainInputs",
    "DrainState",
    "Fitness",
    "Settled",
    "StateDrain",
    "advice",
    "check",
    "connecting",
    "datasets",
    "days",
    "decompose",
    "findings",
    "fitness",
    "inputs",
    "measure",
    "self_discharge_A",
    "self_discharge_days",
    "settled",
    "slug",
    "summary",
]
