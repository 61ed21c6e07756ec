"""Opens a YAML file of a review folder: there, and nowhere else; what is read of it: `schema.plain_yaml`."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from reviewkit.errors import ReviewFileError
from reviewkit.schema import plain_yaml
from reviewkit.schema.plain_yaml import decoded as decoded
from reviewkit.schema.plain_yaml import dump as dump
from reviewkit.schema.plain_yaml import loads as loads
from reviewkit.tables import files


def load(path: Path) -> dict[str, Any]:
    """Return the file's keys and values.

    Returns
    -------
    dict
        Keys as written; values are str, int, float, bool, None, list and dict.

    Raises
    ------
    ReviewFileError
        If the file is missing, is no text or no YAML, or holds what `plain_yaml` refuses.
    """
    if not os.path.lexists(path):
        raise ReviewFileError(
            "no such file", file=path.name, remedy="'reviewkit start FOLDER' writes one to fill in."
        )
    folder = files.locate(path.name, folder=path.parent, error=ReviewFileError)
    try:
        with folder.open("rb") as stream:
            raw = stream.read(plain_yaml.MAX_BYTES + 1)
    except OSError as failure:
        raise ReviewFileError(
            f"the file cannot be read ({failure.strerror})",
            file=path.name,
            remedy="Allow yourself to read it.",
        ) from None
    return plain_yaml.parse(raw, path.name)
