"""What the kit has written into a published folder or has under way there, and how it is told from the rest.

Each folder that the kit writes holds `reviewkit.sha256`, a list of its files that `sha256sum -c` reads; the
published folder itself holds one for what all reviews share. What is in no such list, or is not as it stands
there, is somebody else's: it is never changed, moved or removed.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import shutil
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from reviewkit.errors import InputError
from reviewkit.findings import SCHEMA, findings_file
from reviewkit.findings.findings_file import FILE as JSON_FILE
from reviewkit.metrology import formatting
from reviewkit.pipeline import harvest
from reviewkit.pipeline.harvest import CSV_FILE, DESCRIPTION
from reviewkit.pipeline.harvest import FOLDER as DATA
from reviewkit.pipeline.results import ASSETS, NOTEBOOKS
from reviewkit.review import video

JOURNAL = ".reviewkit.journal"
_JOURNAL_HEAD = "reviewkit: names in this folder that belong to the run under way\n"
_JOURNAL_NAME = re.compile(r"\.(?P<kind>staging|old|part)-(?P<name>[^/\\]+)-[0-9a-f]{8}")


def claim(out: Path, kind: str, name: str) -> Path:
    """Return a path in a published folder at which nothing is, once it is noted as this run's.

    Parameters
    ----------
    kind : {"staging", "old", "part"}
        A folder or file under way; or a published folder on its way out.
    name : str
        What it is to be, or was.
    """
    folder = out / f".{kind}-{name}-{secrets.token_hex(4)}"
    while os.path.lexists(folder):
        folder = out / f".{kind}-{name}-{secrets.token_hex(4)}"
    head = "" if (out / JOURNAL).exists() else _JOURNAL_HEAD
    with (out / JOURNAL).open("a", encoding="utf-8", newline="\n") as stream:
        stream.write(f"{head}{folder.name}\n")
    return folder


def claimed(out: Path) -> list[Path]:
    """Return what is noted and is there.

    Raises
    ------
    InputError
        If the file of that name is none of the kit's.
    """
    journal = out / JOURNAL
    if not os.path.lexists(journal):
        return []
    try:
        lines = journal.read_text(encoding="utf-8").splitlines(keepends=True)
    except (OSError, UnicodeDecodeError):
        lines = ["?"]
    # One that was cut off before its first line was whole is the kit's as well, be it empty.
    if journal.is_symlink() or not (lines[:1] == [_JOURNAL_HEAD] or _JOURNAL_HEAD.startswith("".join(lines))):
        raise InputError(
            "the kit did not write this file, and leaves it alone",
            file=f"{out.name}/{JOURNAL}",
            remedy="Move it away, or publish elsewhere with -o.",
        )
    names = (line.rstrip("\n") for line in lines[1:] if line.endswith("\n"))
    return [out / name for name in names if _JOURNAL_NAME.fullmatch(name) and os.path.lexists(out / name)]


def settle_journal(out: Path) -> None:
    """Finish or undo what a killed run left half done: put back what was on its way out, remove the rest."""
    for folder in claimed(out):
        found = _JOURNAL_NAME.fullmatch(folder.name)
        if found and found["kind"] == "old" and not os.path.lexists(out / found["name"]):
            folder.rename(out / found["name"])
    sweep_journal(out)


def sweep_journal(out: Path) -> None:
    """Remove everything that is noted, and the notes."""
    for folder in claimed(out):
        if folder.is_dir() and not folder.is_symlink():
            shutil.rmtree(folder, ignore_errors=True)
        else:
            folder.unlink(missing_ok=True)
    if not claimed(out):
        (out / JOURNAL).unlink(missing_ok=True)


MARK = "reviewkit.sha256"
LISTS = ("index.html", "reviews.html")
"""What the list of all reviews is called: the first that is free."""
ELSEWHERE = "Move it away, or publish elsewhere with -o."
_HEAD = "# Written by reviewkit: its files in this folder, as 'sha256sum -c' reads them.\n"
_SYSTEMS_OWN = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})
"""Files that a system puts into folders that a person looks at."""
_NAMED = 4
_STILL = re.compile(r"[a-z0-9-]+-(?:light|dark)\.(?:svg|png)")
_LIST_BEFORE = ("<title>All reviews</title>", "Made with reviewkit from the measurements themselves")
_Sums = Mapping[str, "frozenset[str]"]


def digest(path: Path) -> str:
    """Return a file's SHA-256."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def seal(folder: Path) -> None:
    """Write down what a folder holds, once it is whole.

    Parameters
    ----------
    folder : pathlib.Path
        Not yet in its place.
    """
    # A copy of a published folder may share the file with it.
    (folder / MARK).unlink(missing_ok=True)
    names = sorted(name for name, path in _below(folder) if path.is_file())
    lines = (f"{digest(folder / name)}  {name}\n" for name in names)
    (folder / MARK).write_text(_HEAD + "".join(lines), encoding="utf-8", newline="\n")


