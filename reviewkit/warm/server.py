"""The server: loads the libraries, then forks a child for each notebook it is asked to run.

It is a program, started by `reviewkit.warm.client`. Each line that it reads names a scratch folder with a
task; each line that it writes names the folder again and how its child ended. Where its input ends, it
kills what still runs and ends too.
"""

from __future__ import annotations

import gc
import os
import selectors
import shutil
import signal
import sys
import threading
from pathlib import Path
from types import FrameType

from reviewkit.warm import exchange, preload


class Server:
    """One thread; children are watched through the descriptors that the system gives of them."""

    def __init__(self) -> None:
        self._watched = selectors.DefaultSelector()
        self._running: dict[int, tuple[int, str]] = {}
        self._unread = b""

    def serve(self) -> None:
        """Answer requests until there are no more to come."""
        self._watched.register(0, selectors.EVENT_READ)
        try:
            while self._answer_next():
                pass
        finally:
            self._kill_all()

    def _answer_next(self) -> bool:
        for key, _ in self._watched.select():
            if key.fd != 0:
                self._report(key.fd)
            elif not self._read():
                return False
        return True

    def _read(self) -> bool:
        more = os.read(0, 1 << 16)
        *lines, self._unread = (self._unread + more).split(b"\n")
        for line in lines:
            self._fork(os.fsdecode(line))
        return bool(more)

    def _fork(self, scratch: str) -> None:
        server = os.getpid()
        pid = os.fork()
        if pid == 0:
            # Nothing of the server's own may run in the child: no cleaning up, no answering.
            try:
                status = _in_child(scratch, server)
            except BaseException:
                status = exchange.FAULT
            os._exit(status)
        watched = os.pidfd_open(pid)
        self._running[watched] = pid, scratch
        self._watched.register(watched, selectors.EVENT_READ)

    def _report(self, watched: int) -> None:
        pid, scratch = self._running.pop(watched)
        self._watched.unregister(watched)
        os.close(watched)
        _, status = os.waitpid(pid, 0)
        # What it started itself ends with it.
        _kill(pid)
        _say(f"{os.waitstatus_to_exitcode(status)} {scratch}")

    def _kill_all(self) -> None:
        for pid, _ in self._running.values():
            _kill(pid)


def _in_child(scratch: str, server: int) -> int:
    from reviewkit.warm import child

    signal.signal(signal.SIGINT, signal.default_int_handler)
    return child.run(Path(scratch), server)


def _kill(group: int) -> None:
    try:
        os.killpg(group, signal.SIGKILL)
    except (ProcessLookupError, PermissionError):
        return


def _say(line: str) -> None:
    os.write(1, os.fsencode(line) + b"\n")


def _ignore(_signal: int, _frame: FrameType | None) -> None:
    """Leave an interruption to the process that asked; it ends this one by closing its input."""


def main() -> None:
    """Load, then serve; the argument names the folder that goes when all is done."""
    signal.signal(signal.SIGINT, _ignore)
    preload.load()
    if threading.active_count() != 1:
        raise SystemExit("a library has started a thread; forking is no longer safe")
    gc.collect()
    gc.freeze()
    Server().serve()
    # The client removes it too; but it may have been killed.
    shutil.rmtree(sys.argv[1], ignore_errors=True)


if __name__ == "__main__":
    main()
