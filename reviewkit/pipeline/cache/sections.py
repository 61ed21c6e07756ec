"""Outcomes of sections, each under a key of all that it came from."""

from __future__ import annotations

import hashlib
import json
import os
import zlib
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path

from reviewkit.execution.task import Outcome, Task
from reviewkit.review.fingerprints import Fingerprint
from reviewkit.system import locations, temporary
from reviewkit.system.kit_fingerprint import program

_MOST_BYTES = 2 << 30


class Kept:
    """A folder of outcomes, private to its user; what has not been asked for longest goes first.

    Parameters
    ----------
    folder : pathlib.Path, optional
        Default: in the system's place for what can be made again.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self._folder = (folder or locations.cache()) / "sections"

    def get(self, key: str) -> Outcome | None:
        """Return the outcome under a key; None if there is none, or none that can be read."""
        path = self._folder / key
        try:
            plain = json.loads(zlib.decompress(path.read_bytes()))
            os.utime(path)
            return Outcome(**{**plain, "input_faults": tuple(plain["input_faults"])})
        except (OSError, ValueError, KeyError, TypeError, zlib.error):
            return None

    def put(self, outcomes: Mapping[str, Outcome]) -> None:
        """Keep outcomes; a disk that takes no more costs nothing but the time to make them again."""
        with suppress(OSError):
            self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            for key, outcome in outcomes.items():
                with temporary.whole(self._folder / key) as part:
                    part.write_bytes(zlib.compress(json.dumps(asdict(outcome)).encode(), 1))

    def trim(self, most_bytes: int = _MOST_BYTES) -> None:
        """Remove what a killed run left unfinished, and above a size what was not asked for longest."""
        with suppress(OSError):
            temporary.sweep_parts(self._folder)
            found = sorted(
                ((path.stat(), path) for path in self._folder.iterdir()), key=lambda item: item[0].st_mtime
            )
            left = sum(status.st_size for status, _ in found)
            for status, path in found:
                if left <= most_bytes:
                    break
                path.unlink()
                left -= status.st_size


def key(task: Task, files: Iterable[Fingerprint]) -> str:
    """Return the key of a task's outcome.

    Parameters
    ----------
    task : Task
    files : iterable of Fingerprint
        Of every file that it may read.
    """
    # The folder stands in messages and in what is taken out of the notebook before it is published.
    whole = [
        program(),
        hashlib.sha256(task.template.read_bytes()).hexdigest(),
        task.template.name,
        str(task.folder),
        task.values,
        [
            hashlib.sha256(file.read_bytes()).hexdigest()
            for folder in task.words
            for file in sorted(folder.glob("words/*.j2"))
        ],
        [(file.path, file.sha256) for file in files],
    ]
    text = json.dumps(whole, ensure_ascii=False, default=repr)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
