"""Drains of every kind: what is told of them holds, and of what no split describes nothing more is told."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import drain_devices as devices
import numpy as np
import pandas as pd
import pytest

from reviewkit import drain
from reviewkit.drain import features
from reviewkit.drain.features import Mean
from reviewkit.drain.samples import Detection
from reviewkit.findings import Finding
from reviewkit.metrology import Component, Measured
from reviewkit.metrology.meter import meter

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))
import drain_kinds

RANGE = meter({"accuracy": "±(1.0 % + 3)", "resolution": 1e-6, "full_scale": 0.01}, "A")
SPEC = {"accuracy": "±(1.0 % + 3)", "resolution": "1 uA", "full_scale": "10 mA", "burden_ohm": 1}
CELL = {"rated_capacity_Ah": 3.0}


def split_of(one: devices.Record) -> drain.Decomposition:
    spec = {
        "accuracy": f"±({one.percent} % + {one.counts:g})",
        "resolution": one.resolution_A,
        "full_scale": one.full_scale_A,
    }
    log = pd.Series(one.current_A, index=one.time_s)
    return drain.decompose(log, meter=meter(spec, "A"), aperture_s=one.declared_s)


def test_what_is_told_of_drains_of_every_kind_holds(record_property: Any) -> None:
    """A part of `benchmarks/drain_kinds.py`: eight logs of each kind."""
    results = [drain_kinds.outcome(devices.record(seed)) for seed in range(8 * len(devices.KINDS))]
    cells = drain_kinds.counted(results)["cells"]
    assert not [one for one in results if "crash" in one]
    for name in drain_kinds.NAMES:
        values, held, bounds, bounds_held = cells[f"all {name}"]
        record_property("figure", f"{name}: {held} of {values} values, {bounds_held} of {bounds} bounds hold")
        assert held >= 0.95 * values - 1
        assert bounds_held >= 0.95 * bounds - 1
    assert cells["plain period"][0] >= 7
    assert cells["plain base"][0] == 8


@pytest.mark.parametrize(
    ("kind", "called"),
    [
        ("flat", {"steady"}),
        ("jittered", {"jittered"}),
        ("bursts", {"bursts"}),
        ("decaying", {"decaying"}),
    ],
)
def test_kinds_are_called_what_they_are(kind: str, called: set[str]) -> None:
    """In rows that are short beside the pulses; of twelve logs, ten."""
    found = [split_of(clear(kind, seed)).kind for seed in range(12)]
    assert sum(one in called for one in found) >= 10, found


def clear(kind: str, seed: int) -> devices.Record:
    """A log in which pulses are high and several rows long."""
    rng = np.random.default_rng(seed)
    starts = -3.0 + np.cumsum(4.0 * (1 + 0.2 * rng.uniform(-1, 1, 90)))
    if kind == "bursts":
        starts = (np.arange(60)[:, None] * 5.03 - 3 + np.arange(3)[None, :] * 0.9).ravel()
    if kind == "decaying":
        starts = np.arange(90) * 4.03 - 3
    pulse = devices.rectangles(starts, 0.37, 2e-3)
    if kind == "decaying":
        pulse = devices.decays(starts, 0.3, 2e-3)
    parts = [devices.level(2e-4), *([] if kind == "flat" else [pulse])]
    return logged(devices.summed(parts), seed)


def logged(charge: devices.Charge, seed: int = 1, *, length_s: float = 200.0) -> devices.Record:
    """A log of 0.1 s rows on the range of this file's meter."""
    rng = np.random.default_rng(seed)
    ends = np.arange(1, round(length_s / 0.1) + 1) * 0.1
    shown = (charge(ends) - charge(ends - 0.1)) / 0.1 + rng.normal(0, 4e-7, len(ends))
    truth = devices.Truth("", 0.0, 0.0, 0.0, charge)
    return devices.Record(ends, np.round(shown, 6), truth, 1e-6, 0.01, 1.0, 3, 0.1, 0.1, 0.1)


def test_jitter_is_a_range_of_intervals() -> None:
    starts = -3.0 + np.cumsum(4.0 * (1 + 0.2 * np.random.default_rng(3).uniform(-1, 1, 90)))
    charge = devices.summed([devices.level(2e-4), devices.rectangles(starts, 0.37, 2e-3)])
    split = split_of(logged(charge))
    between = np.diff(starts[(starts > 0) & (starts < 199)])
    period = split.features.period
    assert period.value is None
    assert period.low is not None
    assert period.high is not None
    assert period.low <= between.min() < 1.03 * period.low
    assert between.max() <= period.high < 1.03 * between.max()
    assert split.features.height.value is not None
    assert split.features.height.value.value == pytest.approx(2e-3, rel=0.002)


