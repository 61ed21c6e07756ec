"""The editions of a review in a published folder: which there are, where earlier ones are kept.

The last lies under the review's name, each before it beside that under the name with its number:
`alder`, `alder.edition-1`. An edition is one from number 1 on; number 0 is a working copy, which may be
written over at any time and takes the place of no edition.
"""

from __future__ import annotations

import html
import os
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit.errors import InputError
from reviewkit.findings import findings_file
from reviewkit.findings.findings_file import FILE as JSON_FILE
from reviewkit.findings.findings_file import LAST_EDITION

LATER = '<p class="later" hidden></p>'
"""What stands in a page where it is to say that there is a later edition, once there is one."""
_KEPT = ".edition-"


@dataclass(frozen=True)
class Edition:
    """One edition in a published folder.

    Parameters
    ----------
    number : int
    date : str
        As its author wrote it.
    place : pathlib.Path
        The folder that holds its pages now.
    """

    number: int
    date: str
    place: Path


def at(place: Path) -> Edition | None:
    """Return the edition that lies in a folder; None where there is none, or a working copy."""
    about = _about(place)
    number = about.get("edition", 1)
    if not about or not isinstance(number, int) or number < 1:
        return None
    return Edition(number, str(about.get("date") or ""), place)


def device(place: Path) -> dict[str, Any]:
    """Return the published block `device`; empty where none can be read."""
    return _block(place, "device")


def _about(place: Path) -> dict[str, Any]:
    """Return the published block `review`; empty where nothing is published, or nothing that can be read."""
    about = _block(place, "review")
    return {"edition": 1, **about} if about else {}


def _block(place: Path, name: str) -> dict[str, Any]:
    try:
        block = findings_file.whole(place / JSON_FILE)[name]
    except (InputError, KeyError):
        return {}
    return block if isinstance(block, dict) else {}


def kept(out: Path, name: str) -> list[Edition]:
    """Return the earlier editions of a review that are kept beside it, by their number."""
    found = (at(path) for path in out.glob(f"{name}{_KEPT}*"))
    return sorted((item for item in found if item), key=lambda item: item.number)


def last(out: Path, name: str) -> Edition | None:
    """Return the edition with the highest number, wherever it lies."""
    there = [*kept(out, name), *([now] if (now := at(out / name)) else [])]
    return max(there, key=lambda item: item.number, default=None)


def earlier(out: Path, name: str, edition: int) -> list[Edition]:
    """Return the editions before this one, by their number; to a working copy, every edition is before it."""
    there = {item.number: item for item in kept(out, name)}
    if now := at(out / name):
        there[now.number] = now
    return [there[number] for number in sorted(there) if edition == 0 or number < edition]


def is_to_replace(out: Path, name: str, edition: int) -> bool:
    """Return whether a good review takes the place of what is published; a working copy not an edition's."""
    return edition > 0 or at(out / name) is None


def place_of_kept(out: Path, name: str, number: int) -> Path:
    """Return the folder in which an edition is kept once a later one has taken its place."""
    return out / f"{name}{_KEPT}{number}"


def carry(published: Path, staged: Path, *, edition: int) -> None:
    """Leave the findings of the last earlier edition in the staging folder.

    Parameters
    ----------
    published : pathlib.Path
        Where the review was published before; it need not exist.
    edition : int
        Of the review to come. An edition that is run again keeps the one before it.
    """
    before = earlier(published.parent, published.name, edition)
    # What was published before editions were kept has the findings of the one before it alone.
    source = before[-1].place / JSON_FILE if before else published / LAST_EDITION
    if source.is_file():
        shutil.copyfile(source, staged / LAST_EDITION)


def copy(published: Path, into: Path) -> None:
    """Copy a published edition whole; its pages say from now on that there is a later one.

    Parameters
    ----------
    into : pathlib.Path
        An empty folder on the same disk. Files that stay as they are take no room twice where the disk can
        hold one under two names.
    """
    told = LATER.replace(" hidden></p>", ">There is a later edition of this review: ")
    told += f'<a href="../{html.escape(published.name)}/index.html">the last one</a>.</p>'
    for path in published.rglob("*"):
        target = into / path.relative_to(published)
        if path.is_dir():
            target.mkdir(parents=True, exist_ok=True)
        elif path.suffix == ".html" and path.name != f"{published.name}.html":
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(path.read_bytes().replace(LATER.encode(), told.encode(), 1))
        else:
            _same_file(path, target)


def _same_file(path: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        os.link(path, target)
    except OSError:
        shutil.copy2(path, target)
