"""`findings.json`, read back by whatever sums up, compares, lists or verifies reviews."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit.errors import InputError
from reviewkit.findings.item import SCHEMA, Finding
from reviewkit.findings.several import Findings

FILE = "findings.json"
LAST_EDITION = "last_edition.json"
"""The findings of the edition before, beside it."""
WORDS = "words.md"
"""The author's own paragraphs, among a review's inputs: they take numbers from findings and give none."""
_MOST_BYTES = 64 << 20
"""Of a file that is read at all. Chosen: some hundred times the largest review's."""
_EXPECTED = "a published review's findings"


@dataclass(frozen=True)
class FindingsFile:
    """What a review's file of findings holds.

    Parameters
    ----------
    device, review : mapping
        These blocks of the review file, checked.
    declared : mapping
        Its further blocks as they were written: cell, meters and the like.
    sections : tuple of mapping
        name, title, page, status, message of each.
    inputs : tuple of mapping
        path, sha256, bytes of each file that was read.
    made_with : mapping
        Versions of the kit, of Python and of the libraries.
    """

    findings: Findings
    device: Mapping[str, Any]
    review: Mapping[str, Any]
    declared: Mapping[str, Any]
    sections: tuple[Mapping[str, Any], ...]
    inputs: tuple[Mapping[str, Any], ...]
    made_with: Mapping[str, Any]

    @property
    def edition(self) -> int:
        """The review's edition; 0 for a working copy."""
        return int(self.review.get("edition", 1))


def read(path: Path) -> FindingsFile:
    """Return a review's findings and what is told beside them.

    Raises
    ------
    InputError
        If the file is missing, none of the kit's, or of another schema.

    Examples
    --------
    >>> read(site / "birch" / "findings.json").findings["charge.wall_adapter.terminates"].value
    True
    """
    data = of_this_schema(path)
    try:
        return FindingsFile(
            findings=Findings(tuple(Finding.from_dict(item) for item in data["findings"])),
            device=dict(data["device"]),
            review=dict(data["review"]),
            declared=dict(data["declared"]),
            sections=tuple(data["sections"]),
            inputs=tuple(data["inputs"]),
            made_with=dict(data["made_with"]),
        )
    except (KeyError, TypeError, ValueError) as error:
        problem = f"it holds no whole findings ({error})"
        raise InputError(problem, file=path.name, expected=_EXPECTED) from None


def measured_from(inputs: Iterable[Mapping[str, Any]]) -> tuple[Mapping[str, Any], ...]:
    """Return the inputs that findings can depend on."""
    return tuple(item for item in inputs if item.get("path") != WORDS)


def digests(folder: Path) -> dict[str, str]:
    """Return SHA-256, by file, of what a folder's findings and those of the edition before have to tell."""
    told = whole(folder / FILE)
    told["inputs"] = list(measured_from(told["inputs"]))
    before = folder / LAST_EDITION
    content = {
        FILE: json.dumps(told).encode(),
        **({LAST_EDITION: before.read_bytes()} if before.is_file() else {}),
    }
    return {name: hashlib.sha256(data).hexdigest() for name, data in content.items()}


def of_this_schema(path: Path) -> dict[str, Any]:
    """Return what the file holds, as JSON has it, if this kit could have written it.

    Raises
    ------
    InputError
        If it is missing, no JSON, or of another schema.
    """
    data = whole(path)
    if data.get("schema") != SCHEMA:
        problem = f"its findings are of schema {str(data.get('schema'))[:20]}"
        raise InputError(problem, file=path.name, expected=f"schema {SCHEMA}")
    return data


def whole(path: Path) -> dict[str, Any]:
    """Return what the file holds, of whatever schema.

    Raises
    ------
    InputError
        If it is missing or no JSON.
    """
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise InputError("it is larger than any review's findings", file=path.name)
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"the file cannot be read ({error.strerror})", file=path.name) from None
    except (ValueError, RecursionError):
        raise InputError("it is no JSON", file=path.name, expected=_EXPECTED) from None
    if not isinstance(data, dict):
        raise InputError("it holds no findings", file=path.name, expected=_EXPECTED)
    return data
