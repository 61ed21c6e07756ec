"""The side that asks: starts the server, sends it tasks, and knows when there is none to be had."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from concurrent.futures import Future
from contextlib import contextmanager, suppress
from pathlib import Path

from reviewkit import cells, scratch
from reviewkit.environment import environment
from reviewkit.task import Outcome, Task
from reviewkit.warm import exchange


class _Gone(Exception):
    """The server has ended."""


class Client:
    """A running server and the tasks that it is at work on; for use by several threads."""

    def __init__(self) -> None:
        self._home = scratch.made()
        self._asked: dict[str, Future[int]] = {}
        self._lock = threading.Lock()
        self._is_closing = self._has_ended = False
        self._server = subprocess.Popen(
            [sys.executable, "-m", "reviewkit.warm.server", str(self._home)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=environment(str(self._home)),
            # An interruption at the terminal is for the process that asks.
            start_new_session=True,
        )
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def run(self, task: Task) -> Outcome | None:
        """Have a task run; None where it needs a kernel of its own.

        Parameters
        ----------
        task : Task
        """
        place = Path(tempfile.mkdtemp(dir=self._home))
        try:
            exchange.write_task(place, task)
            status = self._ask(str(place)).result()
            if status in (exchange.NEEDS_KERNEL, exchange.FAULT):
                return None
            return exchange.read_outcome(place) or cells.stopped(task, f"ended with status {status}")
        except (TypeError, OSError, _Gone):
            return cells.stopped(task, "interrupted") if self._is_closing else None
        finally:
            shutil.rmtree(place, ignore_errors=True)

    def close(self) -> None:
        """End the server and everything it runs."""
        self._is_closing = True
        assert self._server.stdin
        with self._lock, suppress(OSError):
            self._server.stdin.close()
        self._server.wait()
        self._listener.join()
        assert self._server.stdout
        self._server.stdout.close()
        shutil.rmtree(self._home, ignore_errors=True)

    def _ask(self, place: str) -> Future[int]:
        answer: Future[int] = Future()
        assert self._server.stdin
        with self._lock:
            if self._has_ended or self._is_closing:
                raise _Gone
            self._asked[place] = answer
            self._server.stdin.write(os.fsencode(place) + b"\n")
            self._server.stdin.flush()
        return answer

    def _listen(self) -> None:
        assert self._server.stdout
        for line in self._server.stdout:
            status, _, place = os.fsdecode(line).rstrip("\n").partition(" ")
            self._asked.pop(place).set_result(int(status))
        with self._lock:
            self._has_ended = True
            for answer in self._asked.values():
                answer.set_exception(_Gone())


_client: Client | None = None


@contextmanager
def serving() -> Iterator[None]:
    """Have a server at hand for `execute`; a block inside another one uses the same.

    On a system that does not fork, or can't watch a process, nothing is started.
    """
    global _client
    if _client is not None or not (sys.platform == "linux" and hasattr(os, "pidfd_open")):
        yield
        return
    _client = Client()
    try:
        yield
    finally:
        closing, _client = _client, None
        closing.close()


def execute(task: Task) -> Outcome | None:
    """Execute a notebook in a child of the server; None where there is no server, or it needs a kernel.

    Parameters
    ----------
    task : Task
    """
    return _client.run(task) if _client else None
