"""Intervals: a finding's between its limits, as a strip; one figure's over several devices."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

from reviewkit.drawing import ink
from reviewkit.drawing.ink import painted
from reviewkit.findings import Finding
from reviewkit.metrology.conformity import Limit

WIDTH, HEIGHT = 200, 24
_MIDDLE, _BAND = 12.0, 14.0
_INNER = 0.5
"""Share of the strip's width between two limits; one limit stands that far from the zero of the scale."""
_EDGE = 6.0


def strip(item: Finding) -> str:
    """Return a finding's interval between its limits as SVG, in a page's own colours.

    What the limits allow is a tinted band between upright lines; the interval is a line between caps, with
    the value as a dot. A dot within is full, one beyond is hollow; an end that lies off the strip is an
    arrow: the verdict is told by place and shape.

    Parameters
    ----------
    item : Finding

    Returns
    -------
    str
        200 × 24 px; empty where there is no limit or no number.

    Examples
    --------
    >>> from reviewkit.findings import Finding
    >>> from reviewkit.metrology.conformity import Limit
    >>> held = Finding(
    ...     key="a.b", label="voltage", value=4.19, unit="V", uncertainty=0.02, limit=Limit(4.15, 4.25, "x")
    ... )
    >>> strip(held)[:28]
    '<svg viewBox="0 0 200 24" wi'
    >>> strip(Finding(key="a.c", label="ends", value=True))
    ''
    """
    ends = _interval(item)
    if ends is None or item.limit is None or (item.limit.low is None and item.limit.high is None):
        return ""
    at = _scale(item.limit, *ends[1:])
    pieces = [*_allowed(item.limit, at), *_measured(item.limit, ends, at)]
    size = f'viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" aria-hidden="true"'
    return ink.in_page_colours(f"<svg {size}>{''.join(pieces)}</svg>")


def _interval(item: Finding) -> tuple[float | None, float, float] | None:
    """Return value, lower and upper end of a finding that is a number or the bound of one."""
    value = item.value
    if isinstance(value, bool | str | list):
        return None
    if item.low is not None or item.high is not None:
        low = -math.inf if item.low is None else item.low
        return value, low, math.inf if item.high is None else item.high
    if value is None:
        return None
    half = item.uncertainty or 0.0
    return value, value - half, value + half


def _scale(limit: Limit, low: float, high: float) -> Callable[[float], float]:
    """Return where a number lies along the strip [px]: limits in the same two places on every strip."""
    inner = _INNER * WIDTH
    first = (WIDTH - inner) / 2
    if limit.low is not None and limit.high is not None and limit.high > limit.low:
        start, per = limit.low, inner / (limit.high - limit.low)
        return lambda number: first + (number - start) * per
    edge = limit.high if limit.high is not None else limit.low
    assert edge is not None
    # A single limit that is not zero is a length from zero; round zero the interval itself is the measure.
    span = abs(edge) or 2 * max((abs(end) for end in (low, high) if math.isfinite(end)), default=0.0) or 1.0
    position = first + inner if limit.high is not None else first
    return lambda number: position + (number - edge) * inner / span


def _clipped(position: float, *, off: float = 0.0) -> float:
    """Return a place on the strip; what lies off it is put so far from its edge, beside the arrow [px]."""
    if off and not _EDGE <= position <= WIDTH - _EDGE:
        return min(max(position, _EDGE + off), WIDTH - _EDGE - off)
    return min(max(position, _EDGE), WIDTH - _EDGE)


def _allowed(limit: Limit, at: Callable[[float], float]) -> list[str]:
    left = 0.0 if limit.low is None else _clipped(at(limit.low))
    right = float(WIDTH) if limit.high is None else _clipped(at(limit.high))
    top = _MIDDLE - _BAND / 2
    band = f'<path d="M{left:.4g} {top:g}H{right:.4g}v{_BAND:g}H{left:.4g}z"{painted("fill", ink.BAND)}/>'
    gates = [position for position, end in ((left, limit.low), (right, limit.high)) if end is not None]
    lines = "".join(f"M{position:.4g} {top - 4:g}v{_BAND + 8:g}" for position in gates)
    return [band, f'<path d="{lines}"{painted("stroke", ink.QUIET)} stroke-width="1.5"/>']


