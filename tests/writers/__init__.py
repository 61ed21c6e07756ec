"""Logs as meters, loggers and spreadsheets write them: invented values, so that the truth is known.

Nothing here uses the kit's reader; no style is any product's.
"""

from .judged import Outcome, judge
from .pieces import Truth, truth
from .styles import STYLES, Style

__all__ = ["STYLES", "Outcome", "Style", "Truth", "judge", "truth"]
