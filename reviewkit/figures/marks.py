"""The pieces that charts are made of: direct labels, limit lines, phase bands, uncertainty bands, time axes.

Every function adds to a figure that it is given. A text is shown as it is written: what plotly would read
as markup is escaped.
"""

from __future__ import annotations

import html
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from reviewkit.figures import sheet
from reviewkit.figures.sheet import MOST, Clock, Sheet, kept, thinned

SMALL = 12
NARROW = 0.17
"""Share of the chart's width under which plotly has no room for a phase's name."""
LANE = 16
"""Height of the lane for the names of phases [px]."""


_MILLISECONDS, _SECONDS = 2.0**24, 2.0**27
"""Up to here a float of four bytes holds every millisecond (4.6 h), and every whole second (37 h)."""
LINE = 38
"""Characters that fit on one line of the narrowest screen."""


def plain(text: str) -> str:
    """Return a text so that plotly shows it as it is."""
    return html.escape(text, quote=False)


def wrapped(text: str, width: int) -> str:
    """Return a text broken into lines, shown by plotly as it is written."""
    return "<br>".join(plain(line) for line in textwrap.wrap(text, width))


def panels(titles: Sequence[str], *, x_axis: dict[str, Any], panel_height: int = 220) -> Sheet:
    """Return an empty figure of one or more panels on one horizontal axis.

    Parameters
    ----------
    titles : sequence of str
        What each panel shows, with its unit, from the top: "cell voltage, V". The first is axis ``y``,
        the next ``y2`` and so on.
    x_axis : dict
        From `theme.axis` or `Clock.axis`.
    panel_height : int
        Height of one panel in pixels.
    """
    count = len(titles)
    # Room for a title; of many panels the gaps take at most half of the figure.
    gap = min(0.125, 0.5 / count) if count > 1 else 0.0
    share = (1 - gap * (count - 1)) / count
    figure = Sheet()
    figure.settings(
        **sheet.layout(height=panel_height * count + 90, margin={"l": 8, "r": 12, "t": 34, "b": 8})
    )
    for index, title in enumerate(titles):
        name = "y" if index == 0 else f"y{index + 1}"
        top = 1 - index * (share + gap)
        settings = sheet.axis("", domain=[max(0.0, top - share), top], nticks=6)
        figure.settings(**{name.replace("y", "yaxis"): settings})
        figure.text(
            name="head",
            **_text(title, sheet.INK, SMALL + 1),
            **{"xref": "paper", "x": 0, "xanchor": "left", "xshift": -6},
            **{"yref": "paper", "y": top, "yanchor": "bottom", "yshift": 8},
        )
    last = "y" if count == 1 else f"y{count}"
    figure.settings(xaxis={**x_axis, "anchor": last})
    return figure


def line(
    figure: Sheet,
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    name: str,
    colour: str,
    unit: str,
    decimals: int = 3,
    axis: str = "y",
    dash: str = "solid",
    width: float = 1.8,
    most: int = MOST,
    logged: bool = True,
) -> None:
    """Add a curve; hovering shows its value with unit.

    Parameters
    ----------
    x, y : array-like, shape (n,)
        NaN breaks the line.
    decimals : int
        Of the value on hovering.
    most : int
        Points drawn of a longer one: every peak stays, see `kept`.
    logged : bool
        Whether its points are rows of a log, which the chart's note counts.
    """
    xs, ys = thinned(np.asarray(x, dtype=float), np.asarray(y, dtype=float), most=most)
    if logged:
        figure.rows.append((len(xs), len(np.atleast_1d(y))))
    figure.curve(
        x=places(xs),
        y=short(ys),
        mode="lines",
        name=plain(name),
        yaxis=axis,
        line={"color": colour, "width": width, "dash": dash},
        hovertemplate=f"%{{y:.{decimals}f}} {plain(unit)}",
    )


