"""What pictures are drawn with: colours, light and dark, short paths, and the room that letters take.

The series colours are from the palette of Okabe and Ito, published for colour-blind readers. The widths of
letters are those of DejaVu Sans, wider than the fonts that systems show pages in: what fits here fits there.
"""

from __future__ import annotations

import html
import math
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from html import escape

import numpy as np
import numpy.typing as npt

LIGHT_TO_DARK = {
    "#0072b2": "#56b4e9",  # voltage
    "#d55e00": "#e69f00",  # current
    "#00805c": "#35c79a",  # charge
    "#b0558a": "#e39cc8",  # temperature
    "#7a6a00": "#f0e442",  # reading, highlight
    "#1c1b19": "#ece8df",  # ink
    "#5f5b54": "#aaa49a",  # quiet ink: ticks, limits
    "#d9d4ca": "#45423c",  # grid
    "#efebe3": "#2b2925",  # phase band
    "#fbfaf7": "#191815",  # paper
}
"""Every colour a chart may use, and its partner on dark paper."""

VOLTAGE, CURRENT, CHARGE, TEMPERATURE, READING, INK, QUIET, GRID, BAND, PAPER = LIGHT_TO_DARK

SANS = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', 'Noto Sans', sans-serif"

_PAGE = {
    VOLTAGE: "voltage",
    CURRENT: "current",
    CHARGE: "charge",
    TEMPERATURE: "temperature",
    READING: "reading",
    INK: "ink",
    QUIET: "quiet",
    GRID: "grid",
    BAND: "band",
    PAPER: "paper",
}
"""What a page calls each colour: ``--c-voltage``."""
_COLOUR = re.compile("|".join(LIGHT_TO_DARK))


def in_page_colours(svg: str) -> str:
    """Return a picture whose colours are a page's own, light ones where the page has none."""
    return _COLOUR.sub(lambda found: f"var(--c-{_PAGE[found.group()]},{found.group()})", svg)


_IN_PAGE = re.compile(r"var\(--c-\w+,(#\w+)\)")


def in_scheme(svg: str, scheme: str) -> str:
    """Return a picture, a page's too, in colours that stand by themselves.

    Parameters
    ----------
    scheme : {"light", "dark"}
    """
    plain = _IN_PAGE.sub(r"\1", svg)
    return plain if scheme == "light" else _COLOUR.sub(lambda found: LIGHT_TO_DARK[found.group()], plain)


Floats = npt.NDArray[np.float64]

TOLERANCE = 0.35
"""How far a thinned curve may lie from its points [px]: chosen, a fifth of a curve's own width."""
FINE = 10
"""Paths are written in whole tenths of a pixel."""


def thinned(x: Floats, y: Floats, tolerance: float = TOLERANCE) -> npt.NDArray[np.intp]:
    """Return which points draw the same curve: none of the others lies farther off it than a tolerance.

    Parameters
    ----------
    x, y : array, shape (n,) [px]
        Finite.
    """
    kept = [0]
    start, low, high = 0, -math.inf, math.inf
    xs, ys = x.tolist(), y.tolist()
    for index in range(1, len(xs)):
        run = xs[index] - xs[start]
        if run > 0:
            slope = (ys[index] - ys[start]) / run
            if low <= slope <= high:
                low = max(low, slope - tolerance / run)
                high = min(high, slope + tolerance / run)
                continue
        if index - 1 > start:
            kept.append(index - 1)
            start = index - 1
        run = xs[index] - xs[start]
        slope = (ys[index] - ys[start]) / run if run > 0 else 0.0
        low, high = (slope - tolerance / run, slope + tolerance / run) if run > 0 else (math.inf, -math.inf)
    if len(xs) > 1:
        kept.append(len(xs) - 1)
    return np.array(sorted(set(kept)), dtype=np.intp)


def cut(x: Floats, y: Floats, box: Box) -> tuple[Floats, Floats]:
    """Return a curve that ends where it leaves a box, and begins again where it comes back [px]."""
    for along, low, high in ((0, box.left, box.right), (1, box.top, box.bottom)):
        pair = (x, y)
        for edge in (low, high):
            pair = _with_crossings(*pair, along, edge)
        beyond = (pair[along] < low - 0.01) | (pair[along] > high + 0.01)
        x, y = (np.where(beyond, np.nan, one) if beyond.any() else one for one in pair)
    return x, y


def _with_crossings(x: Floats, y: Floats, along: int, edge: float) -> tuple[Floats, Floats]:
    """Return a curve with a point wherever it crosses an edge."""
    pair = (x, y)
    off = pair[along] - edge
    crossed = np.flatnonzero(off[:-1] * off[1:] < 0)
    if not len(crossed):
        return pair
    share = off[crossed] / (off[crossed] - off[crossed + 1])
    met = [one[crossed] + share * (one[crossed + 1] - one[crossed]) for one in pair]
    met[along][:] = edge
    return np.insert(x, crossed + 1, met[0]), np.insert(y, crossed + 1, met[1])


