"""Where the texts of a picture go: none on another, none off the picture, none on a curve."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import permutations
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from reviewkit.drawing.ink import LEADING, Block, Box, wrapped

Floats = npt.NDArray[np.float64]

TEXT, OUTSIDE, CURVE, PANEL = 1000.0, 2000.0, 200.0, 30.0
"""What it costs to lie on a text or mark, off the picture, on a curve, beyond the panel; beside these, a
pixel of distance from where it was wanted costs less than one. Chosen: the order is what counts."""
APART, OFF = 3.0, 2.0
"""Distance from other texts, and from curves [px]."""
EDGE = 2.0
"""Distance from the picture's edge [px]."""
LANE = 16.0
"""Height of one line of names above a panel [px]."""
_MOST_LANES = 4


SIDES = ("left", "center", "right")
_SHARES = np.array([0.0, 0.5, 1.0])
"""Of a text's width, what lies left of the place that it is anchored at."""


@dataclass(frozen=True)
class Spots:
    """Places for a text: its upper left corners [px], how its lines lie, and how unwelcome each place is."""

    left: Floats
    top: Floats
    side: npt.NDArray[np.intp]
    dislike: Floats

    @classmethod
    def of(cls, left: Any, top: Any, side: Any, dislike: Any) -> Spots:
        """Return the places of arrays that are spread against each other."""
        spread = np.broadcast_arrays(left, top, side, dislike)
        across, down, sides, cost = (one.ravel() for one in spread)
        return cls(across.astype(float), down.astype(float), sides.astype(np.intp), cost.astype(float))


@dataclass(frozen=True)
class Put:
    """A text where it is put.

    Parameters
    ----------
    block : Block
    left, top : float [px]
    number : int
        Which of the figure's annotations it is; -1 for ticks and titles of axes.
    paper : bool
        Whether it stands on paper of its own, above a line that it interrupts.
    """

    block: Block
    left: float
    top: float
    number: int = -1
    paper: bool = False

    @cached_property
    def box(self) -> Box:
        """Where it lies."""
        return self.block.box(self.left, self.top)


@dataclass
class Room:
    """What is taken of a picture.

    Parameters
    ----------
    picture : Box
    boxes : list of Box
        Texts and marks.
    lines : array, shape (n, 2) [px]
        Points along every curve.
    """

    picture: Box
    boxes: list[Box]
    lines: Floats

    def cost(self, block: Block, spots: Spots, panel: Box) -> Floats:
        """Return how bad each place is for a text."""
        wide, high = block.extent
        sides = spots.left, spots.top, spots.left + wide, spots.top + high
        edge = self.picture
        out = (sides[0] < edge.left + EDGE) | (sides[2] > edge.right - EDGE)
        out |= (sides[1] < edge.top + EDGE) | (sides[3] > edge.bottom - EDGE)
        beyond = (sides[1] < panel.top) | (sides[3] > panel.bottom)
        beyond |= (sides[0] < panel.left) | (sides[2] > panel.right)
        hits = self._on_curves(sides)
        total = OUTSIDE * out + PANEL * beyond + CURVE * (hits > 0) + 5.0 * hits
        return np.asarray(total + TEXT * self._on_boxes(sides) + spots.dislike)

    def _on_boxes(self, sides: tuple[Floats, ...]) -> Floats:
        taken = np.array([(box.left, box.top, box.right, box.bottom) for box in self.boxes]).reshape(-1, 4)
        left, top, right, bottom = (side[:, None] for side in sides)
        meets = (left < taken[:, 2] + APART) & (taken[:, 0] < right + APART)
        meets &= (top < taken[:, 3] + APART) & (taken[:, 1] < bottom + APART)
        return np.asarray(np.count_nonzero(meets, axis=1), dtype=float)

    def _on_curves(self, sides: tuple[Floats, ...]) -> Floats:
        x, y = self.lines[:, 0], self.lines[:, 1]
        # Curves far from all places are not asked about each.
        near = (x > sides[0].min() - OFF) & (x < sides[2].max() + OFF)
        near &= (y > sides[1].min() - OFF) & (y < sides[3].max() + OFF)
        x, y = x[near], y[near]
        left, top, right, bottom = (side[:, None] for side in sides)
        on = (x > left - OFF) & (x < right + OFF) & (y > top - OFF) & (y < bottom + OFF)
        return np.asarray(np.count_nonzero(on, axis=1), dtype=float)

    def _crossed(self, block: Block, spots: Spots, at: tuple[float, float]) -> npt.NDArray[np.bool_]:
        """Return from which places the line to a mark would cross a text."""
        (x, y), (wide, high) = at, block.extent
        ends = np.clip(x, spots.left, spots.left + wide), np.clip(y, spots.top, spots.top + high)
        across, down = (start + _ALONG * (end[:, None] - start) for start, end in zip(at, ends, strict=True))
        taken = [box for box in self.boxes if box.text]
        if not taken:
            return np.zeros(len(spots.left), dtype=bool)
        sides = np.array([(box.left, box.top, box.right, box.bottom) for box in taken])
        on = (across[..., None] > sides[:, 0] - 1) & (across[..., None] < sides[:, 2] + 1)
        on &= (down[..., None] > sides[:, 1] - 1) & (down[..., None] < sides[:, 3] + 1)
        return np.asarray(on.any(axis=(1, 2)))

    def best(
        self, ways: Sequence[tuple[Block, Spots]], panel: Box, *, led_to: tuple[float, float] | None = None
    ) -> tuple[Put, float]:
        """Return a text at its best place, and what that costs.

        Parameters
        ----------
        ways : sequence of (Block, Spots)
            The same text, broken in several ways, with the places for each.
        led_to : (float, float), optional
            The mark to which a line leads [px]; it crosses no text.
        """
        found: tuple[Put, float] | None = None
        for number, (block, spots) in enumerate(ways):
            costs = self.cost(block, spots, panel) + _BROKEN * number
            if led_to is not None:
                costs = costs + CURVE * self._crossed(block, spots, led_to)
            at = int(np.argmin(costs))
            if found is None or costs[at] < found[1]:
                side = SIDES[int(spots.side[at])]
                put = Put(replace(block, align=side), float(spots.left[at]), float(spots.top[at]))
                found = put, float(costs[at])
            if found[1] < PANEL:
                break
        assert found is not None
        return found


