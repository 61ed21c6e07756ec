"""Published pages in a real browser: offline, readable without scripts, accessible, narrow, dark, hostile."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import site_sample
from visits import CONTRAST, WCAG, Visit, needs_browser, violations

from reviewkit.drawing.ink import LIGHT_TO_DARK
from reviewkit.publishing import site
from reviewkit.publishing.site import context


@pytest.fixture(scope="session")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A site of three reviews: a plain one, one whose every text is hostile, and a draft."""
    out = tmp_path_factory.mktemp("site")
    folder = tmp_path_factory.mktemp("folder")
    (folder / "plain").mkdir()
    (folder / "plain" / "words.md").write_text(
        "It charges at {charge.plateau_current}. <b>Bold</b> [no](javascript:alert(1)) "
        "![far](https://example.org/x.png)\n",
        encoding="utf-8",
    )
    hostile = " ".join(site_sample.HOSTILE)
    for name, about in {
        "plain": {"name": "Alder"},
        "hostile": {"name": site_sample.LONG, "text": hostile},
        "broken.draft": {"name": "Birch", "failed": "the log ends in the middle of a row"},
    }.items():
        site.write_review(site_sample.reviewed(folder / name.split(".")[0], out / name, **about))
    site.write_list(out)
    return out


PAGES = ("index.html", "plain/index.html", "plain/charge.html", "hostile/index.html", "hostile/charge.html")


@needs_browser
@pytest.mark.browser
@pytest.mark.parametrize("name", ["index.html", "plain/index.html", "plain/charge.html"])
def test_a_page_breaks_no_rule_of_accessibility_in_light_or_dark(browser: Any, out: Path, name: str) -> None:
    """WCAG 2.2 A and AA by axe-core; in the dark what may differ: contrast."""
    with Visit(browser, out / name, viewport={"width": 360, "height": 780}) as visit:
        visit.draw_all()
        assert not violations(visit.page, WCAG)
        visit.page.emulate_media(color_scheme="dark")
        visit.draw_all()
        assert not violations(visit.page, CONTRAST)


@needs_browser
@pytest.mark.browser
@pytest.mark.parametrize("name", PAGES)
def test_a_page_needs_nothing_from_outside_and_fits_a_phone(browser: Any, out: Path, name: str) -> None:
    with Visit(browser, out / name, viewport={"width": 360, "height": 780}) as visit:
        visit.draw_all()
        assert all(address.startswith(out.as_uri()) for address in visit.requests)
        assert not visit.said
        assert {width: visit.overhang(width) for width in (360, 768)} == {360: 0, 768: 0}
        if name.startswith("hostile"):
            _check_hostile_text_is_text(visit.page)


def _check_hostile_text_is_text(page: Any) -> None:
    assert page.title() not in ("taken", "1")
    assert page.locator("main img").count() == 0
    assert page.locator('a[href^="javascript"]').count() == 0
    text = page.locator("body").inner_text()
    assert "{{7*7}}" in text
    assert "<script>document.title" in text
    assert "javascript:alert(1)" in text


@needs_browser
@pytest.mark.browser
def test_findings_stand_there_without_scripts(browser: Any, out: Path) -> None:
    with Visit(browser, out / "plain/charge.html", java_script_enabled=False) as visit:
        # Which blanks keep a value together is no concern here.
        text = re.sub(r"[\u00a0\u202f\u2060]", " ", visit.page.locator("main").inner_text())
        assert "It charges at 0.800 A ± 0.011 A." in re.sub(" +", " ", text)
        charts = visit.page.locator(".chart").all()
        assert charts
        assert all(chart.locator(".picture svg:visible").count() == 1 for chart in charts)
        assert not visit.page.locator(".explore").first.is_visible()
        assert len(visit.requests) == 1


@needs_browser
@pytest.mark.browser
def test_text_is_painted_before_the_charts_script_is_asked_for(browser: Any, out: Path) -> None:
    with Visit(browser, out / "plain/index.html") as visit:
        visit.draw_all()
        painted, asked = visit.page.evaluate(
            """['first-contentful-paint', 'charts-script-asked-for'].map(
                name => performance.getEntriesByName(name)[0].startTime)"""
        )
        assert painted <= asked


