"""How well two clocks can be put on one line by the steps that both logs show."""

from __future__ import annotations

import numpy as np
from simulate import Readings, Run
from simulate.styles import Style
from simulate.whole_charge import QUARTZ_PPM

from reviewkit.metrology import COVERAGE

_SEEN = 5.0
"""A step shows in the voltage log if it is so many standard deviations of the difference of two readings."""

_MOST_STEPS = 6
_GRID = 801
_RATES = np.linspace(-1.0, 1.0, 41) * 2 * QUARTZ_PPM * 1e-6
"""Differences of two quartz clocks' rates; small ones are likelier than large ones."""


def offset(run: Run) -> float:
    """Return half of the interval that the rows around all steps leave to the offset [s]; NaN without one."""
    bench, course = run.scenario, run.course
    seen_V = _SEEN * np.sqrt(2) * np.hypot(bench.voltmeter.noise, bench.voltmeter.resolution / np.sqrt(12))
    least_A = max(seen_V / bench.cell.series_ohm, 5 * bench.ammeter.resolution)
    changes = np.abs(np.diff(course.current_A))
    found = course.time_s[1:][changes > least_A][:_MOST_STEPS]
    if not len(found):
        return float("nan")
    edges = [(float(moment - found[0]), _allowed(run, float(moment))) for moment in found]
    grid = np.linspace(edges[0][1][0], edges[0][1][3], _GRID)
    weight = sum(
        (1 - abs(rate) / _RATES[-1] + 1e-3)
        * np.prod([np.interp(grid, np.add(edge, rate * since), _UP) for since, edge in edges], axis=0)
        for rate in _RATES
    )
    grown = np.cumsum(weight) / np.sum(weight)
    ends = np.interp([(1 - COVERAGE) / 2, (1 + COVERAGE) / 2], grown, grid)
    return float(np.ptp(ends)) / 2


_UP = (0.0, 1.0, 1.0, 0.0)


def _allowed(run: Run, moment_s: float) -> tuple[float, float, float, float]:
    """Return the corners of the trapezoid of offsets that one step allows [s]."""
    voltage = _around(run.voltage, run.scenario.voltage_style, moment_s)
    current = _around(run.current, run.scenario.current_style, moment_s)
    corners = sorted(one - two for one in voltage for two in current)
    return corners[0], corners[1], corners[2], corners[3]


def _around(readings: Readings, style: Style, moment_s: float) -> tuple[float, float]:
    """Return the true times of the rows before and after a moment, whole-second stamps cut off [s]."""
    known = readings.true_s[np.isfinite(readings.shown)]
    place = int(np.clip(np.searchsorted(known, moment_s), 1, len(known) - 1))
    cut = 10.0**-style.time_decimals
    return float(known[place - 1]), float(known[place]) + cut
