"""Opening published pages in the system's Chromium, and asking axe-core about them."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)
needs_browser = pytest.mark.skipif(BROWSER is None, reason="no chromium here: apt-get install chromium")
WCAG = {
    "type": "tag",
    "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"],
}
CONTRAST = {"type": "rule", "values": ["color-contrast"]}


_BROKEN = r"""() => {
  const unit = "(?:[µmkM]?(?:V|Ah|A|Wh|Ω|s)|min|h|%|°C|d|days|months|years)";
  const half = "[\\u2212-]?\\d[\\d.\\u202f\\u2009½¼¾]*(?:[\\u00a0\\u202f ]" + unit + "(?!\\w))?";
  const number = new RegExp(half + "(?:[\\u00a0 ]±[\\u00a0 ]" + half + ")?", "g");
  const found = [], texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) {
    const node = texts.currentNode;
    if (node.parentElement.closest("script, style, svg, pre, code")) continue;
    for (const hit of node.data.matchAll(number)) {
      const range = document.createRange();
      range.setStart(node, hit.index);
      range.setEnd(node, hit.index + hit[0].trimEnd().length);
      const lines = new Set([...range.getClientRects()].filter(r => r.width).map(r => Math.round(r.top)));
      if (lines.size > 1) found.push(node.data.slice(Math.max(0, hit.index - 20), hit.index + 30));
    }
  }
  return found;
}"""
"""Looks where each number stands: one that stands on two lines is broken."""


class Visit:
    """One page opened, with what it asked for and said meanwhile."""

    def __init__(self, browser: Any, address: Path, **context: Any) -> None:
        self.context = browser.new_context(**context)
        self.page = self.context.new_page()
        self.requests: list[str] = []
        self.said: list[str] = []
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.goto(address.as_uri())

    def __enter__(self) -> Visit:
        return self

    def __exit__(self, *_: object) -> None:
        self.context.close()

    def draw_all(self) -> None:
        """Scroll to each chart and wait until it can be explored."""
        for figure in self.page.locator(".chart").all():
            figure.scroll_into_view_if_needed()
            if figure.locator(".plot.pictured:not(.drawn)").count():
                # A click on what is drawn over the picture already would zoom.
                figure.locator(".plot").click(position={"x": 4, "y": 4})
            figure.locator(".plot.drawn").wait_for(timeout=60_000)

    def broken_numbers(self, width: int) -> list[str]:
        """Return the numbers that a window of this width breaks, with what stands around them."""
        self.page.set_viewport_size({"width": width, "height": 800})
        return list(self.page.evaluate(_BROKEN))

    def open_all(self) -> None:
        """Fold out whatever is folded."""
        self.page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")

    def overhang(self, width: int) -> int:
        """Return by how many pixels the page is wider than a window of this width."""
        self.page.set_viewport_size({"width": width, "height": 800})
        return int(self.page.evaluate("document.documentElement.scrollWidth")) - width


def violations(page: Any, only: dict[str, Any]) -> str:
    """Return what axe-core finds at fault, in words; nothing if all is well."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-core is not installed")
    found = axe.Axe().run(page, options={"runOnly": only, "resultTypes": ["violations"]})
    return str(found.generate_report()) if found.response["violations"] else ""
