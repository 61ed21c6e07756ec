"""Two clocks put on one line: by steps that both logs show, else by what is declared or stamped."""

from __future__ import annotations

import importlib.util
import sys
from datetime import datetime, timedelta
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from reviewkit import logs
from reviewkit.errors import LogError
from reviewkit.logs import clock_sync
from reviewkit.logs.clock_sync import feasible

BEGAN = datetime(2025, 3, 1, 20, 0, 0)


def _study() -> ModuleType:
    place = Path(__file__).parent / "benchmarks" / "clock_offset.py"
    spec = importlib.util.spec_from_file_location("clock_offset_study", place)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


STUDY = _study()


def charge(
    *, behind_s: float, voltage_s: float = 1.0, current_s: float = 1.0, steps: tuple[float, ...] = (100.0,)
) -> tuple[logs.Log, logs.Log]:
    """Return both logs of a current that toggles between 0 and 0.8 A, without noise."""
    own_s = np.arange(0.0, 600.0, voltage_s)
    other_s = np.arange(0.37, 600.0, current_s)

    def amps(moments: np.ndarray) -> np.ndarray:
        return 0.8 * (np.searchsorted(np.array(steps), moments, side="right") % 2)

    volts = np.round(3.6 + own_s * 2e-5 + 0.06 * amps(own_s), 3)
    voltage = pd.Series(volts, index=own_s)
    current = pd.Series(amps(other_s), index=other_s - behind_s)
    return (
        logs.of_series(voltage, "V", path="v.csv", stamp_step_s=0.001),
        logs.of_series(current, "A", path="i.csv", stamp_step_s=0.001),
    )


def test_one_step_gives_the_offset_within_the_two_sample_intervals() -> None:
    voltage, current = charge(behind_s=42.0, voltage_s=2.0, current_s=1.0)
    found = clock_sync.align(voltage, current)
    assert found.how == "steps"
    assert found.steps_used == 1
    assert found.offset.low <= 42.0 <= found.offset.high
    # Two rectangular doubts of half a sample interval each, and the stamps' step (GUM 4.3.7).
    assert [part.size for part in found.offset.components] == pytest.approx([1.0, 0.5], abs=0.002)
    assert {part.distribution for part in found.offset.components} == {"rectangular"}


def test_more_steps_narrow_the_offset() -> None:
    one = clock_sync.align(*charge(behind_s=42.0, voltage_s=5.0, current_s=3.0))
    many = clock_sync.align(
        *charge(behind_s=42.0, voltage_s=5.0, current_s=3.0, steps=(100.0, 201.3, 252.1, 330.7, 404.4))
    )
    assert many.steps_used == 5
    assert many.offset.expanded < one.offset.expanded
    assert many.offset.low <= 42.0 <= many.offset.high


def test_clocks_with_dates_are_compared_as_clocks_and_indices_as_indices() -> None:
    voltage, current = charge(behind_s=42.0)
    # The current log's own second 0 is 30 s later than the voltage log's by the clocks.
    dated = logs.of_series(voltage.series, "V", path="v", started=BEGAN, stamp_step_s=0.001)
    later = logs.of_series(
        current.series, "A", path="i", started=BEGAN + timedelta(seconds=30), stamp_step_s=0.001
    )
    found = clock_sync.align(dated, later)
    assert found.shift.low <= 42.0 <= found.shift.high
    assert found.offset.low <= 12.0 <= found.offset.high
    assert found.on_voltage_clock([0.0])[0] == pytest.approx(found.shift_s)


def test_without_a_step_the_declared_offset_is_used_and_said_so() -> None:
    voltage, current = charge(behind_s=0.0, steps=())
    found = clock_sync.align(voltage, current, declared_offset_s=17.0)
    assert (found.how, found.steps_used, found.offset.value) == ("declared", 0, 17.0)
    assert found.offset.expanded > 1.0
    assert "declared" in found.note


def test_without_a_step_the_clocks_own_times_are_used_with_a_wide_doubt() -> None:
    voltage, current = charge(behind_s=0.0, steps=())
    dated = logs.of_series(voltage.series, "V", path="v", started=BEGAN)
    later = logs.of_series(current.series, "A", path="i", started=BEGAN + timedelta(seconds=30))
    found = clock_sync.align(dated, later)
    assert (found.how, found.offset.value, found.shift_s) == ("stamps", 0.0, 30.0)
    assert found.offset.expanded > 60.0


def test_nothing_in_common_is_an_error_that_says_what_to_do() -> None:
    with pytest.raises(LogError, match="clock_offset_s"):
        clock_sync.align(*charge(behind_s=0.0, steps=()))


