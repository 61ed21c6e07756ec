"""Set voltage and series resistance: the posterior of a line behind a display, summed by scipy on a grid."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr
from test_charge_limits import AMMETER, VOLTMETER

from reviewkit.charge import series_resistance
from reviewkit.charge.series_resistance import correlation_length

STEP_V = 1e-3
NOISES = np.array([0.04, 0.1, 0.2, 0.35, 0.6, 1.0, 2.0, 4.0])
"""What a reading may scatter by, in display steps, each as likely as the next: chosen."""


def readings(
    noise: float, ohm: float, amp_step: float, count: int, seed: int
) -> tuple[np.ndarray, np.ndarray]:
    """A line from 1 A to 0.2 A on a display of 1 mV, each reading with so many steps of noise."""
    draw = np.random.default_rng(seed)
    amps = np.linspace(1.0, 0.2, count)
    volts = np.round((4.2 - ohm * amps + draw.normal(0, noise * STEP_V, count)) / STEP_V) * STEP_V
    return volts, np.round(amps / amp_step) * amp_step


def summed(volts: np.ndarray, amps: np.ndarray, amp_step: float) -> tuple[np.ndarray, np.ndarray]:
    """Mean and covariance of the line's ends: each reading says within which step the voltage lay.

    The current's own display moves a reading along the line by δ/√12 (GUM F.2.2.1); successive readings that
    repeat one another count as fewer.
    """
    span = np.ptp(amps)
    share = (amps - amps.min()) / span
    slope, start = np.polyfit(share, volts, 1)
    thin = correlation_length(volts - start - slope * share)
    noises = np.hypot(NOISES * STEP_V, abs(slope) / span * amp_step / np.sqrt(12))[:, None, None, None]

    def over(centre: np.ndarray, reach: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        low, high = (np.linspace(one - far, one + far, 21) for one, far in zip(centre, reach, strict=True))
        line = low[:, None, None] * (1 - share) + high[None, :, None] * share
        seen = ndtr((volts + STEP_V / 2 - line) / noises) - ndtr((volts - STEP_V / 2 - line) / noises)
        told = np.log(np.maximum(seen, 1e-300)).sum(axis=-1) / thin
        weight = np.exp(told - told.max()).sum(axis=0)
        weight /= weight.sum()
        places = np.stack(np.meshgrid(low, high, indexing="ij"))
        mean = (weight * places).sum(axis=(1, 2))
        away = places - mean[:, None, None]
        return mean, np.einsum("ij,aij,bij->ab", weight, away, away)

    scatter = float(np.std(volts - start - slope * share))
    mean, spread = over(np.array([start, start + slope]), np.full(2, max(STEP_V, 5 * scatter)))
    for _ in range(3):
        mean, spread = over(mean, 5 * np.sqrt(np.diag(spread)))
    return mean, spread


@pytest.mark.parametrize(
    ("noise", "ohm", "amp_step", "count", "seed"),
    [
        (0.04, 0.1, 1e-4, 60, 1),
        (0.1, 0.1, 1e-4, 60, 1),
        (0.35, 0.1, 1e-4, 60, 3),
        (1.0, 0.1, 1e-4, 30, 4),
        (1.2, 0.1, 1e-4, 60, 4),
        (2.0, 0.1, 1e-4, 60, 5),
        (4.0, 0.1, 1e-4, 60, 6),
        (0.04, 0.1, 0.02, 30, 4),
    ],
)
def test_a_line_behind_a_display_is_that_of_its_posterior(
    noise: float, ohm: float, amp_step: float, count: int, seed: int
) -> None:
    volts, amps = readings(noise, ohm, amp_step, count, seed)
    mean, spread = series_resistance._posterior(volts, amps, STEP_V, amp_step)
    expected, covariance = summed(volts, amps, amp_step)
    assert np.abs(mean - expected).max() < 0.02 * np.sqrt(np.diag(covariance)).min()
    assert spread == pytest.approx(covariance, rel=0.03)


@pytest.mark.parametrize(("span_A", "told"), [(0.0051, True), (0.0049, False)])
def test_a_current_that_changes_by_five_steps_of_its_display_tells_no_line(span_A: float, told: bool) -> None:
    amps = np.linspace(0.002, 0.002 + span_A, 40)
    found = series_resistance.regress(4.2 - 0.1 * amps, amps, voltmeter=VOLTMETER, ammeter=AMMETER)
    assert (found is not None) == told


def test_levels_that_differ_by_less_than_a_nanovolt_are_one() -> None:
    """What arithmetic leaves of a step is none: 10 mV between the four levels of a log, whatever is added."""
    volts = np.array([4.0, 4.0 + 4e-10, 4.01, 4.02, 4.03])
    assert series_resistance.display_step(volts, VOLTMETER) == pytest.approx(0.01, rel=1e-6)


def test_readings_beyond_half_of_a_log_are_not_taken_for_its_begin() -> None:
    """Correlations of a log with itself end with it: numpy's full correlation, up to its first zero."""
    draw = np.random.default_rng(11)
    for count in (5, 16, 17, 64):
        values = np.cumsum(draw.normal(0, 1, count))
        centred = values - values.mean()
        full = np.correlate(centred, centred, "full")[count - 1 :]
        full /= full[0]
        last = int(np.flatnonzero(full <= 0)[0])
        assert series_resistance.correlation_length(values) == pytest.approx(1 + 2 * full[1:last].sum())


def test_bins_of_the_current_are_four_for_a_step_of_the_voltage() -> None:
    """At least sixty, at most six hundred: the fewer readings share one, the less a step is blurred."""
    for levels, bins in ((10, 60), (50, 200), (300, 600)):
        share = np.linspace(0.0, 1.0, 5001)
        volts = 4.0 - STEP_V * levels * (share == 1.0)
        _, places, counts = series_resistance._grouped(volts, share, STEP_V, 1.0)
        assert len(places) in (bins, bins + 1)
        assert counts.sum() == pytest.approx(5001)
