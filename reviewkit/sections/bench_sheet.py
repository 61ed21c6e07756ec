"""A sheet to print and take to the bench: what to measure, boxes to fill in, cautions."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from reviewkit.findings.cautions import CAUTIONS, SCOPE
from reviewkit.sections.template import Section
from reviewkit.system.locations import kit_folder


def page(name: str, sections: Iterable[Section]) -> str:
    """Return the sheet as HTML.

    Parameters
    ----------
    name : str
        The device's.
    sections : iterable of Section
        Each adds what its metadata ask for under ``bench``, else what its parameters' comments say.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    loader = FileSystemLoader(kit_folder() / "html")
    pages = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    parts = [_part(section) for section in sections]
    text: str = pages.get_template("bench_sheet.html.j2").render(
        name=name, sections=parts, cautions=CAUTIONS, scope=SCOPE
    )
    return text


def _part(section: Section) -> dict[str, Any]:
    asked = [item.comment for item in section.parameters if item.comment]
    return {"title": section.title, "bench": section.about.bench, "asked": asked}
