"""What need not be made again: sections' outcomes, each under a key of all it came from, and whole reviews.

Asked before anything heavy is loaded.
"""

from __future__ import annotations

import hashlib
import json
import os
import zlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from reviewkit.execution.papermill_run import Outcome, Task
from reviewkit.system import disk, kit
from reviewkit.system.kit import fingerprint as program
from reviewkit.tables import files, keys

if TYPE_CHECKING:
    from reviewkit.review.fingerprints import Fingerprint
    from reviewkit.schema.instruments import Used
    from reviewkit.sections.template import Section

_MOST_BYTES = 2 << 30
WORDS = "words.md"
"""The author's own words: what knows them loads more than may be loaded here."""


class Store:
    """A folder of JSON, packed, a file for each key; private to its user.

    Parameters
    ----------
    name : str
        The folder's.
    folder : pathlib.Path, optional
        What it lies in. Default: the system's place for what can be made again.
    """

    def __init__(self, name: str, folder: Path | None = None) -> None:
        self._folder = (folder or kit.cache_folder()) / name

    def read(self, key: str) -> Any:
        """Return what is kept under a key; None if nothing is, or nothing that can be read."""
        path = self._folder / key
        try:
            plain = json.loads(zlib.decompress(path.read_bytes()))
            os.utime(path)
        except (OSError, ValueError, zlib.error):
            return None
        return plain

    def write(self, plain: Mapping[str, Any]) -> None:
        """Keep values by their keys; a disk that takes no more costs no more than time."""
        with suppress(OSError):
            self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            disk.sweep_parts(self._folder)
            for key, value in plain.items():
                with disk.whole(self._folder / key) as part:
                    part.write_bytes(zlib.compress(json.dumps(value).encode(), 1))

    def trim(self, most_bytes: int = _MOST_BYTES) -> None:
        """Remove, above a size, what was not asked for longest."""
        with suppress(OSError):
            disk.sweep_parts(self._folder)
            found = sorted(
                ((path.stat(), path) for path in self._folder.iterdir()), key=lambda item: item[0].st_mtime
            )
            left = sum(status.st_size for status, _ in found)
            for status, path in found:
                if left <= most_bytes:
                    break
                path.unlink()
                left -= status.st_size


class SectionCache(Store):
    """Outcomes of sections.

    Parameters
    ----------
    folder : pathlib.Path, optional
        What the store lies in. Default: the system's place for what can be made again.
    """

    def __init__(self, folder: Path | None = None) -> None:
        super().__init__("sections", folder)

    def get(self, key: str) -> Outcome | None:
        """Return the outcome under a key; None if there is none."""
        plain = self.read(key)
        try:
            return plain and Outcome(**{**plain, "input_faults": tuple(plain["input_faults"])})
        except (KeyError, TypeError):
            return None

    def put(self, outcomes: Mapping[str, Outcome]) -> None:
        """Keep outcomes."""
        self.write({key: asdict(outcome) for key, outcome in outcomes.items()})


def key(task: Task, files: Iterable[Fingerprint]) -> str:
    """Return the key of a task's outcome.

    Parameters
    ----------
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


def values_key(values: Mapping[str, Any], parts: Iterable[Section]) -> str:
    """Return the key of what the sections' models say of a review file's values.

    Empty where a section brings a model of its own, which may say something else tomorrow.
    """
    told = [(part.name, part.about.inputs, [vars(item) for item in part.parameters]) for part in parts]
    if any(inputs and not inputs.startswith("reviewkit.") for _, inputs, _ in told):
        return ""
    text = json.dumps([program(), told, values], ensure_ascii=False, default=repr)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


@dataclass(frozen=True)
class RunOptions:
    """What a run is asked for, as far as its outcome depends on it.

    Parameters
    ----------
    out : pathlib.Path
        The published folder.
    single_file, stills : bool or None
        None: as the review was published before.
    list_name : str
        The page that lists all reviews; empty: as it was.
    """

    out: Path
    single_file: bool | None = None
    stills: bool | None = None
    charts_script: str | Path | None = None
    list_name: str = ""

    def plain(self) -> dict[str, Any]:
        """Return it as plain data that differ wherever it differs."""
        script = self.charts_script and hashlib.sha256(Path(self.charts_script).read_bytes()).hexdigest()
        return {
            "single_file": self.single_file,
            "stills": self.stills,
            "charts_script": script or "",
        }

    def is_met_by(self, made: Mapping[str, Any]) -> bool:
        """Whether what was published is what is asked for; what is not asked for may be either."""
        return all(value in (None, made[name]) for name, value in self.plain().items())


def among(folders: Sequence[Path], options: RunOptions) -> dict[Path, Path]:
    """Return the review folders that need not be run again, each with its page."""
    names = Counter(keys.published_name(folder.resolve()) for folder in folders)
    # Two of one name are for the run to refuse.
    alone = [folder for folder in folders if names[keys.published_name(folder.resolve())] == 1]
    pages = {folder: _page(folder, options) for folder in alone}
    return {folder: page for folder, page in pages.items() if page}


def is_reworded(folders: Iterable[Path], options: RunOptions) -> bool:
    """Whether, as far as can be told, nothing but authors' own words has changed: no notebook need run."""
    return all(_page(folder, options, besides=WORDS) for folder in folders)


