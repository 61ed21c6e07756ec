"""A run of the command line that is to be killed: forked with all imported, in a session of its own."""

from __future__ import annotations

import errno
import json
import multiprocessing
import os
import signal
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit.publishing import atomic

COUNTED, SENT = ".json", ".sent"
_LOADED = (
    "reviewkit.cli",
    "reviewkit.commands.reviews",
    "reviewkit.commands.pages",
    "reviewkit.execution.kernel",
)
_CHANGES = {
    *("os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.link", "os.chmod", "os.truncate"),
    *("shutil.rmtree", "shutil.copyfile", "ctypes.dlsym"),
}
_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT


@dataclass(frozen=True)
class At:
    """A moment in the life of a run: before one of its changes to the disk.

    Parameters
    ----------
    change : int
        How many changes it is allowed; fewer than none: any number.
    from_put : bool
        Whether they are counted from where the review is put into its place.
    sent : int
        The signal that it then sends itself.
    """

    change: int = -1
    from_put: bool = False
    sent: int = signal.SIGKILL


def _writes(flags: object) -> bool:
    return isinstance(flags, int) and bool(flags & _WRITING)


@dataclass
class _Counter:
    """Counts the changes to the disk that the interpreter tells of, and ends the process at one of them."""

    at: At
    sent: int
    made: int = 0
    until_put: int = 0
    is_putting: bool = False

    def hear(self, event: str, told: tuple[Any, ...]) -> None:
        if event not in _CHANGES and not (event == "open" and _writes(told[2])):
            return
        counted = self.made - self.until_put if self.at.from_put else self.made
        if counted == self.at.change and (self.is_putting or not self.at.from_put):
            # Once: what is done on the way out is not ended again.
            self.made += 1
            os.write(self.sent, str(time.monotonic()).encode())
            os.kill(os.getpid(), self.at.sent)
            return
        self.made += 1

    def start_putting(self) -> None:
        if not self.is_putting:
            self.is_putting, self.until_put = True, self.made


def forked(
    arguments: Sequence[str], *, environment: dict[str, str], told: Path, kernels: bool, at: At
) -> multiprocessing.process.BaseProcess:
    """Start a run.

    Parameters
    ----------
    arguments : sequence of str
        Of the command line.
    environment : dict
    told : pathlib.Path
        Gets what it prints; beside it, `COUNTED`: how many changes to the disk it made, and how many before
        it began to put; `SENT`: when it sent itself the signal.
    kernels : bool
        Whether it is to find itself on a system that does not watch processes: no server, only kernels.
    at : At
    """
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([*_LOADED, __name__])
    given = (list(arguments), environment, str(told), kernels, at)
    process = context.Process(target=_live, args=given)
    process.start()
    return process


def _live(arguments: list[str], environment: dict[str, str], told: str, kernels: bool, at: At) -> None:
    os.setsid()
    signal.signal(signal.SIGINT, signal.default_int_handler)
    paper = os.open(told, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    for number in (1, 2):
        os.dup2(paper, number)
    os.environ.update(environment)
    tempfile.tempdir = None
    # As in a program that was started as any other.
    multiprocessing.set_start_method("fork", force=True)
    if kernels:
        os.pidfd_open = _unknown
    counter = _Counter(at, os.open(Path(told).with_suffix(SENT), os.O_WRONLY | os.O_CREAT | os.O_TRUNC))
    _tell_of_put(counter)
    sys.addaudithook(counter.hear)
    from reviewkit.cli import main

    try:
        main(arguments)
    finally:
        at_end = {"made": counter.made, "until_put": counter.until_put}
        Path(told).with_suffix(COUNTED).write_text(json.dumps(at_end), encoding="utf-8")


def _unknown(pid: int, flags: int = 0) -> int:
    raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))


def _tell_of_put(counter: _Counter) -> None:
    own = atomic.put

    def put(*given: Any, **named: Any) -> Path:
        counter.start_putting()
        return own(*given, **named)

    atomic.put = put
