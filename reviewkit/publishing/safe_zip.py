"""Takes files out of a zip that a stranger may have made: whatever is odd about it, it is refused whole."""

from __future__ import annotations

import os
import re
import stat
import struct
import unicodedata
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from reviewkit.errors import InputError

MOST_FILES = 2_000
MOST_BYTES = 1 << 30
"""All files together, unpacked."""
MOST_RATIO = 200
"""No text of a meter's shrinks more than this."""
_SMALL = 10 << 20
"""Up to this size a file may shrink as it likes: an hour of equal readings does."""
_DIRECTORY_BYTES = 1 << 20
_CHUNK = 1 << 20

_END = struct.Struct("<4s4H2LH")
_LARGE_END = b"PK\x06\x07"
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_ENCRYPTED = 0x1
_FORBIDDEN = re.compile(r"[\x00-\x1f\x7f:]")
_FAULTS = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError)


def unpack(path: Path, into: Path, *, wanted: Callable[[str], bool]) -> None:
    """Unpack the files wanted, once everything in the zip is known to be harmless.

    Parameters
    ----------
    path : pathlib.Path
        The zip.
    into : pathlib.Path
        An existing empty folder. Nothing is written outside it.
    wanted : callable
        Told a file's name inside the zip; says whether to unpack it.

    Raises
    ------
    InputError
        If it is no zip or damaged; holds a link, an encrypted file, a name that leads elsewhere or stands
        there twice; or is larger unpacked than a review's evidence can be.
    """
    with _told(path):
        _check_directory(path)
        with zipfile.ZipFile(path) as archive:
            files = _checked(archive.infolist(), path)
            for item in files:
                if wanted(item.filename):
                    _write(archive, item, into)


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Tell whatever a damaged zip makes the reader stumble over in one plain sentence."""
    try:
        yield
    except _FAULTS as error:
        raise _refused(path, "it is damaged, or no zip file") from error
    except OSError as error:
        raise InputError(f"it can't be unpacked ({error.strerror})", file=path.name) from error


def _refused(path: Path, why: str, name: str = "") -> InputError:
    shown = ascii(name)[1:-1][:80]
    return InputError(
        f"refused: {why}",
        file=path.name,
        place=f"its file '{shown}'" if name else "",
        expected="an evidence.zip as the kit wrote it",
    )


def _check_directory(path: Path) -> None:
    """Look at the table of contents' size before a reader fills the memory with it."""
    with path.open("rb") as stream:
        size = stream.seek(0, os.SEEK_END)
        stream.seek(max(0, size - _END.size - 20))
        tail = stream.read()
    if len(tail) < _END.size or not tail[-_END.size :].startswith(b"PK\x05\x06"):
        raise _refused(path, "it is damaged, or no zip file")
    *_, files, directory, _, comment = _END.unpack(tail[-_END.size :])
    if files > MOST_FILES or directory > _DIRECTORY_BYTES or tail.startswith(_LARGE_END):
        raise _refused(path, f"it holds more than {MOST_FILES} files")
    if comment:
        raise _refused(path, "it is damaged, or no zip file")


def _checked(items: Iterable[zipfile.ZipInfo], path: Path) -> list[zipfile.ZipInfo]:
    """Return the files, none of which is odd, alone or beside the others."""
    kept: list[zipfile.ZipInfo] = []
    taken: set[str] = set()
    folders: set[str] = set()
    total = packed = 0
    for item in items:
        why = _odd_name(item.orig_filename) or _odd_kind(item) or _odd_size(item)
        if why:
            raise _refused(path, why, item.orig_filename)
        packed += item.compress_size
        name = _folded(item.filename)
        parents = {name[:place] for place, letter in enumerate(name) if letter == "/"}
        if name.rstrip("/") in taken or parents & taken or (not item.is_dir() and name in folders):
            why = why or "two files have the same name"
        total += item.file_size
        if total > MOST_BYTES:
            why = why or f"it is larger than {MOST_BYTES >> 20} MB unpacked"
        if len(kept) >= MOST_FILES:
            why = f"it holds more than {MOST_FILES} files"
        if why:
            raise _refused(path, why, item.orig_filename)
        folders |= parents
        taken |= set() if item.is_dir() else {name}
        kept += [] if item.is_dir() else [item]
    # Many small files may together be what one large file may not.
    if total > _SMALL and total > MOST_RATIO * packed:
        raise _refused(path, "it unpacks to far more than meters' logs could")
    return kept


def _folded(name: str) -> str:
    """Return a name as the least particular file system sees it."""
    return unicodedata.normalize("NFC", name).casefold()


def _odd_name(name: str) -> str:
    parts = name.removesuffix("/").split("/")
    if name.startswith("/") or ".." in parts or re.match(r"[A-Za-z]:", name) or "\\" in name:
        return "its name leads out of the folder"
    if len(name) > 240 or _FORBIDDEN.search(name) or any(_odd_part(part) for part in parts):
        return "its name is none that every computer can write"
    return ""


def _odd_part(part: str) -> bool:
    # Some systems drop a blank or a dot at the end: ".. " would be "..".
    return part in ("", ".") or part.endswith((" ", "."))


def _odd_kind(item: zipfile.ZipInfo) -> str:
    kind = stat.S_IFMT(item.external_attr >> 16)
    if kind == stat.S_IFLNK:
        return "it is a link"
    if kind not in (0, stat.S_IFDIR if item.is_dir() else stat.S_IFREG) or (item.is_dir() and item.file_size):
        return "it is no plain file"
    if item.flag_bits & _ENCRYPTED:
        return "it is encrypted"
    return "" if item.compress_type in _METHODS else "it is packed in an unusual way"


def _odd_size(item: zipfile.ZipInfo) -> str:
    if item.file_size > _SMALL and item.file_size > MOST_RATIO * item.compress_size:
        return "it unpacks to far more than a meter's log could"
    return ""


def _write(archive: zipfile.ZipFile, item: zipfile.ZipInfo, into: Path) -> None:
    place = into.joinpath(*item.filename.split("/"))
    if not place.resolve().is_relative_to(into.resolve()):
        raise _refused(Path(str(archive.filename)), "its name leads out of the folder", item.filename)
    place.parent.mkdir(parents=True, exist_ok=True)
    # The reader gives no more bytes than the table of contents says, and the sum of those is within bounds.
    with archive.open(item) as packed, place.open("xb") as plain:
        while part := packed.read(_CHUNK):
            plain.write(part)
