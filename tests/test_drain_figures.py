"""The drain's time axis: no place on it is read as a year."""

from __future__ import annotations

import re

import numpy as np

from reviewkit.figures.sheet import Clock

YEAR = re.compile(r"-?(\d{4}|\d{2})")


def test_no_place_on_a_clock_axis_reads_as_a_year() -> None:
    """A calendar axis takes '1500' and '42' for years; the first ten seconds would fly off the chart."""
    clock = Clock(300.0)
    for time_s in (
        np.arange(-10_000, 20_000) / 1000.0,
        np.arange(0, 200) * 0.1,
        np.arange(1, 200) * 0.1 - 0.1,
    ):
        places = clock.x(time_s)
        written = [f"{float(place):.7g}" for place in places.astype(np.float32)]
        assert not [text for text in written if YEAR.fullmatch(text)]
        assert np.allclose(places, time_s * 1000, atol=0.3)
