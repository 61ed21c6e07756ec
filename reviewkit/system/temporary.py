"""Temporary folders that name the process they belong to, so that a killed one's can be cleared away."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from reviewkit.errors import InputError
from reviewkit.system import full_disk

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


def made() -> Path:
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
        if full_disk.is_full(error):
            raise
        raise InputError(
            f"can't write to the folder for temporary files ({error.strerror})",
            file=tempfile.tempdir or "",
            remedy="Name another one in the variable TMPDIR.",
        ) from None


@contextmanager
def folder() -> Iterator[Path]:
    """Hold a new empty folder; it goes with everything in it."""
    place = made()
    try:
        yield place
    finally:
        shutil.rmtree(place, ignore_errors=True)


def sweep() -> None:
    """Remove the folders of processes that are no more."""
    for place in Path(tempfile.gettempdir()).glob("reviewkit-*"):
        ours = _OURS.fullmatch(place.name)
        # Another user's can't be removed, and is left.
        if ours and not _runs(int(ours["process"])):
            shutil.rmtree(place, ignore_errors=True)


@contextmanager
def whole(place: Path) -> Iterator[Path]:
    """Write a file whole or not at all.

    Parameters
    ----------
    place : pathlib.Path
        Where it is to be; a file that is there stays until the new one is whole.

    Yields
    ------
    pathlib.Path
        Where to write it.
    """
    part = place.with_name(f"{place.name}.{os.getpid()}")
    try:
        yield part
        part.replace(place)
    finally:
        part.unlink(missing_ok=True)


def sweep_parts(place: Path, named: str = "*") -> None:
    """Remove what processes that are no more have left unfinished in a folder.

    Parameters
    ----------
    place : pathlib.Path
    named : str
        Pattern of the files that they were writing; in a folder of the user's own it names no other.
    """
    for part in place.glob(f"{named}.*"):
        ours = _PART.fullmatch(part.name)
        if ours and part.is_file() and not _runs(int(ours["process"])):
            part.unlink(missing_ok=True)


def _runs(process: int) -> bool:
    from psutil import pid_exists  # only where there is something to ask about

    return bool(pid_exists(process))
