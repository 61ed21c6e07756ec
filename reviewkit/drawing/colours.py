"""The colours of charts and what a page calls them; each has a partner on dark paper.

The series colours are from the palette of Okabe and Ito, published for colour-blind readers.
"""

from __future__ import annotations

import re

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
