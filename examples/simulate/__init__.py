"""Invented measurements: charges, readouts, drains and user interfaces whose truth is known exactly."""

from simulate.cell import Cell
from simulate.charger import Charger, Course, Fold, Pause, Pulses, Rig, course_of
from simulate.drawing import draw
from simulate.meters import Lapse, LoggingMeter, Readings, look
from simulate.scenario import Run, Scenario
from simulate.styles import STYLES, Style
from simulate.truth import Truth

__all__ = [
    "STYLES",
    "Cell",
    "Charger",
    "Course",
    "Fold",
    "Lapse",
    "LoggingMeter",
    "Pause",
    "Pulses",
    "Readings",
    "Rig",
    "Run",
    "Scenario",
    "Style",
    "Truth",
    "course_of",
    "draw",
    "look",
]
