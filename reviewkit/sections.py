"""Sections: notebooks in a folder of templates, found, read and asked what they need.

A section says everything about itself in its own file: its metadata hold title, place and the model of
its inputs, its cell tagged `parameters` the names it takes from the review file.
"""

from __future__ import annotations

import importlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from reviewkit import parameters, review, validation
from reviewkit.errors import InputError, KitError, gathered
from reviewkit.parameters import Parameter

KINDS = ("section", "summary", "compare")
_PACKAGE = Path(__file__).parent
_KIT_FOLDERS = (_PACKAGE / "templates", _PACKAGE.parent / "templates")

Check = Callable[[Any, Path], Sequence[InputError]]


@dataclass(frozen=True)
class Section:
    """One template as its file describes it.

    Parameters
    ----------
    path : pathlib.Path
    kind : {"section", "summary", "compare"}
    title : str
    place : int
        Sections are run and listed in this order.
    parameters : tuple of Parameter
    makes : tuple of str
        What the keys of its findings start with.
    inputs : str
        ``module:Model`` that checks the parameter values; empty for none.
    check : str
        ``module:function`` that checks the files they name; empty for none.
    """

    path: Path
    kind: str
    title: str
    place: int
    parameters: tuple[Parameter, ...]
    makes: tuple[str, ...] = ()
    inputs: str = ""
    check: str = ""

    @property
    def name(self) -> str:
        """The file's name without its ending."""
        return self.path.stem

    @cached_property
    def names(self) -> frozenset[str]:
        """The parameters' names."""
        return frozenset(item.name for item in self.parameters)

    def own(self, values: Mapping[str, Any]) -> dict[str, Any]:
        """Return the values that this section's parameter cell declares."""
        return {name: value for name, value in values.items() if name in self.names}

    def bound(self, values: Mapping[str, Any]) -> BaseModel | None:
        """Return the section's inputs as its model holds them; None if it names no model.

        Raises
        ------
        Faults
            Everything the model finds wrong with the values.
        """
        if not self.inputs:
            return None
        model: type[BaseModel] = _named(self.inputs, self.path.name)
        return validation.checked(model, self.own(values), file=review.FILE)

    def faults(self, values: Mapping[str, Any], folder: Path) -> list[InputError]:
        """Return what the section finds wrong with its values and the files they name, without running."""
        found: list[InputError] = []
        with gathered(found):
            bound = self.bound(values)
            if self.check and bound is not None:
                check: Check = _named(self.check, self.path.name)
                found.extend(check(bound, folder))
        return found


def _named(name: str, template: str) -> Any:
    module, _, attribute = name.partition(":")
    try:
        return getattr(importlib.import_module(module), attribute)
    except (ImportError, AttributeError) as error:
        raise KitError(f"{template}: its metadata name '{name}', which does not exist ({error}).") from error


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
        found |= {path.stem: read(path) for path in paths}
    return tuple(sorted(found.values(), key=lambda item: (item.place, item.name)))


def of_kind(kind: str, templates: Iterable[Section]) -> tuple[Section, ...]:
    """Return the templates of one kind, in their order."""
    return tuple(item for item in templates if item.kind == kind)


def kit_folder() -> Path:
    """Return the folder of the kit's own templates: inside an installed package, beside it in a checkout."""
    for folder in _KIT_FOLDERS:
        if folder.is_dir():
            return folder
    raise KitError("the kit's own templates are missing; install it again.")


def read(path: Path) -> Section:
    """Return what a template's file says about it.

    Raises
    ------
    KitError
        If it is no notebook, or its metadata or parameter cell are not as they must be.
    """
    try:
        notebook = json.loads(path.read_text(encoding="utf-8"))
        own = notebook["metadata"]["reviewkit"]
        section = Section(
            path=path.resolve(),
            kind=own["kind"],
            title=own["title"],
            place=int(own.get("place", 0)),
            parameters=_parameters(notebook, path.name),
            makes=tuple(own.get("makes", ())),
            inputs=own.get("inputs", ""),
            check=own.get("check", ""),
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise KitError(f"{path.name}: no template; its metadata need 'reviewkit' ({error!r}).") from error
    if section.kind not in KINDS:
        raise KitError(f"{path.name}: kind '{section.kind}' is none of {', '.join(KINDS)}.")
    return section


def _parameters(notebook: Mapping[str, Any], template: str) -> tuple[Parameter, ...]:
    cells = [cell for cell in notebook["cells"] if "parameters" in cell.get("metadata", {}).get("tags", ())]
    if len(cells) != 1:
        raise KitError(f"{template}: {len(cells)} cells are tagged 'parameters'; a template has one.")
    source = cells[0]["source"]
    return parameters.inspect(source if isinstance(source, str) else "".join(source), template=template)


def check_values(values: Mapping[str, Any], templates: Iterable[Section], faults: list[InputError]) -> None:
    """Add to `faults` every key that nobody declares and every value that a section's model refuses."""
    known = set(review.OWN).union(*(item.names for item in templates))
    for key in values:
        if key not in known:
            faults.append(validation.unknown_key(key, known, file=review.FILE))
    for item in templates:
        with gathered(faults):
            item.bound(values)
