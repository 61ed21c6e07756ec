"""What is wrong with a charge's files and keys is said before anything runs: file, key, remedy."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from simulate.cell import Cell
from simulate.scenario import Scenario

from reviewkit import charge
from reviewkit.errors import Faults, LogError

METERS: dict[str, Any] = {
    "voltmeter": {"accuracy": "±(0.05 % + 2)", "resolution": "1 mV"},
    "ammeter": {"accuracy": "±(0.5 % + 3)", "resolution": "1 mA"},
}
RUN: dict[str, Any] = {
    "source": "wall adapter",
    "voltage": "logs/voltage.csv",
    "current": "logs/current.csv",
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("review")
    bench = Scenario(cell=Cell(capacity_Ah=0.4), plugged_s=4000.0, after_s=700.0)
    bench.run().write_logs(place, voltage="logs/voltage.csv", current="logs/current.csv")
    swapped = (place / "logs" / "current.csv").read_text(encoding="utf-8").splitlines()
    head, rows = swapped[0], [line.rsplit(",", 1) for line in swapped[1:]]
    lines = [head, *(f"{time},{-float(amps)}" for time, amps in rows)]
    (place / "logs" / "swapped.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return place


def faults(folder: Path, **values: Any) -> list[str]:
    return [fault.message for fault in charge.check(charge.inputs(**values), folder)]


def test_a_good_folder_has_no_faults_and_reads(folder):
    bench = charge.inputs(charge_runs=[RUN], **METERS)
    assert charge.check(bench, folder) == []
    found = charge.analyse(charge.read(bench, folder=folder), cell=bench.cell).findings()
    assert found.get("charge.terminates").value is True
    assert found.get("charge.wall_adapter.terminates").inputs == ("logs/voltage.csv", "logs/current.csv")
    assert np.isfinite(found.get("charge.clock_offset").value)


def test_nothing_given_is_no_fault(folder):
    assert faults(folder) == []


def test_a_missing_meter_is_named(folder):
    messages = faults(folder, charge_runs=[RUN], voltmeter=METERS["voltmeter"])
    assert len(messages) == 1
    assert "ammeter" in messages[0]
    with pytest.raises(Faults, match="ammeter"):
        charge.read(charge.inputs(charge_runs=[RUN], voltmeter=METERS["voltmeter"]), folder=folder)


def test_a_missing_file_is_named(folder):
    messages = faults(folder, charge_runs=[{**RUN, "current": "logs/nowhere.csv"}], **METERS)
    assert len(messages) == 1
    assert "logs/nowhere.csv" in messages[0]


def test_two_runs_with_one_name_are_told(folder):
    messages = faults(folder, charge_runs=[RUN, RUN], **METERS)
    assert any("charge_runs[2].source" in message for message in messages)


def test_swapped_leads_are_reported_not_flipped(folder):
    run = {**RUN, "current": "logs/swapped.csv"}
    messages = faults(folder, charge_runs=[run], **METERS)
    assert len(messages) == 1
    assert "sign: -1" in messages[0]
    with pytest.raises(LogError, match="leads"):
        charge.read(charge.inputs(charge_runs=[run], **METERS), folder=folder)
    told = {**run, "current": {"path": "logs/swapped.csv", "sign": -1}}
    assert faults(folder, charge_runs=[told], **METERS) == []


@pytest.mark.parametrize(
    ("values", "place"),
    [
        ({"charge_runs": [{"source": "a", "voltage": "v.csv"}]}, "charge_runs[1].current"),
        ({"charge_runs": [{**RUN, "current": "../i.csv"}]}, "charge_runs[1].current"),
        ({"charge_runs": [{**RUN, "sorce_limit_A": 1}]}, "source_limit_A"),
        ({"cell": {"chemistry": "lead"}}, "cell.chemistry"),
    ],
)
def test_faults_of_the_review_file_name_their_key(values, place):
    with pytest.raises(Faults) as caught:
        charge.inputs(**values)
    assert place in caught.value.message
