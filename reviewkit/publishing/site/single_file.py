"""A review in one file that leads to no other: all its pages, to be mailed; a small card, to be embedded."""

from __future__ import annotations

import base64
import hashlib
import html
import mimetypes
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from html.parser import HTMLParser
from pathlib import Path

from markupsafe import Markup

from reviewkit.errors import InputError
from reviewkit.findings import CHART_MIME, PART_MIME, PLOTLY_MIME
from reviewkit.pipeline import harvest
from reviewkit.pipeline.results import Reviewed, SectionResult
from reviewkit.publishing.site import bundles, context, rendering
from reviewkit.publishing.site.bundles import ChartBundle
from reviewkit.publishing.site.context import PageContext
from reviewkit.review.photographs import FOLDER

HOME = "index.html"
MOST_CARRIED = 8 << 20
"""A file up to this size is carried along, in bytes; a larger one is named without a link."""

_ID = re.compile(r'<[^<>]*\sid="([^"]+)"')
_ELSEWHERE = re.compile(r"(?:https?|mailto|data):", re.IGNORECASE)
_HEADING = re.compile(r"h[2-5]")
_BY_ID = ("aria-labelledby", "aria-describedby", "for", "headers")
_Attributes = list[tuple[str, str | None]]


@dataclass(frozen=True)
class _Page:
    """One page on its way into the file.

    Parameters
    ----------
    text : str
    anchor : str
        Its own address in the file.
    ids : mapping of str to str
        Its addresses, as they are called in the file.
    """

    text: str
    anchor: str
    ids: Mapping[str, str]


def join(
    folder: Path, name: str, *, sections: Sequence[str], carried: str, charts_script: Path | None = None
) -> Path:
    """Join the pages in a folder and return the file.

    Parameters
    ----------
    folder : pathlib.Path
        Holds `index.html` and the other pages.
    name : str
        What the file is called, without ".html".
    sections : sequence of str
        The sections' pages, in their order; all others come after them.
    carried : str
        A zip in the folder that the reader is to have, if it is there and small enough.
    charts_script : pathlib.Path, optional
        As the pages were given it.

    Raises
    ------
    InputError
        If a page has that name already.
    """
    file = folder / f"{name}.html"
    if file.exists():
        problem = f"a page of the review is called '{file.name}' already"
        raise InputError(problem, remedy="Give the review's folder another name.")
    others = sorted({path.name for path in folder.glob("*.html")} - {HOME, CARD, *sections})
    pages = _pages(folder, [HOME, *sections, *others])
    extra = _extra(folder, carried)
    first, *rest = (_rewritten(page, pages, extra) for page in pages)
    script = _inline(context.charts_source(charts_script))
    whole = _policy(_before(first, "</main>", "".join(rest)), script)
    whole = _before(whole, "</body>", f"<script>{script}</script>\n")
    file.write_text(whole, encoding="utf-8", newline="\n")
    return file


def _pages(path: Path, names: Sequence[str]) -> dict[str, _Page]:
    taken: set[str] = set()
    pages = {}
    for name in names:
        text = _with_photographs((path / name).read_text(encoding="utf-8"), path)
        stem = name.removesuffix(".html")
        ids = {old: old if old not in taken else f"{stem}.{old}" for old in _ID.findall(text)}
        taken |= set(ids.values())
        pages[name] = _Page(text, "main" if name == HOME else f"page-{stem}", ids)
    return pages


def _with_photographs(text: str, path: Path) -> str:
    """Return a page that carries its photographs itself."""

    def carried(found: re.Match[str]) -> str:
        kind = mimetypes.guess_type(found[1])[0]
        return f'src="data:{kind};base64,{base64.b64encode((path / found[1]).read_bytes()).decode()}"'

    return re.sub(rf'(?<=<img class="photo" )src="({FOLDER}/[^"]+)"', carried, text)


def _extra(folder: Path, name: str) -> dict[str, str]:
    path = folder / name
    if not path.is_file() or path.stat().st_size > MOST_CARRIED:
        return {}
    return {name: f"data:application/zip;base64,{base64.b64encode(path.read_bytes()).decode()}"}


