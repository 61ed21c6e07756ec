"""A review in a notebook's parameter cell: checked, run, written as a folder once that is wanted."""

from __future__ import annotations

import html
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit.commands import first_logs, folders, reviews
from reviewkit.errors import CELL, Faults, InputError, ReviewFileError, told_in_a_cell
from reviewkit.publishing import atomic
from reviewkit.review import review_file
from reviewkit.schema import instruments
from reviewkit.sections import cell_entries, template
from reviewkit.sections.template import Section
from reviewkit.system import disk
from reviewkit.tables import keys


@dataclass(frozen=True)
class FilledIn:
    """A review as a parameter cell has it; shows what is filled in, and what isn't.

    Parameters
    ----------
    values : mapping
        The keys of a review file; empty where the cell names a folder.
    folder : pathlib.Path or None
        The review folder, where there is one.
    told : tuple of str
        What to look at, a sentence each.
    logs : tuple of pathlib.Path
        The files that are read, where the cell names them.
    """

    values: Mapping[str, Any]
    folder: Path | None
    told: tuple[str, ...]
    logs: tuple[Path, ...]
    _parts: tuple[Section, ...]

    def run(self, out: str | Path = reviews.OUT) -> reviews.Published:
        """Run the review and publish it.

        Parameters
        ----------
        out : str or pathlib.Path
            Where its published folder goes.
        """
        with self._place() as folder:
            # A folder that goes again is never run again.
            (published,) = reviews.run(folder, out=out, fresh=self.folder is None)
        return published

    @contextmanager
    def _place(self) -> Iterator[Path]:
        if self.folder is not None:
            yield self.folder
        else:
            with _temporary(self.values, self._parts) as (folder, _):
                yield folder

    def __repr__(self) -> str:
        return "\n".join(["Nothing at fault.", *self.told])

    def _repr_html_(self) -> str:
        return f"{self.sentences_html()}{first_logs.pictures(self.logs)}"

    def sentences_html(self) -> str:
        """Return what is to be said of it, without the pictures of its logs."""
        told = "".join(f"<li>{html.escape(line)}</li>" for line in self.told)
        return f"<p>Nothing at fault.</p>{f'<ul>{told}</ul>' if told else ''}"


def filled_in(
    names: Mapping[str, Any],
    *,
    templates: Iterable[str | Path] = (),
    only_templates: Iterable[str | Path] = (),
) -> FilledIn:
    """Return the review that a notebook's parameter cell holds, or that it names.

    The cell's names are the keys of a review file, and are checked as if they stood in one. `folder` names a
    review folder instead; `write_to` a new one, which is written.

    Parameters
    ----------
    names : mapping
        Whatever names there are, as `globals()` in a notebook gives them.
    templates, only_templates : iterable of str or pathlib.Path
        As for `check`.

    Raises
    ------
    InputError
        Everything that is at fault. Nothing is written then.

    Examples
    --------
    >>> reviewkit.filled_in({"folder": "examples/alder"})
    Nothing at fault.
    """
    parts = template.discover(templates, only=only_templates)
    values = cell_entries.given(names, parts)
    folder, target = (_folder(names.get(name)) for name in ("folder", "write_to"))
    _refuse_both(folder, target, values)
    if folder is not None:
        if found := folders.check(folder, templates=templates, only_templates=only_templates):
            raise Faults(found)
        told = folders.remarks(folder, templates=templates, only_templates=only_templates)
        return FilledIn({}, folder, told, (), parts)
    written, values = values, _written_out(values)
    with _temporary(values, parts) as (path, spelled):
        own = tuple(templates), tuple(only_templates)
        if found := folders.check(path, templates=own[0], only_templates=own[1]):
            raise Faults(cell_entries.told(fault, spelled) for fault in found)
        told = folders.remarks(path, templates=own[0], only_templates=own[1])
    if target is not None:
        # By their names, where the folder to be written finds the same meters under them.
        found_there, _ = instruments.put_in(written, target, [])
        _kept(target, written if found_there == values else values, parts)
    logs = tuple(Path(name).expanduser() for name in spelled.values() if Path(name).expanduser().is_file())
    return FilledIn(values, target, tuple(_in_the_cell(line) for line in told), logs, parts)


