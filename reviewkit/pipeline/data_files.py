"""The tables that a review publishes: CSV files, and a description of them for programs."""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from reviewkit.errors import SectionError
from reviewkit.findings.dataset import DATASET_MIME, NAME, PACKED, unpacked
from reviewkit.pipeline import harvest

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


def write(folder: Path, title: str, tables: Sequence[Mapping[str, Any]]) -> None:
    """Write the tables into `folder`/data with a Frictionless Data Package that describes them.

    Parameters
    ----------
    folder : pathlib.Path
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
