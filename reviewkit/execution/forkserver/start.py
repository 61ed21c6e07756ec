"""Starts a server: one for a single run, or one that stays ready for the next."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from reviewkit.execution.environment import environment
from reviewkit.execution.forkserver import socket_file
from reviewkit.system import locations, temporary
from reviewkit.system.kit_fingerprint import program

_START_S = 20.0
_lingering: list[subprocess.Popen[bytes]] = []
"""Servers that this process has started and does not wait for."""


@contextmanager
def server(linger_s: float) -> Iterator[socket.socket | None]:
    """Hold a connection to a server; None where there is none to be had.

    Parameters
    ----------
    linger_s : float [s]
        How long it is to wait for another client when this one has left; 0: it ends.
    """
    ready = _ready_folder() if linger_s > 0 else None
    if ready is not None:
        yield _found(ready) or _started(ready, linger_s)
        return
    with temporary.folder() as home:
        own = _launch(home, 0.0)
        try:
            yield _reached(home, own)
        finally:
            own.terminate()
            own.wait()


def _ready_folder() -> Path | None:
    """Return where a server listens that runs this very program in these very surroundings."""
    runtime = locations.runtime()
    if runtime is None:
        return None
    surroundings = json.dumps([program(), sys.executable, environment("")], sort_keys=True)
    return runtime / hashlib.sha256(surroundings.encode("utf-8", "surrogateescape")).hexdigest()[:16]


def _found(home: Path) -> socket.socket | None:
    with suppress(OSError):
        return socket_file.connected(home)
    return None


def _started(home: Path, linger_s: float) -> socket.socket | None:
    """Start a server in a folder for all runs of this user; another run may do so at the same moment."""
    from filelock import FileLock, Timeout

    try:
        with FileLock(home.with_suffix(".lock"), timeout=_START_S):
            line = _found(home)
            if line is None:
                # One that was killed has left its folder.
                shutil.rmtree(home, ignore_errors=True)
                home.mkdir(mode=0o700)
                _lingering.append(_launch(home, linger_s))
                line = _reached(home, _lingering[-1])
            return line
    except (OSError, Timeout):
        return None


def _launch(home: Path, linger_s: float) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [
            sys.executable,
            "-m",
            "reviewkit.execution.forkserver.server",
            str(home),
            str(linger_s),
            str(os.getpid()),
        ],
        # It holds nothing of who started it, and an interruption at the terminal is not for it.
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        cwd="/",
        env=environment(str(home)),
        start_new_session=True,
    )


def _reached(home: Path, process: subprocess.Popen[bytes]) -> socket.socket | None:
    """Connect as soon as it listens, which it does before it loads anything."""
    end = time.monotonic() + _START_S
    while process.poll() is None and time.monotonic() < end:
        with suppress(OSError):
            return socket_file.connected(home)
        time.sleep(0.005)
    return None
