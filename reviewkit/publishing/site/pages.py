"""Writes the pages of a review into its staged folder, and the list of all reviews with their key figures."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from markupsafe import Markup

from reviewkit.findings import PLOTLY_MIME
from reviewkit.findings.displays import ExtraPage
from reviewkit.pipeline.results import ASSETS, Reviewed, SectionResult
from reviewkit.publishing import editions
from reviewkit.publishing.site import context, prose, rendering, single_file
from reviewkit.publishing.site.context import Link, PageContext, described
from reviewkit.publishing.site.prose import about_sample, disclosure
from reviewkit.review import video

_HOME = "index.html"
_EMPTY: dict[str, Any] = {"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}


def write_review(reviewed: Reviewed, *, charts_script: Path | None = None, home: str = _HOME) -> None:
    """Write all pages of a review that has been run: `write_sections` and `write_index`."""
    write_sections(reviewed, charts_script=charts_script, home=home)
    write_index(reviewed, charts_script=charts_script, home=home)


def write_sections(
    reviewed: Reviewed, *, charts_script: Path | None = None, home: str = _HOME, fresh: bool = False
) -> None:
    """Write each section's page into the staged folder of a review; its summary need not have run yet.

    Parameters
    ----------
    reviewed : Reviewed
        Sections that failed are marked as such.
    charts_script : pathlib.Path, optional
        A smaller build of the charts' script; the same is to be given to `write_list`.
    home : str
        The page that lists all reviews, as it is given to `write_list`.
    fresh : bool
        Whether to render pages, too, that come out as they did before.
    """
    base = _context(reviewed, charts_script, home)
    for result in reviewed.sections:
        page = _section_page(reviewed, result, base)
        _write(reviewed.staged / result.page, rendering.rendered(result.notebook, page, fresh=fresh))
        for item in result.extra_pages:
            page = _extra_page(reviewed, result, item, base)
            text = rendering.rendered(_extra_notebook(item), page, fresh=fresh)
            _write(reviewed.staged / item.page, text)


def write_index(
    reviewed: Reviewed, *, charts_script: Path | None = None, home: str = _HOME, fresh: bool = False
) -> None:
    """Write `index.html`, the review itself, into its staged folder.

    Parameters
    ----------
    reviewed : Reviewed
        With its summary.
    charts_script : pathlib.Path, optional
    home : str
    fresh : bool
        All as given to `write_sections`.

    Raises
    ------
    ReviewFileError
        If the author's words name a finding that does not exist.
    """
    _write_index(reviewed, _context(reviewed, charts_script, home), fresh=fresh)


KnownPages = dict[str, tuple[Any, PageContext, str]]
"""Pages made before, by file: the notebook and what else each was made from, and its text."""


def write_preview(reviewed: Reviewed, *, words: str, known: KnownPages) -> None:
    """Write all pages of a review for the one who is writing it; they say that they are no publication.

    Parameters
    ----------
    words : str
        The author's paragraphs; a placeholder in them that names no finding is marked.
    known : dict
        Pages made before: those that would come out the same are taken from it, and new ones put in.
    """
    base = replace(_context(reviewed, None, _HOME), is_preview=True, trail=())
    found = {item.key: item for item in reviewed.findings}
    folder = reviewed.file.folder
    text = prose.worded(words, found, base.where, folder=folder, unknown=prose.marked(found))
    prose.write_photographs(folder, reviewed.staged)
    pages = [
        (result.page, result.notebook, _section_page(reviewed, result, base)) for result in reviewed.sections
    ]
    pages += [
        (item.page, _extra_notebook(item), _extra_page(reviewed, result, item, base))
        for result in reviewed.sections
        for item in result.extra_pages
    ]
    notebook = reviewed.summary.notebook if reviewed.summary else _EMPTY
    pages.append((_HOME, notebook, _index_page(reviewed, base, text)))
    for name, source, page in pages:
        before = known.get(name)
        if not (before and before[0] == source and before[1] == page):
            known[name] = source, page, rendering.rendered(source, page)
        _write(reviewed.staged / name, known[name][2])


def _context(reviewed: Reviewed, charts_script: Path | None, home: str) -> PageContext:
    script = context.charts_name(context.charts_source(charts_script))
    return PageContext(
        title=reviewed.file.title,
        review=reviewed.file.title,
        device=reviewed.file.device.name,
        charts=f"../{ASSETS}/{script}",
        trail=(_to_all(home),),
        sections=tuple(Link(result.page, result.section.title) for result in reviewed.sections),
        where={item.key: result.page for result in reviewed.sections for item in result.findings},
        film=video.film(reviewed.file),
        moments=_moments(reviewed),
        extra_pages={
            result.section.name: tuple(Link(item.page, item.title) for item in result.extra_pages)
            for result in reviewed.sections
        },
        notice=reviewed.file.review.notice,
        draft=_draft(
            reviewed, (f"{result.section.title} failed: {result.message}" for result in reviewed.failed)
        ),
    )


def _to_all(home: str) -> Link:
    return Link(f"../{home}", "All reviews")


def _moments(reviewed: Reviewed) -> dict[str, float]:
    """Return when the video shows each section and each finding that it shows [s]."""
    found = {result.section.name: result.video_s for result in reviewed.sections}
    found |= {item.key: item.video_s for item in reviewed.findings}
    return {name: moment_s for name, moment_s in found.items() if moment_s is not None}


def _draft(reviewed: Reviewed, failed: Iterable[str]) -> str:
    """Return why a page is a draft: what failed, and that its review is no edition yet."""
    told = "This is a working copy, not yet an edition of the review: data and numbers may still change."
    return " ".join([*([told] if reviewed.file.is_working_copy else []), *failed])


def _earlier(reviewed: Reviewed) -> tuple[Link, ...]:
    """Return the ways to the earlier editions, as they will lie when this one is in its place."""
    out, file = reviewed.staged.parent, reviewed.file
    moves = not reviewed.failed and editions.is_to_replace(out, file.name, file.review.edition)
    links = []
    for item in editions.earlier(out, file.name, file.review.edition):
        folder = editions.place_of_kept(out, file.name, item.number) if moves else item.place
        said = f"Edition {item.number}{f', {item.date}' if item.date else ''}"
        links.append(Link(f"../{folder.name}/index.html", said))
    return tuple(links)


def _section_page(reviewed: Reviewed, result: SectionResult, base: PageContext) -> PageContext:
    return replace(
        base,
        title=result.section.title,
        section=result.section.name,
        trail=(*base.trail, Link(_HOME, reviewed.file.title)),
        lead="",
        description=_of_section(reviewed, result),
        address=reviewed.file.address(result.page),
        draft=_draft(reviewed, [] if result.ok else [f"This section failed: {result.message}"]),
    )


def _of_section(reviewed: Reviewed, result: SectionResult) -> str:
    """Return what is on a section's page, for search."""
    judged = sum(item.is_judged for item in result.findings)
    found = f"{len(result.findings)} findings, {judged} of them judged against a limit"
    return f"{result.section.title}: {reviewed.file.device.name}, measured on the bench. {found}."


