"""The two example devices: made again byte for byte, read right, and what is found in them is true."""

from __future__ import annotations

import csv
import json
import re
from functools import cache
from pathlib import Path
from typing import Any

import make_examples
import numpy as np
import pytest
import simulate.charge

from reviewkit import charge, commands, logs
from reviewkit.charge.inputs import ChargeInputs
from reviewkit.findings import Findings
from reviewkit.review import strict_yaml
from reviewkit.schema.blocks import LogBlock

EXAMPLES = Path(make_examples.__file__).resolve().parent
DEVICES = make_examples.DEVICES
BY_HAND = ("review.yaml", "words.md", "chapters.csv")
_LARGEST_FILE = 1_500_000


@cache
def truth(device: str) -> dict[str, Any]:
    values: dict[str, Any] = json.loads((EXAMPLES / "truth" / f"{device}.json").read_text(encoding="utf-8"))
    return values


@cache
def bench(device: str) -> ChargeInputs:
    values = strict_yaml.load(EXAMPLES / device / "review.yaml")
    return charge.inputs(**{name: values[name] for name in ChargeInputs.model_fields if name in values})


@cache
def charged(device: str) -> Findings:
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(EXAMPLES / device)
        inputs = bench(device)
        results = charge.analyse(charge.read(inputs), cell=inputs.cell)
        return Findings((*results.findings(), *charge.separate_all(results, inputs).findings()))


