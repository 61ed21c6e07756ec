"""What an author's words can name: every finding with its key and its present value."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from reviewkit.errors import InputError
from reviewkit.findings import Findings, twins
from reviewkit.pipeline import loading, runner
from reviewkit.pipeline.cache import SectionCache
from reviewkit.sections import template
from reviewkit.system import disk


@dataclass(frozen=True)
class Placeholder:
    """A finding as words name it.

    Parameters
    ----------
    key : str
        In braces it stands for the text.
    label : str
        What it is called on the page.
    text : str
        What is printed in its place: value, uncertainty and unit.
    section : str
        The title of the section that makes it.
    also : tuple of str
        Longer keys of the same finding.
    """

    key: str
    label: str
    text: str
    section: str
    also: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        return asdict(self)


@dataclass(frozen=True)
class Listed:
    """The findings of a review folder as it is now.

    Parameters
    ----------
    failed : tuple of str
        Sections that failed, each with the reason: their findings are not among them.
    near : tuple of str
        Where nothing was found: keys that look like the word asked for.
    """

    items: tuple[Placeholder, ...]
    failed: tuple[str, ...] = ()
    near: tuple[str, ...] = ()


def findings(
    folder: str | Path,
    word: str = "",
    *,
    templates: Iterable[str | Path] = (),
    only_templates: Iterable[str | Path] = (),
) -> Listed:
    """Return every finding of a review folder, as placeholders in `words.md` may use them.

    Parameters
    ----------
    folder : str or pathlib.Path
        A review folder. Sections of which nothing has changed are not run again; nothing is published.
    word : str
        Only those in whose key, label or value it stands.
    templates, only_templates : iterable of str or pathlib.Path
        As for `check`.

    Raises
    ------
    Faults
        If the review file can't be used.

    Examples
    --------
    >>> [item.key for item in reviewkit.commands.findings("examples/alder", "hold voltage").items]
    ['charge.hold_voltage']
    """
    parts = template.of_kind("section", template.discover(templates, only=only_templates))
    (file,) = loading.read([folder], template.discover(templates, only=only_templates))
    keep = SectionCache()
    items: list[Placeholder] = []
    with disk.temporary_folder() as path:
        (ended,) = runner.run([(file, path / file.name)], parts, keep=keep)
    if file.is_still_so():
        keep.put(ended.made)
    for result in ended.sections:
        items += _of_section(result.findings, result.section.title)
    failed = tuple(f"{result.section.title}: {result.message}" for result in ended.failed)
    low = word.lower()
    found = tuple(item for item in items if low in f"{item.key}\n{item.label}\n{item.text}".lower())
    near = difflib.get_close_matches(word, [item.key for item in items], n=3, cutoff=0.5) if not found else []
    if not (items or failed):
        raise InputError("no section has found anything yet", file=str(folder))
    return Listed(found, failed, tuple(near))


def _of_section(found: Findings, title: str) -> list[Placeholder]:
    long = twins(found)
    also: dict[str, list[str]] = {}
    for key, short in long.items():
        also.setdefault(short, []).append(key)
    return [
        Placeholder(item.key, item.label, item.text, title, tuple(also.get(item.key, ())))
        for item in found
        if item.key not in long
    ]
