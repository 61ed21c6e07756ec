"""The video beside a review and what programs read of its page, in a real browser and as files."""

from __future__ import annotations

import functools
import http.server
import json
import threading
import wave
from collections.abc import Iterator
from contextlib import contextmanager
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
import site_sample
from visits import WCAG, needs_browser, violations

from reviewkit.findings.displays import ExtraPage
from reviewkit.publishing import site
from reviewkit.publishing.site import context
from reviewkit.review import video
from reviewkit.review.review_file import About

HOSTILE = (*site_sample.HOSTILE, "a --> b", "&lt;b&gt;", "--></script>")
CHAPTERS = """time,title,about
0:00,The lamp and whose it is,
0:03,A night on the charger,charge
0:05.5,"R & D <i>: ""it ends"" --> here",charge.current_after
0:09,Peak,charge.peak_voltage
"""


CAUTION = "Caution, flashing light: <b>red & white</b>."


def _table_of(titles: tuple[str, ...]) -> str:
    rows = (f'0:{place:02d},"{title.replace(chr(34), 2 * chr(34))}",' for place, title in enumerate(titles))
    return "\n".join(["time,title,about", *rows]) + "\n"


def _silence(path: Path, seconds: int = 12) -> None:
    """Leave a sound file that says nothing, which the browser plays whatever its ending says."""
    with wave.open(str(path), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(1)
        sound.setframerate(8000)
        sound.writeframes(b"\x80" * 8000 * seconds)


@pytest.fixture(scope="session")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three reviews: a video beside the pages, one elsewhere, and one whose every text is hostile."""
    out, folders = tmp_path_factory.mktemp("site"), tmp_path_factory.mktemp("folders")
    for name, table, about in (
        ("local", CHAPTERS, {"video": "film.webm"}),
        ("elsewhere", CHAPTERS, {"video": "https://video.example/alder?a=1&b=2", "caution": CAUTION}),
        ("hostile", _table_of(HOSTILE), {"video": "film.webm", "text": " ".join(HOSTILE)}),
    ):
        (folders / name).mkdir()
        (folders / name / "chapters.csv").write_text(table, encoding="utf-8")
        _silence(folders / name / "film.webm")
        site.write_review(site_sample.reviewed(folders / name, out / name, **about))
    site.write_list(out)
    return out


class _Page(HTMLParser):
    """Links, tags of the head and data blocks of a page."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.links: list[dict[str, str | None]] = []
        self.tags: dict[str, str] = {}
        self.linked = ""
        self._inside = False
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        about = dict(attrs)
        if tag == "a":
            self.links.append(about)
        if tag == "meta":
            self.tags[about.get("property") or about.get("name") or ""] = about.get("content") or ""
        self._inside = tag == "script" and about.get("type") == "application/ld+json"

    def handle_data(self, data: str) -> None:
        self.linked += data if self._inside else ""

    def moments(self) -> list[str | None]:
        return [link["href"] for link in self.links if link.get("class") == "moment"]


@contextmanager
def _served(folder: Path) -> Iterator[str]:
    class Quiet(http.server.SimpleHTTPRequestHandler):
        def log_message(self, *_: Any) -> None:
            pass

    server = http.server.ThreadingHTTPServer(
        ("127.0.0.1", 0), functools.partial(Quiet, directory=str(folder))
    )
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@contextmanager
def _opened(browser: Any, address: str) -> Iterator[tuple[Any, list[str], list[str]]]:
    """Open a page; give what it asks for and what it says as well."""
    context = browser.new_context(viewport={"width": 360, "height": 780})
    page = context.new_page()
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(address)
    yield page, asked, said
    context.close()


@contextmanager
def _root(folder: Path, scheme: str) -> Iterator[str]:
    if scheme == "file":
        yield folder.as_uri()
        return
    with _served(folder) as address:
        yield address


_TIME = """async () => {
    const video = document.querySelector('video');
    while (!video.currentTime) await new Promise(done => setTimeout(done, 20));
    return video.currentTime;
}"""
_TRACK = """async () => {
    const track = document.querySelector('video track');
    if (track.readyState < 2) await new Promise((resolve, reject) => {
        track.addEventListener('load', resolve);
        track.addEventListener('error', () => reject(new Error('track refused')));
    });
    return [...track.track.cues].map(cue => [cue.startTime, cue.endTime, cue.getCueAsHTML().textContent]);
}"""


@needs_browser
@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["file", "http"])
def test_the_browser_reads_the_chapters_of_the_track(browser: Any, shown: Path, scheme: str) -> None:
    with _root(shown, scheme) as root, _opened(browser, f"{root}/local/index.html") as (page, asked, said):
        assert page.evaluate(_TRACK) == [
            [0, 3, "The lamp and whose it is"],
            [3, 5.5, "A night on the charger"],
            [5.5, 9, 'R & D <i>: "it ends" --> here'],
            [9, 359999.999, "Peak"],
        ]
        assert page.evaluate("document.querySelector('video track').track.kind") == "chapters"
        assert not [address for address in asked if "video.webm" in address], "not before the reader asks"
        assert not said


