"""What a notebook displayed, made sure of: its readers take each thing for what its MIME type says."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from reviewkit.errors import SectionError
from reviewkit.findings import CHART_MIME, MIME, PLOTLY_MIME
from reviewkit.findings.extra_page import EXTRA_PAGE_MIME, ExtraPage
from reviewkit.pipeline import harvest

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
    for shown in harvest.outputs(notebook):
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
    MIME: harvest.read_bundle,
    CHART_MIME: _chart,
    PLOTLY_MIME: _figure,
    EXTRA_PAGE_MIME: ExtraPage.from_dict,
}
_WORDS = {CHART_MIME: "chart", EXTRA_PAGE_MIME: "page of its own"}
