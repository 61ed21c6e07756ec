"""Reads back the findings of a published review, which anyone may have written."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from reviewkit.errors import InputError
from reviewkit.findings import SCHEMA, Finding, Findings
from reviewkit.metrology.conformity import Limit, Verdict
from reviewkit.publishing import safe_zip
from reviewkit.schema import quantities

_MOST_BYTES = 64 << 20
_MOST_FINDINGS = 20_000
"""Chosen: some hundred times a review's."""
# Beyond this no quantity of a light's charger lies, and arithmetic is safe from overflow.
_WITHIN = Field(ge=-1e15, le=1e15)
_Number = Annotated[float, _WITHIN]


class _Part(BaseModel):
    """A part of `findings.json`: types are checked, keys of no concern here are let be."""

    model_config = ConfigDict(frozen=True, strict=True, allow_inf_nan=False)


class _Limit(_Part):
    low: _Number | None
    high: _Number | None
    source: str


class _Finding(_Part):
    key: str = Field(min_length=1, max_length=300)
    label: str
    value: bool | Annotated[int, _WITHIN] | _Number | str | list[Any] | None
    unit: str
    uncertainty: _Number | None
    low: _Number | None
    high: _Number | None
    limit: _Limit | None
    verdict: Verdict | None
    note: str


class _Input(_Part):
    path: str
    sha256: str


class _Review(_Part):
    video: str = ""


class _Whole(_Part):
    inputs: list[_Input] = Field(max_length=safe_zip.MOST_FILES)
    review: _Review
    findings: list[_Finding] = Field(max_length=_MOST_FINDINGS)


@dataclass(frozen=True)
class Record:
    """What was published.

    Parameters
    ----------
    findings : Findings
        Without their budgets.
    sums : dict of str to str
        SHA-256 of each file that the review read, by its path in the review folder.
    video : str
    """

    findings: Findings
    sums: dict[str, str]
    video: str


def read(path: Path) -> Record:
    """Return a published review's findings and the fingerprints of what they were made from.

    Raises
    ------
    InputError
        If the file is missing, none of the kit's, or of another schema.
    """
    data = _data(path)
    if data.get("schema") != SCHEMA:
        problem = f"its findings are of schema {str(data.get('schema'))[:20]}"
        raise InputError(problem, file=path.name, expected=f"schema {SCHEMA}")
    whole = quantities.checked(_Whole, data, file=path.name)
    items = {item.key: _finding(item) for item in whole.findings}
    if len(items) < len(whole.findings):
        raise InputError("two findings have the same key", file=path.name)
    sums = {item.path: item.sha256 for item in whole.inputs}
    return Record(Findings(tuple(items.values())), sums, whole.review.video)


def _data(path: Path) -> dict[str, Any]:
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise InputError("it is larger than any review's findings", file=path.name)
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"the file cannot be read ({error.strerror})", file=path.name) from None
    except (ValueError, RecursionError):
        raise InputError("it is no JSON", file=path.name, expected="a published review's findings") from None
    if not isinstance(data, dict):
        raise InputError("it holds no findings", file=path.name, expected="a published review's findings")
    return data


def _finding(item: _Finding) -> Finding:
    limit = Limit(item.limit.low, item.limit.high, item.limit.source) if item.limit else None
    return Finding(**{**dict(item), "limit": limit})
