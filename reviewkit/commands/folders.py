"""A review folder before it is run: made, checked; the keys that its review file may hold."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from reviewkit.errors import Faults, InputError
from reviewkit.findings import finding_keys
from reviewkit.pipeline import loading
from reviewkit.pipeline.results import ASSETS
from reviewkit.publishing import atomic, editions
from reviewkit.review import author_text, review_file, strict_yaml
from reviewkit.review.review_file import ReviewFile
from reviewkit.sections import template

if TYPE_CHECKING:
    from reviewkit.sections.key_list import Key


@dataclass(frozen=True)
class Started:
    """A review folder begun.

    Parameters
    ----------
    files : tuple of pathlib.Path
        Those written.
    told : tuple of str
        What each log was taken for, or what stands in the way of reading it.
    """

    files: tuple[Path, ...]
    told: tuple[str, ...] = ()


def start(
    folder: str | Path,
    *logs: str | Path,
    name: str = "",
    every_key: bool = False,
    notebooks: bool = False,
    templates: Iterable[str | Path] = (),
    only_templates: Iterable[str | Path] = (),
) -> Started:
    """Make a review folder to fill in, with a bench sheet to print.

    Parameters
    ----------
    folder : str or pathlib.Path
        Made if it does not exist.
    *logs : str or pathlib.Path
        Files of meters. They are copied into the folder, and the review file names them.
    name : str
        The device's. Default: the folder's name.
    every_key : bool
        Write all keys there are, each as a comment, and not only the lines that a first review needs.
    notebooks : bool
        Put the sections' notebooks into the folder too, to be filled in and run by hand: of a review that is
        there already as well, with what its file holds.
    templates, only_templates : iterable of str or pathlib.Path
        Folders with section templates, beside the kit's own or in place of them.

    Returns
    -------
    Started

    Raises
    ------
    InputError
        If the folder holds all that is wanted already; nothing is written over.
    Faults
        If a log is missing, or its place in the folder is taken.

    Examples
    --------
    >>> made = reviewkit.start(empty / "my-device", "examples/alder/logs/drain-standby.csv")
    >>> sorted(path.name for path in made.files)
    ['bench-sheet.html', 'readout.csv', 'review.yaml', 'transitions.csv']
    >>> made.told
    ('logs/drain-standby.csv: the drain of a device at rest (sure)',)
    """
    from reviewkit.commands import first_logs, own_instruments
    from reviewkit.sections import review_outline

    target = Path(folder)
    if (target / review_file.FILE).exists():
        return Started(_notebooks(target, templates, only_templates, wanted=notebooks and not logs))
    if refused := atomic.start(target):
        raise Faults(refused)
    called = name or target.resolve().name.replace("-", " ").capitalize()
    parts = template.of_kind("section", template.discover(templates, only=only_templates))
    meters = own_instruments.offered(target)
    where = first_logs.places(target, [Path(log) for log in logs])
    (target / first_logs.LOGS).mkdir(parents=True, exist_ok=True)
    first_logs.copied(target, where)
    seen = first_logs.connected(target, where.values())
    outline = (
        review_outline.review_file(called, parts)
        if every_key
        else review_outline.first_review_file(called, parts, seen.lines, meters)
    )
    texts = {
        review_file.FILE: outline,
        "bench-sheet.html": review_outline.page(called, parts),
        **{file: header + "\n" for part in parts for file, header in part.about.bench.files.items()},
    }
    new = {target / file: text for file, text in texts.items() if not (target / file).exists()}
    for path, text in new.items():
        path.write_text(text, encoding="utf-8")
    by_hand = _notebooks(target, templates, only_templates) if notebooks else ()
    return Started((*new, *by_hand), seen.told)


def _notebooks(
    path: Path,
    templates: Iterable[str | Path],
    only_templates: Iterable[str | Path],
    *,
    wanted: bool = True,
) -> tuple[Path, ...]:
    """Put the sections' notebooks beside a review file, filled in with what it holds."""
    from reviewkit.sections import fillable

    parts = template.of_kind("section", template.discover(templates, only=only_templates))
    new = [part for part in parts if wanted and not (path / part.path.name).exists()]
    if not new:
        told = "there is a review file here already"
        raise InputError(told, file=str(path / review_file.FILE))
    values = strict_yaml.load(path / review_file.FILE)
    for part in new:
        (path / part.path.name).write_text(fillable.notebook(part, values), encoding="utf-8", newline="\n")
    return tuple(path / part.path.name for part in new)


def keys(
    word: str = "",
    *,
    templates: Iterable[str | Path] = (),
    only_templates: Iterable[str | Path] = (),
) -> tuple[Key, ...]:
    """Return the keys of a review file, or those in whose name or meaning a word stands.

    Parameters
    ----------
    word : str
    templates, only_templates : iterable of str or pathlib.Path
        As for `check`.

    Examples
    --------
    >>> [key.name for key in reviewkit.commands.keys("tolerance")]
    ['cell.charge_limit_tolerance_V']
    """
    from reviewkit.sections import key_list

    parts = template.of_kind("section", template.discover(templates, only=only_templates))
    return key_list.keys(parts, word)


