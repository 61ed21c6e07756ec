"""Describes the evidence of a review for programs: a Research Object Crate, version 1.2.

References
----------
RO-Crate Metadata Specification 1.2, https://w3id.org/ro/crate/1.2: "Root Data Entity" (what must be
said of the whole), "Data Entities" (of a file), "Provenance" and "Workflows and Scripts" (what made it,
with which programs). Programs are named by package URLs: ECMA-427.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any
from urllib.parse import quote

from reviewkit.review.review_file import ReviewFile

FILE = "ro-crate-metadata.json"
VERSION = "https://w3id.org/ro/crate/1.2"

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


def metadata(file: ReviewFile, entries: Iterable[Entry], made_with: Mapping[str, Any]) -> str:
    """Return the text of the crate's metadata file.

    Parameters
    ----------
    file : ReviewFile
    entries : iterable of Entry
    made_with : mapping
        Versions, as `records.made_with` returns them.
    """
    files = sorted(entries, key=lambda item: item.path)
    graph = [
        {
            "@id": FILE,
            "@type": "CreativeWork",
            "conformsTo": {"@id": VERSION},
            "about": {"@id": "./"},
        },
        _root(file, files),
        *(_file(item) for item in files),
        _action(file, files),
        *_software(made_with),
        _licence(file),
        *_author(file),
    ]
    whole = {"@context": f"{VERSION}/context", "@graph": graph}
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


def _file(item: Entry) -> dict[str, Any]:
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
