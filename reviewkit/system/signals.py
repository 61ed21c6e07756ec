"""A run that is asked to end: by Ctrl-C, or by the system."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

_SIGNALLED = 128
"""What shells add to a signal's number to tell how a program ended."""


class Terminated(KeyboardInterrupt):
    """The system, or another program, has asked this one to end."""


def status(interruption: KeyboardInterrupt) -> int:
    """Return the exit status that tells what asked the program to end."""
    asked = signal.SIGTERM if isinstance(interruption, Terminated) else signal.SIGINT
    return _SIGNALLED + asked


@contextmanager
def by_termination() -> Iterator[None]:
    """Have a request to terminate end the block as Ctrl-C does, so that nothing is left behind."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, _terminate)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _terminate(_signal: int, _frame: FrameType | None) -> None:
    raise Terminated
