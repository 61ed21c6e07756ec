"""Charger or rig: the regulation point behind the resistance between it and the cell.

An ammeter and its leads in series drop I·R, so a charger that holds its own terminals constant lets the
cell's voltage rise as the current falls: V_cell = V_set − R·I. The regression reads both from the
constant-voltage phase.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from reviewkit.metrology import Component, Measured
from reviewkit.metrology.meter import Meter

FloatArray = npt.NDArray[np.float64]

LEAST_SAMPLES = 20
LEAST_SPAN = 0.15
"""Share of the largest current that the taper must cover before a slope means anything."""

_CURRENT_BINS = (60, 600)
_ROUGH_GRID, _HALF_GRID = 7, 15
"""Half of the grid's points: to find the place, then to sum over it."""

_WIDENED = 1.2
"""How much wider the scatter is taken: how many readings count as one is itself an estimate.

From simulated charges (`tests/benchmarks/without_rig.py`).
"""
_NEGLIGIBLE = 25.0
"""Log-likelihood below the best at which a noise is no longer considered."""
_NOISES = np.array([0.04, 0.1, 0.2, 0.35, 0.6, 1.0, 2.0, 4.0])
"""Noise of one reading, in display steps, over which the likelihood is summed."""


@dataclass(frozen=True)
class Regulation:
    """What the constant-voltage phase says about the regulation point.

    Parameters
    ----------
    set_voltage : Measured [V]
        At the regulation point, current → 0.
    series_resistance : Measured [ohm]
        Everything between the regulation point and the cell's voltmeter.
    span_A : float [A]
        From the lowest to the highest current used.
    """

    set_voltage: Measured
    series_resistance: Measured
    samples: int
    span_A: float


def regress(
    voltage_V: FloatArray, current_A: FloatArray, *, voltmeter: Meter, ammeter: Meter
) -> Regulation | None:
    """Return set voltage and series resistance from the constant-voltage phase.

    Parameters
    ----------
    voltage_V, current_A : array, shape (n,)
        Simultaneous readings of cell voltage and charge current within the phase; NaN are passed over.

    Returns
    -------
    Regulation or None
        None if the phase is too short or its current hardly changes: the data cannot say.

    Notes
    -----
    The likelihood is that of a straight line seen through the voltmeter's display (each reading says only
    within which step the voltage lay), summed over the line's two ends and the noise with a flat prior.
    A least-squares line would be biased where the whole drop is a few display steps.
    """
    good = np.isfinite(voltage_V) & np.isfinite(current_A)
    voltage, current = voltage_V[good], current_A[good]
    if len(voltage) < LEAST_SAMPLES:
        return None
    span = float(current.max() - current.min())
    if span < LEAST_SPAN * float(current.max()) or span <= 5 * ammeter.resolution:
        return None
    line, spread = _posterior(voltage, current, display_step(voltage, voltmeter), ammeter.resolution)
    low_A, high_A = float(current.min()), float(current.max())
    slope = np.array([1.0, -1.0]) / span
    set_weights = np.array([high_A, -low_A]) / span
    resistance, set_voltage = float(slope @ line), float(set_weights @ line)
    scatter_R = Component(
        "scatter of the readings about the line", _WIDENED * float(np.sqrt(slope @ spread @ slope)), "ohm"
    )
    scatter_V = Component(
        "scatter of the readings about the line",
        _WIDENED * float(np.sqrt(set_weights @ spread @ set_weights)),
        "V",
    )
    return Regulation(
        set_voltage=Measured(
            set_voltage,
            "V",
            (
                scatter_V,
                voltmeter.component(set_voltage),
                *_zero(ammeter, resistance),
            ),
        ),
        series_resistance=Measured(
            resistance,
            "ohm",
            (scatter_R, voltmeter.gain_component(resistance), ammeter.gain_component(-resistance)),
        ),
        samples=len(voltage),
        span_A=span,
    )


def _zero(ammeter: Meter, resistance: float) -> tuple[Component, ...]:
    """Return what the ammeter's error at no current does to the set voltage; its percent moves only R."""
    counts = ammeter.half_width(0.0)
    if counts <= 0:
        return ()
    name = f"{ammeter.label}: accuracy (counts)"
    return (Component(name, counts, "A", "rectangular", resistance, shared=ammeter.label),)


