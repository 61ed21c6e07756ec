"""Two folders take each other's place in one step, where the system can do that."""

from __future__ import annotations

import ctypes
import errno
import os
import sys
from pathlib import Path

_HERE = -100  # AT_FDCWD: paths are taken from the working directory
_EXCHANGE = 2  # RENAME_EXCHANGE of Linux; RENAME_SWAP of macOS is the same number
_CANNOT = {errno.ENOSYS, errno.EINVAL, errno.ENOTSUP, errno.EPERM}


def exchanged(one: Path, other: Path) -> bool:
    """Let two folders on one disk take each other's place; nobody sees either place empty.

    Parameters
    ----------
    one, other : pathlib.Path
        Both are there.

    Returns
    -------
    bool
        False where the system or the disk can't do that; nothing has changed then.

    Raises
    ------
    OSError
        If it could but for these two.
    """
    paths = os.fsencode(one), os.fsencode(other)
    try:
        library = ctypes.CDLL(None, use_errno=True)
        if sys.platform == "darwin":
            failed = library.renamex_np(*paths, _EXCHANGE)
        else:
            failed = library.renameat2(_HERE, paths[0], _HERE, paths[1], _EXCHANGE)
    except (AttributeError, TypeError, OSError):
        # No such call in the system's library, or, on Windows, no such library.
        return False
    if failed and (number := ctypes.get_errno()) not in _CANNOT:
        raise OSError(number, os.strerror(number), str(one), None, str(other))
    return not failed
