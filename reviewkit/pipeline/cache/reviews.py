"""Tells, before anything heavy is loaded, that a published review is what a run would make again."""

from __future__ import annotations

import hashlib
import json
import os
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit.system import locations, temporary
from reviewkit.system.kit_fingerprint import program
from reviewkit.tables import keys


@dataclass(frozen=True)
class Wish:
    """What a run is asked for, as far as its outcome depends on it.

    Parameters
    ----------
    out : pathlib.Path
        The published folder.
    single_file, stills : bool
    browser, charts_script : str or pathlib.Path or None
    """

    out: Path
    single_file: bool = False
    stills: bool = False
    browser: str | Path | None = None
    charts_script: str | Path | None = None

    def text(self) -> str:
        """Return it in a line that differs wherever it differs."""
        script = (
            hashlib.sha256(Path(self.charts_script).read_bytes()).hexdigest() if self.charts_script else ""
        )
        return f"{self.single_file} {self.stills} {self.browser if self.stills else ''} {script}"


def among(folders: Sequence[Path], wish: Wish) -> dict[Path, Path]:
    """Return the review folders that need not be run again, each with its page.

    Parameters
    ----------
    folders : sequence of pathlib.Path
    wish : Wish
    """
    names = Counter(keys.published_name(folder.resolve()) for folder in folders)
    # Two of one name are for the run to refuse.
    alone = [folder for folder in folders if names[keys.published_name(folder.resolve())] == 1]
    pages = {folder: _page(folder, wish) for folder in alone}
    return {folder: page for folder, page in pages.items() if page}


def _page(folder: Path, wish: Wish) -> Path | None:
    try:
        stamp = json.loads(_stamp_file(folder, wish.out).read_text(encoding="utf-8"))
        place = Path(stamp["place"])
        same = (
            stamp["wish"] == wish.text()
            and stamp["listing"] == _listing(folder)
            and stamp["published"] == _states(place)
            and (wish.out / "index.html").is_file()
            and stamp["files"] == _digests(folder, stamp["files"])
            and stamp["program"] == program()
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return place / "index.html" if same else None


def remember(folder: Path, wish: Wish, *, place: Path, files: Mapping[str, str]) -> None:
    """Note what a published review was made from.

    Parameters
    ----------
    folder : pathlib.Path
        The review folder.
    wish : Wish
    place : pathlib.Path
        Where it was published.
    files : mapping of str to str
        Each file that it read, relative to the folder, with its SHA-256.
    """
    stamp = {
        "program": program(),
        "wish": wish.text(),
        "listing": _listing(folder),
        "files": dict(files),
        "place": str(place),
        "published": _states(place),
    }
    path = _stamp_file(folder, wish.out)
    # Where nothing can be kept, the next run takes longer.
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        temporary.sweep_parts(path.parent)
        with temporary.whole(path) as part:
            part.write_text(json.dumps(stamp), encoding="utf-8")


def _stamp_file(folder: Path, out: Path) -> Path:
    name = hashlib.sha256(os.fsencode(f"{folder.resolve()}\n{out.resolve()}")).hexdigest()
    return locations.cache() / "reviews" / f"{name}.json"


def _listing(folder: Path) -> list[list[Any]]:
    """Return every file of the review folder with its size: one that comes or goes may change the review."""
    found = []
    for place, folders, names in os.walk(folder):
        folders.sort()
        for name in sorted(names):
            path = Path(place, name)
            found.append([path.relative_to(folder).as_posix(), path.stat().st_size])
    return found


def _digests(folder: Path, names: Iterable[str]) -> dict[str, str]:
    found = {}
    for name in names:
        with (folder / name).open("rb") as stream:
            found[name] = hashlib.file_digest(stream, "sha256").hexdigest()
    return found


def _states(place: Path) -> list[list[Any]]:
    """Return the published files, their sizes and the moments at which they were last written."""
    paths = sorted(path for path in place.rglob("*") if path.is_file())
    return [
        [path.relative_to(place).as_posix(), status.st_size, status.st_mtime_ns]
        for path, status in ((path, path.stat()) for path in paths)
    ]
