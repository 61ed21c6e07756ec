"""A drain log split into base, pulses and mean: simulated integrating meters whose truth is exact."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import signal
from simulate.drain import PulseTrain, averages, meter_log

from reviewkit.drain import decompose
from reviewkit.drain.decompose import settled
from reviewkit.drain.features import over_cycles
from reviewkit.drain.pulse_train import Train
from reviewkit.drain.samples import Samples
from reviewkit.metrology import Measured
from reviewkit.metrology.meter import meter

RANGE = meter({"accuracy": "±(1.0 % + 3)", "resolution": 1e-6, "full_scale": 0.01}, "A")
FINE = meter({"accuracy": "±(1.0 % + 3)", "resolution": 1e-7, "full_scale": 6e-4}, "A")


def log(
    source: PulseTrain, interval_s: float, length_s: float, *, seed: int = 1, **more: object
) -> pd.Series:
    draw = np.random.default_rng(seed)
    return meter_log(source, interval_s=interval_s, length_s=length_s, meter=RANGE, draw=draw, **more)


def holds(value: Measured | None, truth: float) -> bool:
    return value is not None and abs(value.value - truth) <= value.expanded


def test_the_simulated_meter_integrates_exactly() -> None:
    """The closed form of the charge equals a fine sum, so that the truth below is one."""
    source = PulseTrain(1e-4, 2e-3, 0.037, 1.31, 0.4)
    fine = np.arange(0, 20, 1e-4) + 5e-5
    high = ((fine - 0.4) % 1.31) < 0.037
    summed = (1e-4 + 2e-3 * high).reshape(200, 1000).mean(axis=1)
    shown = averages(source, np.arange(1, 201) * 0.1, 0.1)
    assert np.allclose(summed, shown, atol=2e-3 * 2e-4 / 0.1)


@pytest.mark.parametrize("interval_s", [0.1, 1.0])
def test_mean_is_base_plus_height_times_duty(interval_s: float) -> None:
    """An analytic train: the mean needs no resolved pulse where windows leave no gaps."""
    source = PulseTrain(45e-6, 2.4e-3, 0.030, 5.003, 2.0)
    split = decompose(log(source, interval_s, 300), meter=RANGE, aperture_s=interval_s)
    assert holds(split.mean.value, 45e-6 + 2.4e-3 * 0.030 / 5.003)
    assert holds(split.features.base.value, 45e-6)
    assert holds(split.features.period.value, 5.003)


def test_wide_pulses_are_resolved() -> None:
    source = PulseTrain(0.3e-3, 1.5e-3, 0.42, 3.3, 1.0)
    shape = decompose(log(source, 0.1, 200), meter=RANGE, aperture_s=0.1).features
    assert holds(shape.height.value, 1.5e-3)
    assert holds(shape.width.value, 0.42)
    assert shape.width.value is not None
    # A tenth of a row: no digit beyond what rows of 0.1 s can carry.
    assert 0.01 <= shape.width.value.expanded < 0.0115


@pytest.mark.parametrize("width_s", [0.005, 0.06, 0.1, 0.15, 0.19, 0.199])
def test_a_width_under_two_rows_is_never_resolved(width_s: float) -> None:
    for seed in range(6):
        source = PulseTrain(1e-4, 3e-3, width_s, 2.0 + 0.37 * seed, 0.3)
        shape = decompose(log(source, 0.1, 120, seed=seed), meter=RANGE, aperture_s=0.1).features
        assert not shape.width.resolved
        assert not shape.height.resolved
        assert shape.height.low is not None
        assert shape.height.low <= 3e-3 * 1.02
        assert shape.width.high is not None
        assert shape.width.high >= width_s * 0.98


def test_period_agrees_with_the_autocorrelation() -> None:
    """Second opinion from scipy: the lag of the strongest autocorrelation of the same rows."""
    rows = log(PulseTrain(2e-4, 1.2e-3, 0.25, 4.0, 1.0), 0.1, 300)
    period = decompose(rows, meter=RANGE, aperture_s=0.1).features.period.value
    centred = rows.to_numpy() - rows.mean()
    correlation = signal.correlate(centred, centred)[len(rows) :]
    peaks, _ = signal.find_peaks(correlation, height=0.8 * correlation.max())
    assert period is not None
    assert period.value == pytest.approx((peaks[0] + 1) * 0.1, abs=0.05)


def test_period_agrees_with_the_spectrum() -> None:
    """Second opinion from scipy: the fundamental in Welch's spectrum of the same rows."""
    rows = log(PulseTrain(2e-4, 1.2e-3, 0.9, 2.37, 1.0), 0.1, 400)
    period = decompose(rows, meter=RANGE, aperture_s=0.1).features.period.value
    frequency, power = signal.welch(rows.to_numpy(), fs=10.0, nperseg=2048, detrend="constant")
    assert period is not None
    assert 1 / period.value == pytest.approx(frequency[np.argmax(power)], abs=1.0 / 204.8)


