"""Published pages as files: weight, policy, order, words, drafts, the list of reviews."""

from __future__ import annotations

import html
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import site_sample

from reviewkit.errors import Faults
from reviewkit.figures import sheet
from reviewkit.figures.sheet import thinned
from reviewkit.findings import PLOTLY_MIME, Finding, finding_keys, measured
from reviewkit.metrology import Component, Measured
from reviewkit.pipeline.results import ASSETS
from reviewkit.publishing import editions, site, written
from reviewkit.publishing.site import bundles, context, exporter, prose, review_list


class _Headings(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._open = False

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self._open = tag in ("h1", "h2")
        if self._open:
            self.found.append("")

    def handle_endtag(self, tag: str) -> None:
        self._open = False

    def handle_data(self, data: str) -> None:
        if self._open:
            self.found[-1] += data


def _written(tmp_path: Path, **about: str) -> Path:
    out = tmp_path / "out"
    site.write_review(site_sample.reviewed(tmp_path / "alder", out / "alder", **about))
    site.write_list(out)
    return out


def test_the_review_page_has_its_parts_in_order(tmp_path: Path) -> None:
    page = (_written(tmp_path) / "alder" / "index.html").read_text(encoding="utf-8")
    headings = _Headings()
    headings.feed(page)
    assert headings.found == [
        "Alder",
        "On this page",
        "Sections",
        "What the bench found",
        "Cautions",
        "Findings",
        "What the maker claims",
        "The evidence",
        "Not tested",
        "Instruments and method",
        "Run it again",
        "Edition and changes",
    ]


def test_a_page_with_long_logs_weighs_little_and_shares_its_script(tmp_path: Path) -> None:
    out = _written(tmp_path)
    assert (out / "alder" / "index.html").stat().st_size <= 250_000
    assert (out / "alder" / "charge.html").stat().st_size <= 250_000
    scripts = list((out / ASSETS).iterdir())
    assert len(scripts) == 1
    assert f"../{ASSETS}/{scripts[0].name}" in (out / "alder" / "charge.html").read_text(encoding="utf-8")


def test_no_page_names_a_place_elsewhere(tmp_path: Path) -> None:
    for path in _written(tmp_path).rglob("*.html"):
        # The vocabulary of what programs read has an address for a name; nothing is fetched from there.
        page = path.read_text(encoding="utf-8").replace('"@context":"https://schema.org"', "")
        assert "https://" not in page
        assert "plotlyServerURL" not in page
        assert "default-src 'none'" in page.replace("&#39;", "'")
        assert str(tmp_path) not in page


def test_a_smaller_charts_script_takes_the_place_of_the_other(tmp_path: Path) -> None:
    out = _written(tmp_path)
    mine = tmp_path / "small.js"
    mine.write_text("window.Plotly = {};", encoding="utf-8")
    site.write_review(site_sample.reviewed(tmp_path / "birch", out / "birch"), charts_script=mine)
    site.write_list(out, charts_script=mine)
    assert len(list((out / ASSETS).iterdir())) == 2, "alder still asks for the first"


def test_a_failed_section_is_marked_on_both_pages(tmp_path: Path) -> None:
    out = _written(tmp_path, failed="the log ends in the middle of a row")
    for name in ("index.html", "charge.html"):
        assert "the log ends in the middle of a row" in (out / "alder" / name).read_text(encoding="utf-8")


def test_the_summary_says_what_is_outside_what_is_unsure_and_what_is_missing(tmp_path: Path) -> None:
    page = (_written(tmp_path) / "alder" / "index.html").read_text(encoding="utf-8")
    shown = re.sub(r"<[^>]+>", "", page)
    assert "is shown to stay inside its limits in 1 of 3 checks." in shown
    assert "it keeps sending 12\u00a0mA into the full cell: pull the cable" in shown
    assert "The meter can’t tell: whether the cell’s peak voltage is at most" in shown.replace("\u00a0", " ")
    assert "Pull the cable when the charge is done." in page
    assert page.index("It keeps sending current") < page.index("With every lithium-ion cell")


def test_a_finding_is_one_line_of_text_with_what_judges_it(tmp_path: Path) -> None:
    """Whole for whoever has scripts; a link to the finding itself for whoever has none."""
    page = (_written(tmp_path) / "alder" / "charge.html").read_text(encoding="utf-8")
    lines = dict(re.findall(r'<a class="copy" href="#([^"]+)" data-line="([^"]+)"', page))
    told = html.unescape(lines["charge.peak_voltage"]).replace("\u00a0", " ")
    assert told.startswith("Alder, peak voltage")
    assert re.search(r": 4\.25\d* V ± 0\.0\d+ V; limit: at most 4\.25 V", told)
    assert told.endswith("; the meter can’t tell.")
    assert set(lines) == set(re.findall(r'<tr id="([^"]+)"', page)), "each row can be copied"


def test_a_limit_is_drawn_beside_the_words_where_there_is_one(tmp_path: Path) -> None:
    page = (_written(tmp_path) / "alder" / "charge.html").read_text(encoding="utf-8")
    cells = re.findall(r'<td class="limit">(.*?)</td>', page, re.DOTALL)
    assert {"<svg" in cell for cell in cells if cell} == {True}
    assert "" in cells


def test_the_small_version_stands_alone(tmp_path: Path) -> None:
    """Title, what was found, one picture, the way to the review; it fetches nothing and runs nothing."""
    out = _written(tmp_path) / "alder"
    whole = (out / "card.html").read_bytes()
    assert len(whole) <= 40_000
    page = whole.decode()
    assert "stays inside its limits" in page or "is shown to stay inside its limits" in page
    assert "it keeps sending" in page
    assert "<script" not in page
    assert not re.findall(r'(?:src|srcset|data-charts)="', page)
    assert page.count('role="img"') == 1
    assert page.count("<svg") == 2, "for a narrow and for a wide place"
    led = {way.partition("#")[0] for way in re.findall(r'<a [^>]*href="([^"]+)"', page)}
    assert "index.html" in led
    assert all((out / name).is_file() for name in led), "within the review, from any place"
    assert 'href="card.html"' in (out / "index.html").read_text(encoding="utf-8")


def test_the_same_fact_under_two_keys_is_one_row(tmp_path: Path) -> None:
    page = (_written(tmp_path) / "alder" / "charge.html").read_text(encoding="utf-8")
    assert page.count(">Plateau current") == 1
    assert 'id="charge.usb.plateau_current"' in page


def test_words_print_findings_and_lead_to_them(tmp_path: Path) -> None:
    (tmp_path / "alder").mkdir()
    (tmp_path / "alder" / "words.md").write_text(
        "At {charge.plateau_current} it is <i>slow</i>.", encoding="utf-8"
    )
    page = (_written(tmp_path) / "alder" / "index.html").read_text(encoding="utf-8")
    assert 'href="charge.html#charge.plateau_current"' in page
    assert "&lt;i&gt;slow&lt;/i&gt;" in page


def test_an_unknown_placeholder_names_the_nearest_key(tmp_path: Path) -> None:
    (tmp_path / "alder").mkdir()
    (tmp_path / "alder" / "words.md").write_text("ok\n\n{charge.plateau_curent}", encoding="utf-8")
    with pytest.raises(
        Faults, match=r"words.md, line 3: .*'charge.plateau_curent'.*{charge.plateau_current}"
    ):
        _written(tmp_path)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("It charges at 0.8 A and takes 4 h.", ["0.8 A", "4 h"]),
        ("The cell reached 4,21 V at 45 °C; −3 mA later, 90 % full.", ["4,21 V", "45 °C", "−3 mA", "90 %"]),
        ("It charges at {charge.plateau_current}, version 1.2, in 2026, an 18650.", []),
        ("3 Ah", ["3 Ah"]),
    ],
)
def test_numbers_typed_by_hand_are_found(text: str, found: list[str]) -> None:
    assert [item.text for item in finding_keys.hand_typed(text)] == found


