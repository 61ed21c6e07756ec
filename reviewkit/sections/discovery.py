"""Finds the templates in a folder, and holds the keys of a review file against what they declare."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from reviewkit import errors
from reviewkit.errors import InputError, gathered
from reviewkit.execution import forkserver
from reviewkit.review import review_file
from reviewkit.schema import quantities
from reviewkit.sections import template
from reviewkit.sections.template import Section
from reviewkit.system.locations import kit_folder


def discover(folders: Iterable[Path] = ()) -> tuple[Section, ...]:
    """Return all templates, in their order.

    Parameters
    ----------
    folders : iterable of pathlib.Path
        Where to look; none: the kit's own. A later folder's template takes the place of an earlier
        one's of the same name.

    Raises
    ------
    InputError
        If a folder does not exist or holds no template.
    KitError
        If a template does not describe itself as it must.
    """
    found: dict[str, Section] = {}
    for folder in tuple(folders) or (kit_folder(),):
        paths = sorted(folder.glob("*.ipynb"))
        if not paths:
            raise InputError(f"no section templates (*.ipynb) in '{folder}'")
        found |= {path.stem: template.read(path) for path in paths}
    return tuple(sorted(found.values(), key=lambda item: (item.place, item.name)))


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