def files_under(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def test_the_data_are_made_again_byte_for_byte(tmp_path: Path) -> None:
    make_examples.make(tmp_path)
    made = files_under(tmp_path)
    kept = {
        name
        for folder in (*DEVICES, "truth")
        for name in (f"{folder}/{one}" for one in files_under(EXAMPLES / folder))
        if Path(name).name not in BY_HAND
    }
    assert made == kept
    differ = [
        name for name in sorted(made) if (tmp_path / name).read_bytes() != (EXAMPLES / name).read_bytes()
    ]
    assert differ == []


@pytest.mark.parametrize("device", DEVICES)
def test_no_file_is_large(device: str) -> None:
    for name in files_under(EXAMPLES / device):
        assert (EXAMPLES / device / name).stat().st_size < _LARGEST_FILE, name


@pytest.mark.parametrize("device", DEVICES)
def test_the_review_file_says_that_the_data_are_invented(device: str) -> None:
    text = (EXAMPLES / device / "review.yaml").read_text(encoding="utf-8")
    assert text.startswith("# Invented data.")
    values = strict_yaml.load(EXAMPLES / device / "review.yaml")
    assert "Invented data" in values["device"]["disclosure"]
    assert "Invented data" in values["review"]["notice"]
    assert "invented" in (EXAMPLES / device / "words.md").read_text(encoding="utf-8")


def test_nothing_is_at_fault_in_either_folder() -> None:
    assert not commands.check(*(EXAMPLES / device for device in DEVICES))


RUNS = [(device, place) for device in DEVICES for place in range(len(bench(device).charge_runs))]


@pytest.mark.parametrize(("device", "place"), RUNS)
def test_every_log_is_read_as_the_meter_wrote_it(device: str, place: int) -> None:
    """Readings, overload marks, gaps and elapsed times against what the simulated meters wrote."""
    run = bench(device).charge_runs[place]
    label = run.source.replace(" ", "_")
    scenario = {
        ("alder", "wall_adapter"): simulate.charge.alder,
        ("birch", "wall_adapter"): simulate.charge.birch_wall,
        ("birch", "laptop_port"): simulate.charge.birch_laptop,
    }[device, label]()
    done = scenario.run()
    for entry, quantity, wrote, meter in (
        (run.voltage, "V", done.voltage, scenario.voltmeter),
        (run.current, "A", done.current, scenario.ammeter),
    ):
        assert isinstance(entry, LogBlock)
        read = logs.read(entry, quantity, folder=EXAMPLES / device)  # type: ignore[arg-type]
        assert read.report.overloads == int(np.isnan(wrote.shown).sum()), entry.path
        assert len(read.report.gaps) == len(meter.gaps)
        assert read.report.clock_changes == ()
        assert read.report.unreadable == 0
        own = wrote.clock_s - wrote.clock_s[0]
        kept = np.isin(np.round(own, 3), np.round(read.time_s, 3)) if meter.stamp_step_s else slice(None)
        assert read.series.to_numpy() == pytest.approx(wrote.shown[kept], abs=1e-9, nan_ok=True)
        assert read.time_s == pytest.approx(own[kept], abs=0.11)


def test_alders_night_rolls_over_midnight() -> None:
    read = logs.read(bench("alder").charge_runs[0].current, "A", folder=EXAMPLES / "alder")
    assert read.started is None
    assert read.time_of_day_s == pytest.approx(21 * 3600 + 39 * 60 + 11)
    assert read.time_s[-1] > 10 * 3600


def test_birchs_meter_changes_its_unit_on_the_way() -> None:
    read = logs.read(bench("birch").charge_runs[0].voltage, "V", folder=EXAMPLES / "birch")
    assert read.report.unit == "mV, V"
    assert 2.8 < read.series.min() < 3.0 < read.series.max() < 4.2


def pairs(device: str) -> list[tuple[str, Any, Any]]:
    """Return key, truth and finding of every charge quantity that has both."""
    found, several = charged(device), len(truth(device)["charge"]) > 1
    rows = []
    for label, known in truth(device)["charge"].items():
        for name, value in known.items():
            key = f"charge.{label}.{name}" if several else f"charge.{name}"
            item = found.get(key)
            if item is not None:
                rows.append((key, value, item))
    return rows


@pytest.mark.parametrize("device", DEVICES)
def test_the_intervals_hold_the_truth(device: str) -> None:
    """95 % intervals: of some thirty per charge one may miss, and none by more than half its width."""
    measured = [(key, value, item) for key, value, item in pairs(device) if item.uncertainty is not None]
    assert len(measured) >= 18 * len(truth(device)["charge"])
    missed = [key for key, value, item in measured if not item.low <= value <= item.high]
    assert len(missed) <= 0.05 * len(measured), missed
    far = [key for key, value, item in measured if abs(value - item.value) > 1.5 * item.uncertainty]
    assert far == []


@pytest.mark.parametrize("device", DEVICES)
def test_counts_and_yes_or_no_are_true(device: str) -> None:
    plain = [(key, value, item.value) for key, value, item in pairs(device) if not isinstance(value, float)]
    assert {key.rsplit(".", 1)[1] for key, _, _ in plain} >= {
        "terminates",
        "top_ups",
        "interruptions",
        "ended_by",
    }
    for key, value, found in plain:
        assert found == value, key


def test_birchs_night_is_what_its_story_says() -> None:
    known = truth("birch")["charge"]["wall_adapter"]
    assert known["start_voltage"] < 3.0
    assert known["precharge_end"] > 300
    assert known["set_voltage"] == pytest.approx(4.20 - 0.03)
    assert known["top_ups"] == 2
    assert known["limit_adherence"] < 90
    adherence = charged("birch").get("charge.wall_adapter.limit_adherence")
    assert adherence is not None
    assert adherence.value == pytest.approx(known["limit_adherence"], abs=0.5)


def test_birchs_efficiency_is_found_from_the_port_log() -> None:
    item = charged("birch").get("charge.wall_adapter.efficiency")
    assert item is not None
    assert item.low is not None
    assert item.high is not None
    assert item.low <= truth("birch")["charge"]["wall_adapter"]["efficiency"] <= item.high
    assert item.high - item.low < 4


@pytest.mark.parametrize("device", DEVICES)
def test_the_authors_words_hold_no_number_typed_by_hand(device: str) -> None:
    text = (EXAMPLES / device / "words.md").read_text(encoding="utf-8")
    assert re.findall(r"\{[a-z0-9_.]+\}", text)
    assert re.findall(r"\d", re.sub(r"\{[^}]*\}", "", text)) == []


@pytest.mark.parametrize("device", DEVICES)
def test_the_words_name_charge_findings_that_exist(device: str) -> None:
    text = (EXAMPLES / device / "words.md").read_text(encoding="utf-8")
    for key in re.findall(r"\{(charge\.[^}]+)\}", text):
        assert charged(device).get(key) is not None, key


@pytest.mark.parametrize("device", DEVICES)
def test_chapters_rise_from_zero(device: str) -> None:
    with (EXAMPLES / device / "chapters.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    times = [60 * int(row["time"].split(":")[0]) + int(row["time"].split(":")[1]) for row in rows]
    assert times[0] == 0
    assert times == sorted(set(times))
    assert all(row["title"] for row in rows)