@needs_browser
@pytest.mark.browser
def test_the_published_file_is_one_that_the_browser_reads(browser: Any, shown: Path) -> None:
    """The file, not the copy inside the page; each cue by the browser's own parser."""
    with _served(shown) as root, _opened(browser, f"{root}/hostile/chapters.vtt") as (page, _, _):
        page.set_content(f'<video><track kind="chapters" default src="{root}/hostile/chapters.vtt"></video>')
        cues = page.evaluate(_TRACK)
        assert [text for _, _, text in cues] == list(HOSTILE)
        assert [start for start, _, _ in cues] == list(range(len(HOSTILE)))


@needs_browser
@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["file", "http"])
def test_a_moment_is_shown_where_the_video_is(browser: Any, shown: Path, scheme: str) -> None:
    with _root(shown, scheme) as root, _opened(browser, f"{root}/local/index.html") as (page, asked, said):
        page.locator(".chapters a.moment").nth(2).click()
        at_s = page.evaluate(_TIME)
        # This server knows no ranges, so what it sends can't be entered in the middle.
        assert 5.5 <= at_s < 9 or scheme == "http"
        assert page.url == f"{root}/local/index.html"
        assert any(address.endswith("/local/video.webm") for address in asked)
        assert all(address.startswith(root) or address.startswith("data:text/vtt") for address in asked)
        assert not said


@needs_browser
@pytest.mark.browser
def test_a_moments_link_alone_opens_the_video_there(browser: Any, shown: Path) -> None:
    """The browser's own reading of W3C Media Fragments URI 1.0."""
    with _served(shown) as root, _opened(browser, f"{root}/local/charge.html") as (page, _, _):
        page.locator("tr a.moment").first.click()
        page.wait_for_url(f"{root}/local/video.webm#t=*")
        moment_s = float(page.url.partition("#t=")[2])
        page.wait_for_function(f"() => document.querySelector('video').currentTime >= {moment_s}")


@needs_browser
@pytest.mark.browser
def test_a_video_elsewhere_is_asked_for_nothing(browser: Any, shown: Path) -> None:
    with _opened(browser, f"{shown.as_uri()}/elsewhere/index.html") as (page, asked, said):
        page.locator(".chapters").scroll_into_view_if_needed()
        page.wait_for_timeout(200)
        assert page.locator("video, iframe, embed, object").count() == 0
        assert page.get_by_role("link", name="Open the video").get_attribute("href") == (
            "https://video.example/alder?a=1&b=2"
        )
        assert all(address.startswith(shown.as_uri()) for address in asked)
        assert not said


@needs_browser
@pytest.mark.browser
@pytest.mark.parametrize("name", ["index.html", "charge.html", "note-to-the-maker.html"])
def test_hostile_texts_are_texts_everywhere(browser: Any, shown: Path, name: str) -> None:
    with _opened(browser, f"{shown.as_uri()}/hostile/{name}") as (page, asked, said):
        assert page.title() not in ("taken", "1")
        assert page.locator("main img, main script:not([type])").count() == 0
        assert page.locator('a[href^="javascript"]').count() == 0
        text = page.locator("body").inner_text()
        for hostile in ("<script>document.title='taken'</script>", '"><img src=x onerror=', "{{7*7}}"):
            assert hostile in text
        assert all(address.startswith((shown.as_uri(), "data:text/vtt")) for address in asked)
        assert not said
        assert page.evaluate("document.documentElement.scrollWidth") <= 360


