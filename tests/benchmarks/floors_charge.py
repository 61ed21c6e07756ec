"""Floors of the charge's findings."""

from __future__ import annotations

import floors_clocks
import floors_knee
import numpy as np
from simulate.meters import LoggingMeter
from simulate.whole import Whole
from simulate.whole_charge import DECLARED_SHARE, QUARTZ_PPM

from reviewkit.metrology import COVERAGE, Component, coverage_factor, merged

_STILL = 0.2
"""A display stands still where the noise is less than this share of its step."""


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


def one_reading(meter: LoggingMeter) -> float:
    """Return the standard deviation of one reading: its noise and its display's step."""
    return float(np.hypot(meter.noise, meter.resolution / np.sqrt(12)))


def standing(meter: LoggingMeter) -> float:
    """Return what is left of half a display step after the noise has shaken it."""
    return float(np.exp(-2 * (np.pi * meter.noise / meter.resolution) ** 2)) * meter.resolution / 2


def of(whole: Whole) -> dict[str, float]:
    """Return the charge's floors by key."""
    known = {name: value for name, value in whole.run.known().items() if value is not None}
    found = _levels(whole, known) | _times(whole, known) | _amounts(whole, known) | _line(whole, known)
    if whole.port:
        found |= _port(whole, known)
    found["clock_offset"] = floors_clocks.offset(whole.run)
    return {f"charge.{name}": value for name, value in found.items()}


def _levels(whole: Whole, known: dict[str, float]) -> dict[str, float]:
    bench = whole.charge.scenario
    voltages = ("start", "knee", "hold", "peak", "settled_10min", "settled_60min")
    names = {name: f"{name}_voltage" for name in voltages} | {
        f"settled_{minutes}min": f"settled_voltage_{minutes}min" for minutes in (10, 60)
    }
    found = {
        name: half(even(error(bench.voltmeter, known[name]))) for name in names.values() if name in known
    }
    for name in ("precharge_current", "plateau_current", "current_after"):
        if name in known:
            found[name] = half(even(error(bench.ammeter, known[name])))
    if "plateau_current" in known:
        rows = max(known.get("knee_time", 0.0) / bench.ammeter.interval_s, 12.0)
        slope = noise(one_reading(bench.ammeter) * np.sqrt(12 / rows))
        stands = bench.ammeter.noise < _STILL * bench.ammeter.resolution
        ends = even(standing(bench.ammeter) if stands else 0.0)
        found["plateau_droop"] = 100 / known["plateau_current"] * half(slope, ends, ends)
    if "termination_current" in known:
        found["termination_current"] = _termination(whole, known["termination_current"])
    return found


def _termination(whole: Whole, current_A: float) -> float:
    ammeter, course = whole.charge.scenario.ammeter, whole.run.course
    rows = max(5.0, 30 / ammeter.interval_s)
    last = int(np.flatnonzero(course.main)[-1])
    slope = float(course.current_A[last - 30] - course.current_A[last]) / 30
    scatter = noise(2 * one_reading(ammeter) / np.sqrt(rows))
    return half(even(error(ammeter, current_A)), scatter, even(slope * ammeter.interval_s / 2))


def _rate(time_s: float) -> Component:
    return even(QUARTZ_PPM * 1e-6 * time_s)


def _gaps(whole: Whole) -> list[Component]:
    """Return what the current log's gaps hide [A.s]: the current fell somewhere between their two ends."""
    course, main = whole.run.course, whole.run.course.main
    first, last = course.time_s[main][0], course.time_s[main][-1]
    hidden = []
    for gap in whole.charge.scenario.ammeter.gaps:
        ends = np.clip([gap.from_s, gap.from_s + gap.length_s], first, last)
        currents = np.interp(ends, course.time_s, course.current_A)
        hidden.append(even(float(np.ptp(currents)) / 2 * gap.length_s))
    return [part for part in hidden if part.size > 0]