def _page(folder: Path, options: RunOptions, besides: str = "") -> Path | None:
    """Return a review's page if it is what a run would make, one file of the folder left aside."""
    try:
        stamp = Store("reviews").read(_stamp(folder, options.out))
        path = Path(stamp["place"])
        listing = _listing(folder)
        files = {name: told for name, told in stamp["files"].items() if name != besides}
        same = (
            options.is_met_by(stamp["options"])
            and _without(stamp["listing"], besides) == _without(listing, besides)
            and stamp["published"] == _states(path)
            and (options.out / stamp["list"]).is_file()
            and options.list_name in ("", stamp["list"])
            and files == _digests(folder, files)
            and stamp["program"] == program()
            and _are_the_same(stamp["meters"], folder)
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return path / "index.html" if same else None


def _without(listing: Iterable[list[Any]], name: str) -> list[list[Any]]:
    return [item for item in listing if item[0] != name]


def _are_the_same(meters: Mapping[str, Any], folder: Path) -> bool:
    """Whether the meters that a review has by name are declared as they were."""
    now = {name: _digest(Path(name)) if files.is_plain(Path(name)) else "" for name in meters["places"]}
    if now == meters["places"]:
        return True
    # Something there has changed: whether it is of this review, takes a library to read.
    from reviewkit.schema.instruments import Used

    return bool(Used(meters["named"], meters["text"]).again(folder) == meters["text"])


def remember(
    folder: Path, options: RunOptions, *, place: Path, digests: Mapping[str, str], meters: Used
) -> None:
    """Note what a published review was made from.

    Parameters
    ----------
    folder : pathlib.Path
        The review folder.
    options : RunOptions
        With nothing left open.
    place : pathlib.Path
        Where it was published.
    digests : mapping of str to str
        Each file that it read, relative to the folder, with its SHA-256.
    meters : Used
        Those that it has by name.
    """
    stamp = {
        "program": program(),
        "options": options.plain(),
        "list": options.list_name,
        "listing": _listing(folder),
        "files": dict(digests),
        "place": str(place),
        "published": _states(place),
        "meters": {"named": dict(meters.named), "text": meters.text, "places": meters.places_now(folder)},
    }
    Store("reviews").write({_stamp(folder, options.out): stamp})


def _stamp(folder: Path, out: Path) -> str:
    return hashlib.sha256(os.fsencode(f"{folder.resolve()}\n{out.resolve()}")).hexdigest()


def _listing(folder: Path) -> list[list[Any]]:
    """Return every file of the review folder with its size: one that comes or goes may change the review.

    Meters are asked for by what is used of them: see `_are_the_same`.
    """
    found = []
    for above, folders, names in os.walk(folder):
        folders.sort()
        for name in sorted(names):
            path = Path(above, name)
            if name == "instruments.yaml":
                continue
            # A link that leads nowhere, such as an editor's lock, is a file as well.
            size = path.stat().st_size if path.exists() else -1
            found.append([path.relative_to(folder).as_posix(), size])
    return found


def _digests(folder: Path, names: Iterable[str]) -> dict[str, str]:
    found = {}
    for name in names:
        found[name] = _digest(folder / name)
    return found


def _digest(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _states(folder: Path) -> list[list[Any]]:
    """Return the published files, their sizes and the moments at which they were last written."""
    paths = sorted(path for path in folder.rglob("*") if path.is_file())
    return [
        [path.relative_to(folder).as_posix(), status.st_size, status.st_mtime_ns]
        for path, status in ((path, path.stat()) for path in paths)
    ]
