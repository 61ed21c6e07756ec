"""A drawing as PNG, in fonts that the kit carries."""

from __future__ import annotations

import re
from pathlib import Path

FONT = "DejaVu Sans"
_FONTS = [
    str(Path(__file__).with_name("fonts") / f"{name}.ttf") for name in ("DejaVuSans", "DejaVuSans-Bold")
]
# Latin, Greek, Cyrillic, signs: what the carried fonts were cut to.
_CARRIED = re.compile("[\x00-\u052f\u1e00-\u1eff\u2000-\u22ff\u2500-\u257f\u25a0-\u26ff\u2713-\u2718]*")


def is_carried(text: str) -> bool:
    """Whether the carried fonts have every letter of a text: then it looks the same on every machine."""
    return bool(_CARRIED.fullmatch(text))


def drawn(svg: str, width: int) -> bytes:
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

    made: bytes = resvg_py.svg_to_bytes(
        svg_string=svg,
        width=width,
        font_files=_FONTS,
        skip_system_fonts=is_carried(svg),
        font_family=FONT,
        sans_serif_family=FONT,
    )
    return bytes(made)