def display_step(voltage_V: FloatArray, voltmeter: Meter) -> float:
    """Return the step [V] in which the readings move: the meter's, or the log's own where that is coarser.

    A log written with fewer digits than the meter shows is recognised by its smallest difference.
    """
    levels = np.unique(np.round(voltage_V, 9))
    if len(levels) < 2:
        return voltmeter.resolution
    smallest = float(np.diff(levels).min())
    return max(voltmeter.resolution, smallest) if len(levels) > 3 else voltmeter.resolution


def _posterior(
    voltage: FloatArray, current: FloatArray, step: float, current_step: float
) -> tuple[FloatArray, FloatArray]:
    """Return the line's mean at the lowest and at the highest current, and their covariance."""
    span = float(np.ptp(current))
    share = (current - current.min()) / span
    slope, start = np.polyfit(share, voltage, 1)
    residual = voltage - start - slope * share
    # The current's own display step moves a reading along the line.
    along = abs(slope) / span * current_step / np.sqrt(12)
    noises = np.hypot(_NOISES * step, along)
    data = _grouped(voltage, share, step, correlation_length(residual))
    centre = np.array([start, start + slope])
    reach = np.full(2, max(1.5 * step, 8 * float(np.std(residual))))
    mean, spread = centre, np.diag(reach**2)
    for half, seen in ((_ROUGH_GRID, 1.3), (_HALF_GRID, 2.5)):
        for _ in range(8):
            mean, spread, noises = _moments(*data, step, noises, centre, reach, half)
            wide = np.sqrt(np.diag(spread))
            enough = bool(np.all(wide > seen * reach / half))
            centre, reach = (mean, np.maximum(5 * wide, 3 * reach / half))
            if enough:
                break
    return mean, spread


def correlation_length(residual: FloatArray) -> float:
    """Return how many successive readings carry the information of one (at least 1).

    The sum of the autocorrelation up to its first zero: near 1 where noise shakes the display, about a
    quarter of the dwell on each step where it stands still.
    """
    centred = residual - residual.mean()
    if not centred.any():
        return float(len(centred))
    size = 1 << (2 * len(centred) - 1).bit_length()
    power = np.abs(np.fft.rfft(centred, size)) ** 2
    correlation = np.fft.irfft(power, size)[: len(centred)]
    correlation = correlation / correlation[0]
    negative = np.flatnonzero(correlation <= 0)
    last = int(negative[0]) if len(negative) else len(correlation)
    return float(max(1.0, 1 + 2 * correlation[1:last].sum()))


def _grouped(
    voltage: FloatArray, share: FloatArray, step: float, thin: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the distinct (shown voltage, current bin) pairs: level, place, independent readings."""
    shown = np.round(voltage / step).astype(np.int64)
    # Bins must be narrow against the display step, or readings on either side of a switch are mixed.
    many = int(np.clip(4 * np.ptp(voltage) / step, *_CURRENT_BINS))
    bins = np.minimum((share * many).astype(np.int64), many - 1)
    _, where, counts = np.unique(shown * many + bins, return_inverse=True, return_counts=True)
    places = np.bincount(where, share) / counts
    levels = np.bincount(where, voltage) / counts
    return levels, places, counts / thin


def _moments(
    levels: FloatArray,
    places: FloatArray,
    counts: FloatArray,
    step: float,
    noises: FloatArray,
    centre: FloatArray,
    reach: FloatArray,
    half: int,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return mean and covariance of the line's two ends over a grid, and the noises still possible."""
    from scipy.special import ndtr

    axis = np.linspace(-1.0, 1.0, 2 * half + 1)
    first, second = centre[0] + reach[0] * axis, centre[1] + reach[1] * axis
    line = first[:, None, None] * (1 - places) + second[None, :, None] * places
    stack = []
    for noise in noises:
        inside = ndtr((levels + step / 2 - line) / noise) - ndtr((levels - step / 2 - line) / noise)
        stack.append(np.log(np.maximum(inside, 1e-300)) @ counts)
    peaks = np.array([layer.max() for layer in stack])
    best = np.logaddexp.reduce(stack, axis=0)
    weight = np.exp(best - best.max())
    weight /= weight.sum()
    over_first, over_second = weight.sum(axis=1), weight.sum(axis=0)
    mean = np.array([over_first @ first, over_second @ second])
    away_first, away_second = first - mean[0], second - mean[1]
    cross = float(away_first @ weight @ away_second)
    spread = np.array(
        [[over_first @ away_first**2, cross], [cross, over_second @ away_second**2]], dtype=np.float64
    )
    return mean, spread, noises[peaks > peaks.max() - _NEGLIGIBLE]
