"""Floors of what the port gives, and what a floor is made of."""

from __future__ import annotations

import numpy as np
from simulate.meters import LoggingMeter
from simulate.whole import Whole

from reviewkit.metrology import COVERAGE, Component, coverage_factor, merged


def half(*parts: Component) -> float:
    """Return the half-width that holds 95.45 % of a sum of independent doubts."""
    total = np.sqrt(sum(part.standard_in_number**2 for part in merged(parts)))
    return float(coverage_factor(parts, COVERAGE) * total)


def even(size: float) -> Component:
    """Return a doubt that lies evenly within ± `size`."""
    return Component("", abs(size), "", "rectangular")


def noise(size: float) -> Component:
    """Return a normal doubt."""
    return Component("", size, "")


def error(meter: LoggingMeter, reading: float) -> float:
    """Return the largest calibration error at a reading."""
    return meter.percent / 100 * abs(reading) + meter.counts * meter.resolution


def of(whole: Whole) -> dict[str, float]:
    """Return the floors of the port's findings by key."""
    if not whole.port:
        return {}
    known = {name: value for name, value in whole.run.known().items() if value is not None}
    bench, port = whole.charge.scenario, whole.port
    true = port.known(whole.run)
    hours = known["duration"] / 3600
    at_port_V, at_port_A = (float(trace[whole.run.course.main].mean()) for trace in port.traces(whole.run))
    readings = (
        (bench.ammeter, known["delivered"] / hours),
        (bench.voltmeter, known["delivered_energy"] / known["delivered"]),
        (port.voltmeter, at_port_V),
        (port.ammeter, at_port_A),
    )
    parts = (even(true["efficiency"] * error(meter, reading) / reading) for meter, reading in readings)
    return {
        "charge.efficiency": half(*parts),
        "charge.drawn_from_source": half(even(error(port.ammeter, true["drawn_from_source"]))),
    }
