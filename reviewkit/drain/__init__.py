"""Standby drain: what a device takes from its cell when it is off."""

from reviewkit.drain.decompose import Decomposition as Decomposition
from reviewkit.drain.decompose import decompose as decompose
from reviewkit.drain.decompose import settled as settled
from reviewkit.drain.findings import findings
from reviewkit.drain.inputs import DrainInputs as DrainInputs
from reviewkit.drain.inputs import check, inputs
from reviewkit.drain.inputs import slug as slug
from reviewkit.drain.sentences import advice, summary
from reviewkit.drain.states import Days as Days
from reviewkit.drain.states import Drain as Drain
from reviewkit.drain.states import Fitness as Fitness
from reviewkit.drain.states import analyse, connecting, datasets
from reviewkit.drain.states import days as days
from reviewkit.drain.states import fitness as fitness
from reviewkit.drain.states import self_discharge_A as self_discharge_A

__all__ = ["advice", "analyse", "check", "connecting", "datasets", "findings", "inputs", "summary"]
