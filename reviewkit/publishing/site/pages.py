"""Writes the pages of a review into its staged folder, and the list of all reviews with their key figures."""

from __future__ import annotations

import hashlib
import html
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from markupsafe import Markup

from reviewkit.drawing import strip
from reviewkit.drawing.picture import picture
from reviewkit.findings import PART_MIME, PLOTLY_MIME, Finding, findings_file
from reviewkit.findings.displays import ExtraPage
from reviewkit.findings.findings_file import FILE as JSON_FILE
from reviewkit.metrology import units
from reviewkit.metrology.formatting import listed
from reviewkit.pipeline import harvest
from reviewkit.pipeline.results import ASSETS, Reviewed, SectionResult
from reviewkit.publishing import editions, written
from reviewkit.publishing.site import context, exporter, prose, single_file
from reviewkit.publishing.site.context import Link, PageContext, described
from reviewkit.publishing.site.prose import about_sample, disclosure
from reviewkit.review import video

_HOME = "index.html"
_EMPTY: dict[str, Any] = {"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}


def write_review(reviewed: Reviewed, *, charts_script: Path | None = None, home: str = _HOME) -> None:
    """Write all pages of a review that has been run: `write_sections` and `write_index`."""
    write_sections(reviewed, charts_script=charts_script, home=home)
    write_index(reviewed, charts_script=charts_script, home=home)


def write_sections(reviewed: Reviewed, *, charts_script: Path | None = None, home: str = _HOME) -> None:
    """Write each section's page into the staged folder of a review; its summary need not have run yet.

    Parameters
    ----------
    reviewed : Reviewed
        Sections that failed are marked as such.
    charts_script : pathlib.Path, optional
        A smaller build of the charts' script; the same is to be given to `write_shelf`.
    home : str
        The page that lists all reviews, as it is given to `write_shelf`.
    """
    base = _context(reviewed, charts_script, home)
    for result in reviewed.sections:
        _write_section(reviewed, result, base)
        for item in result.extra_pages:
            _write_extra_page(reviewed, result, item, base)


def write_index(reviewed: Reviewed, *, charts_script: Path | None = None, home: str = _HOME) -> None:
    """Write `index.html`, the review itself, into its staged folder.

    Parameters
    ----------
    reviewed : Reviewed
        With its summary.
    charts_script : pathlib.Path, optional
    home : str
        Both as given to `write_sections`.

    Raises
    ------
    ReviewFileError
        If the author's words name a finding that does not exist.
    """
    _write_index(reviewed, _context(reviewed, charts_script, home))


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
            known[name] = source, page, exporter.rendered(source, page)
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
        place = editions.place_of_kept(out, file.name, item.number) if moves else item.place
        said = f"Edition {item.number}{f', {item.date}' if item.date else ''}"
        links.append(Link(f"../{place.name}/index.html", said))
    return tuple(links)


def _write_section(reviewed: Reviewed, result: SectionResult, base: PageContext) -> None:
    page = _section_page(reviewed, result, base)
    _write(reviewed.staged / result.page, exporter.rendered(result.notebook, page))


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


def _write_extra_page(reviewed: Reviewed, result: SectionResult, item: ExtraPage, base: PageContext) -> None:
    page = _extra_page(reviewed, result, item, base)
    _write(reviewed.staged / item.page, exporter.rendered(_extra_notebook(item), page))


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


def _write_index(reviewed: Reviewed, base: PageContext) -> None:
    summary = reviewed.summary
    found = {item.key: item for item in reviewed.findings}
    words = prose.author_words(reviewed.file.folder, found, base.where, is_draft=bool(reviewed.failed))
    prose.write_photographs(reviewed.file.folder, reviewed.staged)
    page = _index_page(reviewed, base, words)
    page = replace(page, card=single_file.write(reviewed, page))
    notebook = summary.notebook if summary else _EMPTY
    _write(reviewed.staged / _HOME, exporter.rendered(notebook, page))


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
    place: Path,
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
    place : pathlib.Path
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
    _write(place / _HOME, exporter.rendered(result.notebook, page))


def write_charts(out: Path, *, charts_script: Path | None = None) -> None:
    """Write the script that the pages of all reviews share: no page is to be in its place before it is.

    Parameters
    ----------
    out : pathlib.Path
    charts_script : pathlib.Path, optional
        As given to `write_review`.
    """
    context.write_charts(out, context.charts_source(charts_script))


def write_shelf(out: Path, *, charts_script: Path | None = None, home: str = _HOME) -> None:
    """Write what the reviews of a published folder share: the list of them all, and the charts' script.

    Parameters
    ----------
    out : pathlib.Path
    charts_script : pathlib.Path, optional
        As given to `write_review`.
    home : str
        What the list is called; one of another name that the kit wrote before is removed.

    Raises
    ------
    InputError
        If somebody else's page has that name.
    """
    write_charts(out, charts_script=charts_script)
    columns, reviews = shelf(out)
    page = PageContext(title="All reviews")
    text = exporter.template(
        "list.html.j2",
        page,
        columns=columns,
        reviews=reviews,
        comparisons=comparisons(out),
        pictures=pictures(columns, reviews),
    )
    written.put(out, home, lambda part: _write(part, text))
    for name in [name for name in written.shared(out) if name.endswith(".html") and name != home]:
        written.remove(out, name)


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")


@dataclass(frozen=True)
class Figure:
    """One key figure of one review.

    Parameters
    ----------
    text, order : str
        What it says, and what it is sorted by.
    has : str
        What the list can be narrowed down to by it.
    unit : str
    interval : tuple of (float, float) or None [unit]
        Of a number that is drawn over all devices.
    """

    text: str = ""
    order: str = ""
    has: str = ""
    unit: str = ""
    interval: tuple[float, float] | None = None


@dataclass(frozen=True)
class ShelfRow:
    """One review on the list.

    Parameters
    ----------
    title, device, about, href : str
        About: the sample, edition and date, in a few words.
    figures : tuple of Figure
        One for each column; empty where the review has none.
    """

    title: str
    device: str
    about: str
    href: str
    figures: tuple[Figure, ...]

    @property
    def has(self) -> str:
        """What the list can be narrowed down to by its figures."""
        return " ".join(figure.has for figure in self.figures if figure.has)


def shelf(out: Path) -> tuple[list[str], list[ShelfRow]]:
    """Return the columns' names and the reviews of a published folder, drafts left out."""
    wholes = [(name, whole, _own_figures(out / name, whole)) for name, whole in _published(out)]
    columns = {name: head for _, _, own in wholes for name, (head, _) in own.items()}
    rows = [
        _row(name, whole, [own.get(key, ("", Figure()))[1] for key in columns]) for name, whole, own in wholes
    ]
    return list(columns.values()), sorted(rows, key=lambda row: row.title.lower())


MOST_DRAWN = 12
"""Devices that one picture shows; of more, the lowest and the highest. Chosen: one screen's height."""
_WIDE = 340
_LONGEST_NAME = 24
"""Letters of a device's name beside its mark: what a third of the picture holds."""


def _short(name: str) -> str:
    short = name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 1].rstrip()}…"
    return html.escape(short, quote=False)