def _measured(
    limit: Limit, ends: tuple[float | None, float, float], at: Callable[[float], float]
) -> list[str]:
    value, low, high = ends
    left, right = (_clipped(at(number)) for number in (low, high))
    stroke = painted("stroke", ink.INK)
    pieces = [f'<path d="M{left:.4g} {_MIDDLE:g}H{right:.4g}"{stroke} stroke-width="2.4"/>']
    # Caps stand out beside the dot of a value that is known closely.
    caps = "".join(f"M{end:.4g} {_MIDDLE - 6:g}v12" for end in (left, right) if _EDGE < end < WIDTH - _EDGE)
    if caps and left < right:
        pieces.append(f'<path d="{caps}"{stroke} stroke-width="1.6"/>')
    arrows = "".join(map(_arrow, (at(low), at(high))))
    if arrows:
        pieces.append(f'<path d="{arrows}"{painted("fill", ink.INK)}/>')
    if value is not None:
        within = (limit.low is None or value >= limit.low) and (limit.high is None or value <= limit.high)
        fill = painted("fill", ink.INK if within else ink.PAPER)
        spot = f'cx="{_clipped(at(value), off=12.0):.4g}" cy="{_MIDDLE:g}" r="3.2"'
        pieces.append(f'<circle {spot}{fill}{stroke} stroke-width="1.6"/>')
    return pieces


def _arrow(position: float) -> str:
    """Return the head of an arrow at an end that lies off the strip."""
    if _EDGE <= position <= WIDTH - _EDGE:
        return ""
    tip, back = (1, 7) if position < _EDGE else (WIDTH - 1, -7)
    return f"M{tip} {_MIDDLE:g}l{back}-5v10z"


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
        "shapes": [_limit_line(end) for end in limits],
    }
    bars = amount and not log
    return {"data": [_bars(entries) if bars else _dots(entries)], "layout": layout}


def _is_log(entries: Sequence[Entry]) -> bool:
    ends = [one.value for one in entries]
    return min(one.low for one in entries) > 0 and max(ends) > _DECADES * min(ends)


def _axis(title: str) -> dict[str, Any]:
    return {
        "title": {"text": title, "standoff": 8, "font": {"size": 13}},
        "gridcolor": ink.GRID,
        "linecolor": ink.QUIET,
        "tickcolor": ink.QUIET,
        "ticks": "outside",
        "zeroline": False,
        "automargin": True,
    }


def _head(title: str) -> dict[str, Any]:
    return {
        **{"name": "head", "text": title, "showarrow": False, "font": {"size": 13, "color": ink.INK}},
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


def _limit_line(end: float) -> dict[str, Any]:
    line = {"color": ink.QUIET, "width": 1.2, "dash": "dash"}
    return {"type": "line", "x0": end, "x1": end, "yref": "paper", "y0": 0, "y1": 1, "line": line}


def _error_bars(entries: Sequence[Entry], colour: str) -> dict[str, Any]:
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
        "marker": {"color": f"{ink.VOLTAGE}59", "line": {"color": ink.VOLTAGE, "width": 1}},
        "error_x": _error_bars(entries, ink.INK),
    }


def _dots(entries: Sequence[Entry]) -> dict[str, Any]:
    return {
        **{"type": "scatter", "mode": "markers", "hovertemplate": "%{x:.4g}<extra></extra>"},
        "x": [one.value for one in entries],
        "y": list(range(len(entries))),
        "marker": {"size": 9, "color": ink.VOLTAGE},
        "error_x": _error_bars(entries, ink.VOLTAGE),
    }
