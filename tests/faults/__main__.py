"""Prints the corpus as a table: `python -m tests.faults`; status 1 where a message is not what it must be."""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from reviewkit import commands

from .corpus import FAILING, REFUSED, REMARKED
from .good import write
from .notebooks import executed

_WIDTH = 72


def _copies(room: Path) -> Iterator[Path]:
    """Good folders, each in the place of the one before."""
    good = write(room / "good")
    while True:
        yield Path(shutil.copytree(good, room / "hazel", symlinks=True))
        shutil.rmtree(room / "hazel")


def _judged(room: Path) -> Iterator[tuple[str, str, str, str]]:
    """For each entry its name, where it is caught, whether as it must be, and the message."""
    copies = _copies(room)
    for entry in REFUSED:
        if reason := entry.needs():
            yield entry.name, "check", "skipped", reason
            continue
        folder = next(copies)
        entry.damage(folder)
        found = tuple(fault.message for fault in commands.check(folder))
        yield entry.name, "check", "ok" if found == entry.messages else "WRONG", " / ".join(found)
    for entry in REMARKED:
        folder = next(copies)
        entry.damage(folder)
        holds = not commands.check(folder) and entry.is_told(folder)
        yield entry.name, "findings", "ok" if holds else "WRONG", entry.said
    folder = next(copies)
    for entry in FAILING:
        if reason := entry.needs():
            yield entry.name, "run", "skipped", reason
            continue
        found = executed(entry, folder, room).message
        yield entry.name, "run", "ok" if entry.fits(found) else "WRONG", found


def main() -> int:
    """Print the table and how many entries hold."""
    counts = {"ok": 0, "skipped": 0, "WRONG": 0}
    with tempfile.TemporaryDirectory() as room:
        for name, where, verdict, message in _judged(Path(room)):
            counts[verdict] += 1
            short = message if len(message) <= _WIDTH else f"{message[: _WIDTH - 1]}…"
            print(f"{verdict:7} {where:8} {name:64} {short}", flush=True)
    print(
        f"{sum(counts.values())} damaged inputs: {counts['ok']} told as they must be, {counts['WRONG']} not, "
        f"{counts['skipped']} skipped here"
    )
    return 1 if counts["WRONG"] else 0


if __name__ == "__main__":
    sys.exit(main())
