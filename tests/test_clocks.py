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
import yaml
from adversary import draw

from reviewkit import logs
from reviewkit.errors import LogError
from reviewkit.logs import clock_sync
from reviewkit.logs.clock_sync import bounds

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
    *,
    behind_s: float,
    voltage_s: float = 1.0,
    current_s: float = 1.0,
    steps: tuple[float, ...] = (100.0,),
    lasts_s: float = 600.0,
    amps_on: float = 0.8,
) -> tuple[logs.Log, logs.Log]:
    """Return both logs of a current that toggles between 0 and its full value, without noise."""
    own_s = np.arange(0.0, lasts_s, voltage_s)
    other_s = np.arange(0.37, lasts_s, current_s)

    def amps(moments: np.ndarray) -> np.ndarray:
        return amps_on * (np.searchsorted(np.array(steps), moments, side="right") % 2)

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
    # Two rectangular doubts of half a sample interval each, and the stamps' step (GUM 4.3.7); a fiftieth of
    # the voltage's jump could hide in the row before it, were that a mean.
    assert [part.size for part in found.offset.components] == pytest.approx([1.02, 0.5], abs=0.002)
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


def test_a_charger_that_pulses_evenly_leaves_its_period_open() -> None:
    voltage, current = charge(behind_s=0.0, steps=tuple(np.arange(0.5, 600.0, 30.0)))
    found = clock_sync.align(voltage, current)
    assert found.offset.low < -30.0 < 30.0 < found.offset.high


def test_all_ways_in_which_steps_fit_are_carried_and_named() -> None:
    """One step of the current, two equal jumps of the voltage, nothing to tell which is its answer."""
    voltage, current = charge(behind_s=0.0)
    twice = voltage.series + 0.06 * (voltage.series.index.to_numpy() >= 420.0)
    found = clock_sync.align(logs.of_series(twice, "V", path="v.csv", stamp_step_s=0.001), current)
    assert found.ambiguous
    assert len(found.alternatives) == 2
    assert all(found.offset.low <= way.shift_s <= found.offset.high for way in found.alternatives)
    assert "ambiguous" in found.note
    assert "clock_offset_s" in found.note


def test_of_clocks_that_show_the_time_the_likelier_offset_is_taken() -> None:
    """The same two jumps, but with dates: forty minutes away is not believed where none fits as well."""
    voltage, current = charge(behind_s=0.0, lasts_s=4000.0)
    twice = voltage.series + 0.06 * (voltage.series.index.to_numpy() >= 2900.0)
    found = clock_sync.align(
        logs.of_series(twice, "V", path="v.csv", started=BEGAN, stamp_step_s=0.001),
        logs.of_series(current.series, "A", path="i.csv", started=BEGAN, stamp_step_s=0.001),
    )
    assert not found.ambiguous
    assert found.offset.low <= 0.0 <= found.offset.high


def test_a_declared_offset_that_the_steps_contradict_is_named() -> None:
    found = clock_sync.align(*charge(behind_s=42.0), declared_offset_s=-300.0)
    assert found.offset.low <= 42.0 <= found.offset.high
    assert "contradict" in found.note


def test_an_implausible_offset_of_dated_logs_is_said_to_be_one() -> None:
    voltage, current = charge(behind_s=1000.0, lasts_s=2000.0, steps=(1100.0,))
    found = clock_sync.align(
        logs.of_series(voltage.series, "V", path="v.csv", started=BEGAN, stamp_step_s=0.001),
        logs.of_series(current.series, "A", path="i.csv", started=BEGAN, stamp_step_s=0.001),
    )
    assert found.offset.low <= 1000.0 <= found.offset.high
    assert "same charge" in found.note


def test_implausible_rates_are_said_to_be_so() -> None:
    voltage, current = charge(behind_s=0.0, lasts_s=8000.0, steps=(100.0, 2100.0, 4300.0, 7900.0))
    slow = current.series.set_axis(current.series.index.to_numpy() * (1 - 8e-4))
    found = clock_sync.align(voltage, logs.of_series(slow, "A", path="i.csv", stamp_step_s=0.001))
    assert found.rate is not None
    assert found.rate.value == pytest.approx(8e-4, abs=2 * found.rate.expanded + 1e-5)
    assert "quartz" in found.note


def test_large_steps_are_found_in_logs_that_change_their_rate() -> None:
    """A row a second around what happens and one a minute between, and a current that hardly ever rests."""
    steps = (100.0, 400.0, 430.0, 1000.0, 1500.0, 1530.0)
    voltage, current = charge(behind_s=17.0, lasts_s=2000.0, steps=steps, amps_on=4.0)
    time = np.arange(0.0, 2000.0)
    near = np.min(np.abs(time[:, None] - np.array(steps)[None, :]), axis=1) < 20
    kept = near | (time % 60 == 0)
    found = clock_sync.align(
        logs.of_series(voltage.series[kept[: len(voltage.series)]], "V", path="v.csv", stamp_step_s=0.001),
        current,
    )
    assert found.how == "steps"
    assert found.offset.low <= 17.0 <= found.offset.high


def test_fast_pulses_are_aligned_by_where_they_begin_and_end() -> None:
    """On for 2 s, off for 1 s: which pulse is which no row tells; the first and the last do, to a period."""
    pulses = tuple(np.sort(np.r_[np.arange(200.3, 800.0, 3.0), np.arange(202.3, 801.5, 3.0)]))
    voltage, current = charge(behind_s=-25.0, lasts_s=1000.0, steps=pulses)
    found = clock_sync.align(voltage, current)
    assert found.offset.low <= -25.0 <= found.offset.high
    assert found.offset.expanded < 20.0


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
    found = bounds(at_s, 5 + drift * at_s - 0.5, 5 + drift * at_s + 0.5, most_scatter_s=1.0)
    assert found is not None
    assert found.rate == pytest.approx(drift, abs=found.rate_half)
    assert found.rate_half < 20e-6
    assert abs(found.shift_s - 5) < found.shift_half_s


def test_pairs_that_contradict_each_other_allow_nothing() -> None:
    at_s = np.array([0.0, 10.0])
    assert bounds(at_s, np.array([0.0, 50.0]), np.array([1.0, 51.0]), most_scatter_s=1.0) is None


@pytest.mark.parametrize(
    ("kind", "seed"),
    [
        ("pulses", 22),  # rows of 5 s among pulses of the voltage: they tell nothing of the resistance
        ("hiccups", 14),  # pauses of 5 s in rows that are means over 30 s
        (
            "soft_start",
            17,
        ),  # the voltage jumps where the ramp begins, a tenth of what the ramp will make of it
        ("pulses", 5),  # a train's edges known to 100 s, and a chance jump near one
        ("fold_slope", 13),  # one pair, and what fits best lies beside it
        ("hiccups", 5),  # dips that fit between two rows of the current
    ],
)
def test_what_only_seems_to_be_an_answer_does_not_narrow_the_offset(
    kind: str, seed: int, tmp_path: Path
) -> None:
    one = draw(kind, seed)
    one.write(tmp_path)
    run = yaml.safe_load((tmp_path / "review.yaml").read_text(encoding="utf-8"))["charge_runs"][0]
    voltage, current = (
        logs.read(run[name], unit, folder=tmp_path)  # type: ignore[arg-type]
        for name, unit in (("voltage", "V"), ("current", "A"))
    )
    found = clock_sync.align(voltage, current).offset
    true = one.truths["clock_offset"]
    assert found.low <= true.high
    assert found.high >= true.low
