"""How much room letters take, known without a browser; texts broken into lines; boxes that must not meet.

The widths are those of DejaVu Sans, which is wider than the fonts that systems show pages in: a text that
fits here fits there.
"""

from __future__ import annotations

import html
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

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
