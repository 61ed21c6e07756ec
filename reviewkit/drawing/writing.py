"""The texts of a picture: ticks and titles where they belong, names and values where there is room."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

import numpy as np

from reviewkit.drawing import canvas, ink, placement
from reviewkit.drawing.canvas import Canvas
from reviewkit.drawing.ink import LEADING, RISE, Block, Box, lines_of, painted, wrapped
from reviewkit.drawing.margins import (
    TICK,
    Plan,
    block,
    foot_blocks,
    head_blocks,
    notes,
    stacked,
    title,
    title_block,
)
from reviewkit.drawing.placement import LANE, Put, Room
from reviewkit.drawing.scales import Scale, Settings

_LENGTH = 4
"""Of a tick [px]."""
_FAR = 28.0
"""From here on a thin line leads from a curve to its name [px]."""


def grid(drawn: Canvas, plan: Plan) -> None:
    """Draw the lines at the ticks, and the axes."""
    pieces, axes = [], []
    paper = plan.paper
    for name, scale in plan.scales.items():
        if not scale.visible:
            continue
        at = [scale.spot(number) for number, _ in _all_ticks(plan, name)]
        if name == "x":
            ends = _panels(drawn)
            pieces += [f"M{x:.1f} {top:.4g}V{bottom:.4g}" for x in at for top, bottom in _shows(scale, ends)]
            foot = paper.top if scale.settings.get("side") == "top" else paper.bottom
            axes += [f"M{x:.1f} {foot:.4g}v{-_LENGTH if foot == paper.top else _LENGTH}" for x in at]
            axes.append(f"M{paper.left} {foot:.4g}H{paper.right}")
        else:
            pieces += [
                f"M{paper.left} {y:.1f}H{paper.right}" for y in at if scale.settings.get("showgrid", True)
            ]
            axes += [f"M{paper.left} {y:.1f}h-{_LENGTH}" for y in at]
            axes.append(f"M{paper.left} {scale.start:.4g}V{scale.end:.4g}")
    for paths, colour in ((pieces, ink.GRID), (axes, ink.QUIET)):
        if paths:
            drawn.under.append(f'<path d="{"".join(paths)}"{painted("stroke", colour)} fill="none"/>')


def _shows(scale: Scale, ends: list[tuple[float, float]]) -> list[tuple[float, float]]:
    return ends if scale.settings.get("showgrid", True) else []


def _panels(drawn: Canvas) -> list[tuple[float, float]]:
    boxes = (drawn.panel(name) for name in drawn.scales if name != "x")
    return [(box.top, box.bottom) for box in boxes]


def _all_ticks(plan: Plan, name: str) -> Sequence[tuple[float, Block]]:
    return plan.labels.get(name, ())


def written(drawn: Canvas, plan: Plan, figure: Settings) -> list[Put]:
    """Return every text where it is put; lines that lead to texts are drawn."""
    all_notes = notes(figure)
    put = [*_ticks(plan), *_heads(drawn, plan, figure), *_hung(drawn, plan), *_below(plan, figure)]
    put += _on_points(drawn, figure)
    for note in all_notes:
        if note.get("axref") and note["axref"] != "pixel":
            _arrow(drawn, note)
    free = [(number, note) for number, note in enumerate(all_notes) if not _is_set(note)]
    fixed = [one for one in free if _role(one[1]) == "fixed"]
    put += [
        _fixed(drawn, plan, number, block(note, figure["layout"], plan.width), note) for number, note in fixed
    ]
    lines = np.concatenate(drawn.lines) if drawn.lines else np.empty((0, 2))
    picture = Box(0, 0, plan.width, plan.height)
    for role in ("limit", "point", "label"):
        for number, note in free:
            if _role(note) == role:
                room = Room(picture, [*(one.box for one in put), *drawn.marks], lines)
                one = _placed(drawn, room, block(note, figure["layout"], plan.width), note, role)
                put += [replace(one, number=number)] if one else []
    return put


def _is_set(note: Settings) -> bool:
    """Whether a note is no text to be placed: it has a place of its own, or is an arrow alone."""
    return note.get("name") in ("phase", "head", "corner", "below") or not note.get("text")


def _role(note: Settings) -> str:
    name = note.get("name")
    if name in ("limit", "label"):
        return str(name)
    return "point" if note.get("showarrow", True) else "fixed"


def _ticks(plan: Plan) -> list[Put]:
    paper, put = plan.paper, []
    for name, labels in plan.labels.items():
        scale = plan.scales[name]
        for number, one in labels:
            wide, high = one.extent
            at = scale.spot(number)
            if name == "x":
                over = scale.settings.get("side") == "top"
                top = paper.top - _LENGTH - 3 - high if over else paper.bottom + _LENGTH + 3
                put.append(Put(one, min(max(at - wide / 2, 1), plan.width - 1 - wide), top))
            else:
                put.append(Put(one, paper.left - _LENGTH - 4 - wide, at - high / 2))
        put += _title(plan, name)
    return _without_meetings(put)


def _without_meetings(put: Iterable[Put]) -> list[Put]:
    kept: list[Put] = []
    for one in put:
        if not any(one.box.meets(other.box, apart=1) for other in kept):
            kept.append(one)
    return kept


def _title(plan: Plan, name: str) -> list[Put]:
    scale, paper = plan.scales[name], plan.paper
    if not title(scale) or not scale.visible:
        return []
    if name != "x":
        one = Block(lines_of(title(scale)), 13.0, ink.INK, upwards=True)
        middle = (scale.start + scale.end) / 2
        return [Put(one, 3, middle - one.extent[1] / 2)]
    one = title_block(scale, plan.width - 8.0)
    left = (paper.left + paper.right - one.length) / 2
    left = min(max(left, 3.0), plan.width - 3 - one.length)
    return [Put(one, left, paper.bottom + _LENGTH + 3 + TICK + 8)]


def _heads(drawn: Canvas, plan: Plan, figure: Settings) -> list[Put]:
    """Return the titles above the panels; over the first one the names come between."""
    blocks, all_notes, put = head_blocks(figure, plan.left, plan.width), notes(figure), []
    paper = plan.paper
    heights = sorted({float(all_notes[number]["y"]) for number in blocks}, reverse=True)
    for index, height in enumerate(heights):
        row = {number: one for number, one in blocks.items() if float(all_notes[number]["y"]) == height}
        foot = paper.bottom - height * (paper.bottom - paper.top) - 7
        foot -= plan.lanes * LANE + 3 if index == 0 and plan.lanes else 0
        in_two = stacked(list(row.values()), plan.width - plan.left - plan.right)
        for number, one in row.items():
            right = one.align == "right"
            left = plan.width - plan.right - one.length if right else max(plan.left - 6.0, 4.0)
            lift = max(other.depth for other in row.values()) + 4 if in_two and not right else 0.0
            put.append(Put(one, max(left, 3.0), foot - one.depth - lift, number))
    return put


def _hung(drawn: Canvas, plan: Plan) -> list[Put]:
    put = []
    for hung in plan.hung:
        one, top = hung.name.block, plan.paper.top
        foot = top - placement.line_top(hung.lane)
        put.append(Put(replace(one, align="center"), hung.left, foot - one.depth, hung.name.number))
        if hung.tick:
            style = painted("stroke", ink.QUIET)
            drawn.over.append(f'<path d="M{hung.name.x:.1f} {top:.4g}V{foot:.4g}"{style}/>')
    return put


def _below(plan: Plan, figure: Settings) -> list[Put]:
    blocks = foot_blocks(figure, plan.left, plan.right, plan.width)
    room = (plan.width - 8) / max(len(blocks), 1)
    depth = max((one.depth for one in blocks.values()), default=0.0)
    return [
        Put(one, 4 + index * room, plan.height - 6 - depth, number)
        for index, (number, one) in enumerate(blocks.items())
    ]


def _on_points(drawn: Canvas, figure: Settings) -> list[Put]:
    """Return the texts of traces that are written at their points."""
    put = []
    for trace in figure["data"]:
        if "text" not in str(trace.get("mode") or ""):
            continue
        across, up = drawn.scales["x"], drawn.scales[str(trace.get("yaxis") or "y")]
        x, y = across.at(across.numbers(trace.get("x"))), up.at(up.numbers(trace.get("y")))
        font = trace.get("textfont") or {}
        for px, py, text in zip(x.tolist(), y.tolist(), trace.get("text") or (), strict=True):
            one = Block(lines_of(str(text)), float(font.get("size", 12)), str(font.get("color", ink.INK)))
            wide, high = one.extent
            put.append(Put(one, px - wide / 2, py - high / 2))
    return put


def _at(drawn: Canvas, note: Settings) -> tuple[float, float]:
    """Return where a note's anchor lies [px]."""
    places = []
    for axis in ("x", "y"):
        reference = str(note.get(f"{axis}ref") or axis)
        given = note.get(axis, 0)
        scale = drawn.scales.get(reference)
        places.append(
            scale.spot(scale.noted(given)) if scale else canvas.place(drawn, axis, reference, given)
        )
    return places[0] + float(note.get("xshift") or 0), places[1] - float(note.get("yshift") or 0)


