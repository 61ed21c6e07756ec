"""How soon a review page draws its first chart, beside a bare page with the same script and figure.

Run with a folder of published reviews: ``python tests/benchmarks/first_chart.py site alder``. Pages are
opened in pairs, one after the other, each in a browser context of its own, so that both meet the same
machine; the ratio is that of the medians. The aim is at most 1.3.
"""

from __future__ import annotations

import argparse
import re
import shutil
import statistics
import tempfile
from pathlib import Path
from typing import Any

PAIRS = 9
_SCRIPT = re.compile(r'data-charts="\.\./([^"]+)"')
_FIGURE = re.compile(r'<script type="application/json">(.*?)</script>', re.DOTALL)
_BARE = """<!doctype html><meta charset="utf-8"><div id="plot" class="plot" style="height:{height}px"></div>
<script src="{script}"></script>
<script>
var figure = {figure};
Plotly.react("plot", figure.data, figure.layout, figure.config).then(function () {{
  document.getElementById("plot").classList.add("drawn");
}});
</script>
"""
# The moment at which the first chart says that it is drawn, since the page was asked for.
_WATCH = """new MutationObserver(() => {
    if (!window.drawnAt && document.querySelector(".plot.drawn")) window.drawnAt = performance.now();
}).observe(document, {subtree: true, attributes: true, childList: true});"""


def bare(page: Path, place: Path) -> Path:
    """Write the bare page: the review page's script and its first figure, nothing else."""
    text = page.read_text(encoding="utf-8")
    script, figure = _SCRIPT.search(text), _FIGURE.search(text)
    height = re.search(r'data-height="(\d+)"', text)
    if not (script and figure and height):
        raise SystemExit(f"{page}: no review page with a chart")
    source = (page.parents[1] / script.group(1)).as_uri()
    html = _BARE.format(script=source, figure=figure.group(1), height=height.group(1))
    place.write_text(html, encoding="utf-8")
    return place


def drawn_ms(browser: Any, page: Path) -> float:
    """Return how long after it was asked for a page has drawn its first chart [ms]."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, offline=True)
    tab = context.new_page()
    tab.add_init_script(_WATCH)
    tab.goto(page.as_uri())
    # A reader who waits for the chart has it before their eyes.
    tab.evaluate("document.querySelector('.plot').scrollIntoView()")
    tab.locator(".plot.drawn").first.wait_for(timeout=120_000)
    told = float(tab.evaluate("window.drawnAt"))
    context.close()
    return told


def main() -> None:
    """Print both medians and their ratio."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path, help="folder of published reviews")
    parser.add_argument("name", help="a review in it")
    parser.add_argument("--pairs", type=int, default=PAIRS)
    given = parser.parse_args()
    review = (given.out / given.name / "index.html").resolve()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        plain = bare(review, Path(folder) / "bare.html")
        browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=["--disable-gpu"])
        pages = (review, plain)
        runs = [tuple(drawn_ms(browser, page) for page in pages) for _ in range(given.pairs + 1)][1:]
        browser.close()
    ours, theirs = (statistics.median(times) for times in zip(*runs, strict=True))
    print(f"{given.name}: first chart drawn after {ours:.0f} ms, on a bare page after {theirs:.0f} ms")
    print(f"ratio of the medians of {given.pairs} pairs: {ours / theirs:.2f} (aim: at most 1.3)")


if __name__ == "__main__":
    main()
