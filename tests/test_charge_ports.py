"""The source's side: energy from a port, efficiency over time, its clock; and how runs are read and told."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from test_charge_inputs import METERS

from reviewkit import charge
from reviewkit.charge import reading, sentences, sources
from reviewkit.metrology import Component, Measured


def port(volts: Any, amps: Any, every_s: float = 10.0) -> Any:
    time = every_s * np.arange(len(np.atleast_1d(volts)))
    return SimpleNamespace(
        source_voltage_V=pd.Series(volts, time),
        source_current_A=pd.Series(amps, time),
        current_A=pd.Series(np.ones(len(time)), time),
        interval_s=every_s,
    )


@pytest.mark.parametrize(("left", "stays"), [(0.91, True), (0.89, False)])
def test_a_source_is_looked_at_for_five_minutes_to_either_side(left: float, stays: bool) -> None:
    """It showed 9 V for long before, and does so again for long after."""
    time = 10.0 * np.arange(200)
    volts = np.where(time <= 1010, 5.0, 5.0 * left)
    volts[(time <= 700) | (time >= 1300)] = 9.0
    record = port(volts, volts)
    phases = SimpleNamespace(terminated=True, end_s=1000.0)
    assert sources.source_stays(SimpleNamespace(record=record, phases=phases)) == stays


def test_a_clock_that_is_off_moves_the_energy_by_what_its_ends_differ() -> None:
    """From 10 W to 4 W: three seconds of the clock are 18 W·s."""
    time = 10.0 * np.arange(101)
    volts, amps = pd.Series(np.linspace(5.0, 2.0, 101), time), pd.Series(np.full(101, 2.0), time)
    lag = Measured(0.0, "s", (Component("clock", 3.0, "s", "rectangular"),))
    phases = SimpleNamespace(start=Measured(0.0, "s"), end_s=1000.0)
    found = sources._energy(phases, volts, amps, lag, sources.PortMeters())
    assert found is not None
    assert [part.contribution for part in found.components] == pytest.approx([18 / 3600 / np.sqrt(3)])
    assert found.value == pytest.approx(7000 / 3600)


def test_efficiency_is_the_energy_into_the_cell_over_that_from_the_port(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sources, "_energy", lambda *rest: Measured(2.0, "W.h"))
    monkeypatch.setattr(sources, "lag", lambda record: Measured(0.0, "s"))
    run = SimpleNamespace(
        get=lambda name: Measured(1.5, "W.h"), record=port([5.0] * 3, [1.0] * 3), phases=SimpleNamespace()
    )
    found = sources.efficiency(run, sources.PortMeters())
    assert found is not None
    assert (found.value, found.unit) == (pytest.approx(75.0), "%")


def test_efficiency_over_time_is_that_of_forty_windows(monkeypatch: pytest.MonkeyPatch) -> None:
    """8 W into the cell of 10 W for 4000 s: 80 % in each window of 100 s; 3 % of 10 W are told, 1 % not."""
    time = 10.0 * np.arange(401)
    watts = np.where(time <= 2000, 10.0, np.where(time <= 3000, 0.3, 0.1))
    into = np.concatenate(([0.0], np.cumsum(0.8 * (watts[1:] + watts[:-1]) / 2 * 10 / 3600)))
    monkeypatch.setattr(
        sources.delivered, "integrate", lambda record, phases: SimpleNamespace(time_s=time, energy_Wh=into)
    )
    run = SimpleNamespace(
        record=port(np.full(401, 5.0), watts / 5), phases=SimpleNamespace(start=Measured(30.0, "s"))
    )
    found = sources.over_time(run)
    assert found is not None
    assert found[0] == pytest.approx(np.arange(20.0, 3000.0, 100.0))
    assert found[1] == pytest.approx(np.full(30, 80.0))


def test_clocks_that_share_no_step_are_taken_as_they_stand_within_two_minutes() -> None:
    """Common practice, no source."""
    found = sources.lag(port(np.full(60, 5.0), np.full(60, 1.0)))
    assert found.value == 0.0
    assert [(part.size, part.distribution) for part in found.components] == [(120.0, "rectangular")]


# ------------------------------------------------------------------ what is told, what is read


def test_a_charge_is_told_in_percent_of_what_the_cell_holds() -> None:
    run = SimpleNamespace(
        delivered=SimpleNamespace(of_phase=lambda name: 1.5, total_Ah=1.5, gaps=()),
        phases=SimpleNamespace(named=lambda name: (1,), began_before=False, terminated=True),
        cell=SimpleNamespace(rated_capacity_Ah=2.0),
    )
    assert "That is 75 % of the rated capacity." in sentences._delivered(run)


def folder_of(place: Path, rows: int) -> dict[str, Any]:
    """One log of both meters: a cell that charges with 0.5 A."""
    time = 10.0 * np.arange(rows)
    amps = np.where((time > 50) | (rows < 10), 0.5, 0.0)
    table = pd.DataFrame({"Time (s)": time, "Voltage (V)": 3.7 + 2e-5 * time, "Current (A)": amps})
    table.to_csv(place / "log.csv", index=False)
    return {"voltage": "log.csv", "current": "log.csv"}


@pytest.mark.parametrize(("rows", "few"), [(5, False), (4, True)])
def test_a_log_of_a_charge_has_five_rows(rows: int, few: bool, tmp_path: Path) -> None:
    bench = charge.inputs(charge_runs=[{"source": "x", **folder_of(tmp_path, rows)}], **METERS)
    told = [str(fault) for fault in reading._examined(bench.charge_runs[0], 1, bench, tmp_path)[1]]
    assert any("4 readings" in one for one in told) == few, told


def test_runs_are_counted_from_one(tmp_path: Path) -> None:
    """In the place of a fault, and in what a run is called whose source has no name."""
    logs = folder_of(tmp_path, 300)
    ranges = [{"full_scale": "2 A", "accuracy": "±1 %", "resolution": "1 mA"}]
    ammeter = {**METERS["ammeter"], "full_scale": "10 A", "ranges": ranges}
    runs = [{"source": "x", **logs}, {"source": "y", **logs, "current_full_scale_A": 3.0}]
    bench = charge.inputs(charge_runs=runs, voltmeter=METERS["voltmeter"], ammeter=ammeter)
    (fault,) = charge.check(bench, tmp_path)
    assert "charge_runs[2].current_full_scale_A" in str(fault)
    with pytest.raises(type(fault), match=r"charge_runs\[2\]"):
        reading.read(bench, folder=tmp_path)
    unnamed = charge.inputs(charge_runs=[{"source": "", **logs}, {"source": "", **logs}], **METERS)
    assert [one.label for one in reading.read(unnamed, folder=tmp_path)] == ["run_1", "run_2"]
    (same,) = charge.check(
        charge.inputs(charge_runs=[{"source": "run 2", **logs}, {"source": "", **logs}], **METERS), tmp_path
    )
    assert "two sources are called 'run 2'" in str(same)


def test_a_source_log_without_a_clock_of_the_day_stays_where_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """Moved by what is declared alone, or by what the two clocks of the day are apart."""
    series = pd.Series([1.0, 2.0, 3.0], [0.0, 10.0, 20.0])
    entry = SimpleNamespace(clock_offset_s=4.0)
    run = SimpleNamespace(source_current=entry, voltage=SimpleNamespace(clock_offset_s=1.0))
    log = SimpleNamespace(series=series)
    for apart, first_s in ((None, 3.0), (2.0, 1.0)):
        monkeypatch.setattr(reading, "clock_difference", lambda base, other, apart=apart: apart)
        found = reading._other(run, "source_current", log, {"source_current": log})
        assert found is not None
        assert found.index.tolist() == [first_s, first_s + 10, first_s + 20]