def band(
    figure: Sheet,
    x: npt.ArrayLike,
    low: npt.ArrayLike,
    high: npt.ArrayLike,
    *,
    colour: str,
    axis: str = "y",
) -> None:
    """Add an uncertainty band between two curves on the same x."""
    xs = np.asarray(x, dtype=float)
    there_and_back = np.concatenate([xs, xs[::-1]])
    edge = np.concatenate([np.asarray(low, dtype=float), np.asarray(high, dtype=float)[::-1]])
    figure.curve(
        x=places(there_and_back),
        y=short(edge),
        fill="toself",
        fillcolor=sheet.see_through(colour, 0.2),
        line={"width": 0},
        mode="lines",
        yaxis=axis,
        hoverinfo="skip",
    )


def label(
    figure: Sheet,
    x: float,
    y: float,
    text: str,
    *,
    colour: str,
    axis: str = "y",
    anchor: str = "left",
    above: bool = True,
) -> None:
    """Write a curve's name beside it, in its colour, in place of a legend.

    Parameters
    ----------
    x, y : float
        A place on the curve.
    anchor : {"left", "center", "right"}
        Which part of the text stands at `x`.
    above : bool
        Whether it stands above the curve or below.
    """
    figure.text(
        name="label",
        **_text(text, colour, SMALL + 1),
        **{"x": x, "y": y, "yref": axis, "xanchor": anchor},
        **{"yanchor": "bottom" if above else "top", "yshift": 4 if above else -4},
    )


def row_label(figure: Sheet, y: float, text: str, *, colour: str) -> None:
    """Write what a row shows at its left end, above what is drawn there; a long text in two lines."""
    figure.text(
        name="row",
        **_text(text, colour, SMALL),
        **{"xref": "paper", "x": 0, "xanchor": "left", "xshift": 4, "align": "left"},
        **{"y": y, "yanchor": "bottom"},
    )


def limit(
    figure: Sheet, value: float, text: str, *, axis: str = "y", above: bool = True, declared: bool = False
) -> None:
    """Draw a limit as a dashed line across a panel, its name and source at the right edge.

    Parameters
    ----------
    value : float [unit of the axis]
    text : str
        "4.25 V at most: cell's data sheet".
    above : bool
        Whether the text stands above the line or below.
    declared : bool
        For a value that somebody states, not a limit: longer dashes.
    """
    figure.shape(
        type="line",
        xref="paper",
        yref=axis,
        x0=0,
        x1=1,
        y0=value,
        y1=value,
        line={
            "color": sheet.QUIET,
            "width": 1.2,
            "dash": sheet.DASHES["declared" if declared else "limit"],
        },
    )
    figure.text(
        name="limit",
        **_text(text, sheet.QUIET, SMALL) | {"text": wrapped(text, LINE)},
        **{"xref": "paper", "x": 1, "xanchor": "right", "yref": axis, "y": value},
        **{"yanchor": "bottom" if above else "top", "align": "right"},
    )


def phases(figure: Sheet, spans: Iterable[tuple[float, float, str]], *, width: float) -> None:
    """Mark spans of the x axis as bands, every other one tinted, their names in a lane above the first panel.

    Parameters
    ----------
    spans : iterable of (start, end, name)
        On the x axis as drawn (`Clock.x`).
    width : float
        What the x axis shows in all. A picture hangs a name that is too long for its band a lane higher;
        plotly, which can't, leaves it out.
    """
    lane(figure)
    for index, (start, end, name) in enumerate(spans):
        if index % 2 == 0:
            tint(figure, start, end, colour=sheet.BAND)
        has_room = (end - start) / width >= max(NARROW, 0.021 * len(name))
        band_name(figure, (start + end) / 2, name, colour=sheet.QUIET, visible=has_room)


def lane(figure: Sheet) -> None:
    """Make room above the first panel, below its title, for the names of bands."""
    for text in figure.texts:
        if text.get("name") == "head" and text["y"] == 1:
            text["yshift"] += LANE
    before = figure.layout
    figure.settings(height=before["height"] + LANE, margin={"t": before["margin"]["t"] + LANE})