@needs_browser
@pytest.mark.browser
@pytest.mark.parametrize("name", ["local/index.html", "local/charge.html", "local/note-to-the-maker.html"])
def test_pages_with_a_video_break_no_rule_of_accessibility(browser: Any, shown: Path, name: str) -> None:
    """WCAG 2.2 A and AA by axe-core; whether a video has captions is for its author to say."""
    with _opened(browser, f"{shown.as_uri()}/{name}") as (page, _, _):
        assert not violations(page, WCAG)


@needs_browser
@pytest.mark.browser
def test_the_browser_leaves_json_ld_as_data(browser: Any, shown: Path) -> None:
    with _opened(browser, f"{shown.as_uri()}/hostile/index.html") as (page, _, said):
        text = page.locator('script[type="application/ld+json"]').first.text_content()
        whole = json.loads(text)
        assert whole["author"]["name"] == " ".join(HOSTILE)
        assert [clip["name"] for clip in whole["video"]["hasPart"]] == list(HOSTILE)
        assert not said


# ---------------------------------------------------------------- as files


def test_each_section_and_finding_leads_to_its_moment(shown: Path) -> None:
    moments = {name: _Page(shown / "local" / f"{name}.html").moments() for name in ("index", "charge")}
    assert moments["charge"] == ["video.webm#t=3", "video.webm#t=9", "video.webm#t=5.5"]
    assert set(moments["index"]) == {f"video.webm#t={at}" for at in ("0", "3", "5.5", "9")}
    there = _Page(shown / "elsewhere" / "charge.html").moments()
    assert there[0] == "https://video.example/alder?a=1&b=2#t=3"


def test_findings_json_holds_the_moments(shown: Path) -> None:
    whole = json.loads((shown / "local" / "findings.json").read_text(encoding="utf-8"))
    assert {item["key"]: item["video_s"] for item in whole["findings"] if item["video_s"] is not None} == {
        "charge.current_after": 5.5,
        "charge.peak_voltage": 9.0,
    }
    assert [part["video_s"] for part in whole["sections"]] == [3.0]


def test_the_video_and_its_chapters_lie_beside_the_pages(shown: Path) -> None:
    there = {path.name for path in (shown / "local").iterdir()}
    assert {"video.webm", video.CHAPTERS, video.TIMESTAMPS} <= there
    assert "video.webm" not in {path.name for path in (shown / "elsewhere").iterdir()}


def test_a_caution_stands_before_the_way_to_the_video(shown: Path) -> None:
    """WCAG 2.2, 2.3.1: who may be harmed knows before the film is there."""
    page = (shown / "elsewhere" / "index.html").read_text(encoding="utf-8")
    said = page.index("Caution, flashing light: &lt;b&gt;red &amp; white&lt;/b&gt;.")
    assert page.index(">The video</h2>") < said < page.index(">Open the video</a>")
    assert "before-film" not in (shown / "local" / "index.html").read_text(encoding="utf-8")


def test_programs_read_a_review_without_a_rating(shown: Path) -> None:
    """schema.org: Review, Product, VideoObject with Clips; term startOffset: seconds from the start."""
    page = _Page(shown / "elsewhere" / "index.html")
    whole = json.loads(page.linked)
    assert (whole["@context"], whole["@type"]) == ("https://schema.org", "Review")
    assert "reviewRating" not in whole
    assert whole["itemReviewed"]["@type"] == "Product"
    assert whole["itemReviewed"]["name"] == "Alder"
    assert whole["author"] == {"@type": "Person", "name": "invented"}
    assert "datePublished" not in whole, "'invented' is no date"
    assert "uploadDate" not in whole["video"], "the review's own date is not the video's"
    assert "thumbnailUrl" not in whole["video"], "no address is known"
    assert whole["reviewBody"].startswith("Alder is shown to stay inside its limits in 1 of 3 checks.")
    assert whole["video"]["@type"] == "VideoObject"
    assert whole["video"]["url"] == "https://video.example/alder?a=1&b=2"
    assert [(clip["startOffset"], clip.get("endOffset")) for clip in whole["video"]["hasPart"]] == [
        (0.0, 3.0),
        (3.0, 5.5),
        (5.5, 9.0),
        (9.0, None),
    ]
    assert whole["video"]["hasPart"][2]["url"] == "https://video.example/alder?a=1&b=2#t=5.5"


def test_only_the_reviews_own_page_is_the_review(shown: Path) -> None:
    assert _Page(shown / "elsewhere" / "charge.html").linked == ""
    assert _Page(shown / "index.html").linked == ""


