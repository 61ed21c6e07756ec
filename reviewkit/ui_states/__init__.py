"""What a device does when no one is there: hazards, precautions, and what was not tried."""

from reviewkit.ui_states.assess import Assessment, NothingObserved, assess, of_machine
from reviewkit.ui_states.inputs import UiInputs, inputs
from reviewkit.ui_states.layout import draw, drawing
from reviewkit.ui_states.model import Event, Machine, State, Transition
from reviewkit.ui_states.reach import OwnRule
from reviewkit.ui_states.reading import check
from reviewkit.ui_states.report import findings
from reviewkit.ui_states.sheets import change_list, note_to_maker, precaution_list, signal_table, trial_list
from reviewkit.ui_states.signals import Signal, flash_rate

__all__ = [
    "Assessment",
    "Event",
    "Machine",
    "NothingObserved",
    "OwnRule",
    "Signal",
    "State",
    "Transition",
    "UiInputs",
    "assess",
    "change_list",
    "check",
    "draw",
    "drawing",
    "findings",
    "flash_rate",
    "inputs",
    "note_to_maker",
    "of_machine",
    "precaution_list",
    "signal_table",
    "trial_list",
]
