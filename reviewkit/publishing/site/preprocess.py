"""Turns the cells of an executed notebook into what the page's template prints."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from markupsafe import Markup

from reviewkit.findings import CHART_MIME, MIME, PART_MIME, PLOTLY_MIME, Finding, twins
from reviewkit.findings.extra_page import EXTRA_PAGE_MIME
from reviewkit.publishing.site import bundles, prose
from reviewkit.publishing.site.clean import cleaned
from reviewkit.publishing.site.context import Link, PageContext
from reviewkit.system import slim_imports

with slim_imports.without(*slim_imports.SCHEMA_EXTRAS):
    from nbconvert.preprocessors import Preprocessor
from reviewkit.publishing.site.prose import anchor


class PagePreprocessor(Preprocessor):
    """Gives each cell its `prose` or `shown`, and the page its contents.

    Parameters
    ----------
    parts : jinja2 module
        The macros of `parts.html.j2`.
    """

    parts: Any = None

    def preprocess(self, nb: Any, resources: Any) -> tuple[Any, Any]:
        """Return notebook and resources, both ready for the template."""
        page: PageContext = resources["page"]
        state = _State(page, self.parts)
        for cell in nb.cells:
            if cell.cell_type == "markdown":
                cell["prose"] = state.prose(cell.source)
            elif cell.cell_type == "code":
                cell["shown"] = [state.output(output) for output in cell.outputs]
        resources["contents"] = state.contents
        resources["has_code"] = any(cell.cell_type == "code" and cell.source.strip() for cell in nb.cells)
        return nb, resources


class _State:
    """What has been put on the page so far."""

    def __init__(self, page: PageContext, parts: Any) -> None:
        self.page, self.parts = page, parts
        self.taken = {"main", "show-code", "contents-title", "sections-title"}
        self.contents: list[Link] = []
        self.last_heading = ""
        self.level = 2

    def prose(self, source: str) -> Markup:
        """Return a Markdown cell; its top heading is the page's own title and left off."""
        html, headings = prose.rendered(_without_title(source, self.page.title), taken=self.taken)
        for level, link in headings:
            self.last_heading, self.level = link.text, level
            if level == 2:
                self.contents.append(link)
        return html

    def output(self, output: Any) -> Markup:
        """Return one output as the page shows it."""
        data = output.get("data", {})
        if output.output_type == "error":
            return Markup('<div class="draft"><p>This section failed: {}</p></div>').format(output.evalue)
        if PLOTLY_MIME in data:
            return self.chart(data)
        if MIME in data:
            return self.findings([Finding.from_dict(item) for item in data[MIME]["findings"]])
        if PART_MIME in data:
            return self.part(data)
        if EXTRA_PAGE_MIME in data:
            return self.extra_page(data[EXTRA_PAGE_MIME])
        if "text/markdown" in data:
            return prose.rendered(data["text/markdown"], taken=self.taken, lift=2)[0]
        return bundles.plain(output)

    def chart(self, data: Any, *, heading: bool | None = None, level: int = 0) -> Markup:
        """Return a chart; its question is not said twice where it is the heading already."""
        key = data.get(CHART_MIME, {}).get("key", "chart")
        bundle = bundles.chart(data, prose.free(f"chart-{anchor(key)}", self.taken))
        said = _bare(self.last_heading) == _bare(bundle.question)
        shown = bool(bundle.question) and not said if heading is None else heading
        return Markup(self.parts.chart(bundle, shown, level or min(self.level + 1, 4)))

    def findings(self, items: list[Finding]) -> Markup:
        """Return findings with their evidence, each fact once; its long key is an address there too."""
        long = twins(items)
        also: dict[str, list[str]] = {}
        for key, short in long.items():
            also.setdefault(short, []).append(key)
        kept = [item for item in items if item.key not in long]
        return Markup(self.parts.findings(kept, self.page, True, also=also))

    def extra_page(self, about: Mapping[str, str]) -> Markup:
        """Return the way to a page of its own, such as a letter to the maker."""
        href = f"{about['name']}.html"
        if href not in self.page.pages:
            return Markup()
        return Markup('<p class="onward"><a href="{}">{}</a></p>').format(href, about["title"])

    def part(self, data: Any) -> Markup:
        """Return a part of the review's summary, with what the page adds to it."""
        about = data[PART_MIME]
        if about["name"] == "findings":
            return self.grouped([Finding.from_dict(item) for item in about[MIME]["findings"]])
        if about["name"] == "sections":
            return Markup().join(self.section(item) for item in about["sections"])
        if about["name"] == "words":
            return self.words()
        return self.led(cleaned(data["text/html"]))

    def led(self, html: Markup) -> Markup:
        """Return a part in which the ways to findings lead to the pages that hold them."""
        where = self.page.where
        return Markup(
            _TO_FINDING.sub(lambda way: f'href="{where.get(way[1], "")}#{way[1]}"', html)  # escaped already
        )

    def grouped(self, items: list[Finding]) -> Markup:
        """Return the findings with a limit, and the others folded, section by section."""
        judged = sorted((item for item in items if item.is_judged), key=_urgency)
        others: dict[str, list[Finding]] = {}
        for item in items:
            if item.value is not None and item not in judged:
                others.setdefault(self.page.title_of(item.key), []).append(item)
        return Markup(self.parts.grouped(judged, others, self.page))

    def section(self, about: Mapping[str, Any]) -> Markup:
        """Return a section's heading, its first chart and the way to its page."""
        first = self.page.first_charts.get(about["name"])
        name = prose.free(anchor(about["title"]), self.taken)
        picture = self.chart(first, heading=True, level=4) if first else Markup()
        return Markup(self.parts.section(about, name, picture, self.page))

    def words(self) -> Markup:
        """Return the video and the author's own paragraphs, each under its heading, if there are any."""
        shown = self.film()
        if not self.page.words:
            return shown
        link = Link(prose.free("words", self.taken), "In the reviewer’s words")
        self.contents.append(link)
        return shown + Markup('<h2 id="{}">{}</h2>{}').format(link.href, link.text, self.page.words)

    def film(self) -> Markup:
        """Return the video beside the review with its chapters, if there is one."""
        if not self.page.film:
            return Markup()
        link = Link(prose.free("video", self.taken), "The video")
        self.contents.append(link)
        return Markup(self.parts.film(self.page.film, self.page, link))


_TO_FINDING = re.compile(r'href="#([^"]+)"')
_ORDER = ("fail", "inconclusive", "pass")


def _urgency(item: Finding) -> tuple[bool, int]:
    """Whether the charge ends stands first, then what is outside its limit."""
    return not item.key.endswith(".terminates"), _ORDER.index(str(item.verdict))


def _bare(text: str) -> str:
    return "".join(letter for letter in text.lower() if letter.isalnum())


def _without_title(source: str, title: str) -> str:
    """Return Markdown without the top heading that says what the page's own title says."""
    first, _, rest = source.lstrip().partition("\n")
    is_title = first.startswith("# ") or (first.startswith("#") and _bare(first) == _bare(title))
    return rest if is_title else source