def test_a_date_is_published_where_it_is_one(tmp_path: Path) -> None:
    reviewed = site_sample.reviewed(tmp_path / "alder", tmp_path / "out")
    about = reviewed.file.review.model_copy(update={"date": "2026-02-14"})
    object.__setattr__(reviewed.file, "review", about)
    told = context.described(reviewed.file, "It charges.", None)
    whole = json.loads(told.linked)
    assert whole["datePublished"] == "2026-02-14"
    assert "video" not in whole
    assert dict(told.tags)["article:published_time"] == "2026-02-14"


def test_a_known_address_is_that_of_page_picture_and_video(tmp_path: Path) -> None:
    """ogp.me: og:url is the canonical address, og:image an address; RFC 6596: the canonical link relation."""
    reviewed = site_sample.reviewed(tmp_path / "alder", tmp_path / "out")
    more = {
        "site": "https://bench.example/reviews/",
        "video": "https://video.example/1",
        "video_date": "2026-02-15",
    }
    object.__setattr__(reviewed.file, "review", reviewed.file.review.model_copy(update=more))
    site.write_review(reviewed)
    page = _Page(reviewed.staged / "index.html")
    name = f"https://bench.example/reviews/{reviewed.file.name}"
    assert page.tags["og:url"] == f"{name}/index.html"
    assert page.tags["og:image"] == f"{name}/preview.png"
    video_told = json.loads(page.linked)["video"]
    assert (video_told["uploadDate"], video_told["thumbnailUrl"]) == ("2026-02-15", f"{name}/preview.png")
    for told in reviewed.staged.glob("*.html"):
        text = told.read_text(encoding="utf-8")
        whole = "index.html" if told.name == "card.html" else told.name
        assert f'<link rel="canonical" href="{name}/{whole}">' in text
        assert text.count('<meta name="description"') == 1


@pytest.mark.parametrize(
    ("key", "value"),
    [("site", "http://bench.example"), ("site", "https://a b"), ("video_date", "last week")],
)
def test_an_address_or_date_that_programs_cannot_read_is_refused(key: str, value: str) -> None:
    with pytest.raises(ValueError, match=key):
        About.model_validate({key: value})


def test_open_graph_says_the_same(shown: Path) -> None:
    page = _Page(shown / "hostile" / "index.html")
    whole = json.loads(page.linked)
    assert page.tags["og:title"] == whole["name"]
    assert page.tags["og:description"] == page.tags["description"] == whole["reviewBody"]
    assert page.tags["og:type"] == "article"
    assert _Page(shown / "elsewhere" / "index.html").tags["og:video"] == "https://video.example/alder?a=1&b=2"


def test_an_extra_page_is_a_page_of_its_own(shown: Path) -> None:
    letter = (shown / "elsewhere" / "note-to-the-maker.html").read_text(encoding="utf-8")
    assert '<div class="letter"><h2 id="two-hazards">Two hazards' in letter
    assert "<h1>Note to the maker" in letter
    for name in ("index.html", "charge.html"):
        page = _Page(shown / "elsewhere" / name)
        assert "note-to-the-maker.html" in [link["href"] for link in page.links]
        assert "Two hazards" not in (shown / "elsewhere" / name).read_text(encoding="utf-8")
    assert "charge.html" in [
        link["href"] for link in _Page(shown / "elsewhere" / "note-to-the-maker.html").links
    ]


def test_markdown_that_is_no_extra_page_is_prose(tmp_path: Path) -> None:
    reviewed = site_sample.reviewed(tmp_path / "alder", tmp_path / "out")
    shown = {"output_type": "display_data", "metadata": {}, "data": {"text/markdown": "*A list* of trials"}}
    reviewed.sections[0].notebook["cells"].append(site_sample._code("more", "show()", shown))
    site.write_review(reviewed)
    page = (tmp_path / "out" / "charge.html").read_text(encoding="utf-8")
    assert "<p><em>A list</em> of trials</p>" in page
    assert 'class="letter"' not in page


@pytest.mark.parametrize("name", ["../index", "Index", "a b", ""])
def test_an_extra_pages_name_leads_nowhere_else(name: str) -> None:
    with pytest.raises(ValueError, match="no name of a page"):
        ExtraPage(name, "title", "text")