def stretches(x: Floats, y: Floats) -> list[tuple[Floats, Floats]]:
    """Return the parts of a curve between its gaps, thinned."""
    known = np.isfinite(x) & np.isfinite(y)
    if not known.any():
        return []
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(np.int8)))
    parts = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        part = thinned(x[first:last], y[first:last])
        parts.append((x[first:last][part], y[first:last][part]))
    return parts


def path(parts: Iterable[tuple[Floats, Floats]], *, closed: bool = False) -> str:
    """Return the SVG path of lines, in tenths of a pixel."""
    return "".join(_line(x, y) + ("z" if closed else "") for x, y in parts)


def _line(x: Floats, y: Floats) -> str:
    whole = np.round(np.stack([x, y], axis=1) * FINE).astype(np.int64)
    first, steps = whole[0], np.diff(whole, axis=0)
    steps = steps[np.any(steps != 0, axis=1)]
    head = f"M{first[0]} {first[1]}"
    if not len(steps):
        return head + "h0"
    return head + "l" + numbers(steps.ravel().tolist())


def numbers(given: Sequence[int]) -> str:
    """Return whole numbers in a row; a minus sign parts two by itself."""
    return " ".join(map(str, given)).replace(" -", "-")


def dashes(style: str | None, thickness: float) -> str:
    """Return the pattern of a dashed line [px] as plotly draws it; nothing for a solid one."""
    unit = max(thickness, 3.0)
    times = {"dot": (1, 1), "dash": (3, 3), "longdash": (5, 5), "dashdot": (3, 1, 1, 1)}.get(style or "", ())
    return " ".join(f"{unit * one:.4g}" for one in times)


_HEX = re.compile(r"#[0-9a-fA-F]{6}([0-9a-fA-F]{2})?\Z")


def opaque(colour: str | None, fallback: str = "none") -> tuple[str, float]:
    """Return a colour without its opacity, and that: "#0072b233" is ("#0072b2", 0.2)."""
    found = _HEX.match(colour or "")
    if not found:
        return (escape(colour) if colour else fallback), 1.0
    return found.group()[:7].lower(), int(found.group(1), 16) / 255 if found.group(1) else 1.0


def painted(name: str, colour: str | None) -> str:
    """Return the attributes for a fill or stroke with its opacity."""
    plain, opacity = opaque(colour)
    shade = "" if opacity == 1.0 else f' {name}-opacity="{opacity:.2g}"'
    return f' {name}="{plain}"{shade}'


def words(text: str) -> str:
    """Return a text for SVG; what would be read as a colour of the drawing is spelled out."""
    return escape(text, quote=False).replace("#", "&#35;")


def sampled(x: Floats, y: Floats, step: float = 3.0) -> Floats:
    """Return points along a line, none farther than `step` from the next [px], shape (n, 2)."""
    if len(x) < 2:
        return np.stack([x, y], axis=1)
    counts = np.maximum(1, np.ceil(np.hypot(np.diff(x), np.diff(y)) / step)).astype(int)
    where = np.concatenate([[0], np.cumsum(counts)])
    along = np.arange(where[-1] + 1)
    return np.stack([np.interp(along, where, x), np.interp(along, where, y)], axis=1)


Piece = tuple[str, bool]
"""A stretch of text, and whether it is bold."""
Line = tuple[Piece, ...]

# Advance widths in thousandths of the font's size, rounded up to 20: DejaVu Sans 2.37, table `hmtx`.
_SIGNS = {
    200: "\u2009\u202f",
    240: "′",
    280: "'ijl",
    300: "IJΙ",
    320: " ,.\xa0·‘’",
    340: "/:;\\|¦ι",
    360: "f",
    380: "-″",
    400: "()[]t",
    420: "!r¡²³¹",
    460: '"',
    480: "ªº",
    500: "*_`§¨¯°´¸–",
    520: "“”„",
    540: "?sz¿",
    560: "LcΓεζνξ",
    580: "Fkυχ",
    600: "vxyγκλς•",
    620: "PTYaeo«»ÞðøΡΤΥδθοπτ┄─",
    640: "$0123456789ESbdghnpqu{}¢£¤¥µ¶ßþΕΞΣβημρσ\u2007",
    660: "KΚαφψ",
    700: "ABCRVXZΑΒΔΖΛΧ",
    740: "U",
    760: "HNΗΝΠ",
    780: "&DGÐΩ",
    800: "OQØΘΟΦΨ",
    820: "w",
    840: "#+<=>^~¬±×÷ω−≤≥≠≈→←↑↓",
    880: "MΜ",
    900: "⚠",
    960: "%",
    980: "m¼½¾Æ",
    1000: "@W©®æ—…",
    1080: "œŒ",
}
_WIDTHS = {sign: thousandths / 1000 for thousandths, signs in _SIGNS.items() for sign in signs}
_UNKNOWN = 1.0
"""Of the font's size: what a sign takes that is not in the table; a square, as East Asian signs fill."""
_BOLD = 1.14
"""How much wider DejaVu Sans Bold is than the regular one, over sentences in English."""
RISE, FALL, LEADING = 0.78, 0.24, 1.25
"""Of the font's size: height of letters above their line, depth below it, distance of two lines."""


