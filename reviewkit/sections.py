"""Finds the templates in a folder, and holds the keys of a review file against what they declare."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from reviewkit import review, template, validation
from reviewkit.errors import InputError, gathered
from reviewkit.places import kit_folder
from reviewkit.template import Section


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


def check_values(values: Mapping[str, Any], templates: Iterable[Section], faults: list[InputError]) -> None:
    """Add to `faults` every key that nobody declares and every value that a section's model refuses."""
    # A comparison's parameters are the two reviews, nothing that a review file holds.
    takers = [item for item in templates if item.kind != "compare"]
    known = set(review.OWN).union(*(item.names for item in takers))
    for key in values:
        if key not in known:
            faults.append(validation.unknown_key(key, known, file=review.FILE))
    for item in takers:
        with gathered(faults):
            item.bound(values)
