"""The first hour: from loose logs to a review file that runs, and every key told to people and editors."""

from __future__ import annotations

import json
import math
import random
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner, Result

import reviewkit
from reviewkit import commands
from reviewkit.cli import main
from reviewkit.errors import Faults, InputError
from reviewkit.review import strict_yaml
from reviewkit.sections import key_list

pytestmark = pytest.mark.usefixtures("libraries_ready")

EXAMPLES = Path(__file__).parents[1] / "examples"
BIRCH = EXAMPLES / "birch" / "logs"


def call(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(one) for one in arguments])


def loose(folder: Path, name: str, header: str, *columns: np.ndarray) -> Path:
    """Write a log in a style that no example has: semicolons, decimal commas."""
    folder.mkdir(exist_ok=True)
    rows = [";".join(f"{value:.4f}".replace(".", ",") for value in row) for row in zip(*columns, strict=True)]
    (folder / name).write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return folder / name


def simple_charge() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return time [s], cell voltage [V] and current [A] of a charge of a battery with a straight voltage."""
    time = np.arange(0.0, 12_000.0, 5.0)
    charging = (time > 300) & (time < 10_000)
    taper = np.exp(-np.maximum(time - 7000, 0) / 900)
    current = np.where(charging, 0.8 * taper, 0.0)
    voltage = np.where(time < 7000, 3.6 + 0.6 * time / 7000, 4.2) - np.where(charging, 0.0, 0.05)
    return time, voltage, current


FILLED = (
    (
        '#voltmeter: {name: bench A, accuracy: "±(0.5 % + 2)"',
        'voltmeter: {name: bench A, accuracy: "±(0.05 % + 2)"',
    ),
    ("#ammeter: {name", "ammeter: {name"),
    ("#  rated_capacity_Ah: 3.0", "  rated_capacity_Ah: 1.7"),
    ("#    source: 5 V wall adapter", "    source: bench supply"),
)


def test_two_loose_logs_become_a_page_with_four_lines_typed(tmp_path: Path) -> None:
    time, voltage, current = simple_charge()
    logs = [
        loose(tmp_path / "bench", "lamp_u.txt", "Zeit [s];Spannung [V]", time, voltage),
        loose(tmp_path / "bench", "lamp_i.txt", "Zeit [s];Strom [A]", time, current),
    ]
    made = reviewkit.start(tmp_path / "night-lamp", *logs)
    assert len(made.told) == 2
    path = tmp_path / "night-lamp" / "review.yaml"
    text = path.read_text(encoding="utf-8")
    assert len([line for line in text.splitlines() if line and not line.startswith("##")]) <= 30
    for before, after in FILLED:
        assert text.count(before) == 1
        text = text.replace(before, after)
    path.write_text(text, encoding="utf-8")
    assert commands.check(tmp_path / "night-lamp") == ()
    published = reviewkit.run(tmp_path / "night-lamp", out=tmp_path / "site")
    found = published[0].findings
    plateau = found["charge.plateau_current"]
    assert abs(plateau.value - 0.8) < plateau.uncertainty + 0.001
    assert found["charge.terminates"].value is True


def test_logs_that_belong_together_are_paired_and_a_ports_meter_is_told_from_the_cells(
    tmp_path: Path,
) -> None:
    logs = sorted(BIRCH.glob("*.csv"))
    reviewkit.start(tmp_path / "birch", *logs)
    values = strict_yaml.load(tmp_path / "birch" / "review.yaml")
    runs = {Path(run["voltage"]).stem: run for run in values["charge_runs"]}
    wall = runs["charge-wall-adapter-voltage"]
    assert wall["current"] == "logs/charge-wall-adapter-current.csv"
    assert {wall[key] for key in ("source_voltage", "source_current", "temperature")} == {
        "logs/charge-wall-adapter-port.csv"
    }
    assert runs["charge-laptop-port-voltage"]["current"] == "logs/charge-laptop-port-current.csv"
    assert {state["name"] for state in values["drain_states"]} >= {"drain standby", "drain dead cable"}
    for log in logs:
        assert (tmp_path / "birch" / "logs" / log.name).read_bytes() == log.read_bytes()


def test_a_log_whose_partner_is_missing_leaves_a_line_to_fill_in(tmp_path: Path) -> None:
    time, _, current = simple_charge()
    reviewkit.start(tmp_path / "lamp", loose(tmp_path / "b", "i.csv", "time (s);current (A)", time, current))
    text = (tmp_path / "lamp" / "review.yaml").read_text(encoding="utf-8")
    assert "#    voltage: logs/voltage.csv   ## this log was not found" in text
    assert commands.check(tmp_path / "lamp") == ()


def test_a_started_folder_without_logs_runs_as_it_is(tmp_path: Path) -> None:
    reviewkit.start(tmp_path / "lamp")
    assert commands.check(tmp_path / "lamp") == ()
    (published,) = reviewkit.run(tmp_path / "lamp", out=tmp_path / "site")
    assert published.index.is_file()


def test_what_is_no_log_is_said_and_the_rest_is_connected(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("plugged in at nine\n", encoding="utf-8")
    result = call("start", tmp_path / "lamp", BIRCH / "drain-standby.csv", tmp_path / "notes.txt")
    assert result.exit_code == 0
    assert "logs/notes.txt: not understood" in result.stderr
    assert "logs/drain-standby.csv: the drain of a device at rest (sure)" in result.stderr


def test_readings_that_look_impossible_are_asked_about_and_not_waved_through(tmp_path: Path) -> None:
    time, voltage, current = simple_charge()
    logs = [
        loose(tmp_path / "b", "u.csv", "time (s);voltage (V)", time, 1000 * voltage),
        loose(tmp_path / "b", "i.csv", "time (s);current (A)", time, current),
    ]
    made = reviewkit.start(tmp_path / "lamp", *logs)
    text = (tmp_path / "lamp" / "review.yaml").read_text(encoding="utf-8")
    assert "- voltage: logs/u.csv\n" in text
    assert "plausible" not in text
    assert any(line.startswith("logs/u.csv: a voltage? ") for line in made.told)


def test_nothing_is_written_over_a_file_of_the_same_name(tmp_path: Path) -> None:
    (tmp_path / "lamp" / "logs").mkdir(parents=True)
    (tmp_path / "lamp" / "logs" / "drain-standby.csv").write_text("mine\n", encoding="utf-8")
    with pytest.raises(Faults, match="another file"):
        reviewkit.start(tmp_path / "lamp", BIRCH / "drain-standby.csv")
    assert (tmp_path / "lamp" / "logs" / "drain-standby.csv").read_text(encoding="utf-8") == "mine\n"
    with pytest.raises(InputError, match="no such file"):
        reviewkit.start(tmp_path / "lamp", tmp_path / "gone.csv")


def test_every_key_has_a_meaning() -> None:
    every = commands.keys()
    assert every
    assert [key.name for key in every if not key.says] == []


def test_keys_are_found_by_a_word_of_their_meaning() -> None:
    assert "cell.floor_V" in {key.name for key in commands.keys("must not be charged")}
    assert call("keys", "no such word").exit_code == 2
    told = call("keys").stdout
    assert "a block with the keys of voltmeter" in told
    assert told.count(".burden_ohm") == 1


@pytest.mark.parametrize("name", ["alder", "birch"])
def test_the_examples_hold_to_the_schema_that_editors_use(name: str) -> None:
    schema = commands.json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    values = strict_yaml.load(EXAMPLES / name / "review.yaml")
    jsonschema.validate(values, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(values | {"no_such_key": 1}, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(values | {"cell": {"chemistry": "lead"}}, schema)


def test_the_page_of_all_keys_is_the_models_own() -> None:
    """Stale? `reviewkit keys --markdown > notebooks/review_file_keys.md`."""
    page = (EXAMPLES.parent / "notebooks" / "review_file_keys.md").read_text(encoding="utf-8")
    assert page == commands.keys_page()
    assert call("keys", "--markdown").stdout == page
    for key in key_list.told_once(commands.keys()):
        assert f"\n| `{key.name}` | " in page
    assert "review_file_keys.md" in (EXAMPLES.parent / "README.md").read_text(encoding="utf-8")


def test_a_schema_named_in_the_first_line_leaves_the_file_as_it_was(tmp_path: Path) -> None:
    """Editors read it; and what they call wrong is what the kit calls wrong."""
    (tmp_path / "keys.json").write_text(call("keys", "--json-schema").stdout, encoding="utf-8")
    text = "# yaml-language-server: $schema=keys.json\nschema: 1\ndevice: {name: Lamp}\nvoltmeter: bench A\n"
    (tmp_path / "review.yaml").write_text(text, encoding="utf-8")
    values = strict_yaml.load(tmp_path / "review.yaml")
    schema = json.loads((tmp_path / "keys.json").read_text(encoding="utf-8"))
    jsonschema.validate(values | {"cell": {"chemistry": "LiFePO4"}}, schema)
    for wrong in ({"schema": 2}, {"voltmeter": 5}, {"voltmeter": {"acuracy": "1 %"}}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(values | wrong, schema)
    (tmp_path / "instruments.yaml").write_text("bench A: {accuracy: 0.5 % + 2, resolution: 1 mV}\n", "utf-8")
    told = [fault.message for fault in commands.check(tmp_path)]
    assert told == []


# ---------------------------------------------------------------- a new user, with logs of a style of its own


@dataclass(frozen=True)
class Bench:
    """A simulated charge, on a voltmeter that reads 0.03 % high and an ammeter that reads 0.4 % low."""

    capacity_Ah: float = 2.6
    cell_ohm: float = 0.06
    set_V: float = 4.20
    plateau_A: float = 0.9
    stop_A: float = 0.06
    before_s: int = 120
    second_clock_s: int = 40

    def charge(self, rig_ohm: float) -> tuple[list[tuple[float, float]], int]:
        """Voltage and current of each second, an hour beyond the end; and the second at which it ends."""
        held_Ah, rows, end = 0.12 * self.capacity_Ah, [], 0
        while not end or len(rows) < end + 3600:
            full = held_Ah / self.capacity_Ah
            open_V = 3.35 + 0.55 * full + 0.28 * full**6 - 0.25 * math.exp(-18 * full)
            wanted = min(self.plateau_A, (self.set_V - open_V) / (self.cell_ohm + rig_ohm))
            current = 0.0 if end or len(rows) < self.before_s else wanted
            if current and current <= self.stop_A:
                end, current = len(rows), 0.0
            rows.append((open_V + self.cell_ohm * current, current))
            held_Ah += current / 3600
        return rows, end

    def write(self, folder: Path) -> list[Path]:
        """One log in a German logger's spelling, one in a table of elapsed times; no code of the kit's."""
        rows, _ = self.charge(0.05)
        noise, evening = random.Random(4), datetime(2026, 11, 26, 21, 3, 17)
        volts = ["Messung;Lampe am Abend", "Datum;Uhrzeit;Messwert;Einheit"]
        for second in range(0, len(rows), 4):
            at = evening + timedelta(seconds=second)
            shown = f"{1.0003 * rows[second][0] + noise.gauss(0, 0.0004):.3f}".replace(".", ",")
            volts.append(f"{at:%d.%m.%Y;%H:%M:%S};{shown};V DC")
        amps = ["# the other meter", "Elapsed\tReading (mA)"]
        for second in range(0, len(rows) - self.second_clock_s, 5):
            current = rows[second + self.second_clock_s][1]
            told = f"{second // 3600}:{second % 3600 // 60:02d}:{second % 60:02d}"
            amps.append(f"{told}\t{996 * current + noise.gauss(0, 0.2):.0f}")
        folder.mkdir()
        (folder / "volts.txt").write_bytes("\n".join(volts).encode("cp1252"))
        (folder / "mA.tsv").write_text("\n".join(amps) + "\n", encoding="utf-8")
        return [folder / "volts.txt", folder / "mA.tsv"]


OWN_METERS = """
desk meter: {serial: 4711, accuracy: "0,05 % v. M. + 2 D", resolution: 1 mV, last_check: 3.11.2025}
yellow one:
  leads_ohm: 0.05
  ranges:
    - {full_scale: 600 mA, accuracy: "±(0.8% reading + 3 dgt)", resolution: 0.1 mA}
    - {full_scale: 10 A, accuracy: "±(0.8% reading + 3 dgt)", resolution: 1 mA}