def _times(whole: Whole, known: dict[str, float]) -> dict[str, float]:
    bench = whole.charge.scenario
    ammeter, edge = bench.ammeter, even(bench.ammeter.interval_s / 2)
    found = {
        name: half(edge, edge, _rate(known[name]))
        for name in ("precharge_end", "termination_time")
        if name in known
    }
    if known.get("knee_time"):
        scatter_s, slope = floors_knee.bend(whole.run, one_reading(ammeter))
        bend = [noise(scatter_s), even(standing(ammeter) / slope)]
        found["knee_time"] = half(edge, edge, *bend, _rate(known["knee_time"]))
        share = [part.scaled(floors_knee.current(whole.run)) for part in bend]
        counts = _counts(whole, known, known["knee_time"], known["delivered_before_knee"] / 100)
        gaps = [part.scaled(known["delivered_before_knee"] / 100) for part in _gaps(whole)]
        found["delivered_before_knee"] = 100 / (3600 * known["delivered"]) * half(*share, counts, *gaps)
    if "time_to_80" in known:
        moment = known["time_to_80"]
        current = float(np.interp(known["charge_start"] + moment, *_course(whole)))
        counts = _counts(whole, known, moment, 0.8).scaled(1 / current)
        gaps = [part.scaled(0.8 / current) for part in _gaps(whole)]
        found["time_to_80"] = half(edge, _rate(moment), counts, *gaps)
    if "time_without_rig" in known and "termination_time" in known:
        change = known["termination_time"] - known["time_without_rig"]
        found["time_without_rig"] = half(even(DECLARED_SHARE * change), edge, edge)
    return found


def _counts(whole: Whole, known: dict[str, float], moment_s: float, share: float) -> Component:
    """Return what the ammeter's counts do to a share of the charge [A.s]."""
    ammeter = whole.charge.scenario.ammeter
    return even(ammeter.counts * ammeter.resolution * (moment_s - share * known["duration"]))


def _course(whole: Whole) -> tuple[np.ndarray, np.ndarray]:
    return whole.run.course.time_s, whole.run.course.current_A


def _amounts(whole: Whole, known: dict[str, float]) -> dict[str, float]:
    bench, hours = whole.charge.scenario, known["duration"] / 3600
    charge, volts = known["delivered"], known["delivered_energy"] / known["delivered"]
    course, main = whole.run.course, whole.run.course.main
    edges = [
        even(bench.ammeter.interval_s / 2 * float(course.current_A[main][row]) / 3600) for row in (0, -1)
    ]
    parts = [even(error(bench.ammeter, charge / hours) * hours), *edges]
    parts += [part.scaled(1 / 3600) for part in _gaps(whole)]
    in_volts = even(error(bench.voltmeter, volts) * charge)
    return {
        "delivered": half(*parts),
        "delivered_energy": half(*(part.scaled(volts) for part in parts), in_volts),
    }


def _line(whole: Whole, known: dict[str, float]) -> dict[str, float]:
    """Return the floors of V = V_set − R·I, read in the constant-voltage phase."""
    bench, course = whole.charge.scenario, whole.run.course
    held = floors_knee.held(whole.run)
    if held is None:
        return {}
    current = course.current_A[held][:: int(bench.voltmeter.interval_s)]
    spread, rows = float(current.std()), len(current)
    sigma, ohm = one_reading(bench.voltmeter), known["series_resistance"]
    resistance = (
        noise(sigma / (spread * np.sqrt(rows))),
        even(bench.voltmeter.percent / 100 * ohm),
        even(bench.ammeter.percent / 100 * ohm),
    )
    at_none = sigma * np.sqrt((1 + (float(current.mean()) / spread) ** 2) / rows)
    zero = bench.ammeter.counts * bench.ammeter.resolution * ohm
    declared = DECLARED_SHARE * whole.charge.declared.series_ohm
    return {
        "set_voltage": half(even(error(bench.voltmeter, known["set_voltage"])), noise(at_none), even(zero)),
        "series_resistance": half(*resistance),
        "device_resistance": half(*resistance, even(declared)),
    }


def _port(whole: Whole, known: dict[str, float]) -> dict[str, float]:
    assert whole.port
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
        "efficiency": half(*parts),
        "drawn_from_source": half(even(error(port.ammeter, true["drawn_from_source"]))),
    }
