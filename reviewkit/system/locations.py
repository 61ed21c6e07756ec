"""Where the kit's own files are, and where it may keep what it can make again."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from pathlib import Path

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

    place = Path(url2pathname(urlsplit(noted["url"]).path)) / "templates"
    return place if place.is_dir() and place.resolve() != kit_folder().resolve() else None


def cache() -> Path:
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
