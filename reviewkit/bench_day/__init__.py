"""The bench day: what is entered while the device lies on the bench, and what that tells at once."""

from reviewkit.bench_day.answers import log_time as log_time
from reviewkit.bench_day.entering import Noted as Noted
from reviewkit.bench_day.entering import cable, clap, drain, reading, trial, undo
from reviewkit.bench_day.journal import entries
from reviewkit.bench_day.tonight import session, tonight

__all__ = ["cable", "clap", "drain", "entries", "reading", "session", "tonight", "trial", "undo"]
