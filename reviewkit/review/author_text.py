"""The author's own words, as the file beside the review file has them."""

from __future__ import annotations

import os
from pathlib import Path

from reviewkit.errors import InputError, ReviewFileError, add, gathered
from reviewkit.findings.finding_keys import PLACEHOLDER, FindingKeys
from reviewkit.findings.findings_file import WORDS
from reviewkit.review import photographs
from reviewkit.tables import files

FILE = WORDS
_MOST_BYTES = 1_000_000


def read(folder: Path) -> str:
    """Return the author's words; empty where there are none.

    Raises
    ------
    ReviewFileError
        If the file can't be read as text, or holds far more than anyone writes.
    """
    if not os.path.lexists(folder / FILE):
        return ""
    path = files.locate(FILE, folder=folder, error=ReviewFileError)
    size = path.stat().st_size
    if not size:
        return ""
    if size > _MOST_BYTES:
        raise ReviewFileError("larger than 1 MB", file=FILE, expected="your own paragraphs", remedy=_REMEDY)
    data = files.content(path, file=FILE, error=ReviewFileError, remedy=_REMEDY)
    return files.text(data, file=FILE, error=ReviewFileError, remedy=_REMEDY)


_REMEDY = "Write it as plain text, saved as UTF-8."


def pictured(folder: Path) -> dict[str, photographs.Sized]:
    """Return the photographs in an author's words, by file of the review folder; none that can't be shown."""
    shown: dict[str, photographs.Sized] = {}
    with gathered([]):
        for photo in photographs.named(read(folder)):
            with gathered([]):
                path = files.locate(photo.path, folder=folder)
                name = path.relative_to(folder.resolve()).as_posix()
                shown[name] = photographs.sized(folder, photo.path)
    return shown


def faults(folder: Path, known: FindingKeys) -> list[InputError]:
    """Return what is known before a run to be wrong with the author's words.

    Parameters
    ----------
    folder : pathlib.Path
        The review folder.

    Returns
    -------
    list of InputError
        Whether each placeholder's finding is made in the end is only known after a run.
    """
    found: list[InputError] = []
    with gathered(found):
        text = read(folder)
        add(found, photographs.faults(folder, text))
        for number, line in enumerate(text.splitlines(), 1):
            strange = ((key[1], known.refused(key[1])) for key in PLACEHOLDER.finditer(line))
            add(found, (_strange(key, number, *refused) for key, refused in strange if refused))
    return found


def _strange(key: str, line: int, expected: str, near: str) -> ReviewFileError:
    return ReviewFileError(
        f"no section makes a finding '{key}'",
        file=FILE,
        place=f"line {line}",
        expected=expected,
        remedy=f"Did you mean '{{{near}}}'?" if near else "Take the braces off where no number is meant.",
    )