def keys_page(*, templates: Iterable[str | Path] = (), only_templates: Iterable[str | Path] = ()) -> str:
    """Return a page of all keys of a review file, in Markdown.

    Parameters
    ----------
    templates, only_templates : iterable of str or pathlib.Path
        As for `check`.

    Examples
    --------
    >>> keys_page().splitlines()[0]
    '# The keys of a review file'
    """
    from reviewkit.sections import key_list

    return key_list.markdown(keys(templates=templates, only_templates=only_templates))


def json_schema(
    *, templates: Iterable[str | Path] = (), only_templates: Iterable[str | Path] = ()
) -> dict[str, Any]:
    """Return the review file's JSON Schema, for editors that complete and explain keys.

    Parameters
    ----------
    templates, only_templates : iterable of str or pathlib.Path
        As for `check`.

    Examples
    --------
    >>> json_schema()["required"]
    ['device']
    """
    from reviewkit.sections import key_list

    return key_list.json_schema(
        template.of_kind("section", template.discover(templates, only=only_templates))
    )


def check(
    *folders: str | Path,
    out: str | Path | None = None,
    templates: Iterable[str | Path] = (),
    only_templates: Iterable[str | Path] = (),
) -> tuple[InputError, ...]:
    """Return everything about the folders that can be known to be at fault without running them.

    Parameters
    ----------
    *folders : str or pathlib.Path
        Review folders.
    out : str or pathlib.Path, optional
        Where they are to be published: what a run would refuse there is told as well. Default: that is left
        aside.
    templates, only_templates : iterable of str or pathlib.Path
        Folders with section templates, beside the kit's own or in place of them.

    Returns
    -------
    tuple of InputError
        Empty if all is well.

    Examples
    --------
    >>> reviewkit.check("examples/alder")
    ()
    """
    parts = template.discover(templates, only=only_templates)
    if out is None:
        return tuple(loading.faults(folders, parts, reserved=(ASSETS,)))
    path = Path(out).resolve()
    wrong = atomic.location(Path(out), map(Path, folders)) or atomic.shared(path)
    found = loading.faults(
        folders, parts, reserved=(ASSETS,), judge=lambda file: [] if wrong else place_faults(file, path)
    )
    return (*found, *wrong)


def place_faults(file: ReviewFile, out: Path) -> list[InputError]:
    """Return why a review can't be published as what it says it is, where it would go."""
    return atomic.review(file, out) or editions.faults(file, out)


@dataclass(frozen=True)
class LookedOver:
    """What is no fault in review folders, but worth a look.

    Parameters
    ----------
    remarks : tuple of str
        As `remarks` returns them.
    idle : tuple of pathlib.Path
        Folders in which nothing is connected: no section has anything of its own to work on.
    """

    remarks: tuple[str, ...]
    idle: tuple[Path, ...]


def remarks(
    *folders: str | Path,
    templates: Iterable[str | Path] = (),
    only_templates: Iterable[str | Path] = (),
) -> tuple[str, ...]:
    """Return what is no fault but worth a look.

    That is: numbers in the authors' words that no finding stands behind, files that nothing names, tables
    begun and not named, keys still to fill in.

    Parameters
    ----------
    *folders : str or pathlib.Path
        Review folders in which `check` finds no fault.
    templates, only_templates : iterable of str or pathlib.Path
        As for `check`.

    Raises
    ------
    InputError
        If an author's words can't be read as text.

    Examples
    --------
    >>> remarks(birch)
    ()
    """
    return looked_over(*folders, templates=templates, only_templates=only_templates).remarks


def looked_over(
    *folders: str | Path,
    templates: Iterable[str | Path] = (),
    only_templates: Iterable[str | Path] = (),
) -> LookedOver:
    """Return the remarks about folders, and which of them hold nothing yet; each is read once for both.

    Parameters
    ----------
    *folders : str or pathlib.Path
        Review folders in which `check` finds no fault.
    templates, only_templates : iterable of str or pathlib.Path
        As for `check`.

    Raises
    ------
    InputError
        If an author's words can't be read as text.

    Examples
    --------
    >>> looked_over(birch)
    LookedOver(remarks=(), idle=())
    """
    parts = template.discover(templates, only=only_templates)
    files = loading.read(folders, parts)
    loose = [f"{file.folder.name}: {remark}" for file in files for remark in loading.remarks(file, parts)]
    typed_by_hand = (
        f"{Path(folder).name}/words.md, line {typed.line}: '{typed.text}' is typed by hand; "
        "a placeholder such as {charge.plateau_current} stays right when the data change."
        for folder in folders
        for typed in finding_keys.hand_typed(author_text.read(Path(folder)))
    )
    nothing = tuple(file.folder for file in files if loading.is_nothing_connected(file, parts))
    return LookedOver((*typed_by_hand, *loose), nothing)
