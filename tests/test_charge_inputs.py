"""What is wrong with a charge's files and keys is said before anything runs: file, key, remedy."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
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


def test_a_port_that_shows_nothing_has_no_swapped_leads(folder):
    """Zeros throughout, as of a port whose ammeter was left unconnected: no sign speaks from them."""
    _port(folder, [0.0] * 50)
    run = {**RUN, "source_current": "logs/port.csv"}
    bench = charge.inputs(charge_runs=[run], **METERS, source_ammeter=METERS["ammeter"])
    (record,) = charge.read(bench, folder=folder)
    assert not any("swapped" in note for note in record.notes)


def test_columns_of_one_file_share_its_clock(folder):
    """Two meters on one table have one time column; of two files each may be off by something."""
    volts, amps = (pd.read_csv(folder / "logs" / f"{name}.csv") for name in ("voltage", "current"))
    rows = min(len(volts), len(amps))
    both = volts.iloc[:rows].assign(**{amps.columns[1]: amps.iloc[:rows, 1]})
    both.to_csv(folder / "logs" / "both.csv", index=False)
    runs = [{**RUN, "voltage": "logs/both.csv", "current": "logs/both.csv", "source": "one"}, RUN]
    one, two = charge.read(charge.inputs(charge_runs=runs, **METERS), folder=folder)
    assert one.clock_offset is None
    assert two.clock_offset is not None


def _port(folder: Path, amps: list[float]) -> None:
    rows = [f"{100 * row},{value}" for row, value in enumerate(amps)]
    (folder / "logs" / "port.csv").write_text(
        "\n".join(["Time (s),Current (A)", *rows]) + "\n", encoding="utf-8"
    )


@pytest.mark.parametrize(("later_s", "cut_off_s"), [(0.0, 1.0), (0.5, 0.0), (0.3, 0.0)])
def test_stamps_of_whole_seconds_are_taken_to_be_cut_off(folder, later_s, cut_off_s):
    """A row of 12:00:01 was read anywhere within that second; one of 12:00:01.4 within its tenth."""
    table = pd.read_csv(folder / "logs" / "current.csv")
    stamped = table.assign(**{table.columns[0]: table.iloc[:, 0] + later_s})
    stamped.to_csv(folder / "logs" / "stamped.csv", index=False)
    run = {**RUN, "current": "logs/stamped.csv"}
    (record,) = charge.read(charge.inputs(charge_runs=[run], **METERS), folder=folder)
    assert record.stamp_s == cut_off_s


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
