"""Charts as pictures: what is drawn, where the texts lie, in whose colours; findings as strips."""

from __future__ import annotations

import doctest
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go
import pytest
import yaml
from shown_sections import SECTIONS, shown
from simulate.whole import draw_whole
from visits import needs_browser

from reviewkit.drawing import ink, picture, scales, strip
from reviewkit.drawing.scales import NotDrawn
from reviewkit.figures import marks, sheet
from reviewkit.figures.chart import Chart
from reviewkit.figures.sheet import Sheet
from reviewkit.findings import CHART_MIME, Finding
from reviewkit.metrology.conformity import Limit

EXAMPLES = Path(__file__).parents[1] / "examples"


def _drawn() -> Sheet:
    figure = marks.panels(["current, A", "voltage, V"], x_axis=sheet.axis("time, s", range=[0, 10]))
    time = np.arange(0.0, 10.1, 0.1)
    marks.line(figure, time, np.sin(time), name="a", colour=sheet.CURRENT, unit="A")
    marks.line(figure, time, np.cos(time), name="b", colour=sheet.VOLTAGE, unit="V", axis="y2")
    marks.phases(figure, [(0.0, 4.0, "first"), (4.0, 4.2, "short one"), (4.2, 10.0, "third")], width=10.0)
    marks.limit(figure, 0.9, "0.9 A at most: a data sheet with a long name")
    marks.point(figure, 1.57, 1.0, "highest at 1.57 s", colour=sheet.CURRENT, error_y=0.1)
    marks.label(figure, 5.0, float(np.cos(5.0)), "voltage <b>", colour=sheet.VOLTAGE, axis="y2")
    return figure


def plain(figure: Sheet) -> dict[str, Any]:
    """A sheet as the mapping that plotly takes."""
    return {
        "data": figure.curves,
        "layout": {**figure.layout, "shapes": figure.shapes, "annotations": figure.texts},
    }


def faults(drawn: picture.Picture) -> list[str]:
    """What a reader would stumble over: texts on texts, off the picture, or on a curve.

    A picture scaled as a whole has the same faults or none.
    """
    found = []
    for place, one in enumerate(drawn.texts):
        found += [f"'{one.text}' on '{other.text}'" for other in drawn.texts[:place] if one.meets(other)]
        if one.left < 0 or one.top < 0 or one.right > drawn.width or one.bottom > drawn.height:
            found.append(f"'{one.text}' leaves the picture")
        if any(_inside(points, one) for points in drawn.lines):
            found.append(f"'{one.text}' on a curve")
    return found


def _inside(points: np.ndarray[Any, Any], box: ink.Box) -> bool:
    x, y = points[:, 0], points[:, 1]
    return bool(np.any((x > box.left) & (x < box.right) & (y > box.top) & (y < box.bottom)))


@pytest.mark.parametrize("module", [ink, picture, scales, strip])
def test_examples_are_true(module: Any) -> None:
    tried = doctest.testmod(module)
    assert tried.attempted
    assert not tried.failed


@pytest.mark.parametrize("width", [340, 760])
def test_a_picture_has_all_texts_each_in_a_place_of_its_own(width: int) -> None:
    drawn = picture.picture(plain(_drawn()), width=width)
    assert faults(drawn) == []
    told = " ".join(" ".join(ET.fromstring(drawn.svg).itertext()).split())
    for text in ("current, A", "time, s", "first", "short one", "third", "highest at 1.57 s", "voltage <b>"):
        assert text in told


def test_a_picture_is_the_same_from_plotlys_own_figure_and_each_time() -> None:
    one = picture.picture(plain(_drawn()), width=340)
    assert picture.picture(_drawn().checked().to_plotly_json(), width=340).svg == one.svg


def test_the_frame_tells_plotly_where_to_stand() -> None:
    drawn = picture.picture(plain(_drawn()), width=760)
    frame = drawn.frame
    assert (frame["width"], frame["height"]) == (drawn.width, drawn.height)
    assert set(frame["margin"]) == set("lrtb")
    assert frame["ranges"]["xaxis"] == [0.0, 10.0]
    figure = go.Figure(_drawn().checked())
    figure.update_layout(
        margin=frame["margin"], **{name: {"range": ends} for name, ends in frame["ranges"].items()}
    )
    assert figure.layout.yaxis2.range[0] < -1


