"""Draws the pictures of a review from its own page, and its cards from its findings."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from reviewkit.findings import Finding
from reviewkit.pipeline.results import Reviewed
from reviewkit.publishing.site import assets
from reviewkit.publishing.stills import frames
from reviewkit.publishing.stills.browser import started
from reviewkit.publishing.stills.frames import Chart, Source

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

    Parameters
    ----------
    reviewed : Reviewed
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
        yield chart.name, frames.chart(chart, plot.evaluate(_SVG, list(chart.size)), source, scheme)
    context.close()


def _cards(reviewed: Reviewed, source: Source, scheme: str) -> Iterator[tuple[str, str]]:
    for item in headlines(reviewed):
        yield f"card-{item.key.replace('.', '-').replace('_', '-')}", frames.card(item, source, scheme)


def _photograph(browser: Any, drawings: list[Path]) -> None:
    """Write a PNG of each drawing beside it."""
    size = {"width": frames.WIDTH, "height": frames.HEIGHT}
    context = browser.new_context(viewport=size, offline=True)
    page = context.new_page()
    for drawing in drawings:
        page.goto(drawing.as_uri())
        page.screenshot(path=drawing.with_suffix(".png"))
    context.close()
