"""The disk: temporary folders, two folders exchanged in one step, and a disk that is full."""

from __future__ import annotations

import ctypes
import errno
import os
import re
import shutil
import sys
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
def told_when_full(out: Path) -> Iterator[None]:
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
        short = [name for path, name in held.items() if not _takes(path)] or held.values()
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


_OURS = re.compile(r"reviewkit-(?P<process>\d+)-\w+")
_PART = re.compile(r".+\.(?P<process>\d+)")


def settle() -> None:
    """Have Python look for its folder for temporary files as ever, but without a file to try it with.

    That one has a name of no meaning, and whoever is killed just then leaves it.
    """
    usual = [os.environ.get(name) for name in ("TMPDIR", "TEMP", "TMP")]
    places = [name for name in [*usual, *(["/tmp"] if os.name == "posix" else [])] if name]
    if tempfile.tempdir is None and places and os.access(places[0], os.W_OK | os.X_OK):
        tempfile.tempdir = str(Path(places[0]).absolute())


def made_temporary() -> Path:
    """Return a new empty folder of this process's, to be removed by whoever asked.

    Raises
    ------
    InputError
        If the folder for temporary files takes none.
    """
    settle()
    try:
        return Path(tempfile.mkdtemp(prefix=f"reviewkit-{os.getpid()}-"))
    except OSError as error:
        if is_full(error):
            raise
        raise InputError(
            f"can't write to the folder for temporary files ({error.strerror})",
            file=tempfile.tempdir or "",
            remedy="Name another one in the variable TMPDIR.",
        ) from None


@contextmanager
def temporary_folder() -> Iterator[Path]:
    """Hold a new empty folder; it goes with everything in it."""
    path = made_temporary()
    try:
        yield path
    finally:
        shutil.rmtree(path, ignore_errors=True)


def sweep() -> None:
    """Remove the folders of processes that are no more."""
    for folder in Path(tempfile.gettempdir()).glob("reviewkit-*"):
        ours = _OURS.fullmatch(folder.name)
        # Another user's can't be removed, and is left.
        if ours and not _runs(int(ours["process"])):
            shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """Write a file whole or not at all.

    Parameters
    ----------
    path : pathlib.Path
        Where it is to be; a file that is there stays until the new one is whole.

    Yields
    ------
    pathlib.Path
        Where to write it.
    """
    part = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        yield part
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def sweep_parts(path: Path, named: str = "*") -> None:
    """Remove what processes that are no more have left unfinished in a folder.

    Parameters
    ----------
    named : str
        Pattern of the files that they were writing; in a folder of the user's own it names no other.
    """
    for part in path.glob(f"{named}.*"):
        ours = _PART.fullmatch(part.name)
        if ours and part.is_file() and not _runs(int(ours["process"])):
            part.unlink(missing_ok=True)


def _runs(process: int) -> bool:
    from psutil import pid_exists  # only where there is something to ask about

    return bool(pid_exists(process))
