"""The kit itself: where its files are, their fingerprint, and the parts of libraries it does without."""

from __future__ import annotations

import hashlib
import os
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from threading import Lock
from types import ModuleType

from reviewkit.errors import InputError, KitError

PACKAGE = Path(__file__).parents[1]
_TEMPLATES = (PACKAGE / "templates", PACKAGE.parent / "templates")
CACHE_VARIABLE = "REVIEWKIT_CACHE"
WORDS_VARIABLE = "REVIEWKIT_WORDS"
"""Tells a section's process the template folders whose wording comes before the kit's own."""


def kit_folder() -> Path:
    """Return the folder of the kit's own templates: inside an installed package, beside it in a checkout."""
    for folder in _TEMPLATES:
        if folder.is_dir():
            return folder
    raise KitError("the kit's own templates are missing; install it again.")


def clone_folder() -> Path | None:
    """Return the `templates` of the clone that the kit was installed from; None where there is none.

    References
    ----------
    PEP 610: an installer notes in `direct_url.json` which folder it was given.
    """
    import json
    from importlib import metadata

    try:
        noted = json.loads(metadata.distribution("reviewkit").read_text("direct_url.json") or "{}")
    except (metadata.PackageNotFoundError, OSError, ValueError):
        return None
    if "dir_info" not in noted:
        return None
    from urllib.parse import urlsplit
    from urllib.request import url2pathname

    path = Path(url2pathname(urlsplit(noted["url"]).path)) / "templates"
    return path if path.is_dir() and path.resolve() != kit_folder().resolve() else None


def cache_folder() -> Path:
    """Return the folder for what can be made again: the system's, or the one that the environment names."""
    from platformdirs import user_cache_path

    return Path(os.environ.get(CACHE_VARIABLE) or user_cache_path("reviewkit", appauthor=False))


def refuse_unreadable_paths(paths: Iterable[str]) -> None:
    """Make sure that this system's locale can tell the letters of some paths.

    Raises
    ------
    InputError
        If one holds bytes that it can't: what is published would name it wrongly, or not be written at all.
    """
    for path in paths:
        try:
            path.encode("utf-8")
        except UnicodeEncodeError:
            raise InputError(
                f"the path '{ascii(path)[1:-1]}' has letters that this terminal's locale can't hold",
                expected=f"UTF-8, not {sys.getfilesystemencoding()}",
                remedy="Set the variable PYTHONUTF8=1, or LC_ALL=C.UTF-8, and run it again.",
            ) from None


@cache
def fingerprint() -> str:
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
    places = dict.fromkeys(Path(folder) for folder in sys.path if folder.endswith("-packages"))
    return sorted(path.name for folder in places for path in folder.glob("*.dist-info"))


def _source() -> Iterator[Path]:
    yield from sorted(PACKAGE.rglob("*.py"))
    for folder in filter(None, (kit_folder(), clone_folder())):
        yield from sorted(path for path in folder.rglob("*") if path.is_file())


SCHEMA_EXTRAS = (
    *("rfc3987_syntax", "rfc3986_validator", "uri_template", "jsonpointer"),
    *("isoduration", "webcolors"),
)
"""Readers of addresses, durations and colours that the notebook format's checker loads, and never asks: most
of its import."""

_held: Counter[str] = Counter()
_aside: dict[str, ModuleType] = {}
_lock = Lock()


@contextmanager
def imports_without(*modules: str, even_imported: bool = False) -> Iterator[None]:
    """Import what stands in the block as if these optional modules were not installed.

    What has been imported before stays as it is unless `even_imported` is set; afterwards each can be
    imported as usual. Several threads may be in such blocks at once.
    """
    with _lock:
        held = [name for name in modules if even_imported or name in _held or name not in sys.modules]
        for name in held:
            if name not in _held and sys.modules.get(name) is not None:
                _aside[name] = sys.modules[name]
            # Python's own way of saying that there is no such module.
            sys.modules[name] = None  # type: ignore[assignment]
        _held.update(held)
    try:
        yield
    finally:
        with _lock:
            _held.subtract(held)
            for name in held:
                if not _held[name]:
                    del _held[name]
                    sys.modules.pop(name, None)
                    if name in _aside:
                        sys.modules[name] = _aside.pop(name)