def _fixed(drawn: Canvas, plan: Plan, number: int, one: Block, note: Settings) -> Put:
    """Return a text at its place, broken where it would leave the picture."""
    x, y = _at(drawn, note)
    side, level = str(note.get("xanchor") or "center"), str(note.get("yanchor") or "middle")
    room = {"left": plan.width - 3 - x, "right": x - 3}.get(side, 2 * min(x, plan.width - x) - 4)
    lines = wrapped(one.lines, max(room, 40.0), one.size)
    one = replace(one, lines=lines, align=side if side in ("left", "right") else one.align)
    wide, high = one.extent
    left = x - wide * {"left": 0.0, "right": 1.0}.get(side, 0.5)
    top = y - high * {"top": 0.0, "bottom": 1.0}.get(level, 0.5)
    return Put(one, min(max(left, 1), plan.width - 1 - wide), top, number, paper=bool(note.get("bgcolor")))


def _placed(drawn: Canvas, room: Room, one: Block, note: Settings, role: str) -> Put | None:
    reference = str(note.get("yref") or "y")
    panel = drawn.panel(reference) if reference in drawn.scales else drawn.paper
    at = _at(drawn, {**note, "xshift": 0, "yshift": 0})
    if role == "limit":
        one = replace(one, lines=lines_of(str(note["text"]).replace("<br>", " ")))
    blocks = placement.broken(one, panel.right - panel.left)
    above = note.get("yanchor", "bottom") == "bottom"
    if role == "limit":
        # Where the limit lies beyond what the panel shows, nothing is said of it.
        if not panel.top - 1 <= at[1] <= panel.bottom + 1:
            return None
        ways = [(each, placement.beside_line(each, panel, at[1], above=above)) for each in blocks]
    elif role == "label":
        anchor = str(note.get("xanchor") or "center")
        ways = [(each, placement.around(each, at, anchor=anchor, above=above)) for each in blocks]
    else:
        wanted = (float(note.get("ax", -10)), float(note.get("ay", -30)))
        ways = [(each, placement.away_from(each, at, wanted)) for each in blocks]
    led_to = at if role == "point" else None
    put, cost = room.best(ways, panel, led_to=led_to)
    if cost >= placement.CURVE:
        places = [(each, placement.anywhere(each, at, panel)) for each in blocks]
        others = room.best(places, panel, led_to=led_to)
        put, cost = min((put, cost), others, key=lambda one: one[1])
    if role == "point" or (role == "label" and math.dist(placement.leader(at, put.box), at) > _FAR):
        x, y = placement.leader(at, put.box)
        colour = painted("stroke", note.get("arrowcolor", ink.QUIET))
        drawn.over.append(f'<path d="M{at[0]:.1f} {at[1]:.1f}L{x:.1f} {y:.1f}"{colour}/>')
    return put


