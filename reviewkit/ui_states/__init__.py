"""What a device does when no one is there: hazards, precautions, and what was not tried."""

from reviewkit.ui_states.assess import Assessment, NothingObserved, assess, of_machine
from reviewkit.ui_states.events import Event
from reviewkit.ui_states.inputs import UiInputs, check, inputs
from reviewkit.ui_states.layout import draw
from reviewkit.ui_states.model import Machine, State, Transition
from reviewkit.ui_states.rules import OwnRule
from reviewkit.ui_states.sheets import change_list, precaution_list, signal_table, trial_list
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
    "flash_rate",
    "inputs",
    "of_machine",
    "precaution_list",
    "signal_table",
    "trial_list",
]
