"""Pictures for a video: each key figure and a card for each headline finding, light and dark."""

from __future__ import annotations

import importlib.util
import os
import shutil
import textwrap
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup

from reviewkit.errors import InputError
from reviewkit.findings import Finding, limit_text, verdict_text
from reviewkit.pipeline.results import Reviewed
from reviewkit.publishing.site import assets, exporter

VARIABLE = "REVIEWKIT_BROWSER"
"""Environment variable that names the browser's program."""

_NAMES = ("chromium", "chromium-browser")
_QUIET = (
    *("--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync"),
)


def browser(given: str | Path | None = None) -> Path:
    """Return the program that draws the pictures.

    Parameters
    ----------
    given : str or pathlib.Path, optional
        The program as the user names it. Default: the one that the environment names, else the first found
        on the PATH.

    Raises
    ------
    InputError
        If there is none, or the library that drives it is not installed; with what to do.
    """
    if importlib.util.find_spec("playwright") is None:
        raise InputError(
            "stills need a library that is not installed",
            remedy="In the kit's folder: python -m pip install '.[stills]'. Or run without --stills.",
        )
    named = given or os.environ.get(VARIABLE)
    found = [path for name in ([named] if named else _NAMES) if (path := shutil.which(name))]
    if not found:
        raise InputError(
            f"there is no browser '{named}'" if named else "no browser was found to draw the stills",
            expected="Chromium or one of its kin",
            remedy=f"Install it, or name its program with --browser or {VARIABLE}. Or run without --stills.",
        )
    return Path(found[0])


@contextmanager
def started(program: Path) -> Iterator[Any]:
    """Start the browser, cut off from every network, and close it in the end.

    Yields
    ------
    playwright.sync_api.Browser

    Raises
    ------
    InputError
        If it does not start, or fails at its work.
    """
    from playwright.sync_api import Error, sync_playwright

    try:
        with sync_playwright() as driver:
            running = driver.chromium.launch(executable_path=program, args=list(_QUIET))
            yield running
            running.close()
    except Error as error:
        raise InputError(
            f"the browser '{program.name}' did not draw the stills ({error.message.splitlines()[0]})",
            remedy="Try another with --browser, or run without --stills.",
        ) from None


WIDTH, HEIGHT = 1920, 1080
_LEFT, _BOTTOM = 70, 1000
_CHART_WIDTH, _CHART_HEIGHT = 1260, 930
_LARGEST = 2.4
"""A chart is written for a phone; so many times as large its letters are read from a sofa."""
_SQUEEZED = 0.8
"""Part of its own height that a tall chart keeps, so that its letters may be larger."""

INKS = {
    "light": {"paper": "#fbfaf7", "ink": "#1c1b19", "quiet": "#5f5b54"},
    "dark": {"paper": "#191815", "ink": "#ece8df", "quiet": "#aaa49a"},
}
"""The colours of a picture in light and in dark, those of the pages."""


@dataclass(frozen=True)
class Line:
    """A line of text: where its base line lies, how large it is [px]."""

    text: str
    y: float
    size: float


@dataclass(frozen=True)
class Source:
    """Whose picture it is: stands on every one of them."""

    device: str
    notice: str


@dataclass(frozen=True)
class Chart:
    """A chart as the page drew it, with what it says.

    Parameters
    ----------
    name, question, answer : str
    height : float [px]
        On the page.
    """

    name: str
    question: str
    answer: str
    height: float

    @property
    def scale(self) -> float:
        """How many times as large as on the page it is shown."""
        wanted = max(self.height * _SQUEEZED, _CHART_HEIGHT / _LARGEST)
        return _CHART_HEIGHT / wanted

    @property
    def size(self) -> tuple[float, float]:
        """Width and height to draw it with, before it is enlarged [px]."""
        return _CHART_WIDTH / self.scale, min(self.height, _CHART_HEIGHT / self.scale)


def chart_picture(drawn: Chart, svg: str, source: Source, scheme: str) -> str:
    """Return a chart's picture.

    Parameters
    ----------
    svg : str
        The chart alone, drawn in its `size`.
    scheme : {"light", "dark"}
    """
    question = _lines(drawn.question[:1].upper() + drawn.question[1:], width=17, y=190, size=46)
    answer = _column(drawn.answer, y=question[-1].y + 80 if question else 190)
    height = drawn.size[1] * drawn.scale
    return _picture(
        source,
        scheme,
        question=question,
        answer=answer,
        svg=Markup(svg),
        place=(WIDTH - 50 - _CHART_WIDTH, (HEIGHT - height) / 2, drawn.scale),
    )


def card_picture(item: Finding, source: Source, scheme: str) -> str:
    """Return a finding's card: what, how much and how sure, the limit, the verdict.

    Parameters
    ----------
    scheme : {"light", "dark"}
    """
    label = _lines(item.label[:1].upper() + item.label[1:], width=44, y=320, size=76)
    # Digits are about 0.6 of their size wide.
    size = min(150.0, 1700 / (0.6 * max(len(item.text), 1)))
    value = _lines(item.text, width=64, y=label[-1].y + 60 + size, size=max(size, 64))
    limit = _lines(_limit(item), width=76, y=value[-1].y + 120, size=44)
    below = (limit or value)[-1].y
    verdict = _lines(verdict_text(item), width=60, y=below + 110, size=56)
    return _picture(
        source,
        scheme,
        label=label,
        value=value,
        limit=limit,
        verdict=verdict,
        mark=item.verdict if verdict else "",
    )


def _limit(item: Finding) -> str:
    told = limit_text(item)
    return f"Limit: {told}" if told else ""


