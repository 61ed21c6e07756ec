"""The side that asks: finds or starts the server, sends it tasks, and knows when there is none to be had."""

from __future__ import annotations

import os
import socket
import sys
import threading
from collections.abc import Iterator, Mapping
from concurrent.futures import Future
from contextlib import contextmanager, suppress
from typing import Any

from reviewkit.execution import papermill_run
from reviewkit.execution.forkserver import exchange, start
from reviewkit.execution.task import Outcome, Task
from reviewkit.system import temporary


class _Gone(Exception):
    """The server has ended."""


class Client:
    """A connection to a server and the tasks that it is at work on; for use by several threads.

    Parameters
    ----------
    line : socket.socket
        Connected.
    """

    def __init__(self, line: socket.socket) -> None:
        self._line = line
        self._asked: dict[str, Future[int]] = {}
        self._lock = threading.Lock()
        self._is_closing = self._has_ended = False
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def run(self, task: Task) -> Outcome | None:
        """Have a task run; None where it needs a kernel of its own.

        Parameters
        ----------
        task : Task
        """
        with temporary.folder() as place:
            try:
                exchange.write_task(place, task)
                status = self._ask(str(place)).result()
            except (TypeError, OSError, _Gone):
                return papermill_run.stopped(task, "interrupted") if self._is_closing else None
            if status in (exchange.NEEDS_KERNEL, exchange.FAULT):
                return None
            return exchange.read_outcome(place) or papermill_run.stopped(task, f"ended with status {status}")

    def call(self, function: str, argument: Mapping[str, Any]) -> Any | None:
        """Have one of the kit's functions called; None where that has to be done here.

        Parameters
        ----------
        function : str
            As ``module:name``.
        argument : mapping
            Its arguments by name: plain data.
        """
        with temporary.folder() as place:
            try:
                exchange.write_call(place, function, argument)
                self._ask(str(place)).result()
            except (TypeError, OSError, _Gone):
                return None
            return exchange.read_answer(place)

    def close(self) -> None:
        """Leave the server; what it still runs for this client is killed."""
        self._is_closing = True
        with suppress(OSError):
            self._line.shutdown(socket.SHUT_RDWR)
        self._listener.join()
        self._line.close()

    def _ask(self, place: str) -> Future[int]:
        answer: Future[int] = Future()
        with self._lock:
            if self._has_ended or self._is_closing:
                raise _Gone
            self._asked[place] = answer
            self._line.sendall(os.fsencode(place) + b"\n")
        return answer

    def _listen(self) -> None:
        with self._line.makefile("rb") as answers, suppress(OSError):
            for line in answers:
                status, _, place = os.fsdecode(line).rstrip("\n").partition(" ")
                self._asked.pop(place).set_result(int(status))
        with self._lock:
            self._has_ended = True
            for answer in self._asked.values():
                answer.set_exception(_Gone())


_client: Client | None = None


def _can_fork() -> bool:
    """Tell whether this system has what the server needs: Linux, and leave to watch a process."""
    if sys.platform != "linux":
        return False
    try:
        os.close(os.pidfd_open(os.getpid()))
    except (AttributeError, OSError):
        return False
    return True


@contextmanager
def serving(*, linger_s: float = 0.0) -> Iterator[None]:
    """Have a server at hand for `execute`; a block inside another one uses the same.

    On a system that does not fork, or can't watch a process, nothing is started.

    Parameters
    ----------
    linger_s : float [s]
        How long the server is to stay for the next block, of this process or another one of the same user.
        None stays by default.
    """
    global _client
    if _client is not None or not _can_fork():
        yield
        return
    with start.server(linger_s) as line:
        _client = Client(line) if line else None
        try:
            yield
        finally:
            leaving, _client = _client, None
            if leaving:
                leaving.close()


def execute(task: Task) -> Outcome | None:
    """Execute a notebook in a child of the server; None where there is no server, or it needs a kernel.

    Parameters
    ----------
    task : Task
    """
    return _client.run(task) if _client else None


def abandon() -> None:
    """Leave the server, if there is one: what it runs for this process is killed."""
    if leaving := _client:
        leaving.close()


def call(function: str, argument: Mapping[str, Any]) -> Any | None:
    """Call one of the kit's functions in a child of the server; None where there is no server, or it failed.

    Parameters
    ----------
    function : str
        As ``module:name``.
    argument : mapping
        Its arguments by name: plain data.
    """
    return _client.call(function, argument) if _client else None
