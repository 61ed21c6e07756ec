"""What is drawn of a figure's traces and shapes, and where it would be in the way of a text."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from reviewkit.drawing import ink
from reviewkit.drawing.ink import Box, painted
from reviewkit.drawing.scales import Floats, NotDrawn, Scale, Settings, error_lengths, values


@dataclass
class Canvas:
    """A picture as it grows: pieces of SVG from the back to the front, and what keeps texts away.

    Parameters
    ----------
    scales : dict of str to Scale
        Laid on the picture.
    paper : Box
        All panels together [px].
    """

    scales: Mapping[str, Scale]
    paper: Box
    under: list[str] = field(default_factory=list)
    curves: list[str] = field(default_factory=list)
    """In tenths of a pixel."""
    over: list[str] = field(default_factory=list)
    lines: list[Floats] = field(default_factory=list)
    """Points along all that is drawn as a line [px], each of shape (n, 2)."""
    marks: list[Box] = field(default_factory=list)
    covers: list[Box] = field(default_factory=list)
    """What hides the lines behind it."""

    def panel(self, name: str) -> Box:
        """Return a panel's box [px]."""
        scale = self.scales[name]
        top, bottom = sorted((scale.start, scale.end))
        return Box(self.paper.left, top, self.paper.right, bottom)

    def seen(self) -> tuple[Floats, ...]:
        """Return the points of the lines that nothing hides."""
        kept = []
        for points in self.lines:
            x, y = points[:, 0], points[:, 1]
            hidden = np.zeros(len(points), dtype=bool)
            for box in self.covers:
                hidden |= (x >= box.left) & (x <= box.right) & (y >= box.top) & (y <= box.bottom)
            kept.append(points[~hidden])
        return tuple(kept)

    def svg(self) -> str:
        """Return all that is drawn so far."""
        curves = "".join(self.curves)
        return "".join(
            [*self.under, f'<g transform="scale(.1)" {_CURVES}>{curves}</g>' if curves else "", *self.over]
        )


_CURVES = 'fill="none" stroke-linejoin="round"'


def trace(canvas: Canvas, one: Settings) -> None:
    """Draw one trace.

    Raises
    ------
    NotDrawn
        For a kind that the kit makes no use of.
    """
    kind = one.get("type") or "scatter"
    if one.get("visible") in (False, "legendonly"):
        return
    if kind == "bar":
        _bars(canvas, one)
    elif kind in ("scatter", "scattergl"):
        _scatter(canvas, one)
    else:
        raise NotDrawn(f"a trace of the kind {kind}")


def _places(canvas: Canvas, one: Settings) -> tuple[Floats, Floats, Scale, Scale]:
    """Return where a trace's points lie [px], and its axes."""
    across, up = canvas.scales["x"], canvas.scales[str(one.get("yaxis") or "y")]
    x, y = across.numbers(one.get("x")), up.numbers(one.get("y"))
    if not len(x):
        x = np.arange(len(y), dtype=float)
    return across.at(x), up.at(y), across, up


def _scatter(canvas: Canvas, one: Settings) -> None:
    x, y, _, up = _places(canvas, one)
    mode = str(one.get("mode") or "lines")
    box = canvas.panel(up.name)
    fill = one.get("fill") or "none"
    if fill != "none":
        _filled(canvas, one, x, y, up, str(fill))
    if "lines" in mode:
        _curve(canvas, one, x, y, up)
    inside = (x >= box.left - 1) & (x <= box.right + 1) & (y >= box.top - 1) & (y <= box.bottom + 1)
    if "markers" in mode:
        _error_bars(canvas, one, inside)
        _markers(canvas, one.get("marker") or {}, x[inside], y[inside])


