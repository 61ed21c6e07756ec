"""A charge logged in very many rows: fewer of them say the same."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from simulate.meters import LoggingMeter
from simulate.scenario import Scenario

from reviewkit import charge
from reviewkit.charge import currents, statistics
from reviewkit.charge.analysis import ChargeResult
from reviewkit.logs import decimation
from reviewkit.schema.blocks import Ammeter, Voltmeter


def test_one_row_of_each_group_the_first_and_the_last_are_chosen() -> None:
    assert decimation.rows(99_999) == slice(None)
    chosen = decimation.rows(1_234_567)
    assert not isinstance(chosen, slice)
    assert (chosen[0], chosen[-1]) == (0, 1_234_566)
    assert 25_000 <= len(chosen) < 26_000
    assert np.all(np.diff(chosen) > 0)
    # No period of the rows is met in one phase alone.
    for period in range(2, 100):
        assert len(np.unique(chosen % period)) == period


def test_findings_from_fewer_rows_are_those_from_all(monkeypatch: pytest.MonkeyPatch) -> None:
    run = Scenario(
        voltmeter=LoggingMeter(percent=0.05, counts=2, noise=0.35e-3, interval_s=0.2),
        ammeter=LoggingMeter(percent=0.5, counts=3, noise=0.5e-3, interval_s=0.2),
    ).run()

    def analysed() -> ChargeResult:
        record = charge.on_one_clock(
            run.voltage_V,
            run.current_A,
            voltmeter=Voltmeter(accuracy="±(0.05 % + 2)", resolution="1 mV").meter(),
            ammeter=Ammeter(accuracy="±(0.5 % + 3)", resolution="1 mA").meter(),
        )
        return charge.analyse_one(record)

    fewer = analysed()
    monkeypatch.setattr(decimation, "rows", lambda count, most=0: slice(None))
    every = analysed()
    assert len(fewer.record.thinned.current) < len(every.record.thinned.current) / 3
    assert set(fewer.quantities) == set(every.quantities)
    for name, quantity in every.quantities.items():
        found = fewer.quantities[name]
        assert abs(found.value - quantity.value) <= 0.25 * found.expanded, name
        if name != "plateau_droop":  # to which the meters add next to nothing: scatter alone
            assert found.expanded <= 1.05 * quantity.expanded, name


def _current_only(time_s: np.ndarray, current_A: np.ndarray) -> charge.ChargeRecord:
    return charge.on_one_clock(
        pd.Series(np.full(len(time_s), 3.9), index=time_s),
        pd.Series(current_A, index=time_s),
        voltmeter=Voltmeter(accuracy="±(0.05 % + 2)", resolution="1 mV").meter(),
        ammeter=Ammeter(accuracy="±(0.5 % + 3)", resolution="1 mA").meter(),
    )


def test_rows_that_are_thinned_out_are_no_gaps() -> None:
    time_s = np.arange(250_000) * 0.1
    record = _current_only(time_s, np.full(len(time_s), 0.8))
    assert len(record.thinned.current) < len(time_s) / 8
    assert record.thinned.gaps == record.thinned.voltage_gaps == ()


def test_a_gap_of_a_thinned_log_is_one_where_rows_are_missing() -> None:
    """Ten minutes are missing; a second is, which lies between two of the rows that are left."""
    time_s = np.arange(250_000) * 0.1
    time_s = time_s[~((time_s > 9000) & (time_s < 9600)) & ~((time_s > 20_000) & (time_s < 20_001))]
    record = _current_only(time_s, np.full(len(time_s), 0.8))
    assert len(record.gaps) == 2
    for gaps in (record.thinned.gaps, record.thinned.voltage_gaps):
        (gap,) = gaps
        assert gap.start_s <= 9000.1
        assert gap.end_s >= 9599.9
        assert gap.length_s < 610


def test_what_gaps_hide_of_a_slope_is_what_numpy_fits_to_either_end() -> None:
    """Each gap's rows at its first and at its last level, by numpy.polyfit with the readings' weights."""
    rng = np.random.default_rng(5)
    time_s = np.arange(600) * 10.0
    time_s = time_s[~((time_s > 900) & (time_s < 1500)) & ~((time_s > 4000) & (time_s < 4100))]
    current_A = 0.8 - 1e-5 * time_s + rng.normal(0, 1e-3, len(time_s))
    record = _current_only(time_s, current_A)
    expected = 0.0
    for gap in record.gaps:
        missing = np.arange(gap.start_s, gap.end_s, max(10.0, gap.length_s / 200))
        both = []
        for end_s in (gap.start_s, gap.end_s):
            joined = np.concatenate([time_s, missing])
            values = np.concatenate([current_A, np.full(len(missing), current_A[time_s == end_s][0])])
            order = np.argsort(joined, kind="stable")
            joined, values = joined[order], values[order]
            slope, start = np.polyfit(joined, values, 1, w=np.sqrt(statistics.weights(joined)))
            both.append(100 * np.ptp(joined) * slope / (start + slope * joined[0]))
        expected += abs(both[0] - both[1]) / 2
    (found,) = currents._droop_gaps(record, time_s, current_A)
    assert len(record.gaps) == 2
    assert found.contribution == pytest.approx(expected / math.sqrt(3), rel=1e-6)