@needs_browser
@pytest.mark.browser
def test_charts_change_colours_with_the_scheme(browser: Any, out: Path) -> None:
    with Visit(browser, out / "plain/charge.html", color_scheme="light") as visit:
        visit.draw_all()
        expect = pytest.importorskip("playwright.sync_api").expect
        curve = visit.page.locator(".scatterlayer .js-line").first
        drawn = visit.page.locator('.picture .wide [stroke*="--c-current"]').first
        expect(curve).to_have_css("stroke", "rgb(213, 94, 0)")
        expect(drawn).to_have_css("stroke", "rgb(213, 94, 0)")
        visit.page.emulate_media(color_scheme="dark")
        expect(curve).to_have_css("stroke", "rgb(230, 159, 0)")
        expect(drawn).to_have_css("stroke", "rgb(230, 159, 0)")


@needs_browser
@pytest.mark.browser
def test_a_script_is_asked_for_by_a_touch_and_nothing_moves(browser: Any, out: Path) -> None:
    """By mouse and by keyboard; the picture stays what one sees until a part of it is looked at."""
    with Visit(browser, out / "plain/charge.html", viewport={"width": 1280, "height": 900}) as visit:
        page = visit.page
        page.wait_for_timeout(500)
        assert len(visit.requests) == 1
        figure, plot = page.locator(".chart").first, page.locator(".chart .plot").first
        figure.scroll_into_view_if_needed()
        before = figure.bounding_box()
        figure.get_by_role("button", name="Explore").focus()
        page.keyboard.press("Enter")
        page.locator(".plot.drawn").first.wait_for(timeout=60_000)
        assert len(visit.requests) == 2
        assert figure.bounding_box() == before
        picture, live = (
            plot.locator(name).first.bounding_box() for name in (".picture svg:visible", ".live .main-svg")
        )
        assert live["x"] == pytest.approx(picture["x"], abs=1)
        assert live["width"] == pytest.approx(picture["width"], rel=0.005)
        _check_zoom(page, plot)
        assert not visit.said


def _check_zoom(page: Any, plot: Any) -> None:
    box = plot.bounding_box()
    x, y = box["x"] + 0.3 * box["width"], box["y"] + 0.3 * box["height"]
    page.mouse.move(x - 5, y)
    page.mouse.move(x, y)
    page.locator(".hoverlayer .hovertext, .hoverlayer .legend").first.wait_for(timeout=10_000)
    assert plot.locator(".picture").is_visible()
    page.mouse.down()
    page.mouse.move(x + 0.3 * box["width"], y + 5, steps=4)
    page.mouse.up()
    page.locator(".plot.zoomed").first.wait_for(timeout=10_000)
    assert not plot.locator(".picture").is_visible()
    page.mouse.dblclick(x, y)
    page.locator(".plot:not(.zoomed)").first.wait_for(timeout=10_000)


@needs_browser
@pytest.mark.browser
def test_a_print_begun_at_once_has_every_chart(browser: Any, out: Path) -> None:
    with Visit(browser, out / "plain/charge.html", color_scheme="dark") as visit:
        visit.page.emulate_media(media="print")
        charts = visit.page.locator(".chart").all()
        assert all(chart.locator(".picture svg:visible").count() == 1 for chart in charts)
        paper = visit.page.evaluate("getComputedStyle(document.documentElement).getPropertyValue('--c-ink')")
        assert paper.strip() == "#1c1b19"


def test_a_charts_colours_are_those_of_the_page() -> None:
    style = context.page_assets().style
    parts = style.split("@media screen and (prefers-color-scheme: dark)")[:2]
    light, dark = (dict(re.findall(r"--c-([a-z]+): (#[0-9a-f]{6})", part)) for part in parts)
    assert list(light.values()) == list(LIGHT_TO_DARK)
    assert dict(zip(light.values(), (dark[name] for name in light), strict=True)) == LIGHT_TO_DARK


@needs_browser
@pytest.mark.browser
def test_code_folds_behind_one_control_and_print_shows_all(browser: Any, out: Path, tmp_path: Path) -> None:
    with Visit(browser, out / "plain/charge.html") as visit:
        page = visit.page
        assert not page.locator(".code").first.is_visible()
        page.get_by_label("Show the calls").check()
        assert page.locator(".code").first.is_visible()
        page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        assert page.locator("main details:not([open])").count() == 0
        page.evaluate("window.dispatchEvent(new Event('afterprint'))")
        assert page.locator("main details[open]").count() == 0


