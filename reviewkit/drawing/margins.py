"""How much room a picture leaves around its panels: for ticks, titles, names above and words below."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from reviewkit.drawing import ink
from reviewkit.drawing.ink import Block, Box, lines_of, wrapped
from reviewkit.drawing.placement import LANE, Hung, Name, lanes
from reviewkit.drawing.scales import Scale, Settings

TICK = 12.0
"""Size of the numbers at an axis [px]."""


def smallest(width: float) -> float:
    """Return the size of a picture's smallest text [px]; a narrow one is shown a little enlarged."""
    return 11.0 if width < 500 else 12.0


_TICK_LENGTH, _GAP = 5.0, 3.0
_LABEL_SHARE = 0.36
"""Most of the picture's width that the texts beside an axis take; longer ones are broken."""
_PER_TICK = 34.0
"""Height of the axis for each tick [px]."""

Labels = tuple[tuple[float, Block], ...]
"""Of each tick: its number along the axis, and its text."""


@dataclass(frozen=True)
class Plan:
    """Where everything around the panels lies [px]."""

    width: int
    height: int
    left: int
    right: int
    top: int
    bottom: int
    scales: Mapping[str, Scale]
    labels: Mapping[str, Labels]
    hung: Sequence[Hung]
    """Names above the first panel."""

    sides = ("left", "right", "top", "bottom")

    @property
    def paper(self) -> Box:
        """All panels together."""
        return Box(self.left, self.top, self.width - self.right, self.height - self.bottom)

    @property
    def lanes(self) -> int:
        """How many lanes of names lie above the first panel."""
        return 1 + max((one.lane for one in self.hung), default=-1)


def notes(figure: Settings) -> list[Settings]:
    """Return a figure's annotations."""
    return list(figure["layout"].get("annotations") or ())


def block(note: Settings, layout: Settings, width: float) -> Block:
    """Return an annotation's text."""
    font = {**(layout.get("font") or {}), **(note.get("font") or {})}
    return Block(
        lines_of(str(note.get("text") or "")),
        max(float(font.get("size", 12)), smallest(width)),
        str(font.get("color", ink.INK)),
        str(note.get("align") or "center"),
        upwards=note.get("textangle") in (-90, 270),
    )


def planned(figure: Settings, scales: Mapping[str, Scale], width: int) -> Plan:
    """Return the room around a figure's panels in a picture of a width [px]."""
    layout = figure["layout"]
    margin = {"l": 8, "r": 12, "t": 34, "b": 8, **(layout.get("margin") or {})}
    across = scales["x"]
    foot = _planned_foot(across, float(margin["b"]))
    inner = float(layout.get("height") or 380) - float(margin["t"]) - foot
    labels = {name: _beside(one, inner, width) for name, one in scales.items() if name != "x"}
    left = _left(scales, labels, margin, width)
    right, labels["x"] = _below(across, left, float(margin["r"]), width)
    laid = across.laid(left, width - right)
    hung = lanes(_names(figure, laid, width), EDGE_OF_NAMES, width - EDGE_OF_NAMES)
    top = math.ceil(max(float(margin["t"]), _head(figure, left, right, width, hung, across)))
    bottom = math.ceil(
        max(foot if not across.visible else 0.0, _foot(figure, labels["x"], across, left, right, width))
    )
    height = math.ceil(top + inner + bottom)
    inside = height - bottom - top
    panels = {
        name: one.laid(*(height - bottom - share * inside for share in one.domain))
        for name, one in scales.items()
        if name != "x"
    }
    return Plan(width, height, left, right, top, bottom, {"x": laid, **panels}, labels, hung)


EDGE_OF_NAMES = 2.0


def _planned_foot(across: Scale, margin: float) -> float:
    """Return what of a figure's height its maker left below the panels."""
    return max(margin, 48.0) if across.visible and across.settings.get("side") != "top" else margin


def _tick_block(text: str, settings: Settings, align: str) -> Block:
    font = settings.get("tickfont") or {}
    return Block(
        lines_of(text),
        max(float(font.get("size", TICK)), TICK),
        str(font.get("color", ink.QUIET)),
        align,
    )


def _beside(scale: Scale, inner: float, width: int) -> Labels:
    """Return the texts beside an upright axis."""
    if not scale.visible or scale.settings.get("showticklabels") is False:
        return ()
    first, last = scale.domain
    made = []
    for number, text in scale.ticks(max(2, int((last - first) * inner / _PER_TICK))):
        one = _tick_block(text, scale.settings, "right")
        lines = wrapped(one.lines, _LABEL_SHARE * width, one.size)
        made.append((number, Block(lines, one.size, one.colour, "right")))
    return tuple(made)


