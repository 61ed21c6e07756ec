"""A whole review as one file: links within it, nothing asked for, the same content, charts drawn."""

from __future__ import annotations

import base64
import json
import re
import shutil
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
import site_sample

from reviewkit.errors import InputError
from reviewkit.publishing import site
from reviewkit.publishing.site.single_file import CARD

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")
VOID = {"meta", "br", "hr", "img", "input", "source", "track", "link", "wbr", "path", "circle"}


class Tags(HTMLParser):
    """What a page's elements say, and whether each that opens is closed."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.stack: list[str] = []
        self.text: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))
        if tag not in VOID:
            self.stack.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        while self.stack and self.stack[-1] != tag:
            # A list's item or a row may be left open; nothing else is.
            assert self.stack.pop() in ("li", "p", "tr", "td", "th", "tbody", "thead")
        self.stack.pop()

    def handle_data(self, data: str) -> None:
        if not {"script", "style"} & set(self.stack):
            self.text.append(data)

    def values(self, name: str) -> list[str]:
        return [str(attributes[name]) for _, attributes in self.found if attributes.get(name)]


def joined(tmp: Path, **about: str) -> Path:
    """Return the one file of a review with a section that has the same addresses as its summary."""
    (tmp / "alder").mkdir(parents=True)
    words = "It charges at {charge.plateau_current}. [Elsewhere](https://example.org/a?b=1&c=2)\n"
    (tmp / "alder" / "words.md").write_text(words, encoding="utf-8")
    place = tmp / "out" / "alder"
    reviewed = site_sample.reviewed(tmp / "alder", place, **about)
    site.write_review(reviewed)
    (place / "evidence.zip").write_bytes(b"PK evidence")
    pages = [result.page for result in reviewed.sections]
    return site.join(place, "alder", sections=pages, carried="evidence.zip")


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return joined(tmp_path_factory.mktemp("plain"))


@pytest.fixture(scope="module")
def tags(file: Path) -> Tags:
    return Tags(file.read_text(encoding="utf-8"))


def test_every_link_leads_within_the_file_or_to_the_web(tags: Tags) -> None:
    ids = set(tags.values("id"))
    assert {"charge.plateau_current", "page-charge"} <= ids
    for href in tags.values("href"):
        # "data:," is the icon that no browser asks for.
        assert href.startswith(("#", "https://", "data:application/zip;")) or href == "data:,", href
        assert not href.startswith("#") or href[1:] in ids, href
    assert "https://example.org/a?b=1&c=2" in tags.values("href")
    assert not tags.values("src")


def test_no_address_is_there_twice_and_each_label_finds_its_element(tags: Tags) -> None:
    counted = Counter(tags.values("id"))
    assert [name for name, times in counted.items() if times > 1] == []
    named = [
        word for name in ("aria-labelledby", "for") for value in tags.values(name) for word in value.split()
    ]
    assert named
    assert set(named) <= set(counted)


def test_all_elements_are_closed(tags: Tags) -> None:
    assert tags.stack == []
    assert Counter(tag for tag, _ in tags.found)["h1"] == 1


def test_it_says_all_that_the_pages_say(file: Path, tags: Tags) -> None:
    def words(text: list[str]) -> str:
        return " ".join("".join(text).split())

    whole = words(tags.text)
    for page in ("index.html", "charge.html"):
        text = (file.parent / page).read_text(encoding="utf-8")
        inside = text[text.index("<main") : text.index('<p class="control">')]
        inside = re.sub(r'<p class="small-version">.*?</p>', "", inside)
        assert words(Tags(inside).text) in whole


def test_the_small_version_is_no_part_of_it(file: Path) -> None:
    assert (file.parent / CARD).is_file()
    assert CARD not in file.read_text(encoding="utf-8")


def test_the_evidence_is_in_it(tags: Tags) -> None:
    (address,) = (item["href"] for _, item in tags.found if item.get("download") == "evidence.zip")
    assert base64.b64decode(str(address).partition(",")[2]) == b"PK evidence"


def test_a_large_file_is_named_and_not_carried(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("reviewkit.publishing.site.single_file.MOST_CARRIED", 3)
    tags = Tags(joined(tmp_path).read_text(encoding="utf-8"))
    assert not tags.values("download")
    assert "evidence.zip" in "".join(tags.text)


def test_a_name_that_a_page_has_already_is_a_plain_fault(tmp_path: Path) -> None:
    place = tmp_path / "charge"
    reviewed = site_sample.reviewed(tmp_path / "folder", place)
    site.write_review(reviewed)
    with pytest.raises(InputError, match=r"'charge\.html' already"):
        site.join(place, "charge", sections=["charge.html"], carried="")


@pytest.mark.skipif(BROWSER is None, reason="no chromium here: apt-get install chromium")
@pytest.mark.browser
@pytest.mark.parametrize("hostile", ["", " ".join(site_sample.HOSTILE)], ids=["plain", "hostile"])
def test_in_a_browser_it_asks_for_nothing_and_draws_its_charts(tmp_path: Path, hostile: str) -> None:
    """Alone in a folder of its own, as it lies in a mail; nothing said on the console, on a phone's width."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    alone = tmp_path / "mail" / "alder.html"
    alone.parent.mkdir()
    shutil.move(joined(tmp_path / "made", **({"text": hostile} if hostile else {})), alone)
    asked: list[str] = []
    said: list[str] = []
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=BROWSER, args=list(FLAGS))
        page: Any = browser.new_context(viewport={"width": 360, "height": 780}).new_page()
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.goto(alone.as_uri())
        charts = page.locator(".chart").all()
        for figure in charts:
            figure.scroll_into_view_if_needed()
            if figure.locator(".picture").count():
                figure.locator(".plot").click(position={"x": 4, "y": 4})
            figure.locator(".plot.drawn").wait_for(timeout=20_000)
        assert len(charts) == 2
        page.locator('a[href="#charge.plateau_current"]').first.click()
        top = page.locator('[id="charge.plateau_current"]').bounding_box()["y"]
        assert 0 <= top < 780
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        assert page.title() not in ("taken", "1")
        evaded = page.evaluate(
            "() => { const s = document.createElement('script'); s.textContent = 'window.ran = 1'; "
            "document.head.append(s); return window.ran === undefined; }"
        )
        browser.close()
    assert asked == [alone.as_uri()]
    # The one complaint is about the script that this test tried to smuggle in.
    assert evaded
    assert len(said) == 1
    assert "Content Security Policy" in said[0]


def test_linked_data_is_kept_as_it_was(file: Path) -> None:
    """What scripts hold is data, and not touched by the rewriting of elements."""
    text = file.read_text(encoding="utf-8")
    for page in ("index.html", "charge.html"):
        other = (file.parent / page).read_text(encoding="utf-8")
        for part in other.split('<script type="application/json">')[1:]:
            content = part.partition("</script>")[0]
            json.loads(content)
            assert content in text
