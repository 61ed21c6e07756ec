"""How every chart looks: one colour per quantity, quiet axes, direct labels.

The series colours are from the palette of Okabe and Ito, published for colour-blind readers. A chart is
written in the light colours; the page's script exchanges each for its dark partner.
"""

from __future__ import annotations

from typing import Any

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

DASHES = {"limit": "dash", "prediction": "dot", "declared": "longdash"}


def see_through(colour: str, opacity: float) -> str:
    """Return a colour of the palette as ``#rrggbbaa``, for uncertainty bands."""
    return f"{colour}{round(opacity * 255):02x}"


def axis(title: str, **more: Any) -> dict[str, Any]:
    """Return the settings of an axis: title with unit, light grid, no box."""
    return {
        "title": {"text": title, "standoff": 8, "font": {"size": 13}},
        "gridcolor": GRID,
        "linecolor": QUIET,
        "zeroline": False,
        "ticks": "outside",
        "tickcolor": QUIET,
        "automargin": True,
        **more,
    }


def layout(**more: Any) -> dict[str, Any]:
    """Return the settings that all charts share."""
    return {
        "template": "none",
        "font": {"family": SANS, "size": 13, "color": INK},
        "paper_bgcolor": PAPER,
        "plot_bgcolor": PAPER,
        "margin": {"l": 56, "r": 24, "t": 16, "b": 48},
        "height": 380,
        "showlegend": False,
        "hovermode": "x unified",
        "hoverlabel": {"bgcolor": PAPER, "bordercolor": QUIET, "font": {"color": INK}},
        **more,
    }
