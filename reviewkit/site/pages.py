"""Writes the pages of a review into its staged folder, and the list of all reviews beside the folders."""

from __future__ import annotations

import html
import json
from pathlib import Path
from typing import Any

from reviewkit.finding import table_html
from reviewkit.records import JSON_FILE
from reviewkit.runner import Reviewed, SectionResult

_PAGE = (
    '<!doctype html><html lang="en"><head><meta charset="utf-8">'
    '<meta name="viewport" content="width=device-width, initial-scale=1">'
    "<title>{title}</title></head><body><main><h1>{title}</h1>{body}</main></body></html>\n"
)


def write_review(reviewed: Reviewed) -> None:
    """Write `index.html` and each section's page into the staged folder of a review that has been run.

    Parameters
    ----------
    reviewed : Reviewed
        Sections that failed are marked as such.
    """
    for result in reviewed.sections:
        _write(reviewed.staged / result.page, result.section.title, _section(result))
    body = f"<p>{html.escape(reviewed.file.device.disclosure)}</p>{table_html(reviewed.findings)}"
    links = "".join(_link(result) for result in reviewed.sections)
    _write(reviewed.staged / "index.html", reviewed.file.title, f"{body}<ul>{links}</ul>")


def write_shelf(out: Path) -> None:
    """Write `index.html` of the published folder: all reviews that lie in it, drafts left out.

    Parameters
    ----------
    out : pathlib.Path
    """
    names = sorted(path.parent.name for path in out.glob(f"[!.]*/{JSON_FILE}") if "." not in path.parent.name)
    items = "".join(f'<li><a href="{name}/index.html">{_title(out / name)}</a></li>' for name in names)
    _write(out / "index.html", "All reviews", f"<ul>{items}</ul>")


def _title(folder: Path) -> str:
    whole = json.loads((folder / JSON_FILE).read_text(encoding="utf-8"))
    return html.escape(whole["review"]["title"] or whole["device"]["name"])


def _link(result: SectionResult) -> str:
    failed = "" if result.ok else f": this section failed: {html.escape(result.message)}"
    return f'<li><a href="{result.page}">{html.escape(result.section.title)}</a>{failed}</li>'


def _section(result: SectionResult) -> str:
    from nbconvert import HTMLExporter

    exporter: Any = HTMLExporter(template_name="basic", exclude_input=True)  # type: ignore[no-untyped-call]
    body, _ = exporter.from_notebook_node(result.notebook)
    failed = "" if result.ok else f"<p>This section failed: {html.escape(result.message)}</p>"
    return failed + str(body)


def _write(path: Path, title: str, body: str) -> None:
    path.write_text(_PAGE.format(title=html.escape(title), body=body), encoding="utf-8")