def test_a_page_may_hold_a_picture_twice_and_gives_it_its_colours() -> None:
    chart = Chart("a-chart", "What?", "This.", _drawn().checked(), pd.DataFrame())
    shown = chart._repr_mimebundle_()
    for one in shown[CHART_MIME]["pictures"].values():
        svg = one["svg"]
        assert not re.search(r"\bid=|<style|<script|href", svg)
        assert not re.search(r'"#', svg)
        assert "var(--c-current,#d55e00)" in svg
        assert svg.startswith("<svg viewBox=")
    assert "var(" not in shown["image/svg+xml"]
    dark = ink.in_scheme(chart.pictures()["wide"].svg, "dark")
    assert sheet.LIGHT_TO_DARK[sheet.CURRENT] in dark
    assert sheet.CURRENT not in dark


def test_text_that_looks_like_a_colour_or_markup_stays_what_it_is() -> None:
    figure = _drawn()
    marks.label(figure, 2.0, 0.0, "#0072b2 <script>", colour=sheet.INK)
    svg = picture.picture(plain(figure), width=760).svg
    assert "#0072b2 <script>" in " ".join(ET.fromstring(ink.in_scheme(svg, "dark")).itertext())


@pytest.mark.parametrize(
    "trace",
    [{"type": "heatmap", "z": [[1]]}, {"type": "scatter", "y": [1, 2], "xaxis": "x2"}, {"type": "pie"}],
)
def test_what_plotly_alone_draws_is_refused_and_the_chart_is_shown_without_a_picture(
    trace: dict[str, Any],
) -> None:
    figure = go.Figure({"data": [trace], "layout": {"template": "none"}})
    with pytest.raises(NotDrawn):
        picture.picture(figure.to_plotly_json(), width=340)
    shown = Chart("own", "What?", "This.", figure, pd.DataFrame())._repr_mimebundle_()
    assert shown[CHART_MIME]["pictures"] == {}
    assert "image/svg+xml" not in shown


def _charts(values: dict[str, Any], folder: Path, sections: Sequence[str] = SECTIONS) -> list[Chart]:
    """All charts that a review's sections show."""
    return [one for name in sections for one in shown(name, values, folder) if isinstance(one, Chart)]


def _of_example(name: str) -> list[Chart]:
    folder = EXAMPLES / name
    return _charts(yaml.safe_load((folder / "review.yaml").read_text(encoding="utf-8")), folder)


def _of_simulated(seed: int, folder: Path) -> list[Chart]:
    return _charts(draw_whole(seed).write(folder), folder, ("readout", "charge", "drain"))


def _all_faults(charts: Sequence[Chart]) -> dict[str, list[str]]:
    """What is at fault with each picture, and which of its texts it lacks."""
    found = {}
    for chart in charts:
        figure = chart.figure.to_plotly_json()
        for name, drawn in chart.pictures().items():
            said = " ".join(box.text for box in drawn.texts).split()
            lacking = [text for text in _texts(figure) if not set(text.split()) <= set(said)]
            found[f"{chart.key}, {name}"] = faults(drawn) + lacking
    return {name: told for name, told in found.items() if told}


def _texts(figure: dict[str, Any]) -> list[str]:
    """Each annotation; names of phases, of which short ones may find no room, are not asked for."""
    notes = [note for note in figure["layout"].get("annotations") or () if note.get("name") != "phase"]
    lines = [ink.lines_of(note.get("text") or "") for note in notes]
    return [" ".join("".join(text for text, _ in line) for line in some) for some in lines]


@pytest.mark.parametrize("name", ["alder", "birch"])
def test_no_text_of_an_example_meets_another_or_a_curve_or_leaves_the_picture(
    name: str, record_property: Callable[[str, object], None]
) -> None:
    charts = _of_example(name)
    assert len(charts) >= 19
    assert _all_faults(charts) == {}
    sizes = [sum(len(one.for_page.encode()) for one in chart.pictures().values()) for chart in charts]
    record_property(
        "figure", f"{name}: {len(charts)} charts, two pictures each: {np.median(sizes):,.0f} bytes"
    )
    assert np.median(sizes) < 15_000


@pytest.mark.parametrize("seed", range(30))
def test_no_text_of_a_simulated_review_meets_another_or_a_curve_or_leaves_the_picture(
    seed: int, tmp_path: Path
) -> None:
    charts = _of_simulated(seed, tmp_path)
    assert len(charts) >= 8
    assert _all_faults(charts) == {}


