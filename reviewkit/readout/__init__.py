"""The voltage readout: where its shown value changes, how far off it can be, what to read next."""

from reviewkit.readout.analysis import Readout, SwitchingPoint, analyse
from reviewkit.readout.fit import Fit, fit
from reviewkit.readout.information import Information
from reviewkit.readout.inputs import ReadoutInputs, check, inputs
from reviewkit.readout.marks import Bracket
from reviewkit.readout.plan import Plan, plan

__all__ = [
    "Bracket",
    "Fit",
    "Information",
    "Plan",
    "Readout",
    "ReadoutInputs",
    "SwitchingPoint",
    "analyse",
    "check",
    "fit",
    "inputs",
    "plan",
]
