"""From what executed notebooks displayed, made sure of, to the files that a review publishes for programs."""

from __future__ import annotations

import csv
import json
import platform
import re
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Any

from reviewkit.errors import SectionError
from reviewkit.findings import CHART_MIME, MIME, PLOTLY_MIME, SCHEMA, Finding, Findings, findings_file
from reviewkit.findings.displays import DATASET_MIME, EXTRA_PAGE_MIME, NAME, PACKED, ExtraPage, unpacked
from reviewkit.findings.findings_file import FILE as JSON_FILE
from reviewkit.review.review_file import OWN, ReviewFile


def outputs(notebook: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    """Walk everything that a notebook's cells displayed, in order: each a mapping by MIME type."""
    for cell in notebook["cells"]:
        for output in cell.get("outputs", ()):
            if "data" in output:
                yield output["data"]


def displayed(notebook: Mapping[str, Any], mime: str) -> Iterator[Any]:
    """Walk what a notebook's cells displayed under one MIME type, in order."""
    for data in outputs(notebook):
        if mime in data:
            yield data[mime]


def findings(notebook: Mapping[str, Any]) -> Findings:
    """Return all findings that a notebook displayed.

    A finding displayed twice, with the same content, counts once.

    Raises
    ------
    SectionError
        If they are of another schema, incomplete, or two different ones have the same key.
    """
    found: dict[str, Finding] = {}
    for bundle in displayed(notebook, MIME):
        for item in read_bundle(bundle):
            if found.setdefault(item.key, item) != item:
                raise SectionError(f"it makes two different findings '{item.key}'")
    return Findings(tuple(found.values()))


def extra_pages(notebook: Mapping[str, Any]) -> tuple[ExtraPage, ...]:
    """Return the pages of their own that a notebook displayed.

    Raises
    ------
    SectionError
        If one is incomplete, has no name of a page, or two have the same.
    """
    found: dict[str, ExtraPage] = {}
    for data in displayed(notebook, EXTRA_PAGE_MIME):
        try:
            item = ExtraPage.from_dict(data)
        except (KeyError, TypeError, ValueError) as error:
            raise SectionError(f"a page of its own is at fault: {error}") from None
        if found.setdefault(item.name, item) != item:
            raise SectionError(f"it makes two different pages '{item.name}'")
    return tuple(found.values())


def read_bundle(bundle: Any) -> list[Finding]:
    """Return the findings that were displayed together.

    Raises
    ------
    SectionError
        If they are of another schema, incomplete, or a field is not what it must be.
    """
    if not isinstance(bundle, Mapping):
        raise SectionError("what it displays as findings are none")
    if bundle.get("schema") != SCHEMA:
        raise SectionError(f"its findings are of schema {bundle.get('schema')}; this kit reads {SCHEMA}")
    try:
        found = [Finding.from_dict(item) for item in bundle["findings"]]
        for item in found:
            findings_file.check(item)
    except (KeyError, TypeError) as error:
        raise SectionError(f"a finding is incomplete: {error}") from None
    except ValueError as error:
        raise SectionError(f"a finding is at fault: {error}") from None
    return found


_CHART_TEXTS = ("key", "question", "answer", "note")


def sweep(notebook: Mapping[str, Any]) -> str:
    """Take out of a notebook what is not what its MIME type says; return what the first such thing is.

    Parameters
    ----------
    notebook : mapping
        Changed where something is at fault.

    Returns
    -------
    str
        A line fit to publish; empty where all is well.
    """
    told = ""
    shown: Any
    for shown in outputs(notebook):
        for mime in list(shown):
            flaw = _flaw(mime, shown[mime])
            if flaw:
                del shown[mime]
                told = told or flaw
    return told


def _flaw(mime: str, shown: Any) -> str:
    if mime in _CHECKS:
        try:
            _CHECKS[mime](shown)
        except SectionError as error:
            return str(error)
        except (AttributeError, KeyError, TypeError, ValueError):
            return f"what it displays as a {_WORDS.get(mime, 'figure')} is none"
    elif mime.startswith(("text/", "image/")) and not _is_text(shown):
        return f"what it displays as '{mime}' is no text"
    return ""


def _is_text(shown: Any) -> bool:
    return isinstance(shown, str) or (isinstance(shown, list) and all(isinstance(one, str) for one in shown))


_ROOMS = {"narrow", "wide"}
_ELEMENTS = {"svg", "g", "path", "rect", "line", "circle", "polyline", "polygon", "text", "tspan", "title"}
_TAG = re.compile(r"</?([A-Za-z]+)((?:\s[^<>]*)?)>")
_RUNS = re.compile(
    r"\bon\w+\s*=|\bhref\b|\bstyle\s*=|\bid\s*=|url\(|&(?!amp;|lt;|gt;|quot;|#\d+;)", re.IGNORECASE
)


def _pictures(shown: Any) -> bool:
    """Whether a chart's pictures are drawings alone, with nothing in them that runs, loads or leads away."""
    for room, drawn in shown.items():
        if room not in _ROOMS or not isinstance(drawn["frame"], Mapping):
            return False
        rest = _TAG.sub("", drawn["svg"])
        found = _TAG.findall(drawn["svg"])
        known = bool(found) and all(name in _ELEMENTS and not _RUNS.search(more) for name, more in found)
        if not known or "<" in rest or ">" in rest:
            return False
    return True


def _chart(shown: Any) -> None:
    texts_hold = all(isinstance(shown.get(name, ""), str) for name in _CHART_TEXTS)
    height, colours = shown.get("height"), shown.get("dark", {})
    rows = [*shown.get("rows", []), shown.get("columns", [])]
    tables_hold = all(isinstance(row, list) and all(isinstance(cell, str) for cell in row) for row in rows)
    is_chart = texts_hold and tables_hold and isinstance(colours, Mapping) and isinstance(height, int | None)
    if not (is_chart and _pictures(shown.get("pictures", {}))):
        raise TypeError


def _figure(shown: Any) -> None:
    layout = shown["layout"]
    height = layout.get("height")
    holds = isinstance(shown["data"], list) and isinstance(layout.get("margin", {}), Mapping)
    if not (holds and (height is None or (isinstance(height, int | float) and 0 < height < 10_000))):
        raise TypeError


_CHECKS: Mapping[str, Callable[[Any], object]] = {
    MIME: read_bundle,
    CHART_MIME: _chart,
    PLOTLY_MIME: _figure,
    EXTRA_PAGE_MIME: ExtraPage.from_dict,
}
_WORDS = {CHART_MIME: "chart", EXTRA_PAGE_MIME: "page of its own"}


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
    for shown in displayed(notebook, DATASET_MIME):
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
    path = folder / FOLDER
    path.mkdir(exist_ok=True)
    for table in tables:
        text = unpacked(table[PACKED])
        (path / f"{table['name']}.csv").write_text(text, encoding="utf-8", newline="\n")
    package = {"title": title, "resources": [_resource(table) for table in tables]}
    described = json.dumps(package, ensure_ascii=False, indent=1)
    (path / DESCRIPTION).write_text(described + "\n", encoding="utf-8")


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


@cache
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
