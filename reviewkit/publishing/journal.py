"""What a run under way puts beside the published folders, noted before it is made."""

from __future__ import annotations

import os
import re
import secrets
import shutil
from pathlib import Path

from reviewkit.errors import InputError

FILE = ".reviewkit.journal"
_HEAD = "reviewkit: names in this folder that belong to the run under way\n"
_NAME = re.compile(r"\.(?P<kind>staging|old|part)-(?P<name>[^/\\]+)-[0-9a-f]{8}")


def claim(out: Path, kind: str, name: str) -> Path:
    """Return a path in a published folder at which nothing is, once it is noted as this run's.

    Parameters
    ----------
    out : pathlib.Path
    kind : {"staging", "old", "part"}
        A folder or file under way; or a published folder on its way out.
    name : str
        What it is to be, or was.
    """
    place = out / f".{kind}-{name}-{secrets.token_hex(4)}"
    while os.path.lexists(place):
        place = out / f".{kind}-{name}-{secrets.token_hex(4)}"
    head = "" if (out / FILE).exists() else _HEAD
    with (out / FILE).open("a", encoding="utf-8", newline="\n") as stream:
        stream.write(f"{head}{place.name}\n")
    return place


def claimed(out: Path) -> list[Path]:
    """Return what is noted and is there.

    Raises
    ------
    InputError
        If the file of that name is none of the kit's.
    """
    journal = out / FILE
    if not os.path.lexists(journal):
        return []
    try:
        lines = journal.read_text(encoding="utf-8").splitlines(keepends=True)
    except (OSError, UnicodeDecodeError):
        lines = ["?"]
    # One that was cut off before its first line was whole is the kit's as well, be it empty.
    if journal.is_symlink() or not (lines[:1] == [_HEAD] or _HEAD.startswith("".join(lines))):
        raise InputError(
            "the kit did not write this file, and leaves it alone",
            file=f"{out.name}/{FILE}",
            remedy="Move it away, or publish elsewhere with -o.",
        )
    names = (line.rstrip("\n") for line in lines[1:] if line.endswith("\n"))
    return [out / name for name in names if _NAME.fullmatch(name) and os.path.lexists(out / name)]


def settle(out: Path) -> None:
    """Finish or undo what a killed run left half done: put back what was on its way out, remove the rest."""
    for place in claimed(out):
        found = _NAME.fullmatch(place.name)
        if found and found["kind"] == "old" and not os.path.lexists(out / found["name"]):
            place.rename(out / found["name"])
    sweep(out)


def sweep(out: Path) -> None:
    """Remove everything that is noted, and the notes."""
    for place in claimed(out):
        if place.is_dir() and not place.is_symlink():
            shutil.rmtree(place, ignore_errors=True)
        else:
            place.unlink(missing_ok=True)
    if not claimed(out):
        (out / FILE).unlink(missing_ok=True)
