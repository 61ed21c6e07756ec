"""A disk that is full: told as what a person can mend."""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from reviewkit.errors import InputError

_FULL = {errno.ENOSPC, errno.EDQUOT}
REMEDY = "Make room there, then run it again; every published review is whole, as it was or new."
_ROOM_BYTES = 1 << 24
"""More than a file takes that a run writes, be it an executed notebook or a review's evidence."""


@contextmanager
def told(out: Path) -> Iterator[None]:
    """Tell of a full disk which one it is.

    Parameters
    ----------
    out : pathlib.Path
        The published folder; all else is written to the folder for temporary files.

    Raises
    ------
    InputError
        In place of the system's error; every other error goes its way.
    """
    try:
        yield
    except OSError as error:
        if not is_full(error):
            raise
        held = {out: f"'{out.name}'", Path(tempfile.gettempdir()): "temporary files"}
        short = [name for place, name in held.items() if not _takes(place)] or held.values()
        where = " or ".join(short)
        raise InputError(f"no space is left on the disk that holds {where}", remedy=REMEDY) from error


def is_full(error: OSError) -> bool:
    """Whether an error says that a disk, or one's share of it, is full."""
    return error.errno in _FULL


def refuse_no_room() -> None:
    """Make sure that the folder for temporary files takes an executed notebook.

    Raises
    ------
    OSError
        If it does not: what failed for lack of room is no fault of a notebook's.
    """
    if not _takes(Path(tempfile.gettempdir())):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def _takes(folder: Path) -> bool:
    """Whether a folder takes such a file: nothing else tells what one's share of a disk is."""
    try:
        with tempfile.TemporaryFile(dir=folder) as stream:
            stream.write(bytes(_ROOM_BYTES))
            stream.flush()
    except OSError as error:
        return not is_full(error)
    return True