def test_a_wrong_period_costs_by_the_mean_over_the_lowest_rows() -> None:
    """One row in fourteen dips: it is the level beneath, between the pulses, that a wrong cut leaves in."""
    time_s = np.arange(280.0)
    current_A = np.full(280, 20e-6)
    current_A[5::14], current_A[12::14] = 100e-6, 10e-6
    one = Samples(time_s, current_A, np.ones(280), 1.0)
    train = Train(14.0, 0.1, 5.0, 19, np.full(19, 80e-6), 5.0 + 14.0 * np.arange(19), 1.0, False, 1.0)
    found = over_cycles(one, train, RANGE).value
    assert found is not None
    (period,) = (part for part in found.components if part.name == "period")
    # (12 · 20 + 100 + 10)/14 = 25 µA: 15 µA over the dips.
    assert (period.size, period.sensitivity) == (0.1, pytest.approx(15e-6 / 14, rel=1e-6))


def test_three_and_a_half_periods_are_not_three() -> None:
    """The rows' own mean holds half a pulse's cycle too few; whole cycles hold none."""
    source = PulseTrain(1e-5, 4e-3, 0.5, 10.0, 0.2)
    rows = log(source, 0.1, 35.0)
    split = decompose(rows, meter=RANGE, aperture_s=0.1)
    assert abs(split.mean.rows_mean_A - source.mean_A) > 2e-5
    assert holds(split.mean.value, source.mean_A)
    assert split.mean.cycles in (2, 3)


def test_two_pulses_make_no_period_and_the_count_is_in_doubt() -> None:
    source = PulseTrain(1e-5, 4e-3, 0.5, 10.0, 4.0)
    split = decompose(log(source, 0.1, 19.0), meter=RANGE, aperture_s=0.1)
    assert not split.features.period.resolved
    assert holds(split.mean.value, source.mean_A)
    names = [part.name for part in split.mean.value.components]
    assert "one pulse more or fewer in the log" in names


def test_a_faster_train_than_the_rows_show_is_not_resolved() -> None:
    """A pulse every 1.2 s in 1 s rows looks like one every 6 s: nothing but bounds, and the mean."""
    source = PulseTrain(1e-3, 3e-3, 0.35, 1.2, 0.1)
    split = decompose(log(source, 1.0, 300), meter=RANGE, aperture_s=1.0)
    shape = split.features
    assert not any((shape.period.resolved, shape.base.resolved, shape.width.resolved))
    assert shape.base.high is not None
    assert shape.base.high >= 1e-3
    assert holds(split.mean.value, source.mean_A)


def test_a_window_equal_to_the_period_hides_the_pulses() -> None:
    """Nothing stands out; the mean is right all the same."""
    source = PulseTrain(1e-4, 2e-3, 0.02, 1.0, 0.4)
    split = decompose(log(source, 1.0, 120), meter=RANGE, aperture_s=1.0)
    assert split.detection.pulses == 0
    assert not split.features.period.resolved
    assert holds(split.mean.value, source.mean_A)


@pytest.mark.parametrize("period_s", [5.0003, 4.9, 3.37])
def test_windows_with_gaps_bound_the_mean(period_s: float) -> None:
    """A meter that looks for a tenth of each second, nearly in step: no value, and bounds that hold."""
    source = PulseTrain(5e-5, 2e-3, 0.08, period_s, 0.93)
    split = decompose(log(source, 1.0, 600, aperture_s=0.1), meter=RANGE, aperture_s=0.1)
    assert split.mean.value is None
    assert split.mean.low is not None
    assert split.mean.low <= source.mean_A
    assert split.mean.high is None or split.mean.high >= source.mean_A
    assert not split.features.width.resolved
    assert split.mean.why == "gaps"