def _inline(source: Path) -> str:
    """Return a script as an element can hold it."""
    text = source.read_text(encoding="utf-8")
    # HTML allows no control characters; in a script's texts they may be written by their numbers.
    text = re.sub(r"[\x00-\x08\x0b\x0e-\x1f]", lambda sign: f"\\x{ord(sign[0]):02x}", text)
    return re.sub(r"<(?=/script|!--|script)", r"\\x3c", text, flags=re.IGNORECASE)


def _before(text: str, mark: str, more: str) -> str:
    head, found, tail = text.rpartition(mark)
    return head + more + found + tail


def _policy(text: str, script: str) -> str:
    """Return the page with a policy that lets nothing be fetched and the two scripts in it run."""
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    old = context.page_assets().policy
    new = re.sub(r" (?:'self'|file:)(?=[ ;])", "", old)
    new = new.replace("script-src", f"script-src 'sha256-{digest}'")
    return text.replace(html.escape(old).replace("&#x27;", "&#39;"), html.escape(new), 1)


def _rewritten(name: str, pages: Mapping[str, _Page], extra: Mapping[str, str]) -> str:
    writer = _Writer(name, pages, extra)
    writer.feed(pages[name].text)
    writer.close()
    body = "".join(writer.written)
    if name == HOME:
        return body
    page = pages[name]
    title = "".join(writer.title)
    return (
        f'<section aria-labelledby="{page.anchor}">\n<h2 id="{page.anchor}">{title}</h2>\n{body}</section>\n'
    )


def _leads_to_a_picture(attributes: Mapping[str, str | None]) -> bool:
    """Whether it tells of a preview that lies beside the pages, and not in this file."""
    named = (attributes.get("property") or "").startswith("og:image")
    return named and not _ELSEWHERE.match(attributes.get("content") or "")


class _Writer(HTMLParser):
    """Writes a page again: the first whole, of the others what is in `main`; links lead within the file."""

    def __init__(self, name: str, pages: Mapping[str, _Page], extra: Mapping[str, str]) -> None:
        super().__init__(convert_charrefs=False)
        self.name, self.pages, self.extra = name, pages, extra
        self.written: list[str] = []
        self.title: list[str] = []
        self.open = name == HOME
        self.in_title = False
        self.leaving_out = ""

    def handle_starttag(self, tag: str, attrs: _Attributes) -> None:
        """Write an element's start, unless it is left out."""
        if tag == "meta" and _leads_to_a_picture(dict(attrs)):
            return
        self.in_title = self.in_title or tag == "h1"
        self.leaving_out = self.leaving_out or (tag if self._is_left_out(tag, dict(attrs)) else "")
        new = [pair for old in attrs for pair in self._attribute(*old)]
        raw = self.get_starttag_text() or ""
        self._put(raw if (new, self._tag(tag)) == (attrs, tag) else self._start(tag, new))
        self.open = self.open or tag == "main"

    def handle_startendtag(self, tag: str, attrs: _Attributes) -> None:
        """Write an element that ends where it starts, such as a line of a drawing."""
        self._put(self.get_starttag_text() or "")

    def handle_endtag(self, tag: str) -> None:
        """Write an element's end; that of `main` ends what is taken from a page."""
        self.in_title = self.in_title and tag != "h1"
        if tag == "main" and self.name != HOME:
            self.open = False
        self._put(f"</{self._tag(tag)}>")
        if tag == self.leaving_out:
            self.leaving_out = ""

    def handle_data(self, data: str) -> None:
        """Write text, and what scripts and styles hold, as it is."""
        self._put(data)

    def handle_entityref(self, name: str) -> None:
        """Write a character's name as it is."""
        self._put(f"&{name};")

    def handle_charref(self, name: str) -> None:
        """Write a character's number as it is."""
        self._put(f"&#{name};")

    def handle_decl(self, decl: str) -> None:
        """Write the document's type."""
        self._put(f"<!{decl}>")

    def _put(self, text: str) -> None:
        if self.in_title and not text.startswith("<"):
            self.title.append(text)
        if self.open and not self.leaving_out:
            self.written.append(text)

    def _is_left_out(self, tag: str, attributes: Mapping[str, str | None]) -> bool:
        # What leads to other files only is left out, as a video is; one box shows the calls of all parts.
        kind = attributes.get("class")
        return (
            tag == "video" or kind in ("trail", "small-version") or (kind == "control" and self.name != HOME)
        )

    def _tag(self, tag: str) -> str:
        """Return an element's name; what was a page's heading is now one of a part's."""
        is_lower = self.name != HOME and _HEADING.fullmatch(tag)
        return f"h{int(tag[1]) + 1}" if is_lower else tag

    def _start(self, tag: str, attributes: _Attributes) -> str:
        told = (
            f' {name}="{html.escape(value)}"' if value is not None else f" {name}"
            for name, value in attributes
        )
        return f"<{self._tag(tag)}{''.join(told)}>"

    def _attribute(self, name: str, value: str | None) -> Iterator[tuple[str, str | None]]:
        ids = self.pages[self.name].ids
        if value is None:
            yield name, value
        elif name == "id":
            yield name, ids.get(value, value)
        elif name in _BY_ID:
            yield name, " ".join(ids.get(word, word) for word in value.split())
        elif name == "data-charts":
            yield name, ""
        elif name == "href":
            yield from self._link(value)
        else:
            yield name, value

    def _link(self, address: str) -> Iterator[tuple[str, str | None]]:
        """Walk a link's attributes: it leads within the file, to the web, or nowhere any more."""
        path, _, anchor = address.partition("#")
        page = self.pages.get(path or self.name)
        if page is not None:
            yield "href", f"#{page.ids.get(anchor, anchor) or page.anchor}"
        elif _ELSEWHERE.match(address):
            yield "href", address
        elif path in self.extra:
            yield "href", self.extra[path]
            yield "download", path