_ALONG = np.linspace(0.1, 1.0, 12)
_BROKEN = 10.0
"""What each further break of a text costs, in pixels of distance."""


def broken(block: Block, room: float) -> list[Block]:
    """Return a text as it is, and broken to parts of the room [px]; each way once."""
    ways = {block.lines: block} if block.length <= room else {}
    for share in (0.95, 0.66, 0.48, 0.34):
        if share * room < block.length:
            lines = wrapped(block.lines, share * room, block.size)
            ways.setdefault(lines, replace(block, lines=lines))
    return list(ways.values())


def beside_line(block: Block, panel: Box, y: float, *, above: bool) -> Spots:
    """Return places along a level line: from the right edge to the left, above it or below."""
    wide, high = block.extent
    off = np.array([3.0, 14.0, 28.0])[:, None]
    left = np.maximum(
        np.arange(panel.right - wide - 2, min(panel.left, panel.right - wide - 3), -12.0), panel.left
    )
    along = 0.1 * (panel.right - wide - left) + 3 * (off - 3)
    over = Spots.of(left, y - off - high, 2, along + 15.0 * (not above))
    under = Spots.of(left, y + off, 2, along + 15.0 * above)
    return joined(over, under)


def joined(*parts: Spots) -> Spots:
    """Return all places of several."""
    fields = ("left", "top", "side", "dislike")
    return Spots(*(np.concatenate([getattr(one, name) for one in parts]) for name in fields))


_DX = np.array([0, 8, -8, 20, -20, 36, -36, 56, -56, 80, -80])[:, None, None]
_DY = np.array([4.0, 9, 16, 26, 40, 58])[:, None]


def around(block: Block, at: tuple[float, float], *, anchor: str, above: bool) -> Spots:
    """Return places beside a place on a curve, the one that was asked for first."""
    (x, y), (wide, high) = at, block.extent
    side = np.arange(3)
    left = x - wide * _SHARES + _DX
    away = 0.3 * np.abs(_DX) + 0.8 * (_DY - 4) + 8.0 * (side != SIDES.index(anchor))
    over = Spots.of(left, y - _DY - high, side, away + 8.0 * (not above))
    under = Spots.of(left, y + _DY, side, away + 8.0 * above)
    return joined(over, under)