def test_filled_prints_value_uncertainty_and_unit() -> None:
    item = Finding("charge.peak", "peak", 4.1837, "V", 0.0231)
    printed = finding_keys.filled("At {charge.peak}!", {"charge.peak": item})
    assert printed == "At 4.184\u00a0V\u00a0±\u00a00.023\u00a0V!"


def test_json_in_a_script_element_cannot_end_it() -> None:
    hostile = {"a": "</script><!-- & \u2028"}
    text = bundles.script_json(hostile)
    assert "<" not in text
    assert json.loads(text) == hostile


@pytest.mark.parametrize(
    ("html", "kept"),
    [
        ("<table><tr><td>1</td></tr></table>", "<td>1</td>"),
        ('<a href="javascript:alert(1)">x</a>', "<a>x</a>"),
        ('<img src=x onerror="alert(1)">', "&lt;img"),
        ("<iframe src='//x'></iframe>", "&lt;iframe"),
        ('<p style="color:red" onclick="x()">a</p>', "<p>a</p>"),
    ],
)
def test_foreign_html_is_kept_to_what_cannot_run(html: str, kept: str) -> None:
    assert kept in bundles.cleaned(html)


@pytest.mark.parametrize("unshown", ["<style scoped>\n.a {b: c}\n</style>", "<SCRIPT>let a = 1</script >"])
def test_what_a_browser_would_not_show_as_text_is_left_off(unshown: str) -> None:
    assert bundles.cleaned(f"<div>{unshown}<table></table></div>") == "<div><table></table></div>"
    assert "a = 1" not in bundles.cleaned("<p>b</p><script>a = 1")


