"""One template: what its file says about it, what it makes of its values; and the templates of a folder.

A section says everything about itself in its own file: its metadata hold title, place and the model of
its inputs, its cell tagged `parameters` the names it takes from the review file.
"""

from __future__ import annotations

import importlib
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field, StringConstraints

from reviewkit import errors
from reviewkit.errors import Faults, InputError, KitError, gathered
from reviewkit.execution import forkserver
from reviewkit.findings.sentences import FOLDER as WORDS
from reviewkit.review import review_file
from reviewkit.schema import quantities
from reviewkit.schema.quantities import Block
from reviewkit.sections import parameter_cell
from reviewkit.sections.parameter_cell import Parameter
from reviewkit.system.kit import clone_folder, kit_folder
from reviewkit.tables import files

Kind = Literal["section", "summary", "compare"]
Check = Callable[[Any, Path], Sequence[InputError]]


_Line = Annotated[str, StringConstraints(strip_whitespace=False)]


class BenchTable(Block):
    """A further table to fill in by hand.

    Parameters
    ----------
    halves : bool
        Whether its rows stand in two halves side by side.
    first : bool
        Whether it comes before the section's own table.
    """

    title: str = Field(min_length=1)
    columns: tuple[str, ...] = Field(min_length=1)
    rows: int = Field(default=4, ge=1, le=60)
    halves: bool = False
    first: bool = False


class Bench(Block):
    """What the bench sheet asks for on behalf of a section.

    Parameters
    ----------
    do : tuple of str
        What to measure, a sentence each.
    columns : tuple of str
        Headings of a table to fill in by hand.
    rows : int
        Its empty rows.
    halves : bool
        Whether they stand in two halves side by side.
    more : tuple of BenchTable
    files : mapping
        Tables to type it into: file name and header line.
    tables : mapping
        The parameter that names each of them in the review file.
    first : tuple of str
        The lines of a review file that a first review needs of this section, as `start` writes them: those
        that a person must fill in begin with "#", each with an example.
    """

    do: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()
    rows: int = Field(default=8, ge=1, le=60)
    halves: bool = False
    more: tuple[BenchTable, ...] = ()
    files: dict[str, str] = Field(default_factory=dict)
    tables: dict[str, str] = Field(default_factory=dict)
    first: tuple[_Line, ...] = ()


class Need(Block):
    """What some findings of a section need of a bench day, so that it can be told while it runs.

    Parameters
    ----------
    finds : tuple of str
        The findings, by the last part of their keys.
    after : str
        What has to happen in a charge: "before" (quiet before the cable goes in), "start", "plateau", "knee",
        "end", "out" (the cable); "" where no log of a charge is asked for.
    for_s : float [s]
        For how long the logs have to go on from there.
    every_s : float [s]
        The longest time between rows that tells it; 0: any.
    logs : tuple of str
        The logs of a charge that it is read from.
    declared : str
        Where no charge is asked for: the parameter that names readings, or a table of them.
    do : str
        What to do, an imperative clause.
    """

    finds: tuple[str, ...]
    after: Literal["", "before", "start", "plateau", "knee", "end", "out"] = ""
    for_s: float = Field(default=0.0, ge=0)
    every_s: float = Field(default=0.0, ge=0)
    logs: tuple[str, ...] = ("voltage", "current")
    declared: str = ""
    do: str = ""


class Metadata(Block):
    """What a template's metadata say under ``reviewkit``.

    Parameters
    ----------
    kind : {"section", "summary", "compare"}
    place : int
        Sections are run and listed in this order.
    makes : tuple of str
        What the keys of its findings start with.
    finds : mapping
        The last names of their keys, all that there can be, each with its unit ("": none; null: it may
        differ); empty where it does not say.
    inputs : str
        ``module:Model`` that checks the parameter values; empty: the types in the parameter cell do.
    check : str
        ``module:function`` that checks the files they name; empty: that they are there.
    needs : tuple of Need
        What its findings need of a bench day.
    figures : tuple of str
        Of a summary: findings that the list of all reviews shows in columns of their own.
    cards : tuple of str
        Of a summary: the findings that a card for a video is made of.
    repeatable : bool
        Whether what it finds depends on nothing but its template, its parameters, the files they name and
        the kit, so that it need not run again while these are the same.
    """

    kind: Kind
    title: str = Field(min_length=1)
    place: int = 0
    makes: tuple[str, ...] = ()
    finds: dict[str, str | None] = Field(default_factory=dict)
    inputs: str = ""
    check: str = ""
    bench: Bench = Bench()
    needs: tuple[Need, ...] = ()
    figures: tuple[str, ...] = ()
    cards: tuple[str, ...] = ()
    repeatable: bool = False


