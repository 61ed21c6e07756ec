"""How charts are drawn: settings unknown to plotly are faults; long logs lose no peak and no gap."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pandas as pd
import pytest

from reviewkit.figures import marks, sheet
from reviewkit.figures.chart import Chart
from reviewkit.figures.sheet import MOST, Sheet, kept, merged, thinned
from reviewkit.findings import CHART_MIME, PLOTLY_MIME
from reviewkit.publishing.site import bundles


def _drawn() -> Sheet:
    figure = marks.panels(["current, A"], x_axis=sheet.axis("time, s"))
    marks.line(figure, [0.0, 1.0, np.nan], [1.0, 2.0, 3.0], name="a<b", colour=sheet.CURRENT, unit="A")
    return figure


def _chart(figure: Sheet) -> Chart:
    return Chart("a-chart", "What is it?", "It is 2.0 A.", figure.checked(), pd.DataFrame({"a": [1]}))


@pytest.mark.parametrize("piece", ["curve", "shape", "text", "settings"])
def test_a_setting_that_plotly_does_not_know_is_an_error(piece: str) -> None:
    figure = _drawn()
    getattr(figure, piece)(colour_of_nothing=1)
    with pytest.raises(ValueError, match="colour_of_nothing"):
        figure.checked()


def test_settings_laid_over_others_leave_what_they_do_not_name() -> None:
    before: dict[str, Any] = {"margin": {"l": 8, "t": 34}, "height": 300}
    assert merged(before, {"margin": {"t": 60}, "width": 2}) == {
        "margin": {"l": 8, "t": 60},
        "height": 300,
        "width": 2,
    }
    assert before == {"margin": {"l": 8, "t": 34}, "height": 300}


def test_a_chart_is_shown_with_its_words_and_stays_as_it_is() -> None:
    chart = _chart(_drawn())
    before = chart.figure.to_json()
    shown = chart._repr_mimebundle_()
    assert chart.figure.to_json() == before
    assert chart._repr_mimebundle_() == shown
    layout = shown[PLOTLY_MIME]["layout"]
    assert layout["title"]["text"] == "What is it?"
    assert layout["title"]["subtitle"]["text"] == "It is 2.0 A."
    assert layout["height"] == shown[CHART_MIME]["height"] + 58
    assert layout["margin"] == {"l": 8, "r": 12, "t": shown[CHART_MIME]["margin_top"] + 58, "b": 8}


def test_a_figure_of_plotlys_own_is_shown_too() -> None:
    import plotly.graph_objects as go

    figure = go.Figure(go.Bar(x=[1], y=[2]))
    shown = Chart("own", "What?", "This.", figure, pd.DataFrame())._repr_mimebundle_()[PLOTLY_MIME]
    assert shown["data"][0]["type"] == "bar"
    assert shown["layout"]["margin"] == {"t": 58}
    assert "height" not in shown["layout"]


def test_later_pieces_lie_over_earlier_ones() -> None:
    figure = _drawn()
    marks.limit(figure, 1.0, "first")
    marks.limit(figure, 2.0, "second")
    drawn = figure.checked()
    assert [shape.y0 for shape in drawn.layout.shapes] == [1.0, 2.0]
    assert [text.text for text in drawn.layout.annotations] == ["current, A", "first", "second"]


@pytest.mark.parametrize("spacing", ["even", "irregular", "to and fro"])
@pytest.mark.parametrize("seed", range(20))
def test_a_single_rows_spike_or_dip_survives_anywhere_in_a_long_log(spacing: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows = int(rng.integers(2_000, 60_000))
    steps = {
        "even": np.ones(rows),
        "irregular": rng.exponential(size=rows) ** 3,
        "to and fro": rng.normal(size=rows),
    }
    x = np.cumsum(steps[spacing])
    y = np.round(rng.normal(size=rows), 1)
    y[rng.random(rows) < 0.05] = np.nan
    spike, dip = rng.choice(rows, 2, replace=False)
    y[spike], y[dip] = 50.0, -50.0
    shown = kept(x, y)
    assert spike in shown
    assert dip in shown
    assert len(shown) <= MOST + 3 * MOST // 4 + 2
    assert (np.diff(shown) > 0).all()


@pytest.mark.parametrize("place", [0, 1, 150_000, 299_998, 299_999])
def test_spikes_at_the_ends_of_a_log_survive_too(place: int) -> None:
    y = np.zeros(300_000)
    y[place] = -1e-3
    assert place in kept(np.arange(300_000.0), y)


def test_the_line_ends_exactly_where_a_gap_begins_and_goes_on_where_it_ends() -> None:
    x = np.arange(100_000.0)
    y = np.sin(x / 3000)
    y[40_123:40_130] = np.nan
    y[70_001:80_002] = np.nan
    xs, ys = thinned(x, y)
    broken = np.flatnonzero(np.isnan(ys))
    assert [(xs[at - 1], xs[at + 1]) for at in broken] == [(40_122.0, 40_130.0), (70_000.0, 80_002.0)]


def test_of_very_many_gaps_the_longest_are_drawn() -> None:
    x = np.arange(60_000.0)
    y = np.ones(60_000)
    y[::7] = np.nan
    y[30_000:30_400] = np.nan
    xs, ys = thinned(x, y)
    assert len(xs) < 2 * MOST
    assert any(xs[at + 1] - xs[at - 1] >= 400 for at in np.flatnonzero(np.isnan(ys[1:-1])) + 1)


def test_a_log_without_any_reading_draws_nothing() -> None:
    xs, ys = thinned(np.arange(5_000.0), np.full(5_000, np.nan))
    assert len(xs) == len(ys) == 0


@pytest.mark.parametrize(
    ("places", "kind"),
    [
        ([0.0, 0.5, 119.5], "f4"),
        ([0.0, 1000.25, 16_000_001.0], "f4"),
        ([0.0, 16_777_217.0, 2_000_000_001.0], "i4"),
        ([0.0, 1000.25, 2_000_000_001.0], "f8"),
        ([0.0, 3_000_000_001.0], "f8"),
        ([0.0, np.nan, 3_000_000_001.0], "f8"),
        ([], "f4"),
    ],
)
def test_times_travel_in_as_few_bytes_as_hold_them(places: list[float], kind: str) -> None:
    packed = marks.places(places)
    assert packed.dtype == np.dtype(kind)
    assert np.array_equal(packed.astype(float), np.array(places), equal_nan=True)


def test_whole_seconds_of_a_day_arrive_exactly_even_beside_fractions() -> None:
    seconds = np.append(np.arange(10_000.0, 100_000_000.0, 1000.0), 1000.25)
    assert np.array_equal(marks.places(seconds).astype(float), seconds)


def test_a_chart_says_how_many_of_a_logs_rows_it_draws() -> None:
    figure = _drawn()
    assert figure.note == ""
    marks.line(figure, np.arange(300_000.0), np.ones(300_000), name="v", colour=sheet.VOLTAGE, unit="V")
    assert figure.note.startswith("Drawn: 254 of 300\u202f003 rows; the lowest and highest ")
    chart = Chart("c", "Why?", "So.", figure.checked(), pd.DataFrame(), note=figure.note)
    assert chart._repr_mimebundle_()[CHART_MIME]["note"] == figure.note
    assert bundles.chart(chart._repr_mimebundle_()).note == figure.note


def test_a_computed_curve_is_not_counted_as_rows() -> None:
    figure = _drawn()
    x = np.arange(3_000.0)
    marks.line(figure, x, x, name="model", colour=sheet.INK, unit="V", logged=False)
    assert figure.note == ""


@pytest.mark.parametrize("count", [1, 2, 4, 5, 9, 12])
def test_panels_lie_one_below_the_other_within_the_figure(count: int) -> None:
    figure = marks.panels([f"panel {number}, A" for number in range(count)], x_axis={})
    layout = figure.checked()["layout"]
    domains = [layout["yaxis" if number == 0 else f"yaxis{number + 1}"]["domain"] for number in range(count)]
    assert domains[0][1] == pytest.approx(1.0)
    assert domains[-1][0] == pytest.approx(0.0, abs=1e-9)
    for upper, lower in itertools.pairwise(domains):
        assert upper[0] > lower[1] > lower[0] >= 0
