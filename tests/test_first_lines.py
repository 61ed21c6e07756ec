"""The first hour: from loose logs to a review file that runs, and every key told to people and editors."""

from __future__ import annotations

import json
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
