"""What lies in a review folder and takes no part: files that nothing names, keys that hold nothing."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

from reviewkit.review.review_file import FILE, ReviewFile
from reviewkit.sections import discovery
from reviewkit.sections.template import Section

_ON_PAPER = frozenset({"bench-sheet.html"})
_NAMED = 8
"""Most files or keys that a remark names one by one."""


def is_nothing_connected(file: ReviewFile, parts: Sequence[Section]) -> bool:
    """Whether no section has anything of its own to work on."""
    return len(list(_idle(file, parts))) == len(discovery.of_kind("section", parts))


def remarks(file: ReviewFile, parts: Sequence[Section]) -> Iterator[str]:
    """Walk what to look at: tables begun, other files, sections whose keys are still to be filled in.

    Parameters
    ----------
    file : ReviewFile
    parts : sequence of Section
        All templates.
    """
    left = set(_files(file))
    for section in discovery.of_kind("section", parts):
        for key, table in section.about.bench.tables.items():
            if table in left:
                left.remove(table)
                yield f"{table} lies there and nothing names it: '{key}: {table}' in {FILE} connects it."
    if left:
        yield f"nothing names {_listed(sorted(left))}: name them in {FILE}, or move them out of the folder."
    for section, keys in _idle(file, parts):
        yield f"{section.title} has nothing to work on: {_listed(keys)} in {FILE} still to fill in."


def _files(file: ReviewFile) -> Iterator[str]:
    known = {*file.files, Path(file.review.video).as_posix(), *_ON_PAPER}
    for place, folders, names in os.walk(file.folder):
        folders[:] = [name for name in folders if not name.startswith(".")]
        for name in names:
            path = Path(place, name)
            seen = path.relative_to(file.folder).as_posix()
            if seen not in known and not name.startswith(".") and path.is_file():
                yield seen


def _idle(file: ReviewFile, parts: Sequence[Section]) -> Iterator[tuple[Section, list[str]]]:
    """Walk the sections that have none of the keys that are theirs alone, with those keys."""
    bodies = discovery.of_kind("section", parts)
    shared = Counter(name for section in bodies for name in section.names)
    for section in bodies:
        # A key with a default of its own says how, not what.
        own = [item.name for item in section.parameters if shared[item.name] == 1 and not item.default]
        if own and not any(_is_filled(file.values.get(name)) for name in own):
            yield section, own


def _is_filled(value: object) -> bool:
    return value not in (None, "", {}, [], ())


def _listed(names: Sequence[str]) -> str:
    more = len(names) - _NAMED
    return ", ".join(names[:_NAMED]) + (f" and {more} more" if more > 0 else "")
