"""A charge logged in very many rows: fewer of them say the same."""

from __future__ import annotations

import numpy as np
import pytest
from simulate.meters import LoggingMeter
from simulate.scenario import Scenario

from reviewkit import charge
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
