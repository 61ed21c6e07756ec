"""What a chart is drawn on: plain mappings that plotly checks once, colours, the time axis, thinned rows.

Plotly's own objects check all that they hold again with each piece that is added.

A chart is written in the light colours; the page's script exchanges each for its dark partner.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from reviewkit.drawing.ink import (
    BAND,
    CHARGE,
    CURRENT,
    GRID,
    INK,
    LIGHT_TO_DARK,
    PAPER,
    QUIET,
    READING,
    SANS,
    TEMPERATURE,
    VOLTAGE,
)
from reviewkit.metrology import formatting

if TYPE_CHECKING:
    import plotly.graph_objects as go


DASHES = {"limit": "dash", "prediction": "dot", "declared": "longdash"}


def see_through(colour: str, opacity: float) -> str:
    """Return a colour of the palette as ``#rrggbbaa``, for uncertainty bands."""
    return f"{colour}{round(opacity * 255):02x}"


def axis(title: str, **more: Any) -> dict[str, Any]:
    """Return the settings of an axis: title with unit, light grid, no box."""
    return {
        "title": {"text": title, "standoff": 8, "font": {"size": 13}},
        "gridcolor": GRID,
        "linecolor": QUIET,
        "zeroline": False,
        "ticks": "outside",
        "tickcolor": QUIET,
        "automargin": True,
        **more,
    }


def layout(**more: Any) -> dict[str, Any]:
    """Return the settings that all charts share."""
    return {
        "template": "none",
        "font": {"family": SANS, "size": 13, "color": INK},
        "paper_bgcolor": PAPER,
        "plot_bgcolor": PAPER,
        "margin": {"l": 56, "r": 24, "t": 16, "b": 48},
        "height": 380,
        "showlegend": False,
        "hovermode": "x unified",
        "hoverlabel": {"bgcolor": PAPER, "bordercolor": QUIET, "font": {"color": INK}},
        **more,
    }


Settings = dict[str, Any]


@dataclass
class Sheet:
    """Curves, shapes, texts and settings of one chart, in the order in which they are drawn."""

    curves: list[Settings] = field(default_factory=list)
    shapes: list[Settings] = field(default_factory=list)
    texts: list[Settings] = field(default_factory=list)
    layout: Settings = field(default_factory=dict)
    rows: list[tuple[int, int]] = field(default_factory=list)
    """Of each logged curve: rows drawn, rows there are."""

    def curve(self, **settings: Any) -> None:
        """Add a plotly trace: a scatter, where `type` does not say otherwise."""
        self.curves.append({"type": "scatter", **settings})

    def shape(self, **settings: Any) -> None:
        """Add a plotly shape: a line or a rectangle."""
        self.shapes.append(settings)

    def text(self, **settings: Any) -> None:
        """Add a plotly annotation: a text, an arrow."""
        self.texts.append(settings)

    def settings(self, **layout: Any) -> None:
        """Set parts of plotly's layout; what they do not name stays."""
        self.layout = merged(self.layout, layout)

    @property
    def note(self) -> str:
        """How many of the rows are drawn, where it is not all of them."""
        drawn, there = (sum(counts) for counts in zip(*self.rows, strict=True)) if self.rows else (0, 0)
        if drawn >= there:
            return ""
        counts = f"{formatting.number(drawn, 0)} of {formatting.number(there, 0)} rows"
        return f"Drawn: {counts}; the lowest and highest of every stretch are among them."

    def checked(self) -> go.Figure:
        """Return it as a plotly figure.

        Raises
        ------
        ValueError
            Where plotly knows no such setting or no such value of it.
        """
        import plotly.graph_objects as go

        pieces = {"annotations": self.texts, "shapes": self.shapes}
        added = {name: pieces[name] for name in pieces if pieces[name]}
        return go.Figure({"data": self.curves, "layout": {**self.layout, **added}})


def merged(first: Mapping[str, Any], second: Mapping[str, Any]) -> Settings:
    """Return settings laid over others, level by level; what the second does not name stays."""
    out = dict(first)
    for name, value in second.items():
        before = out.get(name)
        if isinstance(value, Mapping) and isinstance(before, Mapping):
            value = merged(before, value)
        out[name] = value
    return out


MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0
_STEPS_S = tuple(hours * HOUR for hours in (4, 6, 12, 24, 48, 72, 168, 336, 720, 2160))