CARD = "card.html"
HOME = "index.html"


def write(reviewed: Reviewed, page: PageContext, *, fresh: bool = False) -> str:
    """Write the small version beside the review's pages and return where it is.

    It holds the title, what the bench found, one picture and the way to the review; nothing in it is fetched
    and no script runs.

    Parameters
    ----------
    reviewed : Reviewed
    page : PageContext
        The review's own page.
    fresh : bool
        Render it whatever there was before.

    Returns
    -------
    str
        Empty, and nothing is written, where a section's page has that name.
    """
    path = reviewed.staged / CARD
    if CARD in {result.page for result in reviewed.sections} | page.pages:
        return ""
    about = reviewed.file.review
    edition = f"Edition {about.edition}" if about.edition else "Working copy"
    told = ", ".join(part for part in (edition, about.date, about.author) if part)
    chart = next(_pictured(reviewed), None)
    # The author's words stand on the page itself alone.
    text = rendering.template(
        "card.html.j2",
        replace(page, words=Markup()),
        fresh=fresh,
        home=HOME,
        found=opening(reviewed, "text/html"),
        told=told,
        chart=chart,
    )
    path.write_text(text, encoding="utf-8")
    return CARD


def opening(reviewed: Reviewed, mime: str) -> str:
    """Return what the bench found, as the summary says it: "text/plain" or "text/html"."""
    shown = harvest.outputs(reviewed.summary.notebook) if reviewed.summary else ()
    parts = (data for data in shown if data.get(PART_MIME, {}).get("name") == "opening")
    return next(("".join(data[mime]) for data in parts), "")


_ON_THE_LINE = ("ends", "wrong", "full_in")


def key_line(reviewed: Reviewed) -> str:
    """Return the few of a review's key figures that a shared link has room for; empty if it shows none."""
    shown = harvest.displayed(reviewed.summary.notebook, PART_MIME) if reviewed.summary else ()
    figures = [item for part in shown for item in part.get("figures", ()) if item["name"] in _ON_THE_LINE]
    return " · ".join(f"{item['head']}: {item['text']}" for item in figures)


def _pictured(reviewed: Reviewed) -> Iterator[ChartBundle]:
    """Walk each section's first picture, that section's first from which the most urgent finding is."""
    judged = [item for item in reviewed.findings if item.is_judged]
    first = min(judged, key=bundles.urgency, default=None)

    def has_it(result: SectionResult) -> bool:
        return first is not None and first.key in {item.key for item in result.findings}

    for result in sorted(reviewed.sections, key=has_it, reverse=True):
        for data in harvest.outputs(result.notebook):
            if PLOTLY_MIME in data and data.get(CHART_MIME, {}).get("pictures"):
                yield bundles.chart(data)
                break
