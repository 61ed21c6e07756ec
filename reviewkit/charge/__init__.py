"""The charge curve."""

from reviewkit.charge.analysis import ChargeResult, analyse_one
from reviewkit.charge.findings import ChargeFindings, ChargeResults
from reviewkit.charge.inputs import ChargeInputs, ChargeRun, check, inputs
from reviewkit.charge.phases import Phase, Phases
from reviewkit.charge.reading import read
from reviewkit.charge.record import ChargeRecord, Gap, on_one_clock
from reviewkit.charge.runs import analyse

__all__ = [
    "ChargeFindings",
    "ChargeInputs",
    "ChargeRecord",
    "ChargeResult",
    "ChargeResults",
    "ChargeRun",
    "Gap",
    "Phase",
    "Phases",
    "analyse",
    "analyse_one",
    "check",
    "inputs",
    "on_one_clock",
    "read",
]
