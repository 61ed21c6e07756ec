"""The charge curve."""

from reviewkit.charge.inputs import ChargeInputs, ChargeRun, check, inputs
from reviewkit.charge.phases import Phase, Phases
from reviewkit.charge.record import ChargeRecord, Gap, on_one_clock

__all__ = [
    "ChargeInputs",
    "ChargeRecord",
    "ChargeRun",
    "Gap",
    "Phase",
    "Phases",
    "check",
    "inputs",
    "on_one_clock",
]