@pytest.mark.parametrize(
    ("layout", "question"),
    [
        ({"title": {"text": "Beam"}, "xaxis": {"title": {"text": "x"}}}, "Beam"),
        ({"xaxis": {"title": {"text": "t"}}, "yaxis": {"title": {"text": "E"}}}, "E against t"),
        ({}, "Chart"),
    ],
)
def test_a_figure_of_another_maker_is_called_by_what_it_shows(layout: dict[str, Any], question: str) -> None:
    bundle = bundles.chart({PLOTLY_MIME: {"data": [], "layout": layout}})
    assert bundle.question == question


def test_a_picture_that_a_cell_shows_has_words_for_whoever_does_not_see_it() -> None:
    shown = bundles.plain({"data": {"image/png": "AAAA", "text/plain": "<Figure size 640x480 with 1 Axes>"}})
    assert 'alt="Figure size 640x480 with 1 Axes"' in shown


def test_headings_get_addresses_of_their_own() -> None:
    _, headings = prose.rendered("## Är es so?\n\n## Är es so?", taken=set())
    assert [link.href for _, link in headings] == ["ar-es-so", "ar-es-so-2"]


def test_page_and_charts_share_their_colours() -> None:
    style = (context.templates() / "tokens.css").read_text(encoding="utf-8")
    for colour in (sheet.PAPER, sheet.INK, sheet.QUIET, sheet.GRID, sheet.BAND):
        assert colour in style
        assert sheet.LIGHT_TO_DARK[colour] in style


