"""A fingerprint of the program: everything a result depends on besides the review itself."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from reviewkit.system.locations import PACKAGE, clone_folder, kit_folder


@cache
def program() -> str:
    """Return the SHA-256 of the kit's source and templates, and the versions of all libraries and Python."""
    digest = hashlib.sha256(sys.version.encode())
    for name in _libraries():
        digest.update(f"{name}\n".encode())
    for path in _source():
        digest.update(f"{path.name}\n".encode())
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def _libraries() -> list[str]:
    """Return name and version of whatever is installed; the folders' names tell both."""
    places = dict.fromkeys(Path(place) for place in sys.path if place.endswith("-packages"))
    return sorted(path.name for place in places for path in place.glob("*.dist-info"))


def _source() -> Iterator[Path]:
    yield from sorted(PACKAGE.rglob("*.py"))
    for folder in filter(None, (kit_folder(), clone_folder())):
        yield from sorted(path for path in folder.rglob("*") if path.is_file())