@needs_browser
@pytest.mark.browser
def test_the_list_sorts_by_what_was_measured(browser: Any, out: Path) -> None:
    with Visit(browser, out / "index.html") as visit:
        page = visit.page
        header = page.get_by_role("columnheader", name="Review")
        header.get_by_role("button").click()
        assert header.get_attribute("aria-sort") == "ascending"
        first = page.locator("tbody tr").first.inner_text()
        header.get_by_role("button").click()
        assert page.locator("tbody tr").last.inner_text() == first


@needs_browser
@pytest.mark.browser
def test_the_list_is_narrowed_down_from_the_keyboard(browser: Any, out: Path) -> None:
    with Visit(browser, out / "index.html") as visit:
        page = visit.page
        rows = page.locator("table.shelf tbody tr:visible")
        whole = rows.count()
        page.get_by_label("Find").focus()
        page.keyboard.type("alder")
        assert rows.count() == 1 < whole
        assert page.locator("form output").inner_text() == f"1 of {whole} shown"
        for _ in "alder":
            page.keyboard.press("Backspace")
        page.keyboard.press("Tab")
        page.keyboard.press("Space")
        assert rows.count() == page.locator('table.shelf tbody tr[data-has~="ends"]').count() < whole


@needs_browser
@pytest.mark.browser
def test_without_scripts_the_list_has_no_box_that_does_nothing(browser: Any, out: Path) -> None:
    with Visit(browser, out / "index.html", java_script_enabled=False) as visit:
        assert not visit.page.locator("form").is_visible()


@needs_browser
@pytest.mark.browser
def test_a_table_stays_one_where_a_narrow_screen_stacks_it(browser: Any, out: Path) -> None:
    with Visit(browser, out / "index.html", viewport={"width": 1280, "height": 800}) as visit:
        assert visit.page.locator("[role=row]").count() == 0
        visit.page.set_viewport_size({"width": 360, "height": 780})
        visit.page.locator("[role=columnheader]").first.wait_for(state="attached")
        table = visit.page.get_by_role("table", name="Key figures of all reviews")
        assert table.get_by_role("row").count() == visit.page.locator("table.shelf tr").count()


@needs_browser
@pytest.mark.browser
def test_contents_stay_in_view_on_a_wide_screen(browser: Any, out: Path) -> None:
    with Visit(browser, out / "plain/index.html", viewport={"width": 1280, "height": 800}) as visit:
        visit.draw_all()
        visit.page.get_by_role("heading", name="Edition and changes").scroll_into_view_if_needed()
        assert visit.page.locator(".contents").evaluate("e => e.getBoundingClientRect().top") >= 0


@needs_browser
@pytest.mark.browser
def test_a_finding_is_copied_with_the_keyboard(browser: Any, out: Path) -> None:
    """Where the page may write to the clipboard it does; elsewhere the line stands there, selected."""
    with Visit(browser, out / "plain/charge.html") as visit:
        link = visit.page.locator("a.copy").first
        line = link.get_attribute("data-line")
        visit.page.evaluate(
            "navigator.clipboard.writeText = text => { window.got = text; return Promise.resolve(); }"
        )
        link.focus()
        visit.page.keyboard.press("Enter")
        visit.page.get_by_role("status").get_by_text("Copied:").wait_for(state="attached")
        assert visit.page.evaluate("window.got") == line, "no address that is on this computer alone"
        visit.page.evaluate(
            """() => {
              document.head.insertAdjacentHTML("beforeend",
                "<link rel='canonical' href='https://lamps.example/plain/charge.html'>");
              navigator.clipboard.writeText = () => Promise.reject();
            }"""
        )
        visit.page.keyboard.press("Enter")
        offered = visit.page.get_by_label("The finding as one line")
        way = link.get_attribute("href")
        assert offered.input_value() == f"{line} https://lamps.example/plain/charge.html{way}"
        assert visit.page.evaluate("window.getSelection().toString()") == offered.input_value()


@needs_browser
@pytest.mark.browser
def test_without_scripts_a_finding_has_a_plain_link(browser: Any, out: Path) -> None:
    with Visit(browser, out / "plain/charge.html", java_script_enabled=False) as visit:
        assert visit.page.get_by_text("Link to this finding").first.is_visible()
        assert not visit.page.get_by_text("Copy as one line").first.is_visible()
        visit.page.locator("a.copy").first.click()
        assert visit.page.url.endswith("#charge.plateau_current")