def _luminance(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("dark", [False, True])
def test_every_colour_of_a_chart_stands_out(dark: bool) -> None:
    """WCAG 2.2 success criterion 1.4.3: text 4.5 to 1; 1.4.11: lines 3 to 1."""
    colours = sheet.LIGHT_TO_DARK

    def shown(colour: str) -> str:
        return colours[colour] if dark else colour

    def contrast(one: str, other: str) -> float:
        high, low = sorted((_luminance(shown(one)), _luminance(shown(other))), reverse=True)
        return (high + 0.05) / (low + 0.05)

    for paper in (sheet.PAPER, sheet.BAND):
        for text in (sheet.INK, sheet.QUIET):
            assert contrast(text, paper) >= 4.5
        for line in (sheet.VOLTAGE, sheet.CURRENT, sheet.CHARGE, sheet.TEMPERATURE, sheet.READING):
            assert contrast(line, paper) >= 3.0


def test_thinning_keeps_every_peak_and_every_gap() -> None:
    rng = np.random.default_rng(1)
    y = rng.normal(size=50_000)
    y[[10_123, 40_001]] = (40.0, -40.0)
    y[20_000:20_010] = np.nan
    x, short = thinned(np.arange(y.size, dtype=float), y, most=800)
    assert len(short) < 1000
    assert np.nanmax(short) == 40.0
    assert np.nanmin(short) == -40.0
    assert np.isnan(short).any()
    assert (np.diff(x) > 0).all()


def test_an_edition_run_again_keeps_the_one_before(tmp_path: Path) -> None:
    place, staged = tmp_path / "alder", tmp_path / "staged"
    place.mkdir()
    staged.mkdir()
    (place / "findings.json").write_text('{"review": {"edition": 2}}', encoding="utf-8")
    (place / editions.LAST_EDITION).write_text('{"review": {"edition": 1}}', encoding="utf-8")
    editions.carry(place, staged, edition=2)
    assert json.loads((staged / editions.LAST_EDITION).read_text())["review"]["edition"] == 1
    editions.carry(place, staged, edition=3)
    assert json.loads((staged / editions.LAST_EDITION).read_text())["review"]["edition"] == 2


def test_the_list_links_to_comparisons_of_its_reviews(tmp_path: Path) -> None:
    out = _written(tmp_path)
    assert "Side by side" not in (out / "index.html").read_text(encoding="utf-8")
    place = out / site.beside(["alder", "alder"])
    place.mkdir()
    (place / site.COMPARED).write_text(json.dumps({"reviews": ["alder", "alder"]}), encoding="utf-8")
    written.seal(place)
    site.write_list(out)
    page = (out / "index.html").read_text(encoding="utf-8")
    assert '<a href="alder-and-alder/index.html">Alder and Alder</a>' in page


def test_what_is_below_a_thousandth_of_the_whole_is_named_and_not_printed() -> None:
    parts = (
        Component("meter", 0.01, "s", "rectangular"),
        Component("resolution", 9.868e-26, "s", "normal"),
        Component("drift", 1e-6, "A", "normal", sensitivity=1e-3),
    )
    rows = exporter.budget_rows(measured("lamp.time", "time", Measured(2.0, "s", parts)))
    shown = [[row.size, row.adds, row.share] for row in rows]
    assert shown == [
        ["±0.010\u00a0s", "0.0058\u00a0s", "100\u202f%"],
        ["σ = 1.0\u00a0µA", "negligible", ""],
        ["negligible", "negligible", ""],
    ]


@pytest.mark.parametrize(
    ("text", "whole"),
    [
        ("<p>at 4.20 V ± 0.05 V, 3 of 8, 5 lamps</p>", "<p>at 4.20~V~±~0.05~V, 3 of 8, 5 lamps</p>"),
        ("<p>about 4¼ h and 20 % in 3 s</p>", "<p>about 4¼~h and 20~% in 3~s</p>"),
        ("<pre>4.20 V</pre><script>a = 3 + 4 / 2 % 3</script>", None),
        ('<p title="3 V">2026-02-21</p>', '<p title="3 V"><span class="whole">2026-02-21</span></p>'),
        ("<p>R-2026-02-21-B, 3 hours, 2 A/h</p>", None),
    ],
)
def test_no_line_can_end_inside_a_value(text: str, whole: str | None) -> None:
    assert exporter.unbroken(text).replace("\u00a0", "~") == (whole or text)


def _on_the_shelf(count: int) -> list[review_list.ListRow]:
    figures = [
        review_list.Figure(
            text=f"{hours} h", order=str(hours * 3600.0), unit="s", interval=(hours * 3500.0, hours * 3700.0)
        )
        for hours in range(1, count + 1)
    ]
    return [
        review_list.ListRow(f"Lamp <{place}>", f"Lamp <{place}>", "", "x/index.html", (figure,))
        for place, figure in enumerate(figures)
    ]


def test_each_figure_is_drawn_once_over_all_devices_in_its_order() -> None:
    ((said, drawn),) = review_list.pictures(["Full in"], list(reversed(_on_the_shelf(5))))
    assert said == "Full in"
    names = re.findall(r"Lamp &lt;(\d)&gt;", drawn)
    assert names == ["0", "1", "2", "3", "4"]
    assert "<script" not in drawn


def test_of_many_devices_the_lowest_and_the_highest_are_drawn() -> None:
    ((said, drawn),) = review_list.pictures(["Full in"], _on_the_shelf(200))
    assert said == "Full in, the 6 lowest and 6 highest of 200 devices"
    names = [int(name) for name in re.findall(r"Lamp &lt;(\d+)&gt;", drawn)]
    assert names == [*range(6), *range(194, 200)]


def test_one_device_alone_and_what_has_no_interval_is_not_drawn() -> None:
    assert review_list.pictures(["Full in"], _on_the_shelf(1)) == []
    bare = [replace(row, figures=(replace(row.figures[0], interval=None),)) for row in _on_the_shelf(3)]
    assert review_list.pictures(["Full in"], bare) == []
