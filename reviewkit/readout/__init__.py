"""The voltage readout: where its displayed value changes, how far off it can be, what to read next."""

from reviewkit.readout.analysis import Readout as Readout
from reviewkit.readout.analysis import analyse
from reviewkit.readout.fit import Plan as Plan
from reviewkit.readout.fit import fit as fit
from reviewkit.readout.fit import plan as plan
from reviewkit.readout.model import ReadoutInputs as ReadoutInputs
from reviewkit.readout.model import inputs
from reviewkit.readout.report import findings, summary
from reviewkit.readout.table import check

__all__ = ["analyse", "check", "findings", "inputs", "summary"]