def _stepped(x: Floats, y: Floats, shape: str) -> tuple[Floats, Floats]:
    """Return the corners of a curve that goes in steps."""
    if shape == "hv":
        return np.repeat(x, 2)[1:], np.repeat(y, 2)[:-1]
    if shape == "vh":
        return np.repeat(x, 2)[:-1], np.repeat(y, 2)[1:]
    if shape == "hvh":
        middle = (x[1:] + x[:-1]) / 2
        return np.concatenate([x[:1], np.repeat(middle, 2), x[-1:]]), np.repeat(y, 2)
    return x, y


def _curve(canvas: Canvas, one: Settings, x: Floats, y: Floats, up: Scale) -> None:
    line = one.get("line") or {}
    thickness = float(line.get("width", 2.0))
    if not thickness or len(x) == 0:
        return
    shape = str(line.get("shape") or "linear")
    if shape == "spline":
        raise NotDrawn("a curve bent through its points")
    x, y = _stepped(x, y, shape)
    parts = ink.stretches(*ink.cut(x, y, canvas.panel(up.name)))
    pattern = ink.dashes(line.get("dash"), thickness * ink.FINE)
    dashed = f' stroke-dasharray="{pattern}"' if pattern else ""
    stroke = painted("stroke", line.get("color", ink.INK))
    canvas.curves.append(
        f'<path d="{ink.path(parts)}"{stroke} stroke-width="{thickness * ink.FINE:g}"{dashed}/>'
    )
    canvas.lines += [ink.sampled(*part) for part in parts]


def _filled(canvas: Canvas, one: Settings, x: Floats, y: Floats, up: Scale, fill: str) -> None:
    box = canvas.panel(up.name)
    if fill not in ("toself", "tozeroy"):
        raise NotDrawn(f"a band of the kind {fill}")
    if fill == "tozeroy":
        x, y = np.append(x, x[[-1, 0]]), np.append(y, np.full(2, up.spot(0.0)))
    there = len(x) // 2
    halves = (ink.thinned(x[:there], y[:there]), ink.thinned(-x[there:], y[there:]) + there)
    kept = np.concatenate(halves) if np.isfinite(x).all() and np.isfinite(y).all() else np.arange(len(x))
    known = kept[np.isfinite(x[kept]) & np.isfinite(y[kept])]
    if len(known):
        inside = np.clip(x[known], box.left, box.right), np.clip(y[known], box.top, box.bottom)
        outline = ink.path([inside], closed=True)
        canvas.curves.append(f'<path d="{outline}"{painted("fill", one.get("fillcolor"))}/>')


def _error_bars(canvas: Canvas, one: Settings, inside: Any) -> None:
    for axis in ("x", "y"):
        error = one.get(f"error_{axis}")
        if not error:
            continue
        x, y, across, up = _places(canvas, one)
        scale, other = (across, y) if axis == "x" else (up, x)
        middle = values(one.get(axis))
        below, above = error_lengths(error, middle)
        low, high = (scale.at(scale.numbers(end)) for end in (middle - below, middle + above))
        ends = (canvas.paper.left, canvas.paper.right) if axis == "x" else sorted((up.start, up.end))
        low, high = (np.clip(np.nan_to_num(end, nan=ends[0]), *ends)[inside] for end in (low, high))
        cap = float(error.get("width", 4))
        parts = []
        for first, last, position in zip(low, high, other[inside], strict=True):
            for along, off in (
                ([first, last], [0, 0]),
                ([first, first], [-cap, cap]),
                ([last, last], [-cap, cap]),
            ):
                pair = (np.array(along, dtype=float), position + np.array(off, dtype=float))
                parts.append(pair if axis == "x" else pair[::-1])
        _stroke(canvas, parts, error.get("color", ink.INK), float(error.get("thickness", 2)))


def _stroke(canvas: Canvas, parts: list[tuple[Floats, Floats]], colour: str, thickness: float) -> None:
    if parts:
        style = f'{painted("stroke", colour)} stroke-width="{thickness * ink.FINE:g}" fill="none"'
        canvas.over.append(f'<path transform="scale(.1)" d="{ink.path(parts)}"{style}/>')
        canvas.lines += [ink.sampled(x, y) for x, y in parts]


