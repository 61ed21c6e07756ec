"""`evidence.zip`: what a review was made from and what it found, described for programs; and unpacked again.

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
import os
import re
import stat
import struct
import unicodedata
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any, BinaryIO
from urllib.parse import quote

from reviewkit.errors import Faults, InputError, add, gathered
from reviewkit.findings import findings_file
from reviewkit.findings.findings_file import FILE as JSON_FILE
from reviewkit.pipeline.harvest import CSV_FILE
from reviewkit.pipeline.results import NOTEBOOKS, Reviewed
from reviewkit.review import author_text, fingerprints
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
    for name, shown in author_text.pictured(reviewed.file.folder).items():
        about = "a photograph in the reviewer's words, as it is published: sized, and without metadata"
        yield f"{RAW}/{name}", reviewed.staged / shown.name, about


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


MOST_FILES = 2_000
MOST_BYTES = 1 << 30
"""All files together, unpacked."""
MOST_RATIO = 200
"""No text of a meter's shrinks more than this."""
_SMALL = 10 << 20
"""Up to this size a file may shrink as it likes: an hour of equal readings does."""
_DIRECTORY_BYTES = 1 << 20
_CHUNK = 1 << 20

_END = struct.Struct("<4s4H2LH")
_LARGE_END = b"PK\x06\x07"
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_ENCRYPTED = 0x1
_FORBIDDEN = re.compile(r"[\x00-\x1f\x7f:]")
_FAULTS = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError)


def unpack(path: Path, into: Path, *, wanted: Callable[[str], bool]) -> None:
    """Unpack the files wanted, once everything in the zip is known to be harmless.

    Parameters
    ----------
    path : pathlib.Path
        The zip.
    into : pathlib.Path
        An existing empty folder. Nothing is written outside it.
    wanted : callable
        Told a file's name inside the zip; says whether to unpack it.

    Raises
    ------
    InputError
        If it is no zip or damaged; holds a link, an encrypted file, a name that leads elsewhere or stands
        there twice; or is larger unpacked than a review's evidence can be.
    """
    with _told(path):
        _check_directory(path)
        with zipfile.ZipFile(path) as archive:
            files = _checked(archive.infolist(), path)
            for item in files:
                if wanted(item.filename):
                    _write(archive, item, into)


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Tell whatever a damaged zip makes the reader stumble over in one plain sentence."""
    try:
        yield
    except _FAULTS as error:
        raise _refused(path, "it is damaged, or no zip file") from error
    except OSError as error:
        raise InputError(f"it can't be unpacked ({error.strerror})", file=path.name) from error


def _refused(path: Path, why: str, name: str = "") -> InputError:
    shown = ascii(name)[1:-1][:80]
    return InputError(
        f"refused: {why}",
        file=path.name,
        place=f"its file '{shown}'" if name else "",
        expected="an evidence.zip as the kit wrote it",
    )


def _check_directory(path: Path) -> None:
    """Look at the table of contents' size before a reader fills the memory with it."""
    with path.open("rb") as stream:
        size = stream.seek(0, os.SEEK_END)
        stream.seek(max(0, size - _END.size - 20))
        tail = stream.read()
    if len(tail) < _END.size or not tail[-_END.size :].startswith(b"PK\x05\x06"):
        raise _refused(path, "it is damaged, or no zip file")
    *_, files, directory, _, comment = _END.unpack(tail[-_END.size :])
    if files > MOST_FILES or directory > _DIRECTORY_BYTES or tail.startswith(_LARGE_END):
        raise _refused(path, f"it holds more than {MOST_FILES} files")
    if comment:
        raise _refused(path, "it is damaged, or no zip file")


def _checked(items: Iterable[zipfile.ZipInfo], path: Path) -> list[zipfile.ZipInfo]:
    """Return the files, none of which is odd, alone or beside the others."""
    kept: list[zipfile.ZipInfo] = []
    taken: set[str] = set()
    folders: set[str] = set()
    total = packed = 0
    for item in items:
        why = _odd_name(item.orig_filename) or _odd_kind(item) or _odd_size(item)
        if why:
            raise _refused(path, why, item.orig_filename)
        packed += item.compress_size
        name = _folded(item.filename)
        parents = {name[:index] for index, letter in enumerate(name) if letter == "/"}
        if name.rstrip("/") in taken or parents & taken or (not item.is_dir() and name in folders):
            why = why or "two files have the same name"
        total += item.file_size
        if total > MOST_BYTES:
            why = why or f"it is larger than {MOST_BYTES >> 20} MB unpacked"
        if len(kept) >= MOST_FILES:
            why = f"it holds more than {MOST_FILES} files"
        if why:
            raise _refused(path, why, item.orig_filename)
        folders |= parents
        taken |= set() if item.is_dir() else {name}
        kept += [] if item.is_dir() else [item]
    # Many small files may together be what one large file may not.
    if total > _SMALL and total > MOST_RATIO * packed:
        raise _refused(path, "it unpacks to far more than meters' logs could")
    return kept


def _folded(name: str) -> str:
    """Return a name as the least particular file system sees it."""
    return unicodedata.normalize("NFC", name).casefold()


def _odd_name(name: str) -> str:
    parts = name.removesuffix("/").split("/")
    if name.startswith("/") or ".." in parts or re.match(r"[A-Za-z]:", name) or "\\" in name:
        return "its name leads out of the folder"
    if len(name) > 240 or _FORBIDDEN.search(name) or any(_odd_part(part) for part in parts):
        return "its name is none that every computer can write"
    return ""


def _odd_part(part: str) -> bool:
    # Some systems drop a blank or a dot at the end: ".. " would be "..".
    return part in ("", ".") or part.endswith((" ", "."))


def _odd_kind(item: zipfile.ZipInfo) -> str:
    kind = stat.S_IFMT(item.external_attr >> 16)
    if kind == stat.S_IFLNK:
        return "it is a link"
    if kind not in (0, stat.S_IFDIR if item.is_dir() else stat.S_IFREG) or (item.is_dir() and item.file_size):
        return "it is no plain file"
    if item.flag_bits & _ENCRYPTED:
        return "it is encrypted"
    return "" if item.compress_type in _METHODS else "it is packed in an unusual way"


def _odd_size(item: zipfile.ZipInfo) -> str:
    if item.file_size > _SMALL and item.file_size > MOST_RATIO * item.compress_size:
        return "it unpacks to far more than a meter's log could"
    return ""


def _write(archive: zipfile.ZipFile, item: zipfile.ZipInfo, into: Path) -> None:
    target = into.joinpath(*item.filename.split("/"))
    if not target.resolve().is_relative_to(into.resolve()):
        raise _refused(Path(str(archive.filename)), "its name leads out of the folder", item.filename)
    target.parent.mkdir(parents=True, exist_ok=True)
    # The reader gives no more bytes than the table of contents says, and the sum of those is within bounds.
    with archive.open(item) as packed, target.open("xb") as plain:
        while part := packed.read(_CHUNK):
            plain.write(part)