"""
TYPED = {
    "#  rated_capacity_Ah": "  rated_capacity_Ah: 2600 mAh",
    "#  charge_limit_V": "  charge_limit_V: 4.20",
    "#    source:": "    source: old wall adapter",
}
ACCURACIES = {
    "#voltmeter": 'voltmeter: {name: desk meter, accuracy: "0,05 % v. M. + 2 D", resolution: 1 mV}',
    "#ammeter": 'ammeter: {accuracy: "±(0.8% reading + 3 dgt)", resolution: 1 mA, leads_ohm: 0.05}',
}
NAMES = {"#voltmeter": "voltmeter: desk meter", "#ammeter": "ammeter: yellow one, 10 A range"}


@pytest.mark.parametrize(("declared", "meters", "most"), [("", ACCURACIES, 10), (OWN_METERS, NAMES, 6)])
def test_a_new_user_gets_a_true_page_from_two_logs(
    declared: str, meters: dict[str, str], most: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    if declared:
        (tmp_path / "instruments.yaml").write_text(declared, encoding="utf-8")
    bench, commands_given = Bench(), []

    def say(*arguments: str | Path) -> str:
        commands_given.append(arguments)
        result = call(*arguments)
        assert result.exit_code == 0, result.output
        return result.output

    say("start", "lamp", *bench.write(tmp_path / "from the meters"))
    path = tmp_path / "lamp" / "review.yaml"
    before = path.read_text(encoding="utf-8").splitlines()
    typed = {**TYPED, **meters}
    after = [next((new for old, new in typed.items() if line.startswith(old)), line) for line in before]
    assert sum(old != new for old, new in zip(before, after, strict=True)) == len(typed) <= most
    path.write_text("\n".join(after) + "\n", encoding="utf-8")
    assert "Nothing at fault" in say("check", "lamp")
    say("run", "lamp")
    assert len(commands_given) <= 5

    rows, end = bench.charge(0.05)
    alone, end_alone = bench.charge(0.0)
    hours = sum(current for _, current in rows) / 3600
    truth = {
        "plateau_current": bench.plateau_A,
        "set_voltage": bench.set_V,
        "series_resistance": 0.05,
        "device_resistance": 0.0,
        "clock_offset": bench.second_clock_s,
        "termination_time": end - bench.before_s,
        "termination_current": rows[end - 1][1],
        "delivered": hours,
        "delivered_energy": sum(volts * amps for volts, amps in rows) / 3600,
        "time_without_rig": end_alone - bench.before_s,
        "start_voltage": rows[0][0],
        "peak_voltage": max(volts for volts, _ in rows),
        "settled_voltage_10min": rows[end + 600][0],
        "current_after": 0.0,
    }
    found = {
        item["key"].removeprefix("charge."): item
        for item in json.loads((tmp_path / "site/lamp/findings.json").read_text(encoding="utf-8"))["findings"]
    }
    assert len(alone) < len(rows)
    wrong = {
        key: (value, found[key]["low"], found[key]["high"])
        for key, value in truth.items()
        if not found[key]["low"] <= value <= found[key]["high"]
    }
    assert not wrong
    assert found["terminates"]["value"] is True
    assert found["interruptions"]["value"] == 0
    assert found["precharge_current"]["verdict"] == "not tested"
    page = (tmp_path / "site/lamp/index.html").read_text(encoding="utf-8")
    # What was left unfinished is told as such, and with what.
    assert "Voltage readout" in page
    assert "not tested" in page.lower()