def _extra_page(reviewed: Reviewed, result: SectionResult, item: ExtraPage, base: PageContext) -> PageContext:
    trail = (*base.trail, Link(_HOME, reviewed.file.title), Link(result.page, result.section.title))
    return replace(
        base,
        title=item.title,
        trail=trail,
        draft="",
        is_letter=True,
        description=f"{item.title}: {reviewed.file.title}.",
        address=reviewed.file.address(item.page),
    )


def _extra_notebook(item: ExtraPage) -> dict[str, Any]:
    cell = {"id": "letter", "cell_type": "markdown", "metadata": {}, "source": item.markdown}
    return {**_EMPTY, "cells": [cell]}


def _write_index(reviewed: Reviewed, base: PageContext, *, fresh: bool) -> None:
    summary = reviewed.summary
    found = {item.key: item for item in reviewed.findings}
    words = prose.author_words(reviewed.file.folder, found, base.where, is_draft=bool(reviewed.failed))
    prose.write_photographs(reviewed.file.folder, reviewed.staged)
    page = _index_page(reviewed, base, words)
    page = replace(page, card=single_file.write(reviewed, page, fresh=fresh))
    notebook = summary.notebook if summary else _EMPTY
    _write(reviewed.staged / _HOME, rendering.rendered(notebook, page, fresh=fresh))


def _index_page(reviewed: Reviewed, base: PageContext, words: Markup) -> PageContext:
    said = single_file.opening(reviewed, "text/plain")
    return replace(
        base,
        lead=about_sample(reviewed.file.device),
        disclosure=disclosure(reviewed.file.device, notice=reviewed.file.review.notice),
        words=words,
        first_charts={
            result.section.name: first for result in reviewed.sections if (first := _first(result))
        },
        described=described(reviewed.file, said, base.film),
        description=said,
        address=reviewed.file.address(_HOME),
        earlier=_earlier(reviewed),
    )


def _first(result: SectionResult) -> Mapping[str, Any] | None:
    """Return what a section displayed as its first chart."""
    outputs = (output for cell in result.notebook["cells"] for output in cell.get("outputs", ()))
    return next((output["data"] for output in outputs if PLOTLY_MIME in output.get("data", {})), None)


def write_comparison(
    result: SectionResult,
    path: Path,
    title: str,
    reviews: Sequence[Link],
    *,
    notice: str = "",
    home: str = _HOME,
) -> None:
    """Write the page of two reviews side by side.

    Parameters
    ----------
    result : SectionResult
        The comparison's notebook, executed.
    path : pathlib.Path
        Where `index.html` goes.
    title : str
    reviews : sequence of Link
        To the two reviews' own pages.
    notice : str
        What every page of the reviews must say first.
    home : str
        The page that lists all reviews.
    """
    script = context.charts_name(context.charts_source(None))
    page = PageContext(
        title=title,
        charts=f"../{ASSETS}/{script}",
        trail=(_to_all(home),),
        sections=tuple(reviews),
        notice=notice,
        description=f"{title}: measured on the bench and compared, each difference with its uncertainty.",
        draft="" if result.ok else result.message,
    )
    _write(path / _HOME, rendering.rendered(result.notebook, page))


def write_charts(out: Path, *, charts_script: Path | None = None) -> None:
    """Write the script that the pages of all reviews share: no page is to be in its place before it is.

    Parameters
    ----------
    out : pathlib.Path
    charts_script : pathlib.Path, optional
        As given to `write_review`.
    """
    context.write_charts(out, context.charts_source(charts_script))


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")
