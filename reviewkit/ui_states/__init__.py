"""What a device does when no one is there: hazards, precautions, and what was not tried."""

from reviewkit.ui_states.analysis import analyse
from reviewkit.ui_states.analysis import of_machine as of_machine
from reviewkit.ui_states.inputs import UiInputs as UiInputs
from reviewkit.ui_states.inputs import inputs
from reviewkit.ui_states.layout import draw as draw
from reviewkit.ui_states.layout import drawing as drawing
from reviewkit.ui_states.model import Event as Event
from reviewkit.ui_states.model import Machine as Machine
from reviewkit.ui_states.model import State as State
from reviewkit.ui_states.model import Transition as Transition
from reviewkit.ui_states.reach import OwnRule as OwnRule
from reviewkit.ui_states.reading import check
from reviewkit.ui_states.report import (
    change_list,
    findings,
    note_to_maker,
    precaution_list,
    signal_table,
    trial_list,
)
from reviewkit.ui_states.signals import Signal as Signal
from reviewkit.ui_states.signals import flash_rate as flash_rate

__all__ = [
    "analyse",
    "change_list",
    "check",
    "findings",
    "inputs",
    "note_to_maker",
    "precaution_list",
    "signal_table",
    "trial_list",
]
