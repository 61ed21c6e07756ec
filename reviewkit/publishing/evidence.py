"""Packs what a review was made from and what it found into one file, from which it can be run again."""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, BinaryIO

from reviewkit.errors import Faults, InputError, add, gathered
from reviewkit.pipeline.findings_file import CSV_FILE, JSON_FILE
from reviewkit.pipeline.results import NOTEBOOKS, Reviewed
from reviewkit.publishing import ro_crate
from reviewkit.review import fingerprints
from reviewkit.review.fingerprints import Fingerprint
from reviewkit.review.review_file import FILE, ReviewFile

ZIP = "evidence.zip"
RAW = "review"
"""The folder inside the zip that holds the review folder's files."""
_STAMP = (1980, 1, 1, 0, 0, 0)
_CHUNK = 1 << 20


def write(reviewed: Reviewed) -> None:
    """Write `evidence.zip` into the staged folder of a review; the same review gives the same bytes.

    Parameters
    ----------
    reviewed : Reviewed
        Its findings and executed notebooks lie in the staged folder.

    Raises
    ------
    Faults
        An error for each file of the review folder that is not what it was before the sections read it.
    """
    found = json.loads((reviewed.staged / JSON_FILE).read_text(encoding="utf-8"))
    entries: list[ro_crate.Entry] = []
    faults: list[InputError] = []
    with zipfile.ZipFile(reviewed.staged / ZIP, "w") as archive:
        for name, source, about in sorted(_files(reviewed)):
            with gathered(faults):
                digest, size = _pack(archive, name, source)
                entries.append(ro_crate.Entry(name, about, digest, size, name.startswith(f"{RAW}/")))
        text = ro_crate.metadata(reviewed.file, entries, found["made_with"])
        archive.writestr(_item(ro_crate.FILE), text.encode())
    add(faults, fingerprints.changed(_seen(found), _raw_sums(entries)))
    if faults:
        raise Faults(faults)


def _seen(found: Mapping[str, Any]) -> list[Fingerprint]:
    return [Fingerprint(**item) for item in found["inputs"]]


def _raw_sums(entries: Iterable[ro_crate.Entry]) -> dict[str, str]:
    return {entry.path.removeprefix(f"{RAW}/"): entry.sha256 for entry in entries if entry.raw}


def raw_files(file: ReviewFile) -> list[str]:
    """Return the files of a review folder that its evidence holds: those that the review reads.

    The video beside a review is no measurement, and larger than all of them.
    """
    return [name for name in file.files if name != Path(file.review.video).as_posix()]


def _files(reviewed: Reviewed) -> Iterator[tuple[str, Path, str]]:
    """Walk name in the zip, file and meaning of everything that goes in."""
    for name in (JSON_FILE, CSV_FILE):
        yield name, reviewed.staged / name, "what the bench found"
    for path in (reviewed.staged / NOTEBOOKS).glob("*.ipynb"):
        yield f"{NOTEBOOKS}/{path.name}", path, "a notebook as it ran"
    for name in raw_files(reviewed.file):
        about = "the review file" if name == FILE else "a file that the review reads, as it was"
        yield f"{RAW}/{name}", reviewed.file.folder / name, about


def _pack(archive: zipfile.ZipFile, name: str, source: Path) -> tuple[str, int]:
    """Add a file as it is; return its SHA-256 and its size in bytes."""
    digest, size = hashlib.sha256(), 0
    with _opened(source, name) as plain, archive.open(_item(name), "w", force_zip64=False) as packed:
        while part := plain.read(_CHUNK):
            digest.update(part)
            size += len(part)
            packed.write(part)
    return digest.hexdigest(), size


def _opened(source: Path, name: str) -> BinaryIO:
    try:
        return source.open("rb")
    except OSError as error:
        raise fingerprints.unreadable(name.removeprefix(f"{RAW}/"), error) from error


def _item(name: str) -> zipfile.ZipInfo:
    """Return an entry that tells nothing of when, where or by whom it was made."""
    item = zipfile.ZipInfo(name, date_time=_STAMP)
    item.compress_type = zipfile.ZIP_DEFLATED
    item.create_system = 3
    item.external_attr = 0o100644 << 16
    return item
