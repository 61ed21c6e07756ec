"""Collects what an executed notebook displayed under the kit's own MIME types, and makes sure of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from reviewkit.errors import SectionError
from reviewkit.findings import CHART_MIME, MIME, PLOTLY_MIME, SCHEMA, Finding, Findings, several
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
            several.check(item)
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


def _chart(shown: Any) -> None:
    texts_hold = all(isinstance(shown.get(name, ""), str) for name in _CHART_TEXTS)
    height, colours = shown.get("height"), shown.get("dark", {})
    rows = [*shown.get("rows", []), shown.get("columns", [])]
    tables_hold = all(isinstance(row, list) and all(isinstance(cell, str) for cell in row) for row in rows)
    if not (texts_hold and tables_hold and isinstance(colours, Mapping) and isinstance(height, int | None)):
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
