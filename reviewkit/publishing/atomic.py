"""Puts finished reviews in place: whole or not at all, and never over a good one with a bad one."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout

from reviewkit.errors import InputError
from reviewkit.publishing import editions, journal, written
from reviewkit.publishing.editions import Edition
from reviewkit.system import full_disk
from reviewkit.system.swap import exchanged

_LOCK = ".reviewkit.lock"
DRAFT = ".draft"


@contextmanager
def site(out: Path) -> Iterator[Path]:
    """Hold the published folder for one run; what an earlier, killed run left is set right first.

    Parameters
    ----------
    out : pathlib.Path
        Made if it does not exist.

    Yields
    ------
    pathlib.Path
        `out`, absolute.

    Raises
    ------
    InputError
        If another run holds it, or it can't be written to; or if a disk is full.
    """
    out = out.resolve()
    lock = FileLock(out / _LOCK)
    try:
        out.mkdir(parents=True, exist_ok=True)
        _refuse_strange_lock(out / _LOCK)
        lock.acquire(blocking=False)
    except Timeout:
        raise InputError(
            f"another run is writing to '{out.name}'", remedy="Wait until it has ended."
        ) from None
    except OSError as error:
        raise InputError(
            f"can't write to the folder '{out.name}' ({error.strerror})", remedy="Choose another with -o."
        ) from None
    try:
        with full_disk.told(out):
            journal.settle(out)
            try:
                yield out
            finally:
                journal.sweep(out)
    finally:
        _let_go(lock, out / _LOCK)


def _refuse_strange_lock(place: Path) -> None:
    if os.path.lexists(place) and (place.is_symlink() or not place.is_file() or place.stat().st_size):
        raise InputError(
            "the kit did not write this file, and leaves it alone",
            file=f"{place.parent.name}/{place.name}",
            remedy=written.ELSEWHERE,
        )


def _let_go(lock: FileLock, place: Path) -> None:
    """Remove the lock's file while it is still ours: afterwards it may be another run's."""
    try:
        place.unlink(missing_ok=True)
        lock.release()
    except OSError:
        # This system removes no open file, and so not another run's either.
        lock.release()
        with suppress(OSError):
            place.unlink()


def stage(out: Path, name: str) -> Path:
    """Return a new empty folder beside the published ones, on the same disk."""
    folder = journal.claim(out, "staging", name)
    folder.mkdir()
    return folder


def put(staged: Path, out: Path, name: str, *, good: bool) -> Path:
    """Move a staged review into place.

    Parameters
    ----------
    staged, out : pathlib.Path
    name : str
    good : bool
        A good one takes the place of the last and of any draft; another becomes the draft. An edition
        whose place is taken by a later one is kept beside it.

    Returns
    -------
    pathlib.Path
        Where it is now.

    Raises
    ------
    InputError
        If what lies in its place is not, or not wholly, the kit's.
    """
    place = out / (name if good else name + DRAFT)
    written.seal(staged)
    if good:
        _keep(out, name, editions.at(staged))
    _swap(staged, place)
    # What somebody has put into the draft since stays.
    if good and written.fault(out / (name + DRAFT)) is None:
        shutil.rmtree(out / (name + DRAFT), ignore_errors=True)
    return place


def _keep(out: Path, name: str, new: Edition | None) -> None:
    """Keep the edition whose place another one is to take; it is there whole before its place is touched."""
    old = editions.at(out / name)
    if old is None or (new and new.number == old.number):
        return
    place = editions.place_of_kept(out, name, old.number)
    copy = stage(out, place.name)
    editions.copy(old.place, copy)
    written.seal(copy)
    _swap(copy, place)


def _swap(new: Path, place: Path) -> None:
    # It was looked at before the run; that may have been hours ago.
    if fault := written.fault(place):
        raise fault
    if place.exists() and exchanged(new, place):
        # What was published lies now where the new one was made.
        shutil.rmtree(new, ignore_errors=True)
        return
    old = journal.claim(place.parent, "old", place.name)
    if place.exists():
        # Killed between the two renames, the next run finds the old one and puts it back.
        place.rename(old)
    new.rename(place)
    shutil.rmtree(old, ignore_errors=True)