def test_a_fading_pulse_has_no_height_and_no_width() -> None:
    split = split_of(clear("decaying", 2))
    assert not split.features.height.resolved
    assert not split.features.width.resolved
    assert split.features.height.low is not None
    assert split.features.height.low <= 2e-3
    assert split.features.base.value is not None
    assert split.features.base.value.value == pytest.approx(2e-4, abs=2e-6)


def test_hum_that_beats_with_the_windows_gives_mean_and_extremes_only() -> None:
    """A hum of 50.3 Hz through windows of 20 ms: the rows swing, and there is no base."""
    one = logged(devices.summed([devices.level(1e-3), devices.sine(3e-4, 50.3, 0.4)]), length_s=120)
    ends = one.time_s
    rows = (one.truth.charge(ends) - one.truth.charge(ends - 0.012)) / 0.012
    log = pd.Series(np.round(rows, 6), index=ends)
    found = drain.decompose(log, meter=RANGE)
    assert found.kind == "wave"
    shape = found.features
    assert not any(one.resolved for one in (shape.base, shape.height, shape.width, shape.period))
    assert shape.lowest is not None
    assert shape.highest is not None
    assert shape.lowest.value == pytest.approx(rows.min(), abs=2e-6)
    assert shape.highest.value == pytest.approx(rows.max(), abs=2e-6)


def test_a_ramp_is_no_change_of_state_and_has_no_base() -> None:
    split = split_of(logged(devices.summed([devices.level(1e-4), devices.ramp(5e-4, 200.0)])))
    assert split.settled.from_start
    assert split.features.base.value is None
    assert split.mean.value is not None
    assert abs(split.mean.value.value - 3.5e-4) <= split.mean.value.expanded


def test_one_row_of_nothing_beside_many_is_no_train() -> None:
    """53,857 rows of 0.15 A and one of 0.00 A: a level of 0.15 A, and the one row is named."""
    values = np.full(53_858, 0.15)
    values[20_000] = 0.0
    coarse = meter({"accuracy": "±(1 % + 3)", "resolution": 0.01, "full_scale": 10}, "A")
    split = drain.decompose(pd.Series(values, index=np.arange(1.0, 53_859)), meter=coarse)
    assert split.kind == "steady"
    assert split.features.base.value is not None
    assert split.features.base.value.value == pytest.approx(0.15)
    assert split.features.lowest is not None
    assert split.features.lowest.value == 0.0


def test_overloaded_rows_count_no_more_than_they_prove() -> None:
    """A row lost to a peak of a moment may hold next to nothing: the mean is at least what the rest shows."""
    values = np.full(200, 1e-4)
    values[::10] = np.nan
    split = drain.decompose(pd.Series(values, index=np.arange(1.0, 201)), meter=RANGE, aperture_s=1.0)
    assert split.mean.value is None
    assert split.mean.high is None
    assert split.mean.low is not None
    assert 0.9e-4 < split.mean.low <= 1e-4


@pytest.mark.parametrize("width_s", [0.3, 0.6, 1.1])
def test_a_width_carries_no_digit_that_its_rows_do_not(width_s: float) -> None:
    """The edges of a pulse are known to a fifteenth of a row each: both, a tenth at 95 %."""
    starts = np.arange(120) * 4.03 - 3
    charge = devices.summed([devices.level(2e-4), devices.rectangles(starts, width_s, 2e-3)])
    width = split_of(logged(charge, length_s=400)).features.width.value
    assert width is not None
    assert pytest.approx(1 / 15) == features.EDGE_ROWS
    assert 0.010 <= width.expanded <= 0.012
    assert abs(width.value - width_s) <= width.expanded


def test_a_period_is_no_better_known_than_the_meters_clock() -> None:
    """A crystal is good for a tenth of a thousandth or better: common practice, no source."""
    starts = np.arange(60) * 4.03 - 3
    charge = devices.summed([devices.level(2e-4), devices.rectangles(starts, 0.37, 2e-3)])
    period = split_of(logged(charge)).features.period.value
    assert period is not None
    (clock,) = (part for part in period.components if part.name == "meter's clock")
    assert clock.distribution == "rectangular"
    assert clock.size * clock.sensitivity == pytest.approx(4.03e-4, rel=1e-3)


@pytest.mark.parametrize(("moved_uA", "is_told"), [(4.5, False), (6.0, True), (9.0, True)])
def test_a_level_has_moved_when_it_did_so_by_more_than_five_steps_of_the_display(
    moved_uA: float, is_told: bool
) -> None:
    slow, none = np.linspace(0.0, moved_uA * 1e-6, 2000), np.array([], dtype=np.int64)
    what = Detection(0.0, slow, 0 * slow, 1e-3, none, none)
    assert features.moved(what, RANGE, 0.0) is is_told


# ------------------------------------------------------------------ the section


