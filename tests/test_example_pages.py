"""The example devices' own pages in a real browser: both reviews, and the two side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from visits import CONTRAST, WCAG, Visit, needs_browser, violations

from reviewkit import commands

EXAMPLES = Path(__file__).parents[1] / "examples"
REVIEW = ("index", "card", "charge", "drain", "readout", "ui_states", "note-to-the-maker")
PAGES = (
    "index.html",
    *(f"{name}/{page}.html" for name in ("alder", "birch") for page in REVIEW),
    "alder-and-birch/index.html",
)
WIDTHS = (360, 768, 1280)

pytestmark = [needs_browser, pytest.mark.browser]


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Both example devices reviewed and compared, once for all tests here."""
    out = tmp_path_factory.mktemp("examples")
    together = commands.compare(EXAMPLES / "alder", EXAMPLES / "birch", out=out)
    assert together.result.ok
    assert not any(item.is_draft for item in together.reviews)
    return out


def test_every_page_is_looked_at(out: Path) -> None:
    assert {page.relative_to(out).as_posix() for page in out.rglob("*.html")} == set(PAGES)


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_drawn_whole_from_its_own_site_alone(browser: Any, out: Path, name: str) -> None:
    """Every chart has its drawing; nothing is asked of anyone else, no complaint, no sideways scrolling."""
    with Visit(browser, out / name) as visit:
        visit.draw_all()
        plots = visit.page.locator(".plot")
        assert plots.count() == visit.page.locator(".plot:has(svg.main-svg)").count()
        assert {width: visit.overhang(width) for width in WIDTHS} == dict.fromkeys(WIDTHS, 0)
        assert all(address.startswith(out.as_uri()) for address in visit.requests)
        assert not visit.said


@pytest.mark.parametrize("name", PAGES)
def test_no_number_breaks_and_what_is_folded_out_fits(browser: Any, out: Path, name: str) -> None:
    """In no value, beside no "±", in no column; a budget that is folded out scrolls by itself."""
    with Visit(browser, out / name) as visit:
        visit.open_all()
        assert {width: visit.broken_numbers(width) for width in WIDTHS} == {width: [] for width in WIDTHS}
        assert {width: visit.overhang(width) for width in WIDTHS} == dict.fromkeys(WIDTHS, 0)


def test_a_broken_number_is_found(browser: Any, tmp_path: Path) -> None:
    page = tmp_path / "broken.html"
    page.write_text("<p style='width: 4.5em'>about 4.20 V ± 0.05 V</p>", encoding="utf-8")
    with Visit(browser, page) as visit:
        assert visit.broken_numbers(360)


@pytest.mark.parametrize("name", PAGES)
def test_a_page_breaks_no_rule_of_accessibility(browser: Any, out: Path, name: str) -> None:
    """WCAG 2.2 A and AA by axe-core on a phone in the light; in the dark what may differ: contrast."""
    with Visit(browser, out / name, viewport={"width": 360, "height": 780}) as visit:
        visit.draw_all()
        assert not violations(visit.page, WCAG)
        visit.page.emulate_media(color_scheme="dark")
        visit.draw_all()
        assert not violations(visit.page, CONTRAST)


@pytest.mark.parametrize("name", ["alder/index.html", "birch/charge.html", "alder-and-birch/index.html"])
def test_text_is_painted_before_the_charts_script_is_asked_for(browser: Any, out: Path, name: str) -> None:
    with Visit(browser, out / name) as visit:
        visit.draw_all()
        painted, asked = visit.page.evaluate(
            """['first-contentful-paint', 'charts-script-asked-for'].map(
                name => performance.getEntriesByName(name)[0].startTime)"""
        )
        assert painted <= asked


@pytest.mark.parametrize("name", PAGES)
def test_every_chart_is_a_picture_without_scripts(browser: Any, out: Path, name: str) -> None:
    with Visit(browser, out / name, java_script_enabled=False) as visit:
        for width in WIDTHS:
            visit.page.set_viewport_size({"width": width, "height": 800})
            charts = visit.page.locator(".chart").all()
            assert [chart.locator(".picture svg:visible").count() for chart in charts] == [1] * len(charts)


@pytest.mark.parametrize("name", ["alder", "birch"])
def test_a_review_without_the_shared_script_weighs_little(out: Path, name: str) -> None:
    assert (out / name / "index.html").stat().st_size <= 200_000
