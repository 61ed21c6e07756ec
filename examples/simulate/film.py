"""The invented film of Birch's readout: some of its readings, told by blinks as the lamp would tell them."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from pathlib import Path

from simulate.readout import BIRCH, BIRCH_CELLS, BIRCH_MISREAD
from tests.films import render

FILE = "readout.mp4"
READ = (2, 6, 8)
"""Which of Birch's readings the film shows, counted from 0: three of few blinks, in twenty seconds."""
_LIT_S, _DARK_S, _PAUSE_S, _BETWEEN_S = 0.18, 0.22, 0.9, 2.6


def rows() -> list[int]:
    """Return the rows of Birch's table, as a person counts them, that the film shows."""
    assert BIRCH_MISREAD not in READ
    return [place + 2 for place in READ]


def write(folder: Path) -> Path:
    """Render the film into a folder and return where it is."""
    shown = [f"{BIRCH.shows(Decimal(BIRCH_CELLS[place])):.1f}" for place in READ]
    counts = [tuple(int(digit) for digit in one.split(".")) for one in shown]
    told, end_s = render.readings(
        counts, lit_s=_LIT_S, dark_s=_DARK_S, pause_s=_PAUSE_S, between_s=_BETWEEN_S, start_s=2.0
    )
    pulses = tuple(pulse for one in told for pulse in one)
    light = render.Light(0.46, 0.55, 0.012, "green", 3.0, pulses)
    scene = render.Scene(
        *(640, 360, Fraction(30), "libx264", max(20.0, end_s), (light,), 7),
        crf=30,
        readout_s=0.012,
        shake=0.0012,
        noise=1.5,
    )
    render.render(scene, folder / FILE)
    return folder / FILE
