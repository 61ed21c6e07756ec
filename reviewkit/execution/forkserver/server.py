"""The server: loads the libraries, then forks a child for each notebook it is asked to run.

It is a program, started by `reviewkit.execution.forkserver.client`, and listens on a socket in a folder of
its own. Each line that a client sends names a scratch folder with a task; each line that it gets names the
folder again and how its child ended. When a client goes, its children are killed. When no client has come
for a while, the server ends and its folder goes with it.
"""

from __future__ import annotations

import gc
import os
import selectors
import shutil
import signal
import socket
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from types import FrameType

from reviewkit.execution.forkserver import exchange, preload, socket_file

_FIRST_CLIENT_S = 30.0
_ONE_REVIEW = 6
"""Children that one review takes: for its values, its sections and its summary."""


@dataclass
class _Client:
    """A connection, what of it is no whole line yet, and its children with the folder that each works in."""

    line: socket.socket
    unread: bytes = b""
    children: dict[int, str] = field(default_factory=dict)


class Server:
    """One thread; children are watched through the descriptors that the system gives of them.

    Parameters
    ----------
    entrance : socket.socket
        Listening.
    """

    def __init__(self, entrance: socket.socket) -> None:
        self._entrance = entrance
        self._clients: list[_Client] = []
        self._had_client = False
        self._forked = 0
        self._events = selectors.DefaultSelector()
        self._events.register(entrance, selectors.EVENT_READ, self._let_in)

    def serve(self, linger_s: float, loading: Iterator[None]) -> None:
        """Answer until no client has been there for a while [s]; load what more there is where it pays."""
        try:
            while self._answer(self._patience_s(linger_s)):
                if self._is_worth_loading(linger_s):
                    next(loading, None)
                    gc.freeze()
        finally:
            for client in self._clients:
                _kill_all(client.children)

    def _is_worth_loading(self, linger_s: float) -> bool:
        """Tell whether more than a single review will come of it, which is quicker without."""
        at_rest = not any(client.children for client in self._clients)
        return self._forked > _ONE_REVIEW or (linger_s > 0 and at_rest)

    def _patience_s(self, linger_s: float) -> float | None:
        if self._clients:
            return None
        return linger_s if self._had_client else max(linger_s, _FIRST_CLIENT_S)

    def _answer(self, patience_s: float | None) -> bool:
        """Do what has come up within a time [s]; tell whether anything has."""
        ready = self._events.select(patience_s)
        for key, _ in ready:
            act: Callable[[], None] = key.data
            act()
        return bool(ready)

    def _let_in(self) -> None:
        line, _ = self._entrance.accept()
        client = _Client(line)
        self._clients.append(client)
        self._had_client = True
        self._events.register(line, selectors.EVENT_READ, partial(self._hear, client))

    def _hear(self, client: _Client) -> None:
        try:
            more = client.line.recv(1 << 16)
        except OSError:
            more = b""
        if not more:
            self._see_off(client)
        *lines, client.unread = (client.unread + more).split(b"\n")
        for scratch in lines:
            self._fork(os.fsdecode(scratch), client)

    def _see_off(self, client: _Client) -> None:
        self._events.unregister(client.line)
        client.line.close()
        self._clients.remove(client)
        _kill_all(client.children)
        # Where the client was killed, nobody else removes them.
        for scratch in client.children.values():
            shutil.rmtree(scratch, ignore_errors=True)

    def _fork(self, scratch: str, client: _Client) -> None:
        if threading.active_count() != 1:
            raise SystemExit("a library has started a thread; forking is no longer safe")
        server = os.getpid()
        child = os.fork()
        if child == 0:
            gc.enable()
            # Nothing of the server's own may run in the child: no cleaning up, no answering.
            try:
                status = _in_child(scratch, server)
            except BaseException:
                status = exchange.FAULT
            os._exit(status)
        self._forked += 1
        watched = os.pidfd_open(child)
        client.children[child] = scratch
        self._events.register(watched, selectors.EVENT_READ, partial(self._report, watched, child, client))

    def _report(self, watched: int, child: int, client: _Client) -> None:
        self._events.unregister(watched)
        os.close(watched)
        _, status = os.waitpid(child, 0)
        scratch = client.children.pop(child)
        # What it started itself ends with it.
        _kill_all({child})
        with suppress(OSError):
            client.line.sendall(os.fsencode(f"{os.waitstatus_to_exitcode(status)} {scratch}\n"))


def _in_child(scratch: str, server: int) -> int:
    from reviewkit.execution.forkserver import child

    # The server's own connections: a child that lives on must not keep them open.
    os.closerange(3, 1024)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    return child.run(Path(scratch), server)


def _kill_all(groups: Iterable[int]) -> None:
    for group in groups:
        with suppress(ProcessLookupError, PermissionError):
            os.killpg(group, signal.SIGKILL)


def _end(_signal: int, _frame: FrameType | None) -> None:
    raise SystemExit


def main() -> None:
    """Load, then serve; told are the folder to listen in, how long to wait for a client [s], and by whom."""
    home, linger_s, starter = Path(sys.argv[1]), float(sys.argv[2]), int(sys.argv[3])
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _end)
    entrance = socket_file.listening(home)
    try:
        # What has been loaded stays, so that there is nothing to look for; and a child that looked through it
        # all would copy it all.
        gc.disable()
        loading = preload.steps()
        next(loading)
        gc.freeze()
        # Nobody else is to come to a server that does not stay.
        if linger_s or os.getppid() == starter:
            Server(entrance).serve(linger_s, loading)
    finally:
        shutil.rmtree(home, ignore_errors=True)


if __name__ == "__main__":
    main()