def _arrow(drawn: Canvas, note: Settings) -> None:
    """Draw an arrow between two places of the axes."""
    tip = _at(drawn, note)
    tail = _at(drawn, {**note, "x": note["ax"], "y": note["ay"]})
    run = np.subtract(tip, tail)
    length = float(np.hypot(*run)) or 1.0
    thickness = float(note.get("arrowwidth", 1))
    along = run / length * thickness * 3.2 * float(note.get("arrowsize", 1))
    across = np.array([-along[1], along[0]]) * 0.45
    foot = np.subtract(tip, along)
    corners = [tip, foot + across, foot - across]
    head = "L".join(f"{x:.1f} {y:.1f}" for x, y in corners)
    colour = str(note.get("arrowcolor", ink.INK))
    if note.get("axref") and length > 12:
        drawn.over.append(
            f'<path d="M{tail[0]:.1f} {tail[1]:.1f}L{foot[0]:.1f} {foot[1]:.1f}"{painted("stroke", colour)}'
            f' stroke-width="{thickness:g}"/>'
        )
    drawn.over.append(f'<path d="M{head}z"{painted("fill", colour)}/>')


def texts(put: Sequence[Put]) -> str:
    """Return texts as SVG, those of one look together; some with paper behind them."""
    papers = "".join(_paper(one.box) for one in put if one.paper)
    look = [(f'fill="{one.block.colour}" font-size="{one.block.size:g}"', one) for one in put]
    look.sort(key=lambda pair: pair[0])
    groups = (
        f"<g {style}>{''.join(_lines(one) for _, one in some)}</g>"
        for style, some in groupby(look, lambda pair: pair[0])
    )
    return papers + "".join(groups)


def _paper(box: Box) -> str:
    size = f'width="{box.right - box.left + 2:.4g}" height="{box.bottom - box.top + 2:.4g}"'
    return f'<rect x="{box.left - 1:.4g}" y="{box.top - 1:.4g}" {size} fill="{ink.PAPER}"/>'


_ANCHORS = {"left": "", "center": ' text-anchor="middle"', "right": ' text-anchor="end"'}


def _lines(one: Put) -> str:
    made, text = [], one.block
    wide, high = text.extent
    if text.upwards:
        x, y = one.left + RISE * text.size, one.top + high / 2
        turned = f'transform="translate({x:.1f} {y:.1f}) rotate(-90)" text-anchor="middle"'
        return f"<text {turned}>{_spans(text.lines[0])}</text>"
    x = one.left + wide * {"left": 0.0, "right": 1.0}.get(text.align, 0.5)
    for index, line in enumerate(text.lines):
        if not line:
            continue
        y = one.top + text.size * (RISE + LEADING * index)
        made.append(f'<text x="{x:.1f}" y="{y:.1f}"{_ANCHORS.get(text.align, "")}>{_spans(line)}</text>')
    return "".join(made)


def _spans(line: Any) -> str:
    if all(bold for _, bold in line):
        inside = ink.words("".join(text for text, _ in line))
        return f'<tspan font-weight="700">{inside}</tspan>' if inside else ""
    return "".join(
        f'<tspan font-weight="700">{ink.words(text)}</tspan>' if bold else ink.words(text)
        for text, bold in line
    )
