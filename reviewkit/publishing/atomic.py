"""Where nothing may be published; and finished reviews put in place: whole or not at all."""

from __future__ import annotations

import os
import shutil
import unicodedata
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from reviewkit.errors import Faults, InputError, ReviewFileError, gathered
from reviewkit.pipeline.results import ASSETS
from reviewkit.publishing import editions, written
from reviewkit.publishing.editions import Edition
from reviewkit.review.review_file import FILE, ReviewFile
from reviewkit.system import disk
from reviewkit.system.disk import exchanged

if TYPE_CHECKING:
    from filelock import FileLock

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
    from filelock import FileLock, Timeout  # with an event loop, which `check` does without

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
        with disk.told_when_full(out):
            written.settle_journal(out)
            try:
                yield out
            finally:
                written.sweep_journal(out)
    finally:
        _let_go(lock, out / _LOCK)


def _refuse_strange_lock(path: Path) -> None:
    if os.path.lexists(path) and (path.is_symlink() or not path.is_file() or path.stat().st_size):
        raise InputError(
            "the kit did not write this file, and leaves it alone",
            file=f"{path.parent.name}/{path.name}",
            remedy=written.ELSEWHERE,
        )


def _let_go(lock: FileLock, path: Path) -> None:
    """Remove the lock's file while it is still ours: afterwards it may be another run's."""
    try:
        path.unlink(missing_ok=True)
        lock.release()
    except OSError:
        # This system removes no open file, and so not another run's either.
        lock.release()
        with suppress(OSError):
            path.unlink()


def stage(out: Path, name: str) -> Path:
    """Return a new empty folder beside the published ones, on the same disk."""
    folder = written.claim(out, "staging", name)
    folder.mkdir()
    return folder


