"""The charge curve: what the charger does at each moment, and every quantity that is read off it."""

from reviewkit.charge.analysis import analyse_one as analyse_one
from reviewkit.charge.corrected_runs import separate_all
from reviewkit.charge.findings import analyse
from reviewkit.charge.inputs import inputs
from reviewkit.charge.reading import check, read
from reviewkit.charge.record import on_one_clock

__all__ = ["analyse", "check", "inputs", "on_one_clock", "read", "separate_all"]