@needs_browser
@pytest.mark.browser
def test_a_browser_sets_no_text_wider_than_it_was_taken_for(browser: Any) -> None:
    """And no smaller than 11 pixels; in the pictures of an example's charts, as a page holds them.

    A pixel is allowed for: browsers round the widths of hinted letters, texts are set three pixels apart.
    """
    drawn = [one for chart in _of_example("birch") for one in chart.pictures().values()]
    page = browser.new_page()
    page.set_content("<!doctype html><title>x</title>" + "".join(one.for_page for one in drawn))
    told = page.evaluate(
        """() => [...document.querySelectorAll("svg")].flatMap((svg, place) =>
            [...svg.querySelectorAll("text")].map(text => {
                const {x, width} = text.getBBox(), size = parseFloat(getComputedStyle(text).fontSize);
                return [place, text.textContent, x, width, size, !!text.querySelector("tspan")];
            }))"""
    )
    assert len(told) > 500
    for place, text, left, width, size, bold in (one for one in told if one[1].strip()):
        assert size >= 11
        assert width <= size * ink.advance(text, bold=bold) + 1, text
        boxes = [box for box in drawn[place].texts if set(text.split()) <= set(box.text.split())]
        if not any(box.bottom - box.top > box.right - box.left and len(text) > 3 for box in boxes):
            assert any(box.left - 1 <= left and left + width <= box.right + 1 for box in boxes), text


@pytest.mark.parametrize("count", [1, 2, 12, 60])
@pytest.mark.parametrize("width", [340, 760])
def test_one_figure_over_all_devices_is_read_at_any_number_of_them(count: int, width: int) -> None:
    entries = [
        strip.Entry(f"Lamp {place} of a long name", 4.0 + place / 9, 3.9 + place / 9, 4.2 + place / 9)
        for place in range(count)
    ]
    figure = strip.over_devices(entries, title="full after", unit="h", limits=[5.0])
    drawn = picture.picture(figure, width=width)
    assert faults(drawn) == []
    assert sum("Lamp" in box.text for box in drawn.texts) == count
    assert figure["data"][0]["type"] == "bar"
    assert drawn.frame["ranges"]["xaxis"][0] == 0


def test_what_differs_by_decades_is_a_dot_on_a_log_axis_and_a_voltage_a_dot_on_a_linear_one() -> None:
    days = [strip.Entry("a", 90.0, 80.0, 100.0), strip.Entry("b", 1500.0, 1000.0, 3000.0)]
    wide = strip.over_devices(days, title="on the shelf", unit="d")
    volts = strip.over_devices(days, title="hold voltage", unit="V", amount=False)
    assert wide["layout"]["xaxis"]["type"] == "log"
    assert wide["data"][0]["mode"] == volts["data"][0]["mode"] == "markers"
    near = strip.over_devices(days[1:], title="hold voltage", unit="V", amount=False)
    assert near["layout"]["xaxis"]["type"] == "linear"
    assert near["data"][0]["type"] == "scatter"


def _spots(item: Finding) -> tuple[list[float], float]:
    """Where a strip's gates stand, and its dot."""
    svg = strip.strip(item)
    gates = [float(x) for x in re.findall(r"M([\d.]+) 1v", svg)]
    return gates, float(re.findall(r'cx="([\d.]+)"', svg)[0])


@pytest.mark.parametrize("share", [0.05, 0.5, 0.95])
def test_a_strip_puts_the_value_between_its_limits_as_far_as_it_lies(share: float) -> None:
    item = Finding(
        key="a.b", label="x", value=4.15 + 0.1 * share, uncertainty=0.01, limit=Limit(4.15, 4.25, "")
    )
    (low, high), dot = _spots(item)
    assert (dot - low) / (high - low) == pytest.approx(share, abs=0.01)


def test_a_strip_tells_what_lies_off_it_by_an_arrow_and_beyond_a_limit_by_a_hollow_dot() -> None:
    within = strip.strip(
        Finding(key="a.b", label="x", value=1.0, uncertainty=0.1, limit=Limit(None, 2.0, ""))
    )
    beyond = strip.strip(
        Finding(key="a.b", label="x", value=20.0, uncertainty=0.1, limit=Limit(None, 2.0, ""))
    )
    assert within.count("z") == 1
    assert beyond.count("z") > 1
    assert 'fill="var(--c-ink' in within
    assert 'r="3.2" fill="var(--c-paper' in beyond


@pytest.mark.parametrize(
    "item",
    [
        Finding(key="a.b", label="x", value=True, limit=Limit(0.0, 1.0, "")),
        Finding(key="a.b", label="x", value=1.0),
        Finding(key="a.b", label="x", value=None, limit=Limit(0.0, 1.0, "")),
    ],
)
def test_what_has_no_limit_or_no_number_has_no_strip(item: Finding) -> None:
    assert strip.strip(item) == ""