@dataclass(frozen=True)
class Box:
    """Where a text or mark lies on a picture [px], with y downwards."""

    left: float
    top: float
    right: float
    bottom: float
    text: str = ""

    def meets(self, other: Box, *, apart: float = 0.0) -> bool:
        """Whether two boxes overlap, or come nearer than `apart` [px]."""
        return (
            self.left < other.right + apart
            and other.left < self.right + apart
            and self.top < other.bottom + apart
            and other.top < self.bottom + apart
        )


@lru_cache(maxsize=4096)
def advance(text: str, *, bold: bool = False) -> float:
    """Return how long a text is, in sizes of its font.

    Examples
    --------
    >>> advance("0.5") < advance("0.50") < advance("0.50", bold=True)
    True
    """
    signs = unicodedata.normalize("NFD", text)
    length = sum(_WIDTHS.get(sign, 0.0 if unicodedata.combining(sign) else _UNKNOWN) for sign in signs)
    return length * (_BOLD if bold else 1.0)


def width(line: Line, size: float) -> float:
    """Return how long a line is [px]."""
    return size * sum(advance(text, bold=bold) for text, bold in line)


_TAGS = re.compile(r"(<[^>]*>)")


def lines_of(markup: str) -> tuple[Line, ...]:
    """Return the lines of a text as plotly takes it: ``<br>``, ``<b>`` and character references are known."""
    lines: list[list[Piece]] = [[]]
    bold = False
    for part in _TAGS.split(markup):
        if part in ("<b>", "</b>"):
            bold = part == "<b>"
        elif part.startswith("<br"):
            lines.append([])
        elif part and not part.startswith("<"):
            lines[-1].append((html.unescape(part), bold))
    return tuple(tuple(line) for line in lines)


def wrapped(lines: Iterable[Line], limit: float, size: float) -> tuple[Line, ...]:
    """Return lines none of which is longer than a limit [px], broken at spaces; one word stays whole."""
    broken: list[Line] = []
    for line in lines:
        broken += [line] if width(line, size) <= limit else _broken(line, limit, size)
    return tuple(broken)


def _broken(line: Line, limit: float, size: float) -> list[Line]:
    words: list[list[Piece]] = [[]]
    for text, bold in line:
        first, *others = text.split(" ")
        words[-1] += [(first, bold)] if first else []
        words += [[(word, bold)] if word else [] for word in others]
    out: list[list[Piece]] = [[]]
    for word in (one for one in words if one):
        longer = [*out[-1], (" ", False), *word] if out[-1] else word
        if width(tuple(longer), size) <= limit or not out[-1]:
            out[-1] = longer
        else:
            out.append(list(word))
    return [_joined(one) for one in out]


def _joined(pieces: Sequence[Piece]) -> Line:
    """Return a line whose neighbouring stretches of one weight are one."""
    out: list[Piece] = []
    for text, bold in pieces:
        if out and (out[-1][1] == bold or text == " "):
            out[-1] = (out[-1][0] + text, out[-1][1])
        else:
            out.append((text, bold))
    return tuple(out)


@dataclass(frozen=True)
class Block:
    """Lines of one size, set below one another.

    Parameters
    ----------
    lines : tuple of Line
    size : float [px]
    colour : str
        "#1c1b19".
    align : {"left", "center", "right"}
        How the lines lie to each other.
    upwards : bool
        Whether it is turned to be read from below.
    """

    lines: tuple[Line, ...]
    size: float
    colour: str
    align: str = "center"
    upwards: bool = False

    @cached_property
    def length(self) -> float:
        """The longest line's length [px]."""
        return max((width(line, self.size) for line in self.lines), default=0.0)

    @property
    def depth(self) -> float:
        """Height of all lines [px]."""
        return self.size * (RISE + FALL + LEADING * (len(self.lines) - 1))

    @property
    def extent(self) -> tuple[float, float]:
        """Width and height of the box that it fills [px]."""
        return (self.depth, self.length) if self.upwards else (self.length, self.depth)

    @property
    def text(self) -> str:
        """What it says, without markup."""
        return " ".join("".join(text for text, _ in line) for line in self.lines)

    def box(self, left: float, top: float) -> Box:
        """Return its box, put with the upper left corner at a place."""
        wide, high = self.extent
        return Box(left, top, left + wide, top + high, self.text)
