"""What a review publishes for programs: its findings as files, and the tables of its measured series."""

from __future__ import annotations

import csv
import json
import platform
import zlib
from collections.abc import Iterable, Mapping, Sequence
from importlib import metadata
from pathlib import Path
from typing import Any

from reviewkit.errors import SectionError
from reviewkit.findings import SCHEMA, Finding
from reviewkit.findings.dataset import DATASET_MIME, NAME, PACKED, unpacked
from reviewkit.pipeline import harvest
from reviewkit.review.review_file import OWN, ReviewFile

FOLDER = "data"
DESCRIPTION = "datapackage.json"


def take_out(notebook: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the tables that a notebook displayed; what stays in it names their files.

    Parameters
    ----------
    notebook : mapping
        Changed: a table of a long log would otherwise be published twice over.

    Raises
    ------
    SectionError
        If one is none, or two different ones have the same name.
    """
    taken: dict[str, dict[str, Any]] = {}
    for shown in harvest.displayed(notebook, DATASET_MIME):
        if not _is_table(shown):
            raise SectionError("what it displays as a table is none")
        if taken.setdefault(shown["name"], dict(shown)) != shown:
            raise SectionError(f"it makes two different tables '{shown['name']}'")
        del shown[PACKED]
        shown["path"] = f"{FOLDER}/{shown['name']}.csv"
    return list(taken.values())


def _is_table(shown: Any) -> bool:
    if not isinstance(shown, Mapping) or not NAME.fullmatch(str(shown.get("name"))):
        return False
    fields, sources = shown.get("fields"), shown.get("from")
    return (
        isinstance(shown.get("title"), str)
        and isinstance(fields, list)
        and all(isinstance(one, Mapping) and {"name", "title"} <= set(one) for one in fields)
        and isinstance(sources, list)
        and _can_be_unpacked(shown.get(PACKED))
    )


def _can_be_unpacked(packed: Any) -> bool:
    try:
        unpacked(packed)
    except (TypeError, ValueError, OSError, EOFError, zlib.error):
        return False
    return True


def write_tables(folder: Path, title: str, tables: Sequence[Mapping[str, Any]]) -> None:
    """Write the tables into `folder`/data with a Frictionless Data Package that describes them.

    Parameters
    ----------
    title : str
        The review's.
    tables : sequence of mapping
        From `take_out`; their names differ.
    """
    if not tables:
        return
    place = folder / FOLDER
    place.mkdir(exist_ok=True)
    for table in tables:
        text = unpacked(table[PACKED])
        (place / f"{table['name']}.csv").write_text(text, encoding="utf-8", newline="\n")
    package = {"title": title, "resources": [_resource(table) for table in tables]}
    described = json.dumps(package, ensure_ascii=False, indent=1)
    (place / DESCRIPTION).write_text(described + "\n", encoding="utf-8")


def _resource(table: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "name": table["name"],
        "title": table["title"],
        "path": f"{table['name']}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "sources": [{"title": path} for path in table["from"]],
        "schema": {"fields": _fields(table["fields"]), "missingValues": [""]},
    }


def _fields(fields: Iterable[Mapping[str, str]]) -> list[dict[str, str]]:
    return [{"name": item["name"], "type": "number", "title": item["title"]} for item in fields]


JSON_FILE = "findings.json"
CSV_FILE = "findings.csv"
_LIBRARIES = (
    "numpy",
    "scipy",
    "pandas",
    "plotly",
    "networkx",
    "pint",
    "uncertainties",
    "papermill",
    "nbconvert",
)


def write_findings(
    folder: Path, review: ReviewFile, sections: Iterable[Mapping[str, Any]], findings: Iterable[Finding]
) -> None:
    """Write both files into `folder`.

    Parameters
    ----------
    sections : iterable of mapping
        One for each section: name, title, place, page, status, message.
    """
    items = list(findings)
    whole = {
        "schema": SCHEMA,
        "device": review.device.model_dump(),
        "review": review.review.model_dump(),
        "declared": _declared(review),
        "made_with": made_with(),
        "inputs": [item.to_dict() for item in review.seen],
        "sections": list(sections),
        "findings": [item.to_dict() for item in items],
    }
    text = json.dumps(whole, ensure_ascii=False, indent=1, allow_nan=False)
    (folder / JSON_FILE).write_text(text + "\n", encoding="utf-8")
    _write_csv(folder / CSV_FILE, items)


def _declared(review: ReviewFile) -> dict[str, Any]:
    """Return the further blocks of the review file as they were written: cell, meters and the like."""
    return {key: value for key, value in review.values.items() if isinstance(value, dict) and key not in OWN}


def made_with() -> dict[str, Any]:
    """Return the versions that a rerun needs to know, and nothing about the machine."""
    return {
        "reviewkit": metadata.version("reviewkit"),
        "python": platform.python_version(),
        "libraries": {name: metadata.version(name) for name in _LIBRARIES},
    }


_COLUMNS = (
    *("key", "label", "value", "unit", "uncertainty", "low", "high"),
    *("limit_low", "limit_high", "limit_source", "verdict", "note", "from", "video_s"),
)


def _write_csv(path: Path, findings: Iterable[Finding]) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, _COLUMNS, extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        for item in findings:
            writer.writerow({name: _disarmed(cell) for name, cell in _row(item.to_dict()).items()})


_FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""What a spreadsheet takes for the start of a formula (OWASP, "CSV Injection")."""


def _disarmed(cell: Any) -> Any:
    """Return a text that no spreadsheet runs; numbers stay numbers."""
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA) else cell


def _row(item: Mapping[str, Any]) -> dict[str, Any]:
    limit = item["limit"] or {}
    value = item["value"]
    return {
        **item,
        "value": json.dumps(value, ensure_ascii=False) if isinstance(value, bool | list) else value,
        "limit_low": limit.get("low"),
        "limit_high": limit.get("high"),
        "limit_source": limit.get("source"),
        "from": " ".join(item["from"]),
    }
