"""Fingerprints of what a review reads: taken before anything reads it, held against it afterwards."""

from __future__ import annotations

import errno
import hashlib
import os
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from reviewkit.errors import InputError
from reviewkit.tables import files


@dataclass(frozen=True)
class Fingerprint:
    """What tells a file from any other, and from itself once a byte of it has changed.

    Parameters
    ----------
    path : str
        Relative to the review folder, with forward slashes.
    sha256 : str
        In hexadecimal digits.
    bytes : int
        Its size.
    """

    path: str
    sha256: str
    bytes: int

    def to_dict(self) -> dict[str, Any]:
        """Return the entry that it has in `findings.json`."""
        return asdict(self)


def fingerprint(folder: Path, name: str) -> Fingerprint:
    """Return one file's fingerprint; the file is opened for reading alone.

    Raises
    ------
    InputError
        If it is gone or cannot be read.
    """
    try:
        if not files.is_plain(folder / name):
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT))
        with (folder / name).open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
            return Fingerprint(name, digest, stream.tell())
    except OSError as error:
        raise unreadable(name, error) from error


def fingerprints(folder: Path, names: Iterable[str]) -> tuple[Fingerprint, ...]:
    """Return the fingerprints of several files of a review folder.

    Raises
    ------
    InputError
        If one is gone or cannot be read.
    """
    return tuple(fingerprint(folder, name) for name in names)


def of_text(name: str, text: str) -> Fingerprint:
    """Return the fingerprint that a file of this text has."""
    raw = text.encode()
    return Fingerprint(name, hashlib.sha256(raw).hexdigest(), len(raw))


def there(folder: Path, names: Iterable[str]) -> dict[str, str]:
    """Return the SHA-256 of those files that are there and can be read; the others are told of elsewhere."""
    sums = {}
    for name in names:
        try:
            sums[name] = fingerprint(folder, name).sha256
        except InputError:
            continue
    return sums


def changed(before: Iterable[Fingerprint], sums: Mapping[str, str]) -> Iterator[InputError]:
    """Walk an error for each file that is not what it was.

    Parameters
    ----------
    sums : mapping of str to str
        SHA-256 by path, of another moment; a file that is not in it is passed over.
    """
    for item in before:
        if sums.get(item.path, item.sha256) != item.sha256:
            problem = "the file has changed while the review was run"
            yield InputError(problem, file=item.path, remedy="Nothing was published. Run the review again.")


def still(folder: Path, before: Collection[Fingerprint]) -> bool:
    """Whether every file of a review folder is there and what it was."""
    return there(folder, [item.path for item in before]) == {item.path: item.sha256 for item in before}


def unreadable(name: str, error: OSError) -> InputError:
    """Return what to say of a file that could be read when the review file was, and now can't."""
    return InputError(
        f"the file cannot be read ({error.strerror})",
        file=name,
        remedy="Check that it still lies there, and run the review again.",
    )