def put(staged: Path, out: Path, name: str, *, good: bool) -> Path:
    """Move a staged review into place.

    Parameters
    ----------
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
    folder = out / (name if good else name + DRAFT)
    written.seal(staged)
    if good:
        _keep(out, name, editions.at(staged))
    _swap(staged, folder)
    # What somebody has put into the draft since stays.
    if good and written.fault(out / (name + DRAFT)) is None:
        shutil.rmtree(out / (name + DRAFT), ignore_errors=True)
    return folder


def _keep(out: Path, name: str, new: Edition | None) -> None:
    """Keep the edition whose place another one is to take; it is there whole before its place is touched."""
    old = editions.at(out / name)
    if old is None or (new and new.number == old.number):
        return
    folder = editions.place_of_kept(out, name, old.number)
    copy = stage(out, folder.name)
    editions.copy(old.place, copy)
    written.seal(copy)
    _swap(copy, folder)


def _swap(new: Path, path: Path) -> None:
    # It was looked at before the run; that may have been hours ago.
    if fault := written.fault(path):
        raise fault
    if path.exists() and exchanged(new, path):
        # What was published lies now where the new one was made.
        shutil.rmtree(new, ignore_errors=True)
        return
    old = written.claim(path.parent, "old", path.name)
    if path.exists():
        # Killed between the two renames, the next run finds the old one and puts it back.
        path.rename(old)
    new.rename(path)
    shutil.rmtree(old, ignore_errors=True)


_Identity = tuple[int, int]


def location(out: Path, folders: Iterable[Path]) -> list[InputError]:
    """Return why nothing may be published in a folder: it is, holds or lies in a review folder.

    Links, other spellings and letters of another case are seen through: folders are compared by what the
    system calls them, not by name.

    Parameters
    ----------
    out : pathlib.Path
        Need not exist.
    folders : iterable of pathlib.Path
        Review folders that are to be read.
    """
    above = list(_chain(out))
    around = [folder for folder in above if (folder / FILE).is_file()]
    read = [folder for folder in map(Path, folders) if folder.is_dir()]
    own = {_identity(folder) for folder in above}
    found = []
    for folder in dict.fromkeys([*read, *around]):
        holds = out.is_dir() and _identity(out) in {_identity(item) for item in _chain(folder)}
        if _identity(folder) not in own and not holds:
            continue
        is_it = out.is_dir() and _identity(out) == _identity(folder)
        how = "is" if is_it else "holds" if holds else "lies in"
        problem = f"{_shown(out)} {how} the review folder '{folder.resolve().name}'"
        beside = _beside(folder.resolve(), out if holds and not is_it else None)
        found.append(InputError(problem, remedy=f"Nothing was written. Publish outside it: -o {beside}"))
    return found[:1]


def _chain(path: Path) -> Iterator[Path]:
    """Walk a folder and all above it that are there."""
    whole = path.resolve()
    yield from (item for item in (whole, *whole.parents) if item.is_dir())


def _identity(folder: Path) -> _Identity:
    status = folder.stat()
    return status.st_dev, status.st_ino


def _shown(out: Path) -> str:
    return f"'{out}'" if out.name and ".." not in out.parts else f"'{out}' ('{out.resolve().name}')"


def _beside(folder: Path, around: Path | None) -> str:
    """Return a place to publish in: beside the review folder, or inside the one that holds them all."""
    there = (around.resolve() if around else folder.parent) / "site"
    while any((item / FILE).is_file() for item in _chain(there)):
        there = there.parent.parent / "site"
    try:
        return os.path.relpath(there)
    except ValueError:
        # On another drive.
        return str(there)


def start(folder: Path) -> list[InputError]:
    """Return why no review may be started in a folder: it lies in another, holds one, or was published."""
    for above in _chain(folder):
        if (above / FILE).is_file() and above != folder.resolve():
            problem = f"{_shown(folder)} lies in the review folder '{above.name}'"
            return [InputError(problem, remedy="Start a review beside it.")]
        if (above / written.MARK).is_file():
            problem = f"{_shown(folder)} lies in '{above.name}', where the kit publishes"
            return [InputError(problem, remedy="Start a review outside it.")]
    inside = sorted(folder.glob(f"*/{FILE}")) if folder.is_dir() else []
    if inside:
        problem = f"{_shown(folder)} holds the review folder '{inside[0].parent.name}'"
        return [InputError(problem, remedy="Start a review in a folder of its own.")]
    return []


def shared(out: Path, list_name: str = "") -> list[InputError]:
    """Return why the files that all reviews share can't be written: somebody else's have their names."""
    found: list[InputError] = []
    with gathered(found):
        written.claimed(out)
        written.list_page(out, list_name)
    assets = out / ASSETS
    if os.path.lexists(assets) and (assets.is_symlink() or not assets.is_dir()):
        problem = "the kit did not make this, and leaves it alone"
        found.append(InputError(problem, file=f"{out.name}/{ASSETS}", remedy=written.ELSEWHERE))
    return found


def review(file: ReviewFile, out: Path) -> list[InputError]:
    """Return why a review can't have its place in a published folder."""
    places = [out / file.name, out / (file.name + DRAFT)]
    now = editions.at(out / file.name)
    if now and file.review.edition > now.number:
        places.append(editions.place_of_kept(out, file.name, now.number))
    found = [fault for folder in places if (fault := written.fault(folder))]
    if found:
        return found
    if os.path.lexists(places[0]) and not written.is_review(places[0]):
        problem = "a page that compares two reviews is published under this name"
        return [InputError(problem, file=f"{out.name}/{file.name}", remedy=_RENAME)]
    return _of_another(file, [*places, *(item.place for item in editions.kept(out, file.name))])


_RENAME = "Give the review folder another name, or publish elsewhere with -o."


def _of_another(file: ReviewFile, places: Iterable[Path]) -> list[InputError]:
    """Return a fault where another device's review is published under this one's name."""
    device = file.device
    for folder in places:
        there = editions.device(folder)
        if not there or _is_the_same(there, device.name, device.serial, device.formerly):
            continue
        serial = f", serial number {there['serial']}" if there.get("serial") else ""
        return [
            ReviewFileError(
                f"under '{folder.name}' another device is published: '{there.get('name', '')}'{serial}",
                file=FILE,
                place="device.name",
                remedy=f"{_RENAME} If it is the same device under another name or number, write "
                f"the former one under device.formerly.",
            )
        ]
    return []


def _is_the_same(there: dict[str, str], name: str, serial: str, formerly: Iterable[str]) -> bool:
    """Whether a published device is this one: by its name and, where both tell it, its serial number."""
    known = {_folded(item) for item in formerly}
    same_name = _folded(there.get("name", "")) in known | {_folded(name)}
    other = _folded(there.get("serial", ""))
    return same_name and (not other or not serial.strip() or other in known | {_folded(serial)})


def _folded(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", str(text)).casefold().split())


def comparison(out: Path, name: str) -> None:
    """Make sure that a comparison can have its place.

    Raises
    ------
    InputError
        If something else lies there.
    """
    found = [fault for path in (out / name, out / (name + DRAFT)) if (fault := written.fault(path))]
    if not found and written.is_review(out / name):
        problem = "a review of one device is published under this name"
        found = [InputError(problem, file=f"{out.name}/{name}", remedy="Publish elsewhere with -o.")]
    if found:
        raise Faults(found)
