"""Standby drain: what a device takes from its cell when it is off."""

from reviewkit.drain.decompose import Decomposition, decompose
from reviewkit.drain.inputs import DrainInputs, DrainState, check, inputs, slug
from reviewkit.drain.ranges import Fitness, connecting, fitness
from reviewkit.drain.settle import Settled, settled
from reviewkit.drain.state import StateDrain
from reviewkit.drain.states import Drain, measure
from reviewkit.drain.storage import Days, days, self_discharge_A, self_discharge_days

__all__ = [
    "Days",
    "Decomposition",
    "Drain",
    "DrainInputs",
    "DrainState",
    "Fitness",
    "Settled",
    "StateDrain",
    "check",
    "connecting",
    "days",
    "decompose",
    "fitness",
    "inputs",
    "measure",
    "self_discharge_A",
    "self_discharge_days",
    "settled",
    "slug",
]
