"""Floors of the drain's findings."""

from __future__ import annotations

import numpy as np
from floors_port import even, half, noise
from scipy.optimize import linprog
from simulate.drain import PulseTrain
from simulate.whole import Whole
from simulate.whole_drain import CLOCK, State

from reviewkit.drain.features import EDGE_ROWS
from reviewkit.metrology import COVERAGE, Component

_NOISE_COUNTS = float(np.hypot(0.4, 12**-0.5))


def of(whole: Whole) -> dict[str, float]:
    """Return the drain's floors by key."""
    capacity = whole.charge.scenario.cell.capacity_Ah
    found: dict[str, float] = {}
    for state in whole.drain.states:
        key, source = f"drain.{state.name.replace(' ', '_')}", state.source
        meter = whole.drain.range_of(state)
        parts = [even(meter.half_width(source.mean_A))]
        if source.height_A:
            parts.append(Component("", source.height_A * source.width_s / state.length_s, "", "triangular"))
            found |= _pulses(key, state, meter.resolution, meter.accuracy.percent)
        mean = half(*parts)
        found[f"{key}.mean"] = mean
        found[f"{key}.base"] = half(even(meter.half_width(source.base_A)))
        for name, share in (("days_to_empty", 1.0), ("days_to_level", 0.5)):
            # Days fall as the mean rises: the interval's two ends lie unequally far away.
            ends = [share * capacity / max(source.mean_A + sign * mean, 1e-12) / 24 for sign in (-1, 1)]
            found[f"{key}.{name}"] = (ends[0] - ends[1]) / 2
    return found


def _pulses(key: str, state: State, step_A: float, percent: float) -> dict[str, float]:
    source, count = state.source, state.length_s / state.source.period_s
    touched = source.width_s / state.interval_s + 1
    top_rows = max(count * (source.width_s / state.interval_s - 1.5), 1.0)
    in_height_A = _NOISE_COUNTS * step_A / np.sqrt(top_rows)
    per_charge_As = _NOISE_COUNTS * step_A * state.interval_s * np.sqrt(touched / count)
    return {
        f"{key}.pulse_height": half(even(percent / 100 * source.height_A)),
        f"{key}.pulse_width": half(
            noise(per_charge_As / source.height_A),
            noise(in_height_A * source.width_s / source.height_A),
            *(even(EDGE_ROWS * state.interval_s) for _ in ("begins", "ends")),
        ),
        f"{key}.pulse_period": half(even(_period(source, state, step_A)), even(CLOCK * source.period_s)),
    }


def _period(source: PulseTrain, state: State, step_A: float) -> float:
    """Return half of the range of periods that the pulses' rows allow [s].

    A pulse within one row may lie anywhere in it; one that touches two shows in which share, as far as the
    noise lets it.
    """
    first = int(np.ceil((0 - source.first_s) / source.period_s))
    last = int(np.floor((state.length_s - source.width_s - source.first_s) / source.period_s))
    number = np.arange(first, last + 1)
    starts = source.first_s + number * source.period_s
    row = np.floor(starts / state.interval_s + 1e-9) * state.interval_s
    inside = starts + source.width_s <= row + state.interval_s
    blur = 2 * _NOISE_COUNTS * step_A * state.interval_s / source.height_A
    low = np.where(inside, row, starts - blur)
    high = np.where(inside, row + state.interval_s - source.width_s, starts + blur)
    away = number - number.mean()
    above = np.column_stack([np.ones_like(away), away])
    limits = np.concatenate([high, -low])
    ends = [
        linprog([0, sign], np.vstack([above, -above]), limits, bounds=(None, None)).fun for sign in (1, -1)
    ]
    if None in ends:
        return float("nan")
    return COVERAGE * abs(ends[0] + ends[1]) / 2