_FEW = 60
"""Up to here each mark keeps texts away with all its size, and is an element of its own."""
_SYMBOLS = {
    "square": "M{0} {0}h{1}v{1}h-{1}z",
    "diamond": "M0 -{2}L{2} 0L0 {2}L-{2} 0z",
    "triangle-up": "M0 -{2}L{2} {2}H-{2}z",
    "triangle-right": "M-{2} -{2}L{2} 0L-{2} {2}z",
    "triangle-down": "M0 {2}L{2} -{2}H-{2}z",
}


def _markers(canvas: Canvas, marker: Settings, x: Floats, y: Floats) -> None:
    size, edge = marker.get("size", 6), marker.get("line") or {}
    colour, symbol = marker.get("color", ink.INK), str(marker.get("symbol") or "circle")
    if not isinstance(size, int | float) or not isinstance(colour, str):
        raise NotDrawn("marks of several sizes or colours")
    half = size / 2
    outline = painted("stroke", edge.get("color", colour)) + f' stroke-width="{edge.get("width", 0):g}"'
    style = painted("fill", colour) + (outline if edge.get("width") else "")
    if symbol in ("x", "cross"):
        arm = 0.35 * size
        style = f'{painted("stroke", colour)} stroke-width="{size / 3.2:.2g}" fill="none"'
        cross = (
            f"m-{arm:.3g}-{arm:.3g}l{2 * arm:.3g} {2 * arm:.3g}m0-{2 * arm:.3g}l-{2 * arm:.3g} {2 * arm:.3g}"
        )
        pieces = "".join(f"M{px:.4g} {py:.4g}{cross}" for px, py in zip(x, y, strict=True))
        drawn = f'<path d="{pieces}"{style}/>' if pieces else ""
    elif symbol in _SYMBOLS:
        shape = _SYMBOLS[symbol].format(f"-{half:g}", f"{size:g}", f"{half:g}")
        drawn = "".join(
            f'<path transform="translate({px:.1f} {py:.1f})" d="{shape}"{style}/>'
            for px, py in zip(x, y, strict=True)
        )
    else:
        drawn = _dots(x, y, half, style, plain=not edge.get("width"), colour=colour, size=size)
    canvas.over.append(drawn)
    if len(x) > _FEW:
        canvas.lines.append(np.stack([x, y], axis=1))
        return
    reach = half + float(edge.get("width") or 0) / 2
    canvas.marks += [
        Box(px - reach, py - reach, px + reach, py + reach)
        for px, py in zip(x.tolist(), y.tolist(), strict=True)
    ]


def _dots(x: Floats, y: Floats, half: float, style: str, *, plain: bool, colour: str, size: float) -> str:
    if len(x) > _FEW and plain:
        # Many dots are one path of lines of no length with round ends.
        whole = np.round(np.stack([x, y], axis=1) * ink.FINE).astype(int)
        whole = np.unique(whole, axis=0)
        steps = np.diff(whole, axis=0, prepend=[[0, 0]])
        spots = "".join(f"m{dx} {dy}h0" if dy >= 0 else f"m{dx}{dy}h0" for dx, dy in steps.tolist())
        look = f'{painted("stroke", colour)} stroke-width="{size * ink.FINE:g}" stroke-linecap="round"'
        return f'<path transform="scale(.1)" d="M0 0{spots}"{look}/>'
    return "".join(
        f'<circle cx="{px:.1f}" cy="{py:.1f}" r="{half:g}"{style}/>' for px, py in zip(x, y, strict=True)
    )


