"""Finds the templates in a folder, and holds the keys of a review file against what they declare."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from reviewkit import errors
from reviewkit.errors import InputError, gathered
from reviewkit.execution import forkserver
from reviewkit.findings.sentences import FOLDER as WORDS
from reviewkit.review import review_file
from reviewkit.schema import quantities
from reviewkit.sections import template
from reviewkit.sections.template import Section
from reviewkit.system.locations import clone_folder, kit_folder


def discover(folders: Iterable[str | Path] = (), *, only: Iterable[str | Path] = ()) -> tuple[Section, ...]:
    """Return all templates, in their order.

    Parameters
    ----------
    folders : iterable of str or pathlib.Path
        Where to look beside the kit's own and, where it was installed from a clone that is still there, the
        clone's. A later folder's template takes the place of an earlier one's of the same name.
    only : iterable of str or pathlib.Path
        Folders to look in instead of the kit's own and the clone's.

    Raises
    ------
    InputError
        If a folder does not exist or holds no template.
    KitError
        If a template does not describe itself as it must.
    """
    found: dict[str, Section] = {}
    clone = clone_folder()
    given = [*map(Path, only), *map(Path, folders)]
    own = [] if tuple(only) else [kit_folder(), *([clone] if clone else [])]
    for folder in [*own, *given]:
        paths = sorted(folder.glob("*.ipynb"))
        if not (paths or (folder / WORDS).is_dir()):
            raise InputError(f"no section templates (*.ipynb) in '{folder}'")
        found |= {path.stem: template.read(path) for path in paths}
    words = tuple(folder.resolve() for folder in reversed([*own[1:], *given]) if (folder / WORDS).is_dir())
    ordered = sorted(found.values(), key=lambda item: (item.place, item.name))
    return tuple(replace(item, words=words) for item in ordered)


def of_kind(kind: str, templates: Iterable[Section]) -> tuple[Section, ...]:
    """Return the templates of one kind, in their order."""
    return tuple(item for item in templates if item.kind == kind)


def unknown_keys(values: Mapping[str, Any], templates: Iterable[Section]) -> list[InputError]:
    """Return a fault for every key of a review file that nobody declares."""
    known = set(review_file.OWN).union(*(item.names for item in _takers(templates)))
    return [quantities.unknown_key(key, known, file=review_file.FILE) for key in values if key not in known]


def refused(all_values: Sequence[Mapping[str, Any]], templates: Iterable[Section]) -> list[list[InputError]]:
    """Return what the sections' models refuse of several review files: a list of faults for each.

    Where a server is at hand that has the models' libraries loaded, it is asked.

    Parameters
    ----------
    all_values : sequence of mapping
    templates : iterable of Section
    """
    takers = _takers(templates)
    known = forkserver.call(refused_there, list(all_values), [item.path for item in takers])
    if known is None:
        return _refused(all_values, takers)
    return [[errors.from_plain(item) for item in found] for found in known]


def refused_there(all_values: Sequence[Mapping[str, Any]], templates: Sequence[Path]) -> list[list[Any]]:
    """Do the work of `refused` in another process, which is given and returns plain data."""
    takers = [template.read(path) for path in templates]
    return [[errors.to_plain(item) for item in found] for found in _refused(all_values, takers)]


def _refused(all_values: Sequence[Mapping[str, Any]], takers: Sequence[Section]) -> list[list[InputError]]:
    every: list[list[InputError]] = []
    for values in all_values:
        every.append([])
        for item in takers:
            with gathered(every[-1]):
                item.bound(values)
    return every


def _takers(templates: Iterable[Section]) -> list[Section]:
    """Return the templates that take values: a comparison's are the two reviews, nothing of a review file."""
    return [item for item in templates if item.kind != "compare"]
