"""Collects what an executed notebook displayed under the kit's own MIME types."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from reviewkit.errors import SectionError
from reviewkit.findings import MIME, SCHEMA, Finding, Findings, sound
from reviewkit.findings.extra_page import EXTRA_PAGE_MIME, ExtraPage


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
            sound.check(item)
    except (KeyError, TypeError) as error:
        raise SectionError(f"a finding is incomplete: {error}") from None
    except ValueError as error:
        raise SectionError(f"a finding is at fault: {error}") from None
    return found
