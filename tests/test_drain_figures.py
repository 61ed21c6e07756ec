"""The drain's time axis: no place on it is read as a year."""

from __future__ import annotations

import re

import numpy as np

from reviewkit.figures.clock import Clock

YEAR = re.compile(r"-?(\d{4}|\d{2})")


def test_no_place_on_a_clock_axis_reads_as_a_year() -> None:
    """A calendar axis takes '1500' and '42' for years; the first ten seconds would fly off the chart."""
    clock = Clock(300.0)
    places = clock.x(np.arange(-10_000, 20_000) / 1000.0)
    written = [f"{float(np.float32(place)):g}" for place in places]
    whole = [text for text, place in zip(written, places, strict=True) if place == round(float(place))]
    assert not [text for text in whole if YEAR.fullmatch(text)]
    assert np.allclose(places, np.arange(-10_000, 20_000), atol=0.3)