def test_one_file_has_one_clock() -> None:
    voltage, current = charge(behind_s=0.0)
    found = clock_sync.align(voltage, logs.of_series(current.series, "A", path="v.csv"))
    assert (found.offset.value, found.offset.expanded, found.how) == (0.0, 0.0, "stamps")


def test_a_charger_that_pulses_evenly_is_called_ambiguous() -> None:
    voltage, current = charge(behind_s=0.0, steps=tuple(np.arange(0.5, 600.0, 30.0)))
    assert "ambiguous" in clock_sync.align(voltage, current).note


def test_a_lead_pulled_off_is_no_answer_to_the_current() -> None:
    voltage, current = charge(behind_s=42.0)
    pulled = voltage.series.copy()
    pulled.iloc[400:420] = 0.0
    found = clock_sync.align(logs.of_series(pulled, "V", path="v", stamp_step_s=0.001), current)
    assert found.offset.low <= 42.0 <= found.offset.high


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("bench", STUDY.BENCHES[:6], ids=lambda bench: bench.name)
def test_simulated_charges_are_put_on_one_line_within_a_sample(bench: object, seed: int) -> None:
    voltage, current, offset_s = STUDY.run(bench, 1000 + seed)
    found = clock_sync.align(voltage, current)
    sample_s = max(voltage.report.interval_s, current.report.interval_s)
    # Whole-second stamps of both meters may add up to another second.
    assert abs(found.offset.value - offset_s) <= sample_s + voltage.report.stamp_lag_s
    assert found.offset.low <= offset_s <= found.offset.high


def test_a_difference_of_rates_shows_over_a_long_log() -> None:
    at_s = np.linspace(0.0, 40_000.0, 9)
    drift = 100e-6
    found = feasible.bounds(at_s, 5 + drift * at_s - 0.5, 5 + drift * at_s + 0.5, most_scatter_s=1.0)
    assert found is not None
    assert found.rate == pytest.approx(drift, abs=found.rate_half)
    assert found.rate_half < 20e-6
    assert abs(found.shift_s - 5) < found.shift_half_s


def test_pairs_that_contradict_each_other_allow_nothing() -> None:
    at_s = np.array([0.0, 10.0])
    assert feasible.bounds(at_s, np.array([0.0, 50.0]), np.array([1.0, 51.0]), most_scatter_s=1.0) is None


def test_a_merged_table_draws_lines_within_samples_and_never_across_a_gap() -> None:
    volts = pd.Series([3.0, 3.2, np.nan, 3.4], index=[0.0, 2.0, 4.0, 6.0])
    amps = pd.Series([0.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 2.0], index=[*map(float, range(8)), 20.0])
    voltage = logs.of_series(volts, "V", path="v")
    current = logs.of_series(amps, "A", path="i")
    alignment = clock_sync.align(voltage, current, declared_offset_s=-1.0)
    merged = clock_sync.merge(voltage, current, alignment)
    assert list(merged.columns) == ["time_s", "voltage_V", "current_A"]
    by_time = merged.set_index("time_s")
    assert alignment.shift_s == -1.0
    assert by_time.loc[1.0].tolist() == pytest.approx([3.1, 1.0])
    assert by_time.loc[-1.0, "current_A"] == 0.0
    assert np.isnan(by_time.loc[-1.0, "voltage_V"])
    assert by_time.loc[2.0, "voltage_V"] == 3.2
    assert np.isnan(by_time.loc[3.0, "voltage_V"])
    assert by_time.loc[6.0, "voltage_V"] == 3.4
    assert by_time.loc[19.0, "current_A"] == 2.0
    own = clock_sync.merge(voltage, current, alignment, rows="voltage")
    assert own["time_s"].tolist() == [0.0, 2.0, 4.0, 6.0]
    # The current has a gap from 6 s to 19 s on this clock; its last row before it is at 6 s.
    assert own["current_A"].tolist() == [1.0, 1.0, 1.0, 1.0]


def test_rows_that_a_shift_brings_to_one_time_do_no_harm() -> None:
    near_s = [0.0, 1e-9, 1.0]
    voltage = logs.of_series(pd.Series([3.0, 3.1, 3.2], index=[1e6, 1e6 + 1, 1e6 + 2]), "V", path="v")
    current = logs.of_series(pd.Series([1.0, 2.0, 3.0], index=near_s), "A", path="i")
    merged = clock_sync.merge(voltage, current, clock_sync.align(voltage, current, declared_offset_s=1e6))
    assert merged.set_index("time_s")["current_A"].loc[1e6 + 1].tolist() == 3.0