def pictures(columns: Sequence[str], rows: Sequence[ShelfRow]) -> list[tuple[str, Markup]]:
    """Return a picture for each figure that at least two devices have: what it shows, and the drawing."""
    found = []
    for place, head in enumerate(columns):
        drawn = [(row.device, row.figures[place]) for row in rows if row.figures[place].interval]
        drawn.sort(key=lambda pair: float(pair[1].order))
        if len(drawn) < 2 or len({figure.unit for _, figure in drawn}) > 1:
            continue
        count, half = len(drawn), MOST_DRAWN // 2
        kept = drawn if count <= MOST_DRAWN else [*drawn[:half], *drawn[-half:]]
        of_all = f", the {half} lowest and {half} highest of {count} devices" if kept is not drawn else ""
        found.append((f"{head}{of_all}", _picture(head, kept)))
    return found


def _picture(head: str, drawn: Sequence[tuple[str, Figure]]) -> Markup:
    unit = drawn[0][1].unit
    scale, sign = (3600.0, "h") if unit == "s" else units.for_people(float(drawn[-1][1].order), unit)
    entries = [
        strip.Entry(_short(name), *(number / scale for number in (float(figure.order), *figure.interval)))
        for name, figure in drawn
        if figure.interval
    ]
    made = picture(strip.over_devices(entries, title=head, unit=sign), width=_WIDE)
    return Markup(made.for_page)  # the drawing escapes its texts


