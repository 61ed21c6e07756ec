"""Addresses of sockets in the file system, however long the path to them is."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from pathlib import Path

_NAME = "socket"


def listening(home: Path) -> socket.socket:
    """Return a socket on which this process can be asked, in a folder of its own.

    Raises
    ------
    OSError
        If another process listens there.
    """
    own = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    _at(home, own.bind)
    own.listen()
    return own


def connected(home: Path) -> socket.socket:
    """Return a connection to the process that listens in a folder.

    Raises
    ------
    OSError
        If none does.
    """
    own = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        _at(home, own.connect)
    except OSError:
        own.close()
        raise
    return own


def _at(home: Path, do: Callable[[str], None]) -> None:
    """Name the socket by its open folder: an address holds some hundred characters, a path more."""
    folder = os.open(home, os.O_RDONLY | os.O_DIRECTORY)
    try:
        do(f"/proc/self/fd/{folder}/{_NAME}")
    finally:
        os.close(folder)
