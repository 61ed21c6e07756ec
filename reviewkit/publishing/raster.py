"""SVG as PNG, without a browser and with fonts of the kit's own, so that it looks alike everywhere."""

from __future__ import annotations

import re
from pathlib import Path

from reviewkit.drawing import lettering

FONT = "DejaVu Sans"
_FONTS = [
    str(Path(__file__).with_name("fonts") / f"{name}.ttf") for name in ("DejaVuSans", "DejaVuSans-Bold")
]
# Latin, Greek, Cyrillic, signs: what the carried fonts were cut to.
_CARRIED = re.compile("[\x00-\u052f\u1e00-\u1eff\u2000-\u22ff\u2500-\u257f\u25a0-\u26ff\u2713-\u2718]*")
_UNPRINTED = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


def png(svg: str, width: int) -> bytes:
    """Return a drawing as PNG.

    Parameters
    ----------
    svg : str
    width : int [px]

    Returns
    -------
    bytes
        Letters that the carried fonts lack are taken from the system's.
    """
    import resvg_py

    drawn: bytes = resvg_py.svg_to_bytes(
        svg_string=svg,
        width=width,
        font_files=_FONTS,
        skip_system_fonts=bool(_CARRIED.fullmatch(svg)),
        font_family=FONT,
        sans_serif_family=FONT,
    )
    return bytes(drawn)


def printed(text: str) -> str:
    """Return a text without what no drawing may hold."""
    return _UNPRINTED.sub("", text)


def fitted(
    text: str, *, width: float, height: float, sizes: tuple[float, ...], bold: bool = False
) -> tuple[list[str], float]:
    """Return a text in lines, and the largest of the sizes in which it fits a box [px].

    In the smallest size it is cut off where it does not fit either.
    """
    words = ((printed(text), bold),)
    for size in sizes:
        lines = lettering.wrapped((words,), width, size)
        room = max(1, int(height // (lettering.LEADING * size)))
        if len(lines) <= room and all(lettering.width(line, size) <= width for line in lines):
            break
    told = ["".join(piece for piece, _ in line) for line in lines]
    if len(told) > room:
        told = [*told[: room - 1], f"{told[room - 1]} …"]
    return told, size