def comparisons(out: Path) -> list[Link]:
    """Return the pages of a published folder that show its reviews side by side."""
    devices = {name: whole["device"]["name"] for name, whole in _published(out)}
    links = []
    for path in sorted(out.glob(f"*/{COMPARED}")):
        place = path.parent
        if "." in place.name or place.is_symlink() or COMPARED not in written.files(place):
            continue
        names = json.loads(path.read_text(encoding="utf-8"))["reviews"]
        if all(name in devices for name in names):
            links.append(Link(f"{place.name}/index.html", listed(devices[name] for name in names)))
    return links


COMPARED = "compared.json"
"""In a comparison's folder: the folders of the reviews that it shows."""
_LONGEST = 80
"""Characters of a comparison's folder name: chosen, well under what every file system takes."""


def beside(names: Sequence[str]) -> str:
    """Return the folder's name of the page that shows reviews side by side."""
    whole = "-and-".join(names)
    if len(whole) <= _LONGEST:
        return whole
    # The same reviews keep their address, others do not get it.
    return f"{whole[: _LONGEST - 9]}-{hashlib.sha256(whole.encode()).hexdigest()[:8]}"


def _published(out: Path) -> list[tuple[str, dict[str, Any]]]:
    """Return name and findings of each folder that is a review of the kit's, and not a draft."""
    places = [path.parent for path in sorted(out.glob(f"*/{JSON_FILE}")) if "." not in path.parent.name]
    return [
        (place.name, findings_file.whole(place / JSON_FILE))
        for place in places
        if not place.is_symlink() and written.is_review(place)
    ]


def _own_figures(place: Path, whole: Mapping[str, Any]) -> dict[str, tuple[str, Figure]]:
    """Return a review's key figures, by name: the column's head, and what stands in it.

    Its summary displays them; its metadata may name findings as `figures` beside.
    """
    summaries = (json.loads(path.read_text(encoding="utf-8")) for path in place.glob("notebooks/*.ipynb"))
    own = [one for one in summaries if one["metadata"].get("reviewkit", {}).get("kind") == "summary"]
    shown = (part for one in own for part in harvest.displayed(one, PART_MIME) if "figures" in part)
    found = {item["name"]: (item["head"], _read(item)) for part in shown for item in part["figures"]}
    named = (key for one in own for key in one["metadata"]["reviewkit"].get("figures", ()))
    items = {item["key"]: item for item in whole["findings"]}
    return found | {key: _of_finding(Finding.from_dict(items[key])) for key in named if key in items}


def _read(item: Mapping[str, Any]) -> Figure:
    interval = item.get("interval")
    drawn = (float(interval[0]), float(interval[1])) if interval else None
    return Figure(item["text"], _order(item["order"]), item["has"], item.get("unit", ""), drawn)


def _of_finding(item: Finding) -> tuple[str, Figure]:
    is_list = isinstance(item.value, list)
    order = len(item.value) if is_list else item.value  # type: ignore[arg-type]
    return item.label, Figure(item.text, _order(order))


def _order(value: Any) -> str:
    return "" if value is None else str(value)


def _row(name: str, whole: Mapping[str, Any], figures: Iterable[Figure]) -> ShelfRow:
    device, about = whole["device"], whole["review"]
    firmware = f"firmware {device['firmware']}" if device.get("firmware") else ""
    edition = about.get("edition", 1)
    told = [firmware, f"edition {edition}" if edition else "a working copy", about.get("date") or ""]
    return ShelfRow(
        title=about["title"] or device["name"],
        device=device["name"],
        about=", ".join(part for part in told if part),
        href=f"{name}/index.html",
        figures=tuple(figures),
    )
