"""The voltage readout: where its displayed value changes, how far off it can be, what to read next."""

from reviewkit.readout.analysis import Bracket, CodeTransition, Readout, analyse
from reviewkit.readout.fit import Fit, fit
from reviewkit.readout.model import ReadoutInputs, inputs
from reviewkit.readout.next_reading import Information, Plan, plan
from reviewkit.readout.report import findings, summary
from reviewkit.readout.table import check

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
