"""A record's rows: what is thinned, where no voltage is known, what a gap is, how a reading scatters."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from test_charge_numbers import AMMETER, VOLTMETER

from reviewkit import charge
from reviewkit.charge import record
from reviewkit.charge.record import ChargeRecord
from reviewkit.logs.log import Gap


def of(volt_s: np.ndarray, amp_s: np.ndarray) -> ChargeRecord:
    """Half a millivolt a second, and 1 A."""
    return charge.on_one_clock(
        pd.Series(3.6 + 5e-4 * volt_s, volt_s),
        pd.Series(np.ones(len(amp_s)), amp_s),
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
    )


@pytest.mark.parametrize(("volts", "amps"), [(100_000, 50), (50, 100_000)])
def test_either_log_of_very_many_rows_is_thinned(volts: int, amps: int) -> None:
    one = of(np.arange(float(volts)), np.arange(float(amps)))
    assert one.thinned.whole is one
    assert sorted((len(one.thinned.voltage_V), len(one.thinned.current_A))) == [50, 25_000]
    few = of(np.arange(50.0), np.arange(50.0))
    assert few.thinned is few


def test_a_gap_of_a_thinned_log_is_one_of_the_whole_for_most_of_its_time() -> None:
    """Ten seconds; whole gaps of more than five within it. Others elsewhere have no part in it."""
    for length, kept in ((5.1, 1), (4.9, 0)):
        assert len(record._also_in([Gap(0.0, 10.0)], [Gap(0.0, length)])) == kept
        assert len(record._also_in([Gap(0.0, 10.0)], [Gap(-50.0, length)])) == kept
    elsewhere = [Gap(100.0 * number, 100.0 * number + 50) for number in range(1, 9)]
    assert record._also_in([Gap(0.0, 10.0)], elsewhere) == ()
    assert record._also_in([Gap(0.0, 10.0)], []) == ()
    assert record._also_in([Gap(0.0, 10.0), Gap(20.0, 30.0)], [Gap(20.0, 30.0)]) == (Gap(20.0, 30.0),)


def test_within_a_gap_of_its_log_a_voltage_is_not_known() -> None:
    """Whether the gap is the log's first interval, lies within it or is its last; and outside the log."""
    volt_s = np.concatenate(([0.0], np.arange(50.0, 60.0), np.arange(100.0, 110.0), [160.0]))
    one = of(volt_s, np.arange(200.0))
    told = one.voltage_near([0.0, 20.0, 55.5, 80.0, 105.0, 140.0, 160.0, 170.0])
    assert np.isnan(told).tolist() == [True, True, False, True, False, True, True, True]
    assert told[[2, 4]] == pytest.approx(3.6 + 5e-4 * np.array([55.5, 105.0]))


def test_a_charge_needs_five_readings_of_either_log() -> None:
    assert len(of(np.arange(5.0), np.arange(5.0)).time_s) == 5
    for volts, amps in ((4, 5), (5, 4)):
        with pytest.raises(ValueError, match="4 readings; a charge needs at least five"):
            of(np.arange(float(volts)), np.arange(float(amps)))


def test_a_gap_is_found_by_the_row_before_it() -> None:
    one = of(np.arange(20.0), np.concatenate((np.arange(10.0), 50 + np.arange(10.0))))
    assert one.gap_after(9.0) == Gap(9.0, 50.0)
    assert one.gap_after(5.0) is None
    assert one.gap_after(50.0) is None


def test_rows_out_of_order_are_sorted_and_missing_ones_left_out() -> None:
    series = pd.Series([1.0, np.nan, 3.0, 2.0, 2.5], [0.0, 1.0, 4.0, 2.0, 2.0])
    found = record.clean(series)
    assert found.index.tolist() == [0.0, 2.0, 2.0, 4.0]
    assert found.tolist() == [1.0, 2.0, 2.5, 3.0]


# ------------------------------------------------------------------ noise


def test_three_readings_have_a_scatter() -> None:
    """Two differences of 0.1: their root mean square over √2."""
    assert record.noise_of(np.array([1.0, 1.1, 1.0]), 0.001) == pytest.approx(0.1 / np.sqrt(2))


def test_steps_within_a_tenth_are_noise_where_a_current_is_switched() -> None:
    """Two levels of each on-time, 1 A and 1.15 A, each with 2 mA of noise: 13 % between them is none."""
    pulse = [0.0, 0.0, 1.0, 1.002, 1.0, 1.002, 1.15, 1.152, 1.15, 1.152]
    assert record.noise_of(np.tile(pulse, 40), 1e-4) == pytest.approx(0.002 / np.sqrt(2), rel=1e-6)
    near = [0.0, 0.0, 1.0, 1.002, 1.0, 1.002, 1.09, 1.092, 1.09, 1.092]
    assert record.noise_of(np.tile(near, 40), 1e-4) > 0.02


def test_a_current_is_switched_where_more_than_a_twenty_fifth_of_its_steps_are_switchings() -> None:
    """Two of 33: what is left of 2 mA of noise between them."""
    pulse = np.concatenate((np.where(np.arange(32) % 2, 1.0, 1.002), [0.0]))
    assert record.noise_of(np.tile(pulse, 40), 1e-4) == pytest.approx(0.002 / np.sqrt(2), rel=1e-6)


def test_where_nothing_stands_still_every_step_is_noise() -> None:
    values = np.arange(400) % 2 + 0.0
    assert record.noise_of(values, 1e-4) == pytest.approx(1 / np.sqrt(2))
