"""The author's own words, as the file beside the review file has them."""

from __future__ import annotations

import difflib
import os
from collections.abc import Collection
from pathlib import Path

from reviewkit.errors import Faults, InputError, ReviewFileError, gathered
from reviewkit.findings.placeholders import PLACEHOLDER
from reviewkit.tables import files

FILE = "words.md"
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
    place = files.locate(FILE, folder=folder, error=ReviewFileError)
    size = place.stat().st_size
    if not size:
        return ""
    if size > _MOST_BYTES:
        raise ReviewFileError("larger than 1 MB", file=FILE, expected="your own paragraphs", remedy=_REMEDY)
    data = files.content(place, file=FILE, error=ReviewFileError, remedy=_REMEDY)
    return files.text(data, file=FILE, error=ReviewFileError, remedy=_REMEDY)


_REMEDY = "Write it as plain text, saved as UTF-8."


def faults(folder: Path, prefixes: Collection[str]) -> list[InputError]:
    """Return what is known before a run to be wrong with the author's words.

    Parameters
    ----------
    folder : pathlib.Path
        The review folder.
    prefixes : collection of str
        What the sections' findings start with.

    Returns
    -------
    list of InputError
        Whether each placeholder's finding is made in the end is only known after a run.
    """
    found: list[InputError] = []
    with gathered(found):
        strange = [
            _strange(key[1], number, prefixes)
            for number, line in enumerate(read(folder).splitlines(), 1)
            for key in PLACEHOLDER.finditer(line)
            if not key[1].startswith(tuple(prefixes))
        ]
        if strange:
            raise Faults(strange)
    return found


def _strange(key: str, line: int, prefixes: Collection[str]) -> ReviewFileError:
    tail = key.partition(".")[2]
    known = sorted(prefix + tail for prefix in prefixes) if tail else []
    near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
    starts = ", ".join(f"'{prefix}'" for prefix in sorted(prefixes))
    return ReviewFileError(
        f"no section makes a finding '{key}'",
        file=FILE,
        place=f"line {line}",
        expected=f"a finding's key, which starts with one of {starts}",
        remedy=f"Did you mean '{{{near[0]}}}'?" if near else "Take the braces off where no number is meant.",
    )
