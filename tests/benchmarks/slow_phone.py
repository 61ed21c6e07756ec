"""How soon a reader on a slow phone has a review's text, its first picture and all of them; what moves after.

Run with a folder of published reviews: ``python tests/benchmarks/slow_phone.py site alder``. The line carries
1.6 Mbit/s with 150 ms to the server and back, the processor is slowed to a quarter, the server is Python's
own and packs nothing. A second visit, on a fast line, touches the first chart and waits until it can be
explored; a third, without scripts, and a print begun 0.1 s after loading count the charts that are there.
"""

from __future__ import annotations

import argparse
import functools
import http.server
import shutil
import statistics
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

RUNS = 5
BYTES_PER_S = 1.6e6 / 8
LATENCY_MS = 150
_PHONE = {"width": 360, "height": 780}
# When each picture is laid out, since the page was asked for; what has moved, as browsers measure it.
_WATCH = """
window.pictured = [];
window.moved = 0;
(function look() {
    const there = document.querySelectorAll(".chart figcaption").length;
    while (window.pictured.length < there) window.pictured.push(performance.now());
    requestAnimationFrame(look);
})();
new PerformanceObserver((list) => {
    list.getEntries().forEach((entry) => { if (!entry.hadRecentInput) window.moved += entry.value; });
}).observe({type: "layout-shift", buffered: true});
"""


@contextmanager
def served(folder: Path) -> Iterator[str]:
    """Serve a folder on this machine alone and give its address."""
    handler = functools.partial(_Quiet, directory=str(folder))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()


class _Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_: Any) -> None:
        """Say nothing."""


def slowly(browser: Any, address: str) -> dict[str, float]:
    """Return what a slow phone's visit takes [ms], and by how much the page has moved."""
    context = browser.new_context(viewport=_PHONE, device_scale_factor=2, has_touch=True, is_mobile=True)
    tab = context.new_page()
    line = context.new_cdp_session(tab)
    line.send("Network.enable")
    conditions = {"offline": False, "latency": LATENCY_MS, "downloadThroughput": BYTES_PER_S}
    line.send("Network.emulateNetworkConditions", conditions | {"uploadThroughput": BYTES_PER_S})
    line.send("Emulation.setCPUThrottlingRate", {"rate": 4})
    tab.add_init_script(_WATCH)
    tab.goto(address, wait_until="load", timeout=120_000)
    # Whatever comes late has its time to move something.
    tab.wait_for_timeout(2000)
    text = tab.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
    pictures = tab.evaluate("window.pictured")
    moved = tab.evaluate("window.moved")
    context.close()
    return {"text": text, "first picture": pictures[0], "all pictures": pictures[-1], "moved": moved}


def touched(browser: Any, address: str) -> float:
    """Return how long after the first touch a chart can be explored on a fast line [ms]."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    tab = context.new_page()
    tab.goto(address)
    tab.locator(".picture").first.scroll_into_view_if_needed()
    start = tab.evaluate("performance.now()")
    tab.locator(".picture").first.click()
    tab.locator(".plot.drawn").first.wait_for(timeout=60_000)
    took = float(tab.evaluate("performance.getEntriesByName('chart-explorable')[0].startTime")) - start
    context.close()
    return took


def pictured(browser: Any, address: str, *, printed: bool) -> tuple[int, int]:
    """Return how many charts are pictures, printed or without scripts, and how many there are."""
    context = browser.new_context(java_script_enabled=printed)
    tab = context.new_page()
    tab.goto(address)
    if printed:
        tab.wait_for_timeout(100)
        tab.emulate_media(media="print")
    charts = tab.locator(".chart").all()
    shown = sum(chart.locator(".picture svg:visible").count() == 1 for chart in charts)
    context.close()
    return shown, len(charts)


def main() -> None:
    """Print the medians, each beside what is asked of it."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path, help="folder of published reviews")
    parser.add_argument("name", help="a review in it")
    parser.add_argument("--runs", type=int, default=RUNS)
    given = parser.parse_args()
    page = given.out / given.name / "index.html"
    with served(given.out.resolve()) as server, sync_playwright() as driver:
        address = f"{server}/{given.name}/index.html"
        flags = ["--disable-gpu", "--no-sandbox", "--disable-background-networking"]
        browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=flags)
        runs = [slowly(browser, address) for _ in range(given.runs)]
        touches = [touched(browser, address) for _ in range(given.runs)]
        bare, paper = (pictured(browser, address, printed=printed) for printed in (False, True))
        browser.close()
    asked = {"text": 1500, "first picture": 1500, "all pictures": 4000}
    for name, most in asked.items():
        print(f"{name}: {statistics.median(run[name] for run in runs):.0f} ms (aim: at most {most})")
    print(f"moved after: {max(run['moved'] for run in runs):.4f} (aim: 0)")
    print(f"from touch to explorable: {statistics.median(touches):.0f} ms (aim: at most 2000)")
    print("without scripts: {} of {} charts are pictures".format(*bare))
    print("printed at once: {} of {}".format(*paper))
    print(f"page: {page.stat().st_size / 1000:.0f} kB (aim: at most 200)")


if __name__ == "__main__":
    main()
