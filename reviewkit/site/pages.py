"""Writes the pages of a review into its staged folder, and the list of all reviews beside the folders."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from reviewkit.finding import PLOTLY_MIME
from reviewkit.results import Reviewed, SectionResult
from reviewkit.site import assets, exporter, words
from reviewkit.site.context import Link, PageContext
from reviewkit.site.disclosure import about_sample, disclosure
from reviewkit.site.shelf import shelf

_HOME = "index.html"
_ALL = Link("../index.html", "All reviews")


def write_review(reviewed: Reviewed, *, charts_script: Path | None = None) -> None:
    """Write `index.html` and each section's page into the staged folder of a review that has been run.

    Parameters
    ----------
    reviewed : Reviewed
        Sections that failed are marked as such.
    charts_script : pathlib.Path, optional
        A smaller build of the charts' script; the same is to be given to `write_shelf`.

    Raises
    ------
    ReviewFileError
        If the author's words name a finding that does not exist.
    """
    base = _context(reviewed, charts_script)
    for result in reviewed.sections:
        _write_section(reviewed, result, base)
    _write_index(reviewed, base)


def _context(reviewed: Reviewed, charts_script: Path | None) -> PageContext:
    script = assets.charts_name(assets.charts_source(charts_script))
    return PageContext(
        title=reviewed.file.title,
        review=reviewed.file.title,
        charts=f"../{assets.FOLDER}/{script}",
        trail=(_ALL,),
        sections=tuple(Link(result.page, result.section.title) for result in reviewed.sections),
        where={item.key: result.page for result in reviewed.sections for item in result.findings},
        video=_web(reviewed.file.review.video),
        notice=reviewed.file.review.notice,
        draft=_draft(reviewed),
    )


def _web(address: str) -> str:
    """Return an address that a link may lead to, or nothing."""
    return address if address.startswith(("https://", "http://")) else ""


def _draft(reviewed: Reviewed) -> str:
    return " ".join(f"{result.section.title} failed: {result.message}" for result in reviewed.failed)


def _write_section(reviewed: Reviewed, result: SectionResult, base: PageContext) -> None:
    page = replace(
        base,
        title=result.section.title,
        trail=(_ALL, Link(_HOME, reviewed.file.title)),
        lead="",
        draft="" if result.ok else f"This section failed: {result.message}",
    )
    _write(reviewed.staged / result.page, exporter.rendered(result.notebook, page))


def _write_index(reviewed: Reviewed, base: PageContext) -> None:
    summary = reviewed.summary
    found = {item.key: item for item in reviewed.findings}
    page = replace(
        base,
        lead=about_sample(reviewed.file.device),
        disclosure=disclosure(reviewed.file.device, notice=reviewed.file.review.notice),
        words=words.rendered(reviewed.file.folder, found, base.where),
        first_charts={
            result.section.name: first for result in reviewed.sections if (first := _first(result))
        },
    )
    notebook = (
        summary.notebook if summary else {"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}
    )
    _write(reviewed.staged / _HOME, exporter.rendered(notebook, page))


def _first(result: SectionResult) -> Mapping[str, Any] | None:
    """Return what a section displayed as its first chart."""
    outputs = (output for cell in result.notebook["cells"] for output in cell.get("outputs", ()))
    return next((output["data"] for output in outputs if PLOTLY_MIME in output.get("data", {})), None)


def write_comparison(
    result: SectionResult, place: Path, title: str, reviews: Sequence[Link], *, notice: str = ""
) -> None:
    """Write the page of two reviews side by side.

    Parameters
    ----------
    result : SectionResult
        The comparison's notebook, executed.
    place : pathlib.Path
        Where `index.html` goes.
    title : str
    reviews : sequence of Link
        To the two reviews' own pages.
    notice : str
        What every page of the reviews must say first.
    """
    script = assets.charts_name(assets.charts_source(None))
    page = PageContext(
        title=title,
        charts=f"../{assets.FOLDER}/{script}",
        trail=(_ALL,),
        sections=tuple(reviews),
        notice=notice,
        draft="" if result.ok else result.message,
    )
    _write(place / _HOME, exporter.rendered(result.notebook, page))


def write_shelf(out: Path, *, charts_script: Path | None = None) -> None:
    """Write what the reviews of a published folder share: the list of them all, and the charts' script.

    Parameters
    ----------
    out : pathlib.Path
    charts_script : pathlib.Path, optional
        As given to `write_review`.
    """
    assets.write_charts(out, assets.charts_source(charts_script))
    columns, reviews = shelf(out)
    page = PageContext(title="All reviews")
    _write(out / _HOME, exporter.template("list.html.j2", page, columns=columns, reviews=reviews))


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")
