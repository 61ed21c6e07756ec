"""The voltage readout: where its displayed value changes, how far off it can be, what to read next."""

from reviewkit.readout.analysis import CodeTransition, Readout, analyse
from reviewkit.readout.fit import Fit, fit
from reviewkit.readout.inputs import ReadoutInputs, inputs
from reviewkit.readout.next_reading import Information, Plan, plan
from reviewkit.readout.report import findings, summary
from reviewkit.readout.table import check
from reviewkit.readout.thresholds import Bracket

__all__ = [
    "Bracket",
    "CodeTransition",
    "Fit",
    "Information",
    "Plan",
    "Readout",
    "ReadoutInputs",
    "analyse",
    "check",
    "findings",
    "fit",
    "inputs",
    "plan",
    "summary",
]