def files(folder: Path) -> frozenset[str]:
    """Return the files that the kit wrote into a folder and that are there; none where it wrote none."""
    return frozenset(name for name in _known(folder) or () if (folder / name).is_file())


def is_review(folder: Path) -> bool:
    """Whether the kit published a review there, not a comparison."""
    return JSON_FILE in files(folder)


def fault(path: Path) -> InputError | None:
    """Return why a folder may not be replaced: the kit did not write it, or somebody has changed it since.

    Parameters
    ----------
    path : pathlib.Path
        Of a published folder; None is returned where nothing is.
    """
    if not os.path.lexists(path):
        return None
    file = f"{path.parent.name}/{path.name}"
    known = None if path.is_symlink() or not path.is_dir() else _known(path)
    if known is None:
        problem = "this is none of the kit's, and it leaves it alone"
        return InputError(problem, file=file, remedy=ELSEWHERE)
    strange = sorted(_strange(path, known))
    if not strange:
        return None
    more = [f"{len(strange) - _NAMED} more"] if len(strange) > _NAMED else []
    problem = f"here is what the kit did not write: {formatting.listed(strange[:_NAMED] + more)}"
    remedy = "Move that elsewhere: a run writes the whole folder anew. Or publish elsewhere with -o."
    return InputError(problem, file=file, remedy=remedy)


def _below(folder: Path) -> Iterator[tuple[str, Path]]:
    """Walk everything in a folder, by its name seen from there; links are not followed."""
    for above, folders, names in os.walk(folder):
        for name in [*folders, *names]:
            path = Path(above, name)
            yield path.relative_to(folder).as_posix(), path


def _strange(folder: Path, known: _Sums) -> Iterator[str]:
    own = {parent.as_posix() for name in known for parent in Path(name).parents}
    for name, path in _below(folder):
        if path.name in _SYSTEMS_OWN or name == MARK:
            continue
        if path.is_dir() and not path.is_symlink():
            yield from () if name in own else (f"{name}/",)
        elif path.is_symlink() or name not in known:
            yield name
        elif known[name] and digest(path) not in known[name]:
            yield f"{name} (changed)"


def _known(folder: Path) -> _Sums | None:
    """Return the kit's files in a folder with the sums they may have, any where there are none."""
    return _marked(folder) if (folder / MARK).exists() else _before_marks(folder)


def _marked(folder: Path) -> dict[str, frozenset[str]] | None:
    try:
        text = (folder / MARK).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return None
    if not text.startswith(_HEAD) or (folder / MARK).is_symlink():
        return None
    sums: dict[str, frozenset[str]] = {}
    for line in text[len(_HEAD) :].splitlines():
        value, _, name = line.partition("  ")
        sums[name] = sums.get(name, frozenset()) | {value}
    return sums


def _before_marks(folder: Path) -> dict[str, frozenset[str]] | None:
    """Return what the version without marks would have written into a folder, if it is one of its.

    A review says in its findings what made it and which sections it has; a comparison is one page and one
    notebook whose metadata say so.
    """
    notebooks = {f"{NOTEBOOKS}/{path.name}": path for path in (folder / NOTEBOOKS).glob("*.ipynb")}
    loaded = {name: _json(path) for name, path in notebooks.items()}
    about = [_about(notebook) for notebook in loaded.values()]
    whole = _json(folder / JSON_FILE)
    if not whole:
        is_comparison = len(about) == 1 and about[0].get("kind") == "compare"
        return dict.fromkeys(("index.html", "compared.json", *loaded), frozenset()) if is_comparison else None
    if whole.get("schema") != SCHEMA or "reviewkit" not in (whole.get("made_with") or {}):
        return None
    names = {"index.html", JSON_FILE, CSV_FILE, "evidence.zip", findings_file.LAST_EDITION, *loaded}
    names |= {video.CHAPTERS, video.TIMESTAMPS, f"{folder.name.partition('.')[0]}.html"}
    names |= {str(section.get("page")) for section in whole.get("sections", ())}
    names |= {item.page for notebook in loaded.values() for item in harvest.extra_pages(notebook)}
    tables = [*(folder / DATA).glob("*.csv"), *(folder / DATA).glob(DESCRIPTION)]
    stills = [path for path in (folder / "stills").glob("*.*") if _STILL.fullmatch(path.name)]
    names |= {path.relative_to(folder).as_posix() for path in [*tables, *stills]}
    return dict.fromkeys(names, frozenset())