def _lines(text: str, *, width: int, y: float, size: float) -> list[Line]:
    """Return text in lines of so many letters; what may not be parted stays together."""
    pieces = textwrap.wrap(text, width, break_long_words=True, break_on_hyphens=False)
    return [Line(piece, y + number * 1.3 * size, size) for number, piece in enumerate(pieces)]


def _column(text: str, *, y: float) -> list[Line]:
    """Return a sentence beside a chart, as large as the room below allows."""
    sizes = (30, 27, 24, 21)
    columns = [_lines(text, width=round(870 / size), y=y, size=size) for size in sizes]
    return next((lines for lines in columns if lines and lines[-1].y <= _BOTTOM), columns[-1])


def _picture(source: Source, scheme: str, **parts: Any) -> str:
    template = exporter.exporter().environment.get_template("still.svg.j2")
    head = _lines(source.device, width=70, y=100, size=38)[:1]
    return str(template.render(left=_LEFT, ink=INKS[scheme], head=head, notice=source.notice, **parts))


FOLDER = "stills"
SCHEMES = ("light", "dark")

# The page's own script has drawn the charts; here they are asked for as drawings of another size.
_CHARTS = """figures => figures.map(figure => ({
    name: figure.id.replace(/^chart-/, ""),
    question: figure.querySelector(".question")?.textContent ?? "",
    answer: figure.querySelector("figcaption").textContent,
    height: Number(figure.querySelector(".plot").dataset.height),
}))"""
_SVG = """(plot, [width, height]) => Plotly.toImage(plot, {format: "svg", width, height}).then(
    address => decodeURIComponent(address.slice(address.indexOf(",") + 1)))"""
_DRAWN_MS = 60_000


def headlines(reviewed: Reviewed) -> list[Finding]:
    """Return the findings that a card is made of.

    They are the key figures that the summary names, each on all its runs, and what is not within its limit.
    """
    named = reviewed.summary.section.about.figures if reviewed.summary else ()
    found = {item.key: item for item in reviewed.findings}
    chosen: dict[str, Finding] = {}
    for key in named:
        chosen |= {key: found[key]} if key in found else _on_each_run(key, found)
    beyond = {"fail", "inconclusive"}
    doubles = {(item.label, item.text) for item in chosen.values()}
    for key, item in found.items():
        if item.limit and item.verdict in beyond and (item.label, item.text) not in doubles:
            chosen[key] = item
            doubles.add((item.label, item.text))
    return [item for item in chosen.values() if item.verdict != "not tested"]


def _on_each_run(key: str, found: dict[str, Finding]) -> dict[str, Finding]:
    """Return the findings that stand under a key with a run's name in it."""
    head, _, tail = key.partition(".")
    return {
        name: item
        for name, item in found.items()
        if name.startswith(f"{head}.") and name.endswith(f".{tail}") and name.count(".") == 2
    }


def add(reviewed: Reviewed, *, program: Path, charts_script: Path | None = None) -> tuple[Path, ...]:
    """Write the pictures of a review beside its pages.

    Parameters
    ----------
    reviewed : Reviewed
        With its pages written.
    program : pathlib.Path
        The browser.
    charts_script : pathlib.Path, optional
        As given to `site.write_review`.

    Returns
    -------
    tuple of pathlib.Path
        For each picture the drawing, with a PNG of the same name beside it.

    Raises
    ------
    InputError
        If the browser does not do its work.
    """
    assets.write_charts(reviewed.staged.parent, assets.charts_source(charts_script))
    # A notebook has a loop of its own running, in which the browser's driver may not wait.
    with ThreadPoolExecutor(1) as aside:
        return aside.submit(_all, reviewed, program).result()


def _all(reviewed: Reviewed, program: Path) -> tuple[Path, ...]:
    folder = reviewed.staged / FOLDER
    folder.mkdir(exist_ok=True)
    source = Source(reviewed.file.device.name, reviewed.file.review.notice)
    made: list[Path] = []
    with started(program) as browser:
        for scheme in SCHEMES:
            page = reviewed.staged / "index.html"
            drawings = {
                **dict(_charts(browser, page, source, scheme)),
                **dict(_cards(reviewed, source, scheme)),
            }
            for name, svg in drawings.items():
                made.append(folder / f"{name}-{scheme}.svg")
                made[-1].write_text(svg, encoding="utf-8")
        _photograph(browser, made)
    return tuple(made)


def _charts(browser: Any, address: Path, source: Source, scheme: str) -> Iterator[tuple[str, str]]:
    """Walk the key figures, each as the page's own script draws it."""
    context = browser.new_context(color_scheme=scheme, viewport={"width": 1280, "height": 900}, offline=True)
    page = context.new_page()
    page.goto(address.as_uri())
    for about in page.locator("figure.chart").evaluate_all(_CHARTS):
        chart = Chart(**about)
        plot = page.locator(f'[id="chart-{chart.name}"] .plot')
        plot.scroll_into_view_if_needed()
        page.locator(f'[id="chart-{chart.name}"] .plot.drawn').wait_for(timeout=_DRAWN_MS)
        yield chart.name, chart_picture(chart, plot.evaluate(_SVG, list(chart.size)), source, scheme)
    context.close()


def _cards(reviewed: Reviewed, source: Source, scheme: str) -> Iterator[tuple[str, str]]:
    for item in headlines(reviewed):
        yield f"card-{item.key.replace('.', '-').replace('_', '-')}", card_picture(item, source, scheme)


def _photograph(browser: Any, drawings: list[Path]) -> None:
    """Write a PNG of each drawing beside it."""
    size = {"width": WIDTH, "height": HEIGHT}
    context = browser.new_context(viewport=size, offline=True)
    page = context.new_page()
    for drawing in drawings:
        page.goto(drawing.as_uri())
        page.screenshot(path=drawing.with_suffix(".png"))
    context.close()
