"""The charge curve."""

from reviewkit.charge.analysis import ChargeResult, analyse_one
from reviewkit.charge.findings import LABELS, ChargeFindings, ChargeResults
from reviewkit.charge.inputs import ChargeInputs, ChargeRun, inputs
from reviewkit.charge.reading import check, read
from reviewkit.charge.record import ChargeRecord, on_one_clock
from reviewkit.charge.regimes import Phase, Phases
from reviewkit.charge.runs import analyse
from reviewkit.charge.separated import Separations, separate_all
from reviewkit.logs.report import Gap

__all__ = [
    "LABELS",
    "ChargeFindings",
    "ChargeInputs",
    "ChargeRecord",
    "ChargeResult",
    "ChargeResults",
    "ChargeRun",
    "Gap",
    "Phase",
    "Phases",
    "Separations",
    "analyse",
    "analyse_one",
    "check",
    "inputs",
    "on_one_clock",
    "read",
    "separate_all",
]
