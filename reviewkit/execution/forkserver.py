"""Quick execution: notebooks run in children forked from a process that has their libraries loaded already.

The process is `reviewkit.execution.forked`, a program: the standard library's own fork server would run the
user's script a second time, and with everything that the user's environment holds.
"""

from __future__ import annotations

import hashlib
import json
import os
import socket
import struct
import subprocess
import sys
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import cache
from multiprocessing.connection import Client, Connection
from threading import Lock
from typing import Any

from reviewkit.execution import papermill_run
from reviewkit.execution.papermill_run import Outcome, Task, environment
from reviewkit.system.kit import fingerprint as program

PREFIX = "\0reviewkit-"
"""Of the servers' addresses: names that are no files, and are gone with the process."""
_START_S = 20.0
_END_S = 20.0
"""Waited for a server's end before it is killed. Chosen: a busy machine may take seconds."""
_lingering: list[subprocess.Popen[bytes]] = []
"""Servers that this process has started and does not wait for."""


class Gone(Exception):
    """There is no server at that address any more."""


class Server:
    """A server, as who asks sees it; for use by several threads.

    Parameters
    ----------
    address : str
        Where it listens.
    """

    def __init__(self, address: str) -> None:
        self._address = address
        self._name = uuid.uuid4().hex
        self._is_closing = False
        # Tells that this process is there; when it is not, what runs for it is killed.
        self._here = self._sent(self._name, None)

    def _sent(self, name: str, job: object) -> Connection:
        try:
            line = Client(self._address, family="AF_UNIX")
        except OSError as error:
            raise Gone from error
        # Anyone on the machine could listen at a name.
        if peer(line)[1] != os.getuid():
            raise Gone
        line.send((name, job))
        return line

    def ask(self, job: object) -> Any:
        """Have a task run, or a function called; None where that has to be done here.

        Raises
        ------
        Gone
            If there is no server any more.
        EOFError
            If the child was killed.
        """
        if self._is_closing:
            raise EOFError
        try:
            with self._sent(self._name, job) as line:
                return line.recv()
        except (EOFError, OSError):
            if not self._is_closing:
                # One that has been killed takes its children along, and no more calls.
                self._sent("", None).close()
            raise EOFError from None

    def close(self) -> None:
        """Leave the server; what it still runs for this process is killed."""
        self._is_closing = True
        self._here.close()

    @property
    def process(self) -> int:
        """The server's process."""
        return peer(self._here)[0]


_server: Server | None = None
_start: Callable[[], Server | None] | None = None
"""Starts it, once, for the block that is to have one."""
_starting = Lock()


def peer(line: Connection) -> tuple[int, int]:
    """Return process and user at the other end of a connection."""
    with socket.socket(fileno=os.dup(line.fileno())) as own:
        told = own.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize("3i"))
    process, user, _ = struct.unpack("3i", told)
    return process, user


@contextmanager
def serving(*, linger_s: float = 0.0, ahead: bool = True) -> Iterator[None]:
    """Have a server at hand for `execute`; a block inside another one uses the same.

    On a system other than Linux nothing is started.

    Parameters
    ----------
    linger_s : float [s]
        How long the server is to stay for the next block, of this process or another one of the same user.
        None stays by default.
    ahead : bool
        Whether it starts at once, beside what this process has to do first; else with the first notebook.
    """
    global _server, _start
    if _start is not None or sys.platform != "linux":
        yield
        return
    own: list[subprocess.Popen[bytes]] = []

    def start() -> Server | None:
        address = PREFIX + (_surroundings() if linger_s else uuid.uuid4().hex)
        if not (linger_s and _reached(address)):
            own.append(_launched(address, linger_s))
        return _found(address, own[0] if own else None)

    _start = cache(start)
    _server = _start() if ahead else None
    try:
        yield
    finally:
        leaving, _server, _start = _server, None, None
        if leaving:
            leaving.close()
        if own and not linger_s:
            own[0].terminate()
            try:
                own[0].wait(_END_S)
            except subprocess.TimeoutExpired:
                own[0].kill()
                own[0].wait()


def _at_hand() -> Server | None:
    """Return the server, started now where it has waited for that; None where there is none."""
    global _server
    with _starting:
        if _server is None and _start is not None:
            _server = _start()
    return _server


def _surroundings() -> str:
    """Return a name for a server that runs this very program in these very surroundings."""
    told = json.dumps([program(), sys.executable, os.getuid(), environment("")], sort_keys=True)
    return hashlib.sha256(told.encode("utf-8", "surrogateescape")).hexdigest()[:32]


def _launched(address: str, linger_s: float) -> subprocess.Popen[bytes]:
    started = subprocess.Popen(
        [sys.executable, "-m", "reviewkit.execution.forked", address.removeprefix(PREFIX), str(linger_s)],
        # It holds nothing of who started it, and an interruption at the terminal is not for it.
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        cwd="/",
        env=environment(os.devnull),
        start_new_session=True,
    )
    if linger_s:
        _lingering.append(started)
    return started


def _found(address: str, own: subprocess.Popen[bytes] | None) -> Server | None:
    """Connect as soon as a server listens, which it does before it loads anything."""
    end = time.monotonic() + _START_S
    while time.monotonic() < end:
        if found := _reached(address):
            return found
        if own is None or own.poll() is not None:
            # Where two start one for the same name at once, one of the two is left.
            return _reached(address)
        time.sleep(0.005)
    return None


def _reached(address: str) -> Server | None:
    with suppress(Gone):
        return Server(address)
    return None


def execute(task: Task) -> Outcome | None:
    """Execute a notebook in a child of the server; None where there is no server, or it needs a kernel."""
    server = _at_hand()
    if server is None:
        return None
    try:
        outcome: Outcome | None = server.ask(task)
    except EOFError:
        return papermill_run.stopped(task, "its process was ended")
    except Gone:
        return None
    return outcome


def abandon() -> None:
    """Leave the server, if there is one: what it runs for this process is killed."""
    if leaving := _server:
        leaving.close()


def call(function: Callable[..., Any], *arguments: Any) -> Any | None:
    """Call a function of the kit's in a child of the server; None where none has started, or it failed.

    Parameters
    ----------
    function : callable
        Of a module that the child can import.
    *arguments
        Plain data.
    """
    with suppress(EOFError, Gone):
        return _server.ask((function, arguments)) if _server else None
    return None
