"""A finding as a strip: its interval between its limits, so that near a limit looks unlike far from it."""

from __future__ import annotations

import math
from collections.abc import Callable

from reviewkit.drawing import colours
from reviewkit.drawing.strokes import painted
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
    return colours.in_page_colours(f"<svg {size}>{''.join(pieces)}</svg>")


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
    place = first + inner if limit.high is not None else first
    return lambda number: place + (number - edge) * inner / span


def _clipped(place: float, *, off: float = 0.0) -> float:
    """Return a place on the strip; what lies off it is put so far from its edge, beside the arrow [px]."""
    if off and not _EDGE <= place <= WIDTH - _EDGE:
        return min(max(place, _EDGE + off), WIDTH - _EDGE - off)
    return min(max(place, _EDGE), WIDTH - _EDGE)


def _allowed(limit: Limit, at: Callable[[float], float]) -> list[str]:
    left = 0.0 if limit.low is None else _clipped(at(limit.low))
    right = float(WIDTH) if limit.high is None else _clipped(at(limit.high))
    top = _MIDDLE - _BAND / 2
    band = f'<path d="M{left:.4g} {top:g}H{right:.4g}v{_BAND:g}H{left:.4g}z"{painted("fill", colours.BAND)}/>'
    gates = [place for place, end in ((left, limit.low), (right, limit.high)) if end is not None]
    lines = "".join(f"M{place:.4g} {top - 4:g}v{_BAND + 8:g}" for place in gates)
    return [band, f'<path d="{lines}"{painted("stroke", colours.QUIET)} stroke-width="1.5"/>']


def _measured(
    limit: Limit, ends: tuple[float | None, float, float], at: Callable[[float], float]
) -> list[str]:
    value, low, high = ends
    left, right = (_clipped(at(number)) for number in (low, high))
    ink = painted("stroke", colours.INK)
    pieces = [f'<path d="M{left:.4g} {_MIDDLE:g}H{right:.4g}"{ink} stroke-width="2.4"/>']
    # Caps stand out beside the dot of a value that is known closely.
    caps = "".join(f"M{end:.4g} {_MIDDLE - 6:g}v12" for end in (left, right) if _EDGE < end < WIDTH - _EDGE)
    if caps and left < right:
        pieces.append(f'<path d="{caps}"{ink} stroke-width="1.6"/>')
    arrows = "".join(map(_arrow, (at(low), at(high))))
    if arrows:
        pieces.append(f'<path d="{arrows}"{painted("fill", colours.INK)}/>')
    if value is not None:
        within = (limit.low is None or value >= limit.low) and (limit.high is None or value <= limit.high)
        fill = painted("fill", colours.INK if within else colours.PAPER)
        spot = f'cx="{_clipped(at(value), off=12.0):.4g}" cy="{_MIDDLE:g}" r="3.2"'
        pieces.append(f'<circle {spot}{fill}{ink} stroke-width="1.6"/>')
    return pieces


def _arrow(place: float) -> str:
    """Return the head of an arrow at an end that lies off the strip."""
    if _EDGE <= place <= WIDTH - _EDGE:
        return ""
    tip, back = (1, 7) if place < _EDGE else (WIDTH - 1, -7)
    return f"M{tip} {_MIDDLE:g}l{back}-5v10z"
