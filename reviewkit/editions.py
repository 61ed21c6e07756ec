"""Keeps the findings of the edition before beside a new one, so that its summary can say what changed."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

from reviewkit.records import JSON_FILE

LAST_EDITION = "last_edition.json"


def carry(published: Path, staged: Path, *, edition: int) -> None:
    """Leave the findings of the last earlier edition in the staging folder.

    Parameters
    ----------
    published : pathlib.Path
        Where the review was published before; it need not exist.
    staged : pathlib.Path
    edition : int
        Of the review to come. An edition that is run again keeps the one before it.
    """
    last = published / JSON_FILE
    if not last.is_file():
        return
    try:
        before = int(json.loads(last.read_text(encoding="utf-8"))["review"].get("edition", 1))
    except (ValueError, KeyError, AttributeError):
        return
    source = last if before < edition else published / LAST_EDITION
    if source.is_file():
        shutil.copyfile(source, staged / LAST_EDITION)