@dataclass(frozen=True)
class Section:
    """One template as its file describes it.

    Parameters
    ----------
    words : tuple of pathlib.Path
        Template folders whose wording comes before the kit's own.
    """

    path: Path
    about: Metadata
    parameters: tuple[Parameter, ...]
    words: tuple[Path, ...] = ()

    @property
    def kind(self) -> Kind:
        """What kind of template it is."""
        return self.about.kind

    @property
    def title(self) -> str:
        """What a reader calls it."""
        return self.about.title

    @property
    def place(self) -> int:
        """Where it stands among the others."""
        return self.about.place

    @property
    def name(self) -> str:
        """The file's name without its ending."""
        return self.path.stem

    @property
    def prefixes(self) -> tuple[str, ...]:
        """What its findings' keys start with; anything, where it does not say."""
        return self.about.makes or ("",)

    @cached_property
    def names(self) -> frozenset[str]:
        """The parameters' names."""
        return frozenset(item.name for item in self.parameters)

    def own(self, values: Mapping[str, Any]) -> dict[str, Any]:
        """Return the values that this section's parameter cell declares."""
        return {name: value for name, value in values.items() if name in self.names}

    def handed(self, values: Mapping[str, Any]) -> dict[str, Any]:
        """Return the values as the notebook is given them.

        As the review file has them where the section's own model reads them; else numbers in the units of
        its parameter cell, and what has nothing behind its key as if it were not there.
        """
        own = self.own(values)
        if self.about.inputs:
            return own
        held = self.bound(own).model_dump(include=set(own))
        return {name: value if value == held[name] else held[name] for name, value in own.items()}

    def bound(self, values: Mapping[str, Any]) -> BaseModel:
        """Return the section's inputs as its model holds them.

        Raises
        ------
        Faults
            Everything the model finds wrong with the values.
        """
        return quantities.checked(inputs_model(self), self.own(values), file=review_file.FILE)

    def faults(self, values: Mapping[str, Any], folder: Path) -> list[InputError]:
        """Return what the section finds wrong with its values and the files they name, without running."""
        found: list[InputError] = []
        if not self.about.inputs:
            found.extend(_missing(self, values, folder))
        with gathered(found):
            bound = self.bound(values)
            if self.about.check:
                check: Check = _named(self.about.check, self.path.name)
                found.extend(check(bound, folder))
        return found


def _missing(section: Section, values: Mapping[str, Any], folder: Path) -> Iterator[InputError]:
    """Walk the files that are not there among those that the values name."""
    for item in section.parameters:
        for text in review_file.texts(values.get(item.name)):
            if text and (item.unit == "file" or Path(text).suffix.lower() in _TABLES):
                try:
                    files.locate(text, folder=folder)
                except InputError as error:
                    yield error


_TABLES = {".csv", ".tsv", ".txt", ".log", ".xlsx", ".parquet"}
"""A value that ends like one of these names a file, whether or not its comment says so."""


def inputs_model(section: Section) -> type[BaseModel]:
    """Return the model that a section's metadata name; else one made from its parameter cell.

    Raises
    ------
    KitError
        If there is no such model, or its fields are not the names in the parameter cell.
    """
    if not section.about.inputs:
        return parameter_cell.model(section.parameters)
    model: type[BaseModel] = _named(section.about.inputs, section.path.name)
    if differing := set(model.model_fields) ^ section.names:
        raise KitError(
            f"{section.path.name}: {', '.join(sorted(differing))}: in the parameter cell or in "
            f"'{section.about.inputs}', but not in both."
        )
    return model


def _named(name: str, template: str) -> Any:
    module, _, attribute = name.partition(":")
    try:
        return getattr(importlib.import_module(module), attribute)
    except (ImportError, AttributeError) as error:
        raise KitError(f"{template}: its metadata name '{name}', which does not exist ({error}).") from error


def read(path: Path) -> Section:
    """Return what a template's file says about it.

    Raises
    ------
    KitError
        If it is no notebook, or its metadata or parameter cell are not as they must be.
    """
    try:
        notebook = json.loads(path.read_text(encoding="utf-8"))
        about = quantities.checked(Metadata, notebook["metadata"]["reviewkit"], file=path.name)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise KitError(f"{path.name}: no template; its metadata need 'reviewkit' ({error!r}).") from error
    except Faults as error:
        raise KitError(f"the template's metadata: {error}") from error
    return Section(path.resolve(), about, _parameters(notebook, path.name))


def _parameters(notebook: Mapping[str, Any], template: str) -> tuple[Parameter, ...]:
    cells = [cell for cell in notebook["cells"] if "parameters" in cell.get("metadata", {}).get("tags", ())]
    if len(cells) != 1:
        raise KitError(f"{template}: {len(cells)} cells are tagged 'parameters'; a template has one.")
    source = cells[0]["source"]
    found = parameter_cell.inspect(source if isinstance(source, str) else "".join(source), template=template)
    return tuple(item for item in found if item.name not in BY_HAND)


BY_HAND = frozenset({"folder"})
"""What a parameter cell declares for whoever fills it in by hand: no key of a review file, and never handed
over, so that no notebook that is published names a folder of this machine."""


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
        found |= {path.stem: read(path) for path in paths}
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
    """
    takers = _takers(templates)
    known = forkserver.call(refused_there, list(all_values), [item.path for item in takers])
    if known is None:
        return _refused(all_values, takers)
    return [[errors.from_plain(item) for item in found] for found in known]


def refused_there(all_values: Sequence[Mapping[str, Any]], templates: Sequence[Path]) -> list[list[Any]]:
    """Do the work of `refused` in another process, which is given and returns plain data."""
    takers = [read(path) for path in templates]
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