def band_name(figure: Sheet, x: float, name: str, *, colour: str, visible: bool = True) -> None:
    """Write the name of a band above the first panel, where `lane` made room.

    Parameters
    ----------
    x : float
        The band's middle, as annotations take it: its logarithm on a log axis.
    visible : bool
        Whether plotly has room for it; a picture finds some.
    """
    figure.text(
        name="phase",
        visible=visible,
        **_text(name, colour, SMALL),
        **{"x": x, "xanchor": "center", "yref": "y domain", "y": 1, "yanchor": "bottom", "yshift": 2},
    )


def tint(figure: Sheet, start: float, end: float, *, colour: str) -> None:
    """Tint a span of the x axis, over all panels and behind their curves.

    Parameters
    ----------
    start, end : float
        On the x axis as drawn (`Clock.at`).
    """
    figure.shape(
        type="rect",
        x0=start,
        x1=end,
        yref="paper",
        y0=0,
        y1=1,
        layer="below",
        line={"width": 0},
        fillcolor=colour,
    )


def point(
    figure: Sheet,
    x: float,
    y: float,
    text: str,
    *,
    colour: str,
    axis: str = "y",
    away: tuple[int, int] = (28, -28),
    error_x: float | None = None,
    error_y: float | None = None,
) -> None:
    """Mark one place of a curve and write its value beside it.

    Parameters
    ----------
    text : str
        "knee 1:52 h, 4.16 V ± 0.02 V".
    away : (int, int)
        Pixels from the place to the text, right and down.
    error_x, error_y : float, optional
        Half-length of the uncertainty bars.
    """
    figure.curve(
        x=[x],
        y=[y],
        yaxis=axis,
        mode="markers",
        marker={"color": sheet.PAPER, "size": 9, "line": {"color": colour, "width": 2.2}},
        error_x=_error(error_x, colour),
        error_y=_error(error_y, colour),
        hoverinfo="skip",
    )
    right, down = away
    figure.text(
        text=plain(text),
        showarrow=True,
        **{"x": x, "y": y, "yref": axis, "ax": right, "ay": down, "standoff": 6},
        **{"arrowhead": 0, "arrowwidth": 1, "arrowcolor": sheet.QUIET, "bgcolor": sheet.PAPER},
        **{"font": {"size": SMALL, "color": sheet.INK}},
        **{"xanchor": "left" if right >= 0 else "right", "align": "left" if right >= 0 else "right"},
    )


def _error(half: float | None, colour: str) -> dict[str, Any] | None:
    if half is None:
        return None
    return {"type": "constant", "value": half, "color": colour, "thickness": 1.4, "width": 4}


def _text(text: str, colour: str, size: int) -> dict[str, Any]:
    return {
        "text": plain(text),
        "showarrow": False,
        "font": {"size": size, "color": colour},
    }


def short(values: npt.ArrayLike) -> npt.NDArray[np.float32]:
    """Return values in four bytes each: seven digits, more than any chart shows."""
    return np.asarray(values, dtype=np.float32)


def places(values: npt.ArrayLike) -> npt.NDArray[Any]:
    """Return places on an axis in four bytes each: milliseconds exactly, or whole seconds at least."""
    given = np.asarray(values, dtype=float)
    known = given[np.isfinite(given)]
    largest = float(np.abs(known).max()) if len(known) else 0.0
    whole = len(known) == len(given) and np.array_equal(given, np.round(given))
    if _MILLISECONDS < largest < 2**31 and whole:
        return given.astype(np.int32)
    return given.astype(np.float32) if largest < _SECONDS else given


__all__ = [
    "MOST",
    "Clock",
    "band",
    "band_name",
    "kept",
    "label",
    "lane",
    "limit",
    "line",
    "panels",
    "phases",
    "places",
    "plain",
    "point",
    "row_label",
    "short",
    "thinned",
    "tint",
    "wrapped",
]
