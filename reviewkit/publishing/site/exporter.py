"""One exporter for all pages: nbconvert's machinery, filters and templates of our own, everything escaped."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any
from urllib.parse import quote

from markupsafe import Markup

from reviewkit.drawing.strip import strip
from reviewkit.findings import (
    CHART_MIME,
    MIME,
    PART_MIME,
    PLOTLY_MIME,
    Finding,
    limit_text,
    twins,
    value_text,
    verdict_text,
)
from reviewkit.findings.compiled import Compiled
from reviewkit.findings.displays import EXTRA_PAGE_MIME
from reviewkit.metrology import Component, formatting, merged, units
from reviewkit.publishing.site import bundles, context, prose
from reviewkit.publishing.site.bundles import cleaned, urgency
from reviewkit.publishing.site.context import Link, PageContext
from reviewkit.publishing.site.prose import anchor, unbroken
from reviewkit.review import video
from reviewkit.review.chapters import Cue
from reviewkit.system import kit
from reviewkit.tables import csv_table


@dataclass(frozen=True)
class BudgetRow:
    """One line of an uncertainty budget, as text."""

    name: str
    size: str
    distribution: str
    adds: str
    share: str
    shared: bool


def budget_rows(item: Finding) -> list[BudgetRow]:
    """Return a finding's budget, the largest contribution first."""
    total = math.sqrt(sum(part.standard_in_number**2 for part in merged(item.budget)))
    parts = sorted(item.budget, key=lambda part: -part.contribution)
    return [_budget_row(part, item.unit, total) for part in parts]


NEGLIGIBLE = 1e-3
"""Part of the whole standard uncertainty below which a contribution is only named. Chosen: two digits are
printed (GUM 7.2.6), and quadratic addition leaves a millionth of it."""


_UNREADABLE = "0.0000"


def _budget_row(part: Component, unit: str, total: float) -> BudgetRow:
    is_small = part.contribution < NEGLIGIBLE * total
    share = (part.contribution / total) ** 2 if total else 0.0
    size = ("±" if part.distribution != "normal" else "σ = ") + two_digits(part.size, part.unit)
    return BudgetRow(
        name=part.name,
        size="negligible" if is_small and _UNREADABLE in size else size,
        distribution=part.distribution,
        adds="negligible" if is_small else two_digits(part.contribution, unit),
        share="" if is_small or not total else _percent(share),
        shared=bool(part.shared),
    )


def two_digits(value: float, unit: str) -> str:
    """Return an uncertainty with two significant digits (GUM 7.2.6)."""
    scale, sign = units.for_people(value, unit)
    shown = value / scale
    text = formatting.number(shown, formatting.decimals_for(shown) if shown else 0)
    return f"{text}{formatting.THIN if sign == '%' else formatting.NO_BREAK}{sign}" if sign else text


def _percent(share: float) -> str:
    return (
        f"<\u00a01{formatting.THIN}%"
        if share < 0.01
        else f"{min(share, 1.0):.0%}".replace("%", f"{formatting.THIN}%")
    )


def sentence(text: str) -> str:
    """Return a label with its first letter large: "plateau current" → "Plateau current"."""
    return text[:1].upper() + text[1:]


def track(cues: Iterable[Cue]) -> str:
    """Return chapters as an address that holds them whole.

    A page opened from a disk may not read a file of cues beside it.
    """
    return f"data:text/vtt;charset=utf-8,{quote(video.webvtt(cues))}"


def led(html: Markup, page: PageContext, *, home: str = "") -> Markup:
    """Return a part in which the ways to findings lead to the pages that hold them, the others to `home`."""
    where = page.where
    return Markup(
        _TO_FINDING.sub(lambda way: f'href="{where.get(way[1], home)}#{way[1]}"', html)  # escaped already
    )


_TO_FINDING = re.compile(r'href="#([^"]+)"')