def test_gaps_that_hide_every_pulse_leave_no_upper_bound() -> None:
    source = PulseTrain(5e-5, 2e-3, 0.08, 5.0, 0.3)
    split = decompose(log(source, 1.0, 300, aperture_s=0.1), meter=RANGE, aperture_s=0.1)
    assert split.detection.pulses == 0
    assert split.mean.value is None
    assert split.mean.high is None
    assert split.mean.low is not None
    assert split.mean.low <= source.mean_A


def test_unlike_pulses_contradict_windows_that_nobody_declared() -> None:
    """Pulses cut by undeclared gaps carry unlike charges; the mean is then a bound."""
    source = PulseTrain(5e-5, 2e-3, 0.3, 5.03, 0.93)
    split = decompose(log(source, 1.0, 900, aperture_s=0.3), meter=RANGE)
    assert split.windows == "contradicted"
    assert split.mean.value is None
    assert split.mean.low is not None
    assert split.mean.high is not None
    assert split.mean.low <= source.mean_A <= split.mean.high


def test_undeclared_windows_are_taken_as_gapless_and_said_so() -> None:
    split = decompose(log(PulseTrain(5e-5, 2e-3, 0.3, 5.03, 0.9), 0.1, 200), meter=RANGE)
    assert split.windows == "borne out"


def test_a_base_of_two_display_steps_is_decomposed() -> None:
    """2 µA on a range that shows 1 µA: the pulses and the mean still come out, the base within its doubt."""
    source = PulseTrain(2e-6, 1e-3, 0.3, 4.1, 1.0)
    split = decompose(log(source, 0.1, 200), meter=RANGE, aperture_s=0.1)
    assert holds(split.features.base.value, 2e-6)
    assert holds(split.features.height.value, 1e-3)
    assert holds(split.mean.value, source.mean_A)


def test_pulses_over_a_drifting_base() -> None:
    source = PulseTrain(1e-4, 1e-3, 0.3, 4.1, 1.0)
    rows = log(source, 0.1, 300, extra_A=lambda time: 4e-5 * time / 300)
    split = decompose(rows, meter=RANGE, aperture_s=0.1)
    assert holds(split.features.period.value, 4.1)
    assert holds(split.mean.value, source.mean_A + 2e-5)
    assert split.drift_A is not None


@pytest.mark.parametrize("asleep_s", [40.0, 400.0])
def test_figures_come_from_the_settled_part(asleep_s: float) -> None:
    """Awake at the start, or for most of the log."""
    source = PulseTrain(4.5e-5, 4e-4, 0.3, 5.003, 2.0)
    rows = log(source, 0.1, 600, extra_A=lambda time: np.where(time < asleep_s, 3e-3, 0.0))
    split = decompose(rows, meter=RANGE, aperture_s=0.1)
    assert asleep_s <= split.settled.start_s <= asleep_s + 25
    assert not split.settled.from_start
    assert split.settled.level_before_A == pytest.approx(3.05e-3, rel=0.05)
    assert holds(split.mean.value, source.mean_A)


def test_pulses_are_no_change_of_state() -> None:
    rows = log(PulseTrain(4.5e-5, 5e-3, 0.5, 9.7, 2.0), 0.1, 300)
    assert settled(rows, resolution_A=1e-6).from_start


def test_overloads_in_the_settled_part_make_the_mean_a_lower_bound() -> None:
    source = PulseTrain(5e-5, 20e-3, 0.3, 5.03, 0.9)
    rows = log(source, 0.1, 200)
    rows[rows > RANGE.full_scale] = np.nan
    mean = decompose(rows, meter=RANGE, aperture_s=0.1).mean
    assert mean.value is None
    assert mean.high is None
    assert mean.low is not None
    assert 5e-5 < mean.low <= source.mean_A
    assert mean.why == "overload"


def test_overloads_before_the_device_slept_cost_nothing() -> None:
    rows = log(PulseTrain(5e-5), 0.1, 200)
    rows.iloc[:300] = np.nan
    split = decompose(rows, meter=RANGE, aperture_s=0.1)
    assert not split.settled.from_start
    assert holds(split.mean.value, 5e-5)


def test_time_without_rows_is_in_the_budget() -> None:
    rows = log(PulseTrain(5e-5), 0.1, 200)
    holed = rows[(rows.index < 80) | (rows.index > 110)]
    value = decompose(holed, meter=RANGE, aperture_s=0.1).mean.value
    assert value is not None
    assert "time without rows" in [part.name for part in value.components]


