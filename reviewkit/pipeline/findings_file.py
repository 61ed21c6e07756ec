"""The findings of a review as files: `findings.json` for programs, `findings.csv` for spreadsheets."""

from __future__ import annotations

import csv
import json
import platform
from collections.abc import Iterable, Mapping
from importlib import metadata
from pathlib import Path
from typing import Any

from reviewkit.findings import SCHEMA, Finding
from reviewkit.review.review_file import OWN, ReviewFile

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


def write(
    folder: Path, review: ReviewFile, sections: Iterable[Mapping[str, Any]], findings: Iterable[Finding]
) -> None:
    """Write both files into `folder`.

    Parameters
    ----------
    folder : pathlib.Path
    review : ReviewFile
    sections : iterable of mapping
        One for each section: name, title, place, page, status, message.
    findings : iterable of Finding
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
