"""One figure over several devices: amounts as bars from zero, positions as dots, each with its interval."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from reviewkit.drawing import colours

_ROW, _AROUND = 36, 84
"""Height of a device's row, and of what stands above and below them [px]."""
_NARROW_NAME = 40
"""Letters of a device's name that are shown."""
_DECADES = 12.0
"""How many times the least the greatest must be, for a log scale to show more than a linear one: chosen."""


class Entry(NamedTuple):
    """A device's figure: its value and the ends of its interval, in the unit that is shown."""

    name: str
    value: float
    low: float
    high: float


def over_devices(
    entries: Sequence[Entry],
    *,
    title: str,
    unit: str,
    limits: Sequence[float] = (),
    amount: bool = True,
) -> dict[str, Any]:
    """Return one figure over all devices, as plotly takes it and `picture` draws it.

    An amount is a bar from zero on a linear axis. A position, such as a voltage, is a dot; so is what differs
    by more than a decade, on a log axis.

    Parameters
    ----------
    entries : sequence of Entry
        From the top.
    title : str
        What is shown: "full after".
    unit : str
        "h".
    limits : sequence of float
        Drawn as dashed lines.
    amount : bool
        Whether it counts from zero; a voltage of a cell does not.

    Examples
    --------
    >>> figure = over_devices(
    ...     [Entry("Alder", 4.27, 4.26, 4.28), Entry("Birch", 5.9, 5.8, 6.0)], title="full after", unit="h"
    ... )
    >>> figure["data"][0]["type"], figure["layout"]["yaxis"]["ticktext"]
    ('bar', ['Alder', 'Birch'])
    """
    log, places = _is_log(entries), list(range(len(entries)))
    layout = {
        "height": _AROUND + _ROW * len(entries),
        "margin": {"l": 8, "r": 12, "t": 34, "b": 8},
        "showlegend": False,
        "hovermode": "closest",
        "xaxis": {
            **_axis(f"{unit}, log scale" if log else unit),
            "type": "log" if log else "linear",
            "nticks": 6,
        },
        "yaxis": {
            **_axis(""),
            "showgrid": False,
            "range": [len(entries) - 0.4, -0.6],
            "tickvals": places,
            "ticktext": [one.name[:_NARROW_NAME] for one in entries],
        },
        "annotations": [_head(title)],
        "shapes": [_limit(end) for end in limits],
    }
    bars = amount and not log
    return {"data": [_bars(entries) if bars else _dots(entries)], "layout": layout}


def _is_log(entries: Sequence[Entry]) -> bool:
    ends = [one.value for one in entries]
    return min(one.low for one in entries) > 0 and max(ends) > _DECADES * min(ends)


def _axis(title: str) -> dict[str, Any]:
    return {
        "title": {"text": title, "standoff": 8, "font": {"size": 13}},
        "gridcolor": colours.GRID,
        "linecolor": colours.QUIET,
        "tickcolor": colours.QUIET,
        "ticks": "outside",
        "zeroline": False,
        "automargin": True,
    }


def _head(title: str) -> dict[str, Any]:
    return {
        **{"name": "head", "text": title, "showarrow": False, "font": {"size": 13, "color": colours.INK}},
        **{
            "xref": "paper",
            "x": 0,
            "xanchor": "left",
            "yref": "paper",
            "y": 1,
            "yanchor": "bottom",
            "yshift": 8,
        },
    }


def _limit(end: float) -> dict[str, Any]:
    line = {"color": colours.QUIET, "width": 1.2, "dash": "dash"}
    return {"type": "line", "x0": end, "x1": end, "yref": "paper", "y0": 0, "y1": 1, "line": line}


def _interval(entries: Sequence[Entry], colour: str) -> dict[str, Any]:
    return {
        **{"type": "data", "symmetric": False, "color": colour, "thickness": 1.6, "width": 4},
        "array": [one.high - one.value for one in entries],
        "arrayminus": [one.value - one.low for one in entries],
    }


def _bars(entries: Sequence[Entry]) -> dict[str, Any]:
    return {
        **{"type": "bar", "orientation": "h", "width": 0.5, "hovertemplate": "%{x:.3g}<extra></extra>"},
        "x": [one.value for one in entries],
        "y": list(range(len(entries))),
        "marker": {"color": f"{colours.VOLTAGE}59", "line": {"color": colours.VOLTAGE, "width": 1}},
        "error_x": _interval(entries, colours.INK),
    }


def _dots(entries: Sequence[Entry]) -> dict[str, Any]:
    return {
        **{"type": "scatter", "mode": "markers", "hovertemplate": "%{x:.4g}<extra></extra>"},
        "x": [one.value for one in entries],
        "y": list(range(len(entries))),
        "marker": {"size": 9, "color": colours.VOLTAGE},
        "error_x": _interval(entries, colours.VOLTAGE),
    }