def written(folder: Path, values: np.ndarray, name: str = "a.csv") -> str:
    rows = [
        f"{place + 1},{'OL' if np.isnan(value) else f'{1e6 * value:.1f}'}"
        for place, value in enumerate(values)
    ]
    (folder / name).write_text("\n".join(["time (s),current (µA)", *rows]) + "\n", encoding="utf-8")
    return name


def section(folder: Path, *logs: np.ndarray, **more: Any) -> drain.Drain:
    states = [
        {"name": f"state {number}", "log": written(folder, log, f"{number}.csv"), "windows": "gapless"}
        for number, log in enumerate(logs)
    ]
    bench = drain.inputs(cell=CELL, drain_ammeter=SPEC, drain_states=states, **more)
    assert drain.check(bench, folder) == []
    return drain.analyse(bench, folder=folder)


def finite(found: Finding) -> bool:
    numbers = [one for one in (found.value, found.low, found.high) if isinstance(one, float)]
    numbers += [size for part in found.budget for size in (part.size, part.sensitivity)]
    return bool(np.all(np.isfinite(numbers)))


STEADY = np.full(400, 1e-4)


@pytest.mark.parametrize(
    "log",
    [
        np.where(np.arange(400) < 95, np.nan, 1e-4),
        np.linspace(1e-5, 4e-3, 400),
        np.linspace(4e-3, 1e-5, 400),
        1e-4 + 1e-3 * (1 - np.exp(-np.arange(400) / 200)),
        np.where(np.arange(400) % 37 < 3, 2e-3, 1e-4) * np.linspace(1, 3, 400),
        np.zeros(400),
        -STEADY,
        np.where(np.arange(400) % 2, 1e-4, np.nan),
        np.full(5, 1e-4),
    ],
)
def test_a_log_of_any_course_gives_sound_findings_and_words(tmp_path: Path, log: np.ndarray) -> None:
    result = section(tmp_path, log)
    assert all(map(finite, drain.findings(result)))
    for sentence in (*drain.summary(result).sentences, *drain.advice(result).sentences):
        assert not any(word in sentence for word in ("nan", "inf ", "∞", "None", "?"))


def test_a_log_that_cannot_be_split_costs_its_own_state_only(tmp_path: Path) -> None:
    late = np.concatenate([np.full(360, 1e-4), np.full(40, np.nan)])
    late[-1] = 1e-4
    result = section(tmp_path, np.concatenate([late[:5], np.full(300, np.nan), late[-1:]]), STEADY)
    found = {item.key: item for item in drain.findings(result)}
    assert found["drain.state_1.mean"].value == pytest.approx(1e-4)
    assert all(map(finite, found.values()))


def test_a_negative_drain_is_judged_by_its_amount(tmp_path: Path) -> None:
    """−100 µA is not "at most 50 µA", and −30 µA is no pass while its direction is in question."""
    claims = [{"about": "drain.state_0.mean", "at_most": "50 uA"}]
    much = drain.findings(section(tmp_path, -STEADY, claims=claims)).get("drain.state_0.mean")
    little = drain.findings(section(tmp_path, -0.3 * STEADY, claims=claims)).get("drain.state_0.mean")
    assert much is not None
    assert little is not None
    assert (much.verdict, little.verdict) == ("fail", "inconclusive")


def test_a_drain_that_changes_gives_no_certain_days(tmp_path: Path) -> None:
    for low, verdict in ((0.8, "inconclusive"), (0.99, None)):
        log = np.linspace(low, 1.0, 400) * 4e-3
        days = drain.findings(section(tmp_path, log)).get("drain.state_0.days_to_empty")
        assert days is not None
        assert days.verdict == verdict


def test_the_shelf_holds_the_cells_own_loss() -> None:
    """3 Ah at 100 µA and 1 % to 3 % a month of 730.5 h: 3/(100 + 123.2) to 3/(100 + 41.07) µA⁻¹, by hand."""
    mean = Mean(Measured(100e-6, "A"), 100e-6)
    shelf = drain.days(mean, 3.0, own_percent=(1.0, 3.0))
    assert shelf.low == pytest.approx(3 / 223.203e-6 / 24, rel=1e-4)
    assert shelf.high == pytest.approx(3 / 141.068e-6 / 24, rel=1e-4)
    assert shelf.value is not None
    assert shelf.value.value == pytest.approx(3 / 182.136e-6 / 24, rel=1e-4)


def test_a_cell_without_a_drain_still_loses_its_charge() -> None:
    none = Mean(Measured(0.0, "A", (Component("meter", 1e-7, "A", "rectangular"),)), 0.0)
    alone, shelf = drain.days(none, 3.0), drain.days(none, 3.0, own_percent=(1.0, 3.0))
    assert alone.high is None
    assert shelf.high == pytest.approx(100 * 730.5 / 24, rel=0.01)
