"""The author's own words, as the file beside the review file has them."""

from __future__ import annotations

import difflib
import os
import re
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path
from typing import Any

from reviewkit.errors import Faults, InputError, ReviewFileError, gathered
from reviewkit.findings.placeholders import PLACEHOLDER
from reviewkit.tables import files, keys

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


def faults(
    folder: Path,
    prefixes: Collection[str],
    finds: Mapping[str, Collection[str]] | None = None,
    values: Mapping[str, Any] | None = None,
) -> list[InputError]:
    """Return what is known before a run to be wrong with the author's words.

    Parameters
    ----------
    folder : pathlib.Path
        The review folder.
    prefixes : collection of str
        What the sections' findings start with.
    finds : mapping of str to collection of str, optional
        For each of these, the last names that the keys can have; none: any.
    values : mapping, optional
        The review file's: the label in the middle of a key is what somebody called something there.

    Returns
    -------
    list of InputError
        Whether each placeholder's finding is made in the end is only known after a run.
    """
    found: list[InputError] = []
    known = {prefix: tuple(names) for prefix, names in (finds or {}).items() if names}
    labels = {keys.key(text) for text in _texts(values or {})}
    with gathered(found):
        strange = [
            fault
            for number, line in enumerate(read(folder).splitlines(), 1)
            for key in PLACEHOLDER.finditer(line)
            if (
                fault := _strange(key[1], number, prefixes)
                if not key[1].startswith(tuple(prefixes))
                else _misspelt(key[1], number, known, labels)
            )
        ]
        if strange:
            raise Faults(strange)
    return found


def _texts(value: Any) -> Iterator[str]:
    """Walk everything that somebody wrote into a review file, as a text or as a name."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for name, item in value.items():
            yield str(name)
            yield from _texts(item)
    elif isinstance(value, list | tuple):
        for item in value:
            yield from _texts(item)


_UNNAMED = re.compile(r"run_\d+")


def _misspelt(
    key: str, line: int, finds: Mapping[str, tuple[str, ...]], labels: Collection[str]
) -> ReviewFileError | None:
    """Return a fault where a key has a last name that no finding has, or a label that nothing has."""
    prefix = next((one for one in finds if key.startswith(one)), None)
    if prefix is None:
        return None
    *middle, last = key.removeprefix(prefix).split(".")
    if last not in finds[prefix]:
        near = difflib.get_close_matches(last, finds[prefix], n=1)
        meant = key.removesuffix(last) + near[0] if near else ""
    elif len(middle) == 1 and middle[0] not in labels and not _UNNAMED.fullmatch(middle[0]):
        near = difflib.get_close_matches(middle[0], sorted(labels), n=1)
        meant = f"{prefix}{near[0]}.{last}" if near else ""
    else:
        return None
    return ReviewFileError(
        f"no section makes a finding '{key}'",
        file=FILE,
        place=f"line {line}",
        expected="a finding's key, such as the pages of this review have beside their numbers",
        remedy=f"Did you mean '{{{meant}}}'?" if meant else "Take the braces off where no number is meant.",
    )


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