def _bars(canvas: Canvas, one: Settings) -> None:
    level = one.get("orientation") == "h"
    x, y, across, up = _places(canvas, one)
    along, over = (across, up) if level else (up, across)
    ends, middles = (x, y) if level else (y, x)
    base = along.start if along.kind == "log" else along.spot(float(one.get("base") or 0.0))
    unit = abs(over.spot(1.0) - over.spot(0.0))
    half = float(one.get("width") or 0.8) * unit / 2
    marker = one.get("marker") or {}
    colour, edge = marker.get("color", ink.INK), marker.get("line") or {}
    style = painted("fill", colour)
    if edge.get("width"):
        style += painted("stroke", edge.get("color")) + f' stroke-width="{edge["width"]:g}"'
    for end, middle in zip(ends.tolist(), middles.tolist(), strict=True):
        first, last = sorted((base, end))
        box = (
            Box(first, middle - half, last, middle + half)
            if level
            else Box(middle - half, first, middle + half, last)
        )
        canvas.under.append(_rectangle(_within(box, canvas.panel(up.name)), style))
        canvas.marks.append(_within(box, canvas.panel(up.name)))
    _error_bars(canvas, one, np.ones(len(ends), dtype=bool))


def _within(box: Box, outer: Box) -> Box:
    left, right = (min(max(end, outer.left), outer.right) for end in (box.left, box.right))
    top, bottom = (min(max(end, outer.top), outer.bottom) for end in (box.top, box.bottom))
    return Box(left, top, right, bottom)


def _rectangle(box: Box, style: str) -> str:
    size = f'width="{box.right - box.left:.4g}" height="{box.bottom - box.top:.4g}"'
    return f'<rect x="{box.left:.4g}" y="{box.top:.4g}" {size}{style}/>'


def place(canvas: Canvas, axis: str, reference: str, number: Any) -> float:
    """Return where a coordinate of a shape lies [px]: on an axis, in a panel's share, in the paper's."""
    paper = canvas.paper
    if reference == "paper":
        share = float(number)
        return (
            paper.left + share * (paper.right - paper.left)
            if axis == "x"
            else paper.bottom - share * (paper.bottom - paper.top)
        )
    scale = canvas.scales[reference.split(" ")[0]]
    if reference.endswith("domain"):
        return scale.start + float(number) * (scale.end - scale.start)
    return scale.spot(scale.number(number))


def shape(canvas: Canvas, one: Settings) -> None:
    """Draw a line or a rectangle.

    Raises
    ------
    NotDrawn
        For another shape.
    """
    kind = one.get("type") or "rect"
    if kind not in ("line", "rect"):
        raise NotDrawn(f"a shape of the kind {kind}")
    xref, yref = str(one.get("xref") or "x"), str(one.get("yref") or "y")
    x = [place(canvas, "x", xref, one[end]) for end in ("x0", "x1")]
    y = [place(canvas, "y", yref, one[end]) for end in ("y0", "y1")]
    outer = canvas.panel(yref) if yref in canvas.scales else canvas.paper
    line = one.get("line") or {}
    pieces = canvas.under if one.get("layer") == "below" else canvas.over
    thickness = float(line.get("width", 2))
    edge = (
        painted("stroke", line.get("color", ink.INK)) + f' stroke-width="{thickness:g}"' if thickness else ""
    )
    if kind == "rect":
        box = _within(Box(min(x), min(y), max(x), max(y)), outer)
        if box.right > box.left and box.bottom > box.top:
            pieces.append(_rectangle(box, painted("fill", one.get("fillcolor")) + edge))
            if pieces is canvas.over and ink.opaque(one.get("fillcolor"))[1] == 1.0:
                canvas.covers.append(box)
        return
    if min(y) > outer.bottom + 0.5 or max(y) < outer.top - 0.5 or min(x) > outer.right or max(x) < outer.left:
        return
    pattern = ink.dashes(line.get("dash"), thickness)
    dashed = f' stroke-dasharray="{pattern}"' if pattern else ""
    ends = _within(Box(x[0], y[0], x[1], y[1]), outer)
    pieces.append(
        f'<path d="M{ends.left:.4g} {ends.top:.4g}L{ends.right:.4g} {ends.bottom:.4g}"{edge}{dashed}/>'
    )
    canvas.lines.append(ink.sampled(np.array([ends.left, ends.right]), np.array([ends.top, ends.bottom])))