FILTERS: dict[str, Callable[..., Any]] = {
    "value_text": value_text,
    "limit_text": limit_text,
    "verdict_text": verdict_text,
    "strip": lambda item: Markup(strip(item)),  # drawn by the kit from numbers alone
    "budget_rows": budget_rows,
    "sentence": sentence,
    "stamp": csv_table.stamp,
    "track": track,
    "cleaned": cleaned,
    "led": led,
}


with kit.imports_without(*kit.SCHEMA_EXTRAS):
    from nbconvert.preprocessors import Preprocessor


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
        self.tables: set[str] = set()
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
            return prose.rendered(data["text/markdown"], taken=self.taken, under=self.level)[0]
        name = prose.free("Table", self.tables) if "text/html" in data else ""
        return bundles.plain(output, name)

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
        if about["name"] == "key-figures":
            return Markup()  # for the list of all reviews
        return led(cleaned(data["text/html"]), self.page)

    def grouped(self, items: list[Finding]) -> Markup:
        """Return the findings with a limit, and the others folded, section by section."""
        judged = sorted((item for item in items if item.is_judged), key=urgency)
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


def _bare(text: str) -> str:
    return "".join(letter for letter in text.lower() if letter.isalnum())


def _without_title(source: str, title: str) -> str:
    """Return Markdown without the top heading that says what the page's own title says."""
    first, _, rest = source.lstrip().partition("\n")
    is_title = first.startswith("# ") or (first.startswith("#") and _bare(first) == _bare(title))
    return rest if is_title else source


with kit.imports_without(*kit.SCHEMA_EXTRAS):
    from nbconvert.exporters import TemplateExporter
    from nbformat import from_dict


class PageExporter(TemplateExporter):
    """Renders executed notebooks as pages."""

    output_mimetype = "text/html"

    def _file_extension_default(self) -> str:
        return ".html"

    def _template_name_default(self) -> str:
        return "html"

    def _create_environment(self) -> Any:
        environment = super()._create_environment()
        environment.autoescape = True
        environment.bytecode_cache = Compiled(__file__)
        environment.optimized = False  # what a filter makes of a text is not kept with the template
        environment.filters.update(FILTERS)
        environment.globals["assets"] = context.page_assets()
        return environment

    def _preprocess(self, nb: Any, resources: Any) -> tuple[Any, Any]:
        # The notebook has been put together for this page alone: copying and checking it would take longer
        # than all the rest.
        for step in self._preprocessors:
            nb, resources = step(nb, resources)
        return nb, resources


@cache
def exporter() -> PageExporter:
    """Return the exporter; making one takes longer than rendering a page."""
    made = PageExporter(extra_template_basedirs=[str(context.templates().parent)], default_preprocessors=[])
    parts = PagePreprocessor(enabled=True)
    parts.parts = made.environment.get_template("parts.html.j2").module
    made.register_preprocessor(parts, enabled=True)
    return made


def rendered(notebook: Mapping[str, Any], page: PageContext) -> str:
    """Return a notebook as a page.

    Parameters
    ----------
    notebook : mapping
        As nbformat 4 has it, executed and fit to publish.
    page : PageContext
    """
    body, _ = exporter().from_notebook_node(from_dict(_joined(notebook)), resources={"page": page})
    return unbroken(str(body))


def template(name: str, page: PageContext, **values: Any) -> str:
    """Return a page that is made from no notebook."""
    text = exporter().environment.get_template(name).render(resources={"page": page}, **values)
    return unbroken(str(text))


def _joined(value: Any) -> Any:
    """Return the notebook with the lines of its texts put together, as preprocessors want them."""
    if not isinstance(value, Mapping):
        return value
    joined: dict[str, Any] = {}
    for key, item in value.items():
        is_text = key in ("source", "text") or key.startswith(("text/", "image/"))
        if is_text and isinstance(item, list):
            joined[key] = "".join(item)
        elif key in ("cells", "outputs"):
            joined[key] = [_joined(each) for each in item]
        else:
            joined[key] = _joined(item) if key in ("data",) else item
    return joined