def _written_out(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values with the meters that stand there by name written out."""
    try:
        return instruments.expanded(values)
    except Faults as error:
        raise Faults(cell_entries.told(fault, {}) for fault in error.faults) from None


def _folder(named: Any) -> Path | None:
    return Path(str(named)).expanduser() if named and str(named).strip() else None


def _refuse_both(folder: Path | None, target: Path | None, values: Mapping[str, Any]) -> None:
    """Make sure that the cell says which review is meant."""
    filled = f"{', '.join(map(repr, values))} {'is' if len(values) == 1 else 'are'} filled in too"
    if folder is not None and values:
        problem = f"'folder' names a review folder, and {filled}"
        remedy = 'Write folder = "" to review what is filled in; or empty those lines.'
        raise ReviewFileError(problem, file=CELL, remedy=remedy)
    if folder is not None and target is not None:
        problem = "'folder' names a review folder, so there is nothing to write to another"
        raise ReviewFileError(problem, file=CELL, place="write_to", remedy='Write write_to = "".')
    if folder is None and not values:
        remedy = "Name a review folder under 'folder', or fill in the device's name and what you measured."
        raise ReviewFileError("nothing is filled in", file=CELL, remedy=remedy)


def _in_the_cell(line: str) -> str:
    """Return a remark on a review folder in the words of a cell, which shows its keys itself."""
    told = line.partition(": ")[2] or line
    section, idle, _ = told.partition(" has nothing to work on: ")
    return f"{section}: not tested, for nothing is filled in." if idle else told_in_a_cell(told)


@contextmanager
def _temporary(values: Mapping[str, Any], parts: Iterable[Section]) -> Iterator[tuple[Path, dict[str, str]]]:
    """Hold a review folder with the values, which goes again; and how the cell names its files."""
    device = values.get("device")
    name = keys.key(str(device.get("name", "")) if isinstance(device, dict) else "", separator="-")
    with disk.temporary_folder() as room:
        yield room / (name or "review"), _write(room / (name or "review"), values, tuple(parts))


def _kept(target: Path, values: Mapping[str, Any], parts: tuple[Section, ...]) -> None:
    """Write the review folder that is wanted, unless it is there with the same review file already."""
    if (target / review_file.FILE).exists():
        before = (target / review_file.FILE).read_text(encoding="utf-8", errors="replace")
        if before != _texts(target, values, parts)[0][review_file.FILE]:
            raise ReviewFileError(
                "there is another review there already",
                file=str(target),
                place="write_to",
                remedy=f'Go on in it: folder = "{target.as_posix()}", and the rest empty. Or name a new one.',
            )
    elif refused := atomic.start(target):
        raise Faults(refused)
    _write(target, values, parts)


def _write(folder: Path, values: Mapping[str, Any], parts: tuple[Section, ...]) -> dict[str, str]:
    """Write a review folder, but no file that is there; return how the cell names its files.

    Raises
    ------
    Faults
        If a file that is named is missing, or its place is taken.
    """
    texts, where, spelled = _texts(folder, values, parts)
    taken = [name for name in texts if name != review_file.FILE and _differs(folder / name, texts[name])]
    if taken:
        remedy = "Name the file there in its place, or rename one of the two."
        raise Faults(
            InputError("this table is there already, and is another", file=name, remedy=remedy)
            for name in taken
        )
    folder.mkdir(parents=True, exist_ok=True)
    first_logs.copied(folder, where)
    for name, text in texts.items():
        if not (folder / name).exists():
            with disk.whole(folder / name) as part:
                part.write_text(text, encoding="utf-8")
    return spelled


def _differs(folder: Path, text: str) -> bool:
    return folder.exists() and folder.read_text(encoding="utf-8", errors="replace") != text


def _texts(
    folder: Path, values: Mapping[str, Any], parts: tuple[Section, ...]
) -> tuple[dict[str, str], dict[Path, str], dict[str, str]]:
    """Return the texts of a review folder, which files go where, and how the cell names them all."""
    named = dict.fromkeys(str(holder[key]) for holder, key in cell_entries.files(dict(values), parts))
    there = {name: path for name in named if (path := Path(name).expanduser()).is_file()}
    where = first_logs.places(folder, list(there.values()))
    # What is missing keeps a name of its own, so that it is told in the words of `check`.
    names = {name: where[there[name]] if name in there else f"missing/{Path(name).name}" for name in named}
    found, tables = cell_entries.named(values, parts, names)
    typed = {table: f"{CELL}, {key}" for part in parts for key, table in part.about.bench.tables.items()}
    spelled = {own: name for name, own in names.items()} | {name: typed[name] for name in tables}
    return {review_file.FILE: cell_entries.text(found), **tables}, where, spelled