def _left(
    scales: Mapping[str, Scale], labels: Mapping[str, Labels], margin: Mapping[str, Any], width: int
) -> int:
    longest = max((one.length for some in labels.values() for _, one in some), default=0.0)
    if not longest:
        # Without texts beside it a panel begins where its maker wants it, at an edge that a curve may touch.
        return math.ceil(min(float(margin["l"]), 0.1 * width))
    titled = any(title(scales[name]) for name in labels)
    return math.ceil(longest + _TICK_LENGTH + _GAP + 4 + (18 if titled else 0))


def title(scale: Scale) -> str:
    """Return what an axis is called."""
    given = scale.settings.get("title") or ""
    return str(given.get("text") or "") if isinstance(given, Mapping) else str(given)


def title_block(scale: Scale, room: float) -> Block:
    """Return the title of the axis below, broken to its room [px]."""
    one = Block(lines_of(title(scale)), 13.0, ink.INK)
    return Block(wrapped(one.lines, room, one.size), one.size, one.colour)


def _below(scale: Scale, left: float, right: float, width: int) -> tuple[int, Labels]:
    """Return the room at the right, and the texts below the axis: as many as have room beside each other."""
    if not scale.visible or scale.settings.get("showticklabels") is False:
        return math.ceil(right), ()
    made: Labels = ()
    for most in range(10, 0, -1):
        made = tuple(
            (number, _tick_block(text, scale.settings, "center")) for number, text in scale.ticks(most)
        )
        places = [scale.laid(left, width - right).spot(number) for number, _ in made]
        made = made if scale.settings.get("tickvals") is None else _every(made, places)
        places = [scale.laid(left, width - right).spot(number) for number, _ in made]
        if _apart(places, made):
            break
    over = max(
        (position + one.length / 2 - (width - 3) for position, (_, one) in zip(places, made, strict=True)),
        default=0,
    )
    return math.ceil(right + max(0.0, over)), made


def _apart(places: Sequence[float], made: Labels) -> bool:
    halves = [one.length / 2 for _, one in made]
    pairs = zip(places, places[1:], halves, halves[1:], strict=False)
    return all(b - a > half + other + 8 for a, b, half, other in pairs)


def _every(made: Labels, places: Sequence[float]) -> Labels:
    """Return every tick that was asked for, or every second, third … so that they have room."""
    for step in range(1, len(made) + 1):
        if _apart(places[::step], made[::step]):
            return made[::step]
    return made[:1]


def _names(figure: Settings, across: Scale, width: int) -> list[Name]:
    return [
        Name(block(note, figure["layout"], width), across.spot(across.noted(note["x"])), number)
        for number, note in enumerate(notes(figure))
        if note.get("name") == "phase"
    ]


def head_blocks(figure: Settings, left: float, width: int) -> dict[int, Block]:
    """Return the titles above the panels, and what stands at their right, by their number."""
    found = {}
    for number, note in enumerate(notes(figure)):
        if note.get("name") in ("head", "corner"):
            one = block(note, figure["layout"], width)
            lines = wrapped(one.lines, width - max(left - 6, 4) - 4, one.size)
            align = "left" if note["name"] == "head" else "right"
            found[number] = Block(lines, one.size, one.colour, align)
    return found


def stacked(heads: Sequence[Block], width: float) -> bool:
    """Whether a title and what stands at its right need a line each."""
    return len(heads) > 1 and sum(one.length for one in heads) + 16 > width


def _head(
    figure: Settings, left: float, right: float, width: int, hung: Sequence[Hung], across: Scale
) -> float:
    """Return the height of what stands above the first panel."""
    all_notes = notes(figure)
    first = [
        one for number, one in head_blocks(figure, left, width).items() if all_notes[number].get("y") == 1
    ]
    depth = max((one.depth for one in first), default=0.0)
    if stacked(first, width - left - right):
        depth = sum(one.depth for one in first) + 4
    names = LANE * (1 + max((one.lane for one in hung), default=-1))
    ticks = 20.0 if across.settings.get("side") == "top" else 0.0
    return depth + names + ticks + (15.0 if depth or names else 0.0)


def _foot(figure: Settings, below: Labels, across: Scale, left: float, right: float, width: int) -> float:
    """Return the height of what stands below the panels."""
    words = max((one.depth for one in foot_blocks(figure, left, right, width).values()), default=0.0)
    depth = words + 14 if words else 4.0
    if across.visible and across.settings.get("side") != "top":
        named = title_block(across, width - 8.0)
        depth += _TICK_LENGTH + TICK + 8 + (named.depth + 6 if title(across) else 0)
    return depth


def foot_blocks(figure: Settings, left: float, right: float, width: int) -> dict[int, Block]:
    """Return the columns of words below the panels, by their number."""
    columns = {number: note for number, note in enumerate(notes(figure)) if note.get("name") == "below"}
    room = (width - 8) / max(len(columns), 1)
    found = {}
    for number, note in columns.items():
        one = block(note, figure["layout"], width)
        found[number] = Block(wrapped(one.lines, room - 8, one.size), one.size, one.colour, "left")
    return found
