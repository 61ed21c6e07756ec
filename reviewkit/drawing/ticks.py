"""Where an axis has its ticks, and what stands beside them: plain numbers, a log scale, a clock."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import numpy as np

from reviewkit.metrology import formatting

Ticks = tuple[tuple[float, str], ...]

_SECOND, _MINUTE, _HOUR, _DAY = 1e3, 6e4, 3.6e6, 8.64e7
_CLOCK = (
    *(_SECOND * step for step in (1, 2, 5, 10, 15, 30)),
    *(_MINUTE * step for step in (1, 2, 5, 10, 15, 30)),
    *(_HOUR * step for step in (1, 2, 3, 6, 12)),
    *(_DAY * step for step in (1, 2, 7, 14, 30, 90, 365)),
)
"""Steps of a clock [ms]."""


def linear(low: float, high: float, most: int, step: float | None = None) -> Ticks:
    """Return ticks at round numbers.

    Parameters
    ----------
    most : int
        How many there may be.
    step : float, optional
        Their distance, where it is set.

    Examples
    --------
    >>> linear(0.0, 1.0, 6)
    ((0.0, '0'), (0.2, '0.2'), (0.4, '0.4'), (0.6, '0.6'), (0.8, '0.8'), (1.0, '1'))
    """
    if not high > low:
        return ((low, _written(low, 3)),)
    step = step or _round_step((high - low) / max(most, 1))
    count = range(math.ceil(low / step - 1e-6), math.floor(high / step + 1e-6) + 1)
    decimals = next((n for n in range(9) if abs(round(step, n) - step) < 1e-9 * step), 9)
    return tuple((round(n * step, 12), _written(n * step, decimals)) for n in count)


def _written(value: float, decimals: int) -> str:
    """Return a number without zeros at its end, as every tick beside it."""
    text = f"{abs(value):.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{formatting.MINUS}{text}" if value < 0 and text.strip("0.") else text


def _round_step(least: float) -> float:
    """Return the smallest of 1, 2, 5, 10, 20 … that is not under a distance."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(times * power for times in (1, 2, 5, 10) if times * power >= least * (1 - 1e-9))


def log(low: float, high: float, most: int) -> Ticks:
    """Return ticks of a log scale from and to powers of ten; their places are logarithms."""
    decades = [float(n) for n in range(math.ceil(low - 1e-9), math.floor(high + 1e-9) + 1)]
    every = max(1, math.ceil(len(decades) / max(most, 1)))
    if len(decades) >= 3:
        return tuple((place, f"{10**place:g}") for place in decades[::every])
    values = [
        times * 10**power for power in range(math.floor(low), math.ceil(high) + 1) for times in (1, 2, 5)
    ]
    inside = [(math.log10(value), f"{value:g}") for value in values if low <= math.log10(value) <= high]
    return tuple(inside)


def clock(low: float, high: float, most: int, written: str = "") -> Ticks:
    """Return ticks at round times.

    Parameters
    ----------
    low, high : float [ms]
    written : str
        As in plotly's `tickformat`: "%-H:%M". Default: the date, or the time of day.
    """
    least = (high - low) / max(most, 1)
    step = next((step for step in _CLOCK if step >= least), _CLOCK[-1])
    written = written or ("%-d %b" if step >= _DAY else "%-H:%M")
    places = np.arange(math.ceil(low / step - 1e-6), math.floor(high / step + 1e-6) + 1) * step
    return tuple((float(place), moment(float(place), written)) for place in places)


def moment(place_ms: float, written: str) -> str:
    """Return a time of a calendar axis as a format says; an hour without its zero on every system."""
    when = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=place_ms)
    parts = {"%-H": f"{when.hour}", "%-M": f"{when.minute}", "%-d": f"{when.day}"}
    for sign, text in parts.items():
        written = written.replace(sign, text)
    return when.strftime(written)
