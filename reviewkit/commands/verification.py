"""Runs published reviews again from their raw data and says of each finding whether it still stands."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit.commands.reproduced import Verified, checks
from reviewkit.errors import Faults, InputError, gathered
from reviewkit.execution import forkserver
from reviewkit.pipeline import loading, runner
from reviewkit.pipeline.findings_file import JSON_FILE
from reviewkit.pipeline.progress import Bar
from reviewkit.publishing import evidence, published_record, safe_zip
from reviewkit.publishing.published_record import Record
from reviewkit.review.review_file import FILE, ReviewFile
from reviewkit.sections import discovery
from reviewkit.sections.template import Section
from reviewkit.system import temporary
from reviewkit.tables import files


@dataclass(frozen=True)
class _Opened:
    """A published review whose evidence is unpacked and has the fingerprints that were published."""

    name: str
    record: Record
    file: ReviewFile


def verify(
    *places: str | Path,
    templates: Iterable[str | Path] = (),
    only_templates: Iterable[str | Path] = (),
    executor: Executor | None = None,
) -> tuple[Verified, ...]:
    """Run published reviews again from their raw data, in a temporary folder.

    No notebook that came with the evidence is executed: the templates are the kit's own.

    Parameters
    ----------
    *places : str or pathlib.Path
        Published reviews, their `evidence.zip`, or folders that hold several published reviews.
    templates, only_templates : iterable of str or pathlib.Path
        Folders with section templates, beside the kit's own or in place of them. They are programs.
    executor : concurrent.futures.Executor, optional
        What runs the notebooks.

    Returns
    -------
    tuple of Verified
        In the order of `places`.

    Raises
    ------
    Faults
        Everything wrong with the evidence, before anything is run: no review, a zip refused, a file that
        has not the fingerprint that was published.

    Examples
    --------
    >>> (verified,) = reviewkit.verify(site / "alder" / "evidence.zip")
    >>> verified.stands
    True
    """
    parts = discovery.discover(templates, only=only_templates)
    with forkserver.serving(), temporary.folder() as own:
        opened = _all_opened(places, parts, own)
        return tuple(_run_again(opened, parts, executor, own))


def _all_opened(places: Sequence[str | Path], parts: Sequence[Section], room: Path) -> list[_Opened]:
    found: list[InputError] = []
    opened = []
    for number, place in enumerate(_reviews(places, found)):
        own: list[InputError] = []
        with gathered(own):
            opened.append(_opened(place, parts, room / str(number)))
        # Which of several is at fault is said in front of what is.
        found += [InputError(fault.message.removesuffix("."), file=str(place)) for fault in own]
    if found:
        raise Faults(found)
    return opened


def _reviews(places: Sequence[str | Path], found: list[InputError]) -> Iterator[Path]:
    """Walk the published reviews and zips behind what was named."""
    for place in map(Path, places):
        if place.is_file() or (place / evidence.ZIP).is_file():
            yield place
            continue
        inside = [path.parent for path in sorted(place.glob(f"*/{evidence.ZIP}"))]
        # A name with a dot is a draft's, or of a run under way.
        good = [folder for folder in inside if "." not in folder.name]
        if not good:
            remedy = "Name a published review, its evidence.zip, or the folder that holds several."
            found.append(InputError("no published review is here", file=str(place), remedy=remedy))
        yield from good


def _opened(place: Path, parts: Sequence[Section], into: Path) -> _Opened:
    raw = into / evidence.RAW
    raw.mkdir(parents=True)
    packed = place if place.is_file() else place / evidence.ZIP
    safe_zip.unpack(packed, into, wanted=_is_wanted)
    # Of a published folder it is the findings that lie open there which must stand.
    record = published_record.read((into if place.is_file() else place) / JSON_FILE)
    if FILE not in record.sums:
        raise InputError("it names no review file among what it was made from", file=JSON_FILE)
    faults = [fault for name, digest in record.sums.items() if (fault := _unlike(name, digest, raw, record))]
    if faults:
        raise Faults(faults)
    (file,) = loading.read([raw], parts)
    return _Opened(str(place), record, file)


def _is_wanted(name: str) -> bool:
    return name == JSON_FILE or name.startswith(f"{evidence.RAW}/")


def _unlike(name: str, digest: str, raw: Path, record: Record) -> InputError | None:
    """Return what is wrong with a file that has not the fingerprint which was published."""
    if name == record.video:
        return None
    try:
        with files.locate(name, folder=raw).open("rb") as stream:
            same = hashlib.file_digest(stream, "sha256").hexdigest() == digest
    except InputError as error:
        return error
    problem = "the file is not the one that the published findings were made from (its SHA-256 differs)"
    return None if same else InputError(problem, file=name)


def _run_again(
    opened: Sequence[_Opened], parts: Sequence[Section], executor: Executor | None, room: Path
) -> Iterator[Verified]:
    staged: list[Any] = [(item.file, room / f"again-{number}") for number, item in enumerate(opened)]
    bodies = discovery.of_kind("section", parts)
    ended = runner.run(staged, bodies, executor=executor, progress=Bar())
    again = {review.file.folder: review for review in ended}
    for item in opened:
        review = again[item.file.folder]
        yield Verified(item.name, checks(item.record.findings, review.findings), review.failed)
