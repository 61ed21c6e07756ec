"""The editions of a review in a published folder: which there are, where they are kept, what they hold.

The last lies under the review's name, each before it beside that under the name with its number:
`alder`, `alder.edition-1`. An edition is one from number 1 on; number 0 is a working copy, which may be
written over at any time and takes the place of no edition. Anyone may have written what is read back; an
edition is refused over one of other data.
"""

from __future__ import annotations

import html
import os
import shutil
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from reviewkit.errors import Faults, InputError, ReviewFileError
from reviewkit.findings import Finding, Findings, findings_file
from reviewkit.findings.findings_file import FILE as JSON_FILE
from reviewkit.findings.findings_file import LAST_EDITION
from reviewkit.metrology import formatting
from reviewkit.metrology.conformity import Limit, Verdict
from reviewkit.publishing import evidence
from reviewkit.review import chapters, review_file
from reviewkit.review.review_file import FILE, OWN, ReviewFile
from reviewkit.schema import instruments, quantities
from reviewkit.system import disk

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


def at(folder: Path) -> Edition | None:
    """Return the edition that lies in a folder; None where there is none, or a working copy."""
    about = _about(folder)
    number = about.get("edition", 1)
    if not about or not isinstance(number, int) or number < 1:
        return None
    return Edition(number, str(about.get("date") or ""), folder)


def device(folder: Path) -> dict[str, Any]:
    """Return the published block `device`; empty where none can be read."""
    return _block(folder, "device")


def _about(folder: Path) -> dict[str, Any]:
    """Return the published block `review`; empty where nothing is published, or nothing that can be read."""
    about = _block(folder, "review")
    return {"edition": 1, **about} if about else {}


def _block(folder: Path, name: str) -> dict[str, Any]:
    try:
        block = findings_file.whole(folder / JSON_FILE)[name]
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


_MOST_FINDINGS = 20_000
"""Chosen: some hundred times a review's."""
# Beyond this no quantity of a light's charger lies, and arithmetic is safe from overflow.
_WITHIN = Field(ge=-1e15, le=1e15)
_Number = Annotated[float, _WITHIN]


class _Part(BaseModel):
    """A part of `findings.json`: types are checked, keys of no concern here are let be."""

    model_config = ConfigDict(frozen=True, strict=True, allow_inf_nan=False, defer_build=True)


class _Limit(_Part):
    low: _Number | None
    high: _Number | None
    source: str


class _Finding(_Part):
    key: str = Field(min_length=1, max_length=300)
    label: str
    value: bool | Annotated[int, _WITHIN] | _Number | str | list[Any] | None
    unit: str
    uncertainty: _Number | None
    low: _Number | None
    high: _Number | None
    limit: _Limit | None
    verdict: Verdict | None
    note: str


class _Input(_Part):
    path: str
    sha256: str


class _Review(_Part):
    video: str = ""


class _Whole(_Part):
    inputs: list[_Input] = Field(max_length=evidence.MOST_FILES)
    review: _Review
    findings: list[_Finding] = Field(max_length=_MOST_FINDINGS)


@dataclass(frozen=True)
class Record:
    """What was published.

    Parameters
    ----------
    findings : Findings
        Without their budgets.
    sums : dict of str to str
        SHA-256 of each file that the review read, by its path in the review folder.
    video : str
    """

    findings: Findings
    sums: dict[str, str]
    video: str


def read(path: Path) -> Record:
    """Return a published review's findings and the fingerprints of what they were made from.

    Raises
    ------
    InputError
        If the file is missing, none of the kit's, or of another schema.
    """
    whole = quantities.checked(_Whole, findings_file.of_this_schema(path), file=path.name)
    items = {item.key: _finding(item) for item in whole.findings}
    if len(items) < len(whole.findings):
        raise InputError("two findings have the same key", file=path.name)
    sums = {item.path: item.sha256 for item in whole.inputs}
    return Record(Findings(tuple(items.values())), sums, whole.review.video)


def _finding(item: _Finding) -> Finding:
    limit = Limit(item.limit.low, item.limit.high, item.limit.source) if item.limit else None
    return Finding(**{**dict(item), "limit": limit})