def _json(path: Path) -> dict[str, Any]:
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def _about(notebook: Mapping[str, Any]) -> Mapping[str, Any]:
    about = notebook.get("metadata", {}).get("reviewkit", {})
    return about if isinstance(about, Mapping) else {}


# ------------------------------------------------------------ what all reviews share


def shared(out: Path) -> dict[str, frozenset[str]]:
    """Return the kit's files beside the published folders, with the sums that they may have.

    Raises
    ------
    InputError
        If a file of the mark's name is none of the kit's.
    """
    if os.path.lexists(out / MARK):
        sums = _marked(out)
        if sums is None:
            problem = "this is none of the kit's, and it leaves it alone"
            raise InputError(problem, file=f"{out.name}/{MARK}", remedy=ELSEWHERE)
        return sums
    # The version without marks: its list says what it is, its scripts are named by their own sums.
    found = {}
    if (out / LISTS[0]).is_file():
        text = (out / LISTS[0]).read_text(encoding="utf-8", errors="replace")
        if all(part in text for part in _LIST_BEFORE):
            found[LISTS[0]] = frozenset({digest(out / LISTS[0])})
    for path in (out / ASSETS).glob("charts-*.js"):
        if path.is_file() and (own := digest(path)).startswith(path.stem.removeprefix("charts-")):
            found[f"{ASSETS}/{path.name}"] = frozenset({own})
    return found


def is_ours(out: Path, name: str) -> bool:
    """Whether a name beside the published folders is free, or its file as the kit wrote it."""
    path = out / name
    if not os.path.lexists(path):
        return True
    return path.is_file() and not path.is_symlink() and digest(path) in shared(out).get(name, ())


def list_page(out: Path, asked: str = "") -> str:
    """Return the name of the page that lists all reviews.

    Parameters
    ----------
    asked : str
        By whom the review is published. Default: as it was, else the first of `LISTS` that is free.

    Raises
    ------
    InputError
        If the page of that name is somebody else's, or no name of a page.
    """
    if asked and (Path(asked).name != asked or asked.startswith(".") or not asked.endswith(".html")):
        problem = f"'{asked[:60]}' can't be the list of all reviews"
        raise InputError(problem, expected="a name such as reviews.html for --list")
    now = next((name for name in shared(out) if name.endswith(".html")), "")
    names = [asked or now] if asked or now else LISTS
    for name in names:
        if is_ours(out, name):
            return name
    raise InputError(
        "the kit did not write this page, or somebody has changed it since",
        file=f"{out.name}/{names[0]}",
        remedy="Move it away, or give the list of all reviews another name with --list NAME.html.",
    )


def put(out: Path, name: str, write: Callable[[Path], object]) -> None:
    """Write a file that all reviews share: whole or not at all, and never over somebody else's.

    Parameters
    ----------
    name : str
        Seen from there.
    write : callable
        Given the path to write it to.

    Raises
    ------
    InputError
        If somebody else's file has that name.
    """
    if not is_ours(out, name):
        raise InputError("the kit did not write this file", file=f"{out.name}/{name}", remedy=ELSEWHERE)
    path = out / name
    part = claim(out, "part", path.name)
    write(part)
    own = {item: sums for item, sums in shared(out).items() if (out / item).exists()}
    new = frozenset({digest(part)})
    # Killed before the new one is in its place, the old one is known still.
    _mark(out, {**own, name: own.get(name, frozenset()) | new})
    path.parent.mkdir(exist_ok=True)
    part.replace(path)
    _mark(out, {**own, name: new})


def remove(out: Path, name: str) -> None:
    """Remove a file that all reviews shared, if it is as the kit wrote it."""
    own = shared(out)
    if name in own and is_ours(out, name):
        (out / name).unlink(missing_ok=True)
        _mark(out, {item: sums for item, sums in own.items() if item != name})


def _mark(out: Path, own: _Sums) -> None:
    part = claim(out, "part", MARK)
    lines = (f"{value}  {name}\n" for name in sorted(own) for value in sorted(own[name]))
    part.write_text(_HEAD + "".join(lines), encoding="utf-8", newline="\n")
    part.replace(out / MARK)