_REACH = np.array([20, 30, 42, 58, 78, 104, 136, 176, 220.0])[:, None]
_COS, _SIN = np.cos(np.arange(24) * math.pi / 12), np.sin(np.arange(24) * math.pi / 12)
_TURN = np.where(np.abs(_COS) < 0.3, 1, np.where(_COS > 0, 0, 2))


def away_from(block: Block, at: tuple[float, float], wanted: tuple[float, float]) -> Spots:
    """Return places on circles around a mark, from which a thin line leads to it."""
    (x, y), (wide, high) = at, block.extent
    dx, dy = _REACH * _COS, _REACH * _SIN
    left = x + dx - wide * _SHARES[_TURN]
    top = y + dy - high * np.where(_TURN == 1, np.where(dy < 0, 1.0, 0.0), 0.5)
    return Spots.of(left, top, _TURN, 0.25 * np.hypot(dx - wanted[0], dy - wanted[1]) + 0.1 * _REACH)


def anywhere(block: Block, at: tuple[float, float], panel: Box) -> Spots:
    """Return places all over a panel, the nearer the better; for what finds none where it was wanted."""
    wide, high = block.extent
    left = np.arange(panel.left + 2, max(panel.right - wide, panel.left + 3), 10.0)
    top = np.arange(panel.top + 2, max(panel.bottom - high, panel.top + 3), 7.0)[:, None]
    aside = np.maximum(np.maximum(left - at[0], at[0] - left - wide), 0)
    off = np.maximum(np.maximum(top - at[1], at[1] - top - high), 0)
    return Spots.of(left, top, 0, 0.5 * np.hypot(aside, off))


def leader(at: tuple[float, float], box: Box) -> tuple[float, float]:
    """Return where on a text's box the line from its mark ends [px]."""
    x = min(max(at[0], box.left), box.right)
    y = min(max(at[1], box.top), box.bottom)
    return x, y


@dataclass(frozen=True)
class Name:
    """A name above a panel: the text, and the place that it names [px]."""

    block: Block
    x: float
    number: int


class Hung(NamedTuple):
    """A name in a lane above a panel, counted from the panel; with a line down where it isn't just above."""

    name: Name
    left: float
    lane: int
    tick: bool


def lanes(names: Sequence[Name], left: float, right: float) -> list[Hung]:
    """Return names in as few lanes as hold them; what finds no place in four is left off.

    Parameters
    ----------
    left, right : float [px]
        Between these they may stand.
    """
    by_place = sorted(names, key=lambda one: one.x)
    best: list[Hung] = []
    for order in permutations(by_place) if len(names) <= _FEW_NAMES else (by_place, by_place[::-1]):
        hung = _hung(order, left, right)
        if len(hung) > len(best):
            best = hung
        if len(best) == len(names):
            break
    return best


_FEW_NAMES = 5
"""Up to here every order is tried in which names can be hung one after another."""


def _hung(names: Sequence[Name], left: float, right: float) -> list[Hung]:
    """Return names hung one after another, each as low as it can."""
    hung: list[Hung] = []
    for name in names:
        for lane in range(_MOST_LANES):
            found = _in_lane(name, lane, hung, left, right)
            if found:
                hung.append(found)
                break
    return hung


def _in_lane(name: Name, lane: int, hung: Sequence[Hung], left: float, right: float) -> Hung | None:
    wide = name.block.length
    # A line comes down to the panel from each name of a higher lane.
    below = [one for one in hung if one.lane < lane]
    if any(one.left - 2 < name.x < one.left + one.name.block.length + 2 for one in below):
        return None
    taken = [(one.left, one.left + one.name.block.length) for one in hung if one.lane == lane]
    taken += [(one.name.x, one.name.x) for one in hung if one.lane > lane]
    for off in (0.0, 0.2, 0.4, 0.55, -0.2, -0.4, -0.55):
        first = min(max(name.x - wide / 2 + off * wide, left), right - wide)
        if first < left or any(first < end + 7 and start < first + wide + 7 for start, end in taken):
            continue
        covers = first <= name.x <= first + wide
        if covers:
            return Hung(name, first, lane, tick=lane > 0)
    return None


def line_top(lane: int) -> float:
    """Return how far above the panel the foot of a lane is [px]."""
    return 7.0 + lane * LANE


def line_height(size: float) -> float:
    """Return the distance of two lines of text [px]."""
    return LEADING * size