def test_a_steady_level_has_no_pulses() -> None:
    """No false pulse in noise of four counts."""
    for seed in range(20):
        rows = log(PulseTrain(1e-3), 0.1, 120, seed=seed, noise_A=4e-6)
        split = decompose(rows, meter=RANGE, aperture_s=0.1)
        assert split.detection.pulses == 0
        assert holds(split.mean.value, 1e-3)


def test_accuracy_is_shared_and_not_averaged_down() -> None:
    short = decompose(log(PulseTrain(1e-3), 0.1, 30), meter=RANGE, aperture_s=0.1).mean.value
    long = decompose(log(PulseTrain(1e-3), 0.1, 900), meter=RANGE, aperture_s=0.1).mean.value
    assert short is not None
    assert long is not None
    assert long.expanded > 0.95 * short.expanded
    assert RANGE.label in [part.shared for part in long.components]


def test_a_day_of_rows_is_followed_from_its_first_hours() -> None:
    """More rows than the spectrum takes: the train is followed to the end."""
    source = PulseTrain(4.5e-5, 4e-4, 0.3, 5.0037, 2.0)
    split = decompose(log(source, 0.1, 30_000), meter=RANGE, aperture_s=0.1)
    assert split.features.period.value is not None
    assert split.features.period.value.value == pytest.approx(5.0037, rel=1e-5)
    assert holds(split.mean.value, source.mean_A)


@pytest.mark.parametrize(
    ("index", "words"), [([0.0], "fewer than two rows"), ([0.0, 1.0, 1.0, 2.0], "don't increase")]
)
def test_unusable_logs_say_why(index: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        decompose(pd.Series([1e-3] * len(index), index=index), meter=RANGE)


def test_a_log_of_overloads_says_why() -> None:
    with pytest.raises(ValueError, match="fewer than two readings"):
        decompose(pd.Series([np.nan] * 30, index=np.arange(30.0)), meter=RANGE)


def test_seeded_trains_stay_inside_their_uncertainty() -> None:
    """Base, height, width and period at random; benchmarks/honest_intervals.py does so in reviews."""
    draw = np.random.default_rng(77)
    inside = resolved = close = 0
    count = 60
    for number in range(count):
        source = PulseTrain(
            draw.uniform(0, 3e-3),
            draw.uniform(0.2e-3, 5e-3),
            draw.uniform(5e-3, 0.5),
            draw.uniform(1, 10),
            draw.uniform(0, 10),
        )
        interval = 0.1 if number % 2 else 1.0
        rows = meter_log(source, interval_s=interval, length_s=240, meter=RANGE, draw=draw)
        split = decompose(rows, meter=RANGE, aperture_s=interval)
        inside += holds(split.mean.value, source.mean_A)
        period = split.features.period.value
        if period is not None:
            resolved += 1
            close += abs(period.value / source.period_s - 1) < 0.01
        assert not (split.features.width.resolved and source.width_s < 2 * interval)
    assert inside >= 0.95 * count
    assert resolved >= 0.9 * count
    assert close == resolved


def quiet(level: float) -> pd.Series:
    draw = np.random.default_rng(5)
    return meter_log(PulseTrain(level), interval_s=1.0, length_s=60, meter=FINE, draw=draw)


def test_finer_range_narrows_the_mean() -> None:
    coarse = decompose(log(PulseTrain(2e-5), 1.0, 60), meter=RANGE, aperture_s=1.0).mean.value
    fine = decompose(quiet(2e-5), meter=FINE, aperture_s=1.0).mean.value
    assert coarse is not None
    assert fine is not None
    assert fine.expanded < 0.4 * coarse.expanded


def test_rows_nearly_as_often_as_the_pulses_show_no_base() -> None:
    """A pulse each 1.077 s in rows of 1 s: nearly every row holds one; the few others are no noise."""
    rows = log(PulseTrain(2.06e-4, 1.225e-3, 0.124, 1.077, 5.3), 1.0, 330)
    split = decompose(rows, meter=RANGE, aperture_s=1.0)
    assert split.features.base.value is None
    assert split.features.base.high is not None
    assert split.features.base.high >= 2.06e-4
    assert split.features.height.low is not None
    assert split.features.height.low <= 1.225e-3
    assert holds(split.mean.value, 2.06e-4 + 1.225e-3 * 0.124 / 1.077)