# What the author tells, not what was measured. Of the review file, its values are compared.
_TOLD = frozenset({FILE, instruments.FILE, "words.md", chapters.FILE})
_MEASURED_ABOUT = ("ambient_C", "ambient_humidity_percent")
_NAMED = 4
"""Most differences that a message names one by one."""


def faults(file: ReviewFile, out: Path) -> list[InputError]:
    """Return why a review may not be published as the edition that it says it is; empty where it may.

    An edition that was published may be run again from the same data, and by no means from others: raw
    files, and the values of the review file that sections read or that say how warm and damp it was. What
    the author tells (title, date, claims, words, chapters) may change.

    Parameters
    ----------
    out : pathlib.Path
        The published folder.
    """
    before, edition = last(out, file.name), file.review.edition
    if before is None or edition == 0 or edition > before.number:
        return []
    there = f"edition {before.number} of '{file.name}'"
    if edition < before.number:
        return [_fault(f"{there} is published already", before.number)]
    try:
        differ = list(_differences(file, before))
    except InputError as error:
        problem = f"what {there} was made from cannot be read any more ({error.message.removesuffix('.')})"
        return [_fault(problem, edition)]
    if not differ:
        return []
    named = differ[:_NAMED] + ([f"{len(differ) - _NAMED} more"] if len(differ) > _NAMED else [])
    problem = f"{there} is published already, made from other data: {formatting.listed(named)}"
    return [_fault(problem, edition)]


def _fault(problem: str, number: int) -> InputError:
    return ReviewFileError(
        problem,
        file=FILE,
        place="review.edition",
        remedy=f"Raise it to {number + 1}, and edition {number} is kept beside the new one; "
        "set it to 0 while you prepare that.",
    )


def _differences(file: ReviewFile, before: Edition) -> Iterator[str]:
    """Walk what differs from a published edition: files, then keys of the review file.

    Raises
    ------
    InputError
        If what was published can't be read.
    """
    old = read(before.place / JSON_FILE).sums
    new = {item.path: item.sha256 for item in file.seen}
    for name in sorted((old.keys() | new.keys()) - _TOLD):
        if old.get(name) != new.get(name):
            yield f"{name}{_how(name, old, new)}"
    if any(old.get(name) != new.get(name) for name in (FILE, instruments.FILE)):
        changed = _keys(_measured(_values(before.place)), _measured(file.values))
        yield from (
            f"{key} in {instruments.FILE if key.partition('.')[0] in file.meters.named else FILE}"
            for key in changed
        )


def _how(name: str, old: Mapping[str, str], new: Mapping[str, str]) -> str:
    return "" if name in old and name in new else " (new)" if name in new else " (no longer read)"


def _values(path: Path) -> Mapping[str, Any]:
    """Return the values of the review file that a published review was made from."""
    with disk.temporary_folder() as own:
        wanted = {f"{evidence.RAW}/{name}" for name in (FILE, instruments.FILE)}
        evidence.unpack(path / evidence.ZIP, own, wanted=wanted.__contains__)
        faults: list[InputError] = []
        values = review_file.read_values(own / evidence.RAW, faults, above=False)
        if faults:
            raise Faults(faults)
        return values


def _measured(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values that sections read, and the conditions at the bench."""
    about = values.get("review")
    about = about if isinstance(about, Mapping) else {}
    own = {f"review.{key}": about[key] for key in _MEASURED_ABOUT if about.get(key) is not None}
    return {key: value for key, value in values.items() if key not in OWN} | own


def _keys(old: Mapping[str, Any], new: Mapping[str, Any], above: str = "") -> Iterator[str]:
    """Walk the keys under which two blocks differ, each as far down as both have it."""
    for key in dict.fromkeys([*old, *new]):
        place = f"{above}.{key}" if above else str(key)
        yield from _places(old.get(key), new.get(key), place)


def _places(old: Any, new: Any, key: str) -> Iterable[str]:
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        return _keys(old, new, key)
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        pairs = enumerate(zip(old, new, strict=True), 1)
        return (found for number, pair in pairs for found in _places(*pair, f"{key}[{number}]"))
    return () if old == new else (key,)
