"""How charts are drawn: settings that plotly does not know are faults, and a chart shown stays as it is."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from reviewkit.figures import marks, theme
from reviewkit.figures.chart import Chart
from reviewkit.figures.sheet import Sheet, merged
from reviewkit.finding import CHART_MIME, PLOTLY_MIME


def _drawn() -> Sheet:
    figure = marks.panels(["current, A"], x_axis=theme.axis("time, s"))
    marks.line(figure, [0.0, 1.0, np.nan], [1.0, 2.0, 3.0], name="a<b", colour=theme.CURRENT, unit="A")
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