@dataclass(frozen=True)
class Clock:
    """How a span of time is drawn along the x axis.

    Parameters
    ----------
    span_s : float [s]
        What the axis shows, from `start_s`.
    start_s : float [s]
    """

    span_s: float
    start_s: float = 0.0

    @property
    def in_seconds(self) -> bool:
        """Whether the axis counts plain seconds."""
        return self.span_s < 2 * MINUTE

    def x(self, time_s: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Return times [s] as places on the axis; every x of the chart goes through here.

        Times of two minutes and more are drawn on plotly's calendar axis, which labels them as a clock;
        it counts milliseconds, and these are whole ones.
        """
        if self.in_seconds:
            return np.asarray(time_s, dtype=float)
        places = np.round(np.asarray(time_s, dtype=float) * 1000.0)
        # On a calendar axis a whole number of two or four digits would be read as a year.
        size = np.abs(places)
        year = ((size >= 10) & (size < 100)) | ((size >= 1000) & (size < 10_000))
        return np.where(year, places + 0.25, places)

    def at(self, time_s: float) -> float:
        """Return one time [s] as a place on the axis."""
        return float(self.x(time_s))

    @property
    def width(self) -> float:
        """Length of the axis, as `marks.phases` wants it."""
        return self.at(self.span_s)

    def axis(self, title: str) -> dict[str, Any]:
        """Return the axis's settings; the title gets the format: "time since plugged in, h:mm"."""
        ends = [self.at(self.start_s), self.at(self.start_s + self.span_s)]
        if self.in_seconds:
            return axis(f"{title}, s", range=ends, nticks=7)
        if self.span_s < 12 * MINUTE:
            return axis(f"{title}, min:s", type="date", range=ends, nticks=6, **_formats("%-M:%S"))
        if self.start_s + self.span_s < DAY:
            return axis(
                f"{title}, h:mm", type="date", range=ends, nticks=6, **_formats("%-H:%M", "%-H:%M:%S")
            )
        return axis(f"{title}, h:mm", type="date", range=ends, **self._long_ticks())

    def _long_ticks(self) -> dict[str, Any]:
        """Label hours beyond 24 as such, where a calendar would begin again at 0:00."""
        step = next((step for step in _STEPS_S if self.span_s / step <= 6), _STEPS_S[-1])
        first = np.ceil(self.start_s / step) * step
        ticks = np.arange(first, self.start_s + self.span_s + 1, step)
        return {
            "tickvals": [self.at(tick) for tick in ticks],
            "ticktext": [f"{int(tick // HOUR)}:{int(tick % HOUR // MINUTE):02d}" for tick in ticks],
            "hoverformat": "day %-d, %-H:%M",
        }


def _formats(ticks: str, hover: str = "") -> dict[str, str]:
    return {"tickformat": ticks, "hoverformat": hover or ticks}


Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]

MOST = 500
"""Points of a curve: lowest and highest in each of 250 columns, under three pixels wide on a page."""


def kept(x: Floats, y: Floats, *, most: int = MOST) -> Places:
    """Return which points draw the same curve: the lowest and highest of each stretch of `x`.

    Parameters
    ----------
    x, y : array, shape (n,)
        NaN breaks the line. Where `x` does not rise, a stretch is a number of rows.
    most : int
        How many extremes to keep; ends and gaps come on top of them.

    Returns
    -------
    array of int, shape (m,)
        Rising. All points if they are few enough. Of the gaps the longest ``most // 4``, each with the
        points on either side.
    """
    if len(y) <= most:
        return np.arange(len(y))
    known = np.isfinite(x) & np.isfinite(y)
    good = np.flatnonzero(known)
    if not len(good):
        return good[:0]
    parts = [good[_extremes(x[good], y[good], most)], good[[0, -1]], _around_gaps(x, good, most // 4)]
    return np.unique(np.concatenate(parts))


def thinned(x: Floats, y: Floats, *, most: int = MOST) -> tuple[Floats, Floats]:
    """Return the points of `kept`, in their order."""
    rows = kept(x, y, most=most)
    return x[rows], y[rows]


def _extremes(x: Floats, y: Floats, most: int) -> Places:
    from tsdownsample import MinMaxDownsampler

    if len(y) <= most:
        return np.arange(len(y))
    count = most - most % 2
    rises = bool(np.all(np.diff(x) >= 0))
    least_most: Any = MinMaxDownsampler()  # type: ignore[no-untyped-call]
    found = least_most.downsample(*((x, y) if rises else (y,)), n_out=count)
    return np.asarray(found, dtype=np.intp)


def _around_gaps(x: Floats, good: Places, most: int) -> Places:
    """Return, for each of the longest gaps, the point before, one without a reading, and the point after."""
    before = np.flatnonzero(np.diff(good) > 1)
    if len(before) > most:
        lengths = np.abs(x[good[before + 1]] - x[good[before]])
        before = before[np.argsort(-lengths, kind="stable")[:most]]
    return np.concatenate([good[before], good[before] + 1, good[before + 1]])


__all__ = [
    "BAND",
    "CHARGE",
    "CURRENT",
    "DASHES",
    "DAY",
    "GRID",
    "HOUR",
    "INK",
    "LIGHT_TO_DARK",
    "MINUTE",
    "MOST",
    "PAPER",
    "QUIET",
    "READING",
    "SANS",
    "TEMPERATURE",
    "VOLTAGE",
    "Clock",
    "Sheet",
    "axis",
    "kept",
    "layout",
    "merged",
    "see_through",
    "thinned",
]
