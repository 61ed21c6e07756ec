"""Packs what a review was made from and what it found into one file, and describes it for programs.

References
----------
RO-Crate Metadata Specification 1.2, https://w3id.org/ro/crate/1.2: "Root Data Entity" (what must be
said of the whole), "Data Entities" (of a file), "Provenance" and "Workflows and Scripts" (what made it,
with which programs). Programs are named by package URLs: ECMA-427.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any, BinaryIO
from urllib.parse import quote

from reviewkit.errors import Faults, InputError, add, gathered
from reviewkit.findings import findings_file
from reviewkit.findings.findings_file import FILE as JSON_FILE
from reviewkit.pipeline.harvest import CSV_FILE
from reviewkit.pipeline.results import NOTEBOOKS, Reviewed
from reviewkit.review import fingerprints
from reviewkit.review.fingerprints import Fingerprint
from reviewkit.review.review_file import FILE, ReviewFile
from reviewkit.schema import instruments

CRATE_FILE = "ro-crate-metadata.json"
CRATE_VERSION = "https://w3id.org/ro/crate/1.2"

_FORMATS = {
    ".csv": "text/csv",
    ".tsv": "text/tab-separated-values",
    ".txt": "text/plain",
    ".log": "text/plain",
    ".md": "text/markdown",
    ".yaml": "application/yaml",
    ".json": "application/json",
    ".ipynb": "application/x-ipynb+json",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".parquet": "application/vnd.apache.parquet",
}
_NO_LICENCE = "The author has stated no licence and keeps all rights. Checking the review needs none."


@dataclass(frozen=True)
class Entry:
    """One file of the crate.

    Parameters
    ----------
    path : str
        Inside the crate, with forward slashes.
    about : str
        What it is, in a few words.
    sha256 : str
    size : int
        In bytes.
    raw : bool
        Whether the run read it; else the run made it.
    """

    path: str
    about: str
    sha256: str
    size: int
    raw: bool


def crate_metadata(file: ReviewFile, entries: Iterable[Entry], made_with: Mapping[str, Any]) -> str:
    """Return the text of the crate's metadata file.

    Parameters
    ----------
    made_with : mapping
        Versions, as `records.made_with` returns them.
    """
    files = sorted(entries, key=lambda item: item.path)
    graph = [
        {
            "@id": CRATE_FILE,
            "@type": "CreativeWork",
            "conformsTo": {"@id": CRATE_VERSION},
            "about": {"@id": "./"},
        },
        _root(file, files),
        *(_file_entity(item) for item in files),
        _action(file, files),
        *_software(made_with),
        _licence(file),
        *_author(file),
    ]
    whole = {"@context": f"{CRATE_VERSION}/context", "@graph": graph}
    return json.dumps(whole, ensure_ascii=False, indent=1) + "\n"


def _root(file: ReviewFile, files: Iterable[Entry]) -> dict[str, Any]:
    device = file.device.name
    root = {
        "@id": "./",
        "@type": "Dataset",
        "name": file.title,
        "description": f"What a review of {device} was made from and what it found: the meters' logs and the "
        "review file as they were, the notebooks as they ran, and the findings."
        + (f" {file.review.notice}" if file.review.notice else ""),
        "datePublished": _date(file.review.date),
        "license": {"@id": "#licence"},
        "version": str(file.review.edition),
        "hasPart": [_link(item) for item in files],
        "mentions": {"@id": "#run"},
    }
    return root | ({"author": {"@id": "#author"}} if file.review.author else {})


def _date(written: str) -> str:
    """Return the review's date if it is one that programs read; else today's, on which it is published."""
    try:
        return dt.date.fromisoformat(written.strip()).isoformat()
    except ValueError:
        return dt.datetime.now(dt.UTC).date().isoformat()


def _link(item: Entry) -> dict[str, str]:
    # A path is an address here, so that a blank in it is %20.
    return {"@id": quote(item.path)}


def _file_entity(item: Entry) -> dict[str, Any]:
    path = PurePosixPath(item.path)
    return {
        **_link(item),
        "@type": "File",
        "name": path.name,
        "description": item.about,
        "encodingFormat": _FORMATS.get(path.suffix.lower(), "application/octet-stream"),
        "contentSize": str(item.size),
        "sha256": item.sha256,
    }


def _action(file: ReviewFile, files: list[Entry]) -> dict[str, Any]:
    return {
        "@id": "#run",
        "@type": "CreateAction",
        "name": f"{file.title}: run from its raw data",
        "instrument": {"@id": "#reviewkit"},
        "object": [_link(item) for item in files if item.raw],
        "result": [_link(item) for item in files if not item.raw],
    }


def _software(made_with: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    beside = {"python": made_with["python"], **made_with["libraries"]}
    kit = _program("reviewkit", made_with["reviewkit"])
    yield kit | {"softwareRequirements": [{"@id": f"#{name}"} for name in beside]}
    yield from (_program(name, version) for name, version in beside.items())


def _program(name: str, version: str) -> dict[str, Any]:
    kind = "generic" if name in ("reviewkit", "python") else "pypi"
    return {
        "@id": f"#{name}",
        "@type": "SoftwareApplication",
        "name": name,
        "version": version,
        "url": f"pkg:{kind}/{quote(name)}@{quote(version)}",
    }


def _licence(file: ReviewFile) -> dict[str, Any]:
    stated = file.review.licence
    return {
        "@id": "#licence",
        "@type": "CreativeWork",
        "name": stated or "No licence stated",
        "description": f"The author's terms: {stated}" if stated else _NO_LICENCE,
    }


def _author(file: ReviewFile) -> Iterator[dict[str, Any]]:
    if file.review.author:
        yield {"@id": "#author", "@type": "Person", "name": file.review.author}


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
    found = findings_file.whole(reviewed.staged / JSON_FILE)
    file = reviewed.file
    entries: list[Entry] = []
    faults: list[InputError] = []
    with zipfile.ZipFile(reviewed.staged / ZIP, "w") as archive:
        for name, source, about in sorted(_files(reviewed)):
            with gathered(faults):
                digest, size = _pack(archive, name, source)
                entries.append(Entry(name, about, digest, size, name.startswith(f"{RAW}/")))
        if file.meters:
            now = file.meters.again(file.folder)
            archive.writestr(_item(f"{RAW}/{instruments.FILE}"), now.encode())
            seen = fingerprints.of_text(instruments.FILE, now)
            entries.append(Entry(f"{RAW}/{seen.path}", "the meters used", seen.sha256, seen.bytes, raw=True))
        text = crate_metadata(file, entries, found["made_with"])
        archive.writestr(_item(CRATE_FILE), text.encode())
    add(faults, fingerprints.changed(_seen(found), _raw_sums(entries)))
    if faults:
        raise Faults(faults)


def _seen(found: Mapping[str, Any]) -> list[Fingerprint]:
    return [Fingerprint(**item) for item in found["inputs"]]


def _raw_sums(entries: Iterable[Entry]) -> dict[str, str]:
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
