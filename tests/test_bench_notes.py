"""What is entered at the bench stands in the review's tables at once, is checked, tells something."""

from __future__ import annotations

import csv
import os
import random
import shutil
import signal
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner

from reviewkit import bench_day, commands, logs
from reviewkit.bench_day import bench_file, entering, journal
from reviewkit.cli import main
from reviewkit.errors import InputError
from reviewkit.review import yaml_edit

EXAMPLES = Path(__file__).parents[1] / "examples"
NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
TABLES = ("readout.csv", "transitions.csv", "review.yaml")


@pytest.fixture(params=["alder", "birch"])
def folder(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    return Path(shutil.copytree(EXAMPLES / request.param, tmp_path / request.param))


@pytest.fixture
def alder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(EXAMPLES / "alder", tmp_path / "alder"))


def texts(folder: Path) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in TABLES}


def last_row(folder: Path, table: str) -> dict[str, str]:
    text = (folder / table).read_text(encoding="utf-8")
    delimiter = ";" if ";" in text.splitlines()[0] else ","
    return list(csv.DictReader(text.splitlines(), delimiter=delimiter))[-1]


def enter_all(folder: Path) -> None:
    """One entry of each kind, a film running."""
    bench_day.clap(folder, at=NOON)
    bench_day.reading(folder, "3.951", "3.9", load="15 mA", at=NOON + timedelta(seconds=83))
    bench_day.trial(
        folder, "fault", "power lost", "fault", times=3, sure=True, at=NOON + timedelta(minutes=5)
    )
    bench_day.drain(folder, "in the bag, cold", "7.1 uA", on_range="600 uA", at=NOON)
    bench_day.cable(folder, 33001, at=NOON)


def test_what_was_entered_stands_where_a_person_would_have_typed_it(folder: Path) -> None:
    enter_all(folder)
    reading, trial = last_row(folder, "readout.csv"), last_row(folder, "transitions.csv")
    assert float(reading["reference (V)"].replace(",", ".")) == 3.951
    assert reading["shown"] == "3.9"
    assert reading["video"] == "1:23"
    assert {"seen": trial["seen"], "video": trial["video"]} == {"seen": "3", "video": "5:00"}
    held = yaml.safe_load((folder / "review.yaml").read_text(encoding="utf-8"))
    assert held["drain_states"][-1] == {
        "name": "in the bag, cold",
        "reading_A": "7.1 uA",
        "range_full_scale_A": "600 uA",
    }
    assert held["charge_runs"][0]["cable_out_s"] == 33001
    assert commands.check(folder) == ()


def test_a_load_is_written_in_its_columns_unit(alder: Path) -> None:
    bench_day.reading(alder, "3951 mV", "3.9", load="0.015 A")
    assert last_row(alder, "readout.csv")["load (mA)"] == "15"


def test_trials_of_a_pair_share_their_count(alder: Path) -> None:
    bench_day.trial(alder, "standby", "press", "locked", times=2, sure=True)
    rows = list(csv.DictReader((alder / "transitions.csv").read_text(encoding="utf-8").splitlines()))
    pair = {
        row["next"]: (row["seen"], row["tried"])
        for row in rows
        if (row["state"], row["event"]) == ("standby", "press")
    }
    assert pair == {"low": ("10", "12"), "locked": ("2", "12")}
    assert commands.check(alder) == ()


def test_remarks_and_layout_of_a_review_file_stay(folder: Path) -> None:
    before = (folder / "review.yaml").read_text(encoding="utf-8").splitlines()
    bench_day.drain(folder, "locked out", "2.6 uA", on_range="600 uA")
    bench_day.cable(folder, 33001)
    after = (folder / "review.yaml").read_text(encoding="utf-8").splitlines()
    changed = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    assert len(changed) == 2
    assert "noted by hand" in changed[0][1]


def test_undoing_everything_leaves_every_byte_as_it_was(folder: Path) -> None:
    before = texts(folder)
    enter_all(folder)
    assert texts(folder) != before
    for _ in range(5):
        bench_day.undo(folder)
    assert texts(folder) == before
    with pytest.raises(InputError, match="nothing was entered that could be undone"):
        bench_day.undo(folder)
    assert [entry.undone for entry in bench_day.entries(folder)] == [True] * 5


def test_undo_leaves_what_was_typed_by_hand_meanwhile(alder: Path) -> None:
    bench_day.reading(alder, "3.951", "3.9")
    with (alder / "readout.csv").open("a", encoding="utf-8") as table:
        table.write("3.7,3.7,15,,by hand\n")
    bench_day.undo(alder)
    text = (alder / "readout.csv").read_text(encoding="utf-8")
    assert "by hand" in text
    assert "3.951" not in text


def test_undo_refuses_where_the_row_was_changed_by_hand(alder: Path) -> None:
    bench_day.reading(alder, "3.951", "3.9")
    table = alder / "readout.csv"
    table.write_text(table.read_text(encoding="utf-8").replace("3.951", "3.952"), encoding="utf-8")
    with pytest.raises(InputError, match="no longer there as it was written"):
        bench_day.undo(alder)
    assert "3.952" in table.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("enter", "told"),
    [
        (lambda f: bench_day.reading(f, "39.12", "3.9"), "no voltage of a lithium-ion cell"),
        (lambda f: bench_day.reading(f, "3.9x", "3.9"), "can't be read"),
        (lambda f: bench_day.reading(f, "3.912", "3.95"), "no multiple of the readout's resolution"),
        (lambda f: bench_day.reading(f, "3.912", "3.2"), "would have it show 3.6 V to 4.1 V"),
        (lambda f: bench_day.reading(f, "4.5", "4.5"), "above what this cell may have"),
        (lambda f: bench_day.reading(f, "3.912", " "), "is missing"),
        (lambda f: bench_day.trial(f, "standbye", "press", "low"), "Did you mean 'standby'"),
        (lambda f: bench_day.trial(f, "standby", "pres", "low"), "of unknown kind"),
        (lambda f: bench_day.trial(f, "standby", "press", "locked"), "does not always do the same"),
        (lambda f: bench_day.trial(f, "standby", "press", "n/a"), "was seen to lead to low"),
        (lambda f: bench_day.trial(f, "standby", "cable out", "low"), "can't occur"),
        (lambda f: bench_day.trial(f, "standby", "press", "low", times=0), "expected one or more"),
        (lambda f: bench_day.drain(f, "cold", "7"), "has no unit"),
        (lambda f: bench_day.drain(f, "cold", "-7 uA"), "not negative"),
        (lambda f: bench_day.drain(f, "cold", "700 uA", on_range="600 uA"), "beyond the range"),
        (lambda f: bench_day.drain(f, "standby", "7 uA"), "comes from a log"),
        (lambda f: bench_day.cable(f, -1.0), "no time of a charge"),
        (lambda f: bench_day.cable(f, 100.0, run=3), "there is no charge 3"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_written(alder: Path, enter: object, told: str) -> None:
    before = texts(alder)
    with pytest.raises(InputError, match=told):
        enter(alder)  # type: ignore[operator]
    assert texts(alder) == before
    assert bench_day.entries(alder) == ()


def test_a_reading_tells_the_switching_place_and_what_to_prepare(alder: Path) -> None:
    """The examples' truth, known to the program that made them, lies where the answer says."""
    told = bench_day.reading(alder, "3.951", "3.9").told
    assert "the displayed value changes 0.042" in told[1].replace("\u00a0", " ")
    assert told[2].startswith("Prepare a cell at")


def test_readings_from_nothing_reach_the_wanted_width(tmp_path: Path) -> None:
    """A readout that cuts off to 0.1 V, read where it is told to each time: seven readings are enough."""
    commands.start(tmp_path / "fir")
    folder = tmp_path / "fir"
    review = (folder / "review.yaml").read_text(encoding="utf-8")
    lines = """
readout_resolution_V: 0.1
readout_gain_bound_percent: 0
readout_range_V: [3.0, 4.2]
voltmeter: {accuracy: '±(0.05 % + 2)', resolution: 1 mV}
"""
    kept = "\n".join(
        line for line in review.splitlines() if not line.startswith(("voltmeter", "readout_r", "readout_g"))
    )
    (folder / "review.yaml").write_text(kept + lines, encoding="utf-8")
    at, told = 3.60, ()
    for _ in range(12):
        told = bench_day.reading(folder, f"{at:.3f}", f"{int(at * 10) / 10:.1f}").told
        if "that is enough" in told[-1]:
            break
        said = told[-1].replace("\u00a0", " ")
        at = float(said.split("Prepare a cell at ")[1].split(" V")[0]) if "Prepare" in said else at + 0.05
    assert "that is enough" in told[-1]
    assert len(csv_rows(folder)) <= 8


def csv_rows(folder: Path) -> list[dict[str, str]]:
    return list(csv.DictReader((folder / "readout.csv").read_text(encoding="utf-8").splitlines()))


def test_a_trial_tells_the_hazard_that_it_opened(tmp_path: Path) -> None:
    folder = Path(shutil.copytree(EXAMPLES / "birch", tmp_path / "birch"))
    told = bench_day.trial(folder, "full", "power lost", "high", times=1).told
    assert any(line.startswith("New: left in") and "light comes on by itself" in line for line in told)
    assert any("pairs of state and event are tried" in line for line in told)


def test_a_spreadsheets_own_form_of_a_table_is_kept(alder: Path) -> None:
    table = alder / "readout.csv"
    text = table.read_text(encoding="utf-8").replace(",", ";").replace(".", ",").replace("\n", "\r\n")
    table.write_bytes(b"\xef\xbb\xbf" + text.encode())
    bench_day.reading(alder, "3.951", "3.9")
    data = table.read_bytes()
    assert data.startswith(b"\xef\xbb\xbf")
    assert data.endswith(b"3,951;3.9;;;\r\n")
    assert b"\n" not in data.replace(b"\r\n", b"")


def test_a_workbook_is_not_written_over(alder: Path) -> None:
    (alder / "readout.csv").write_bytes(b"PK\x03\x04\xff\xfe\x00")
    with pytest.raises(InputError, match=r"can't be added to|no table|not read"):
        bench_day.reading(alder, "3.951", "3.9")


def test_a_file_changed_while_an_entry_is_made_is_not_written_over(alder: Path) -> None:
    kept = bench_file.read(alder, "readout.csv")
    (alder / "readout.csv").write_text("reference,shown\n", encoding="utf-8")
    with pytest.raises(InputError, match="changed meanwhile"):
        kept.written("x")


def test_the_logs_clock_is_known_while_it_grows(alder: Path) -> None:
    """Its last row is as old as the file on the disk."""
    path = alder / "logs" / "charge-overnight-voltage.csv"
    last_s = float(logs.read(str(path.relative_to(alder)), "V", folder=alder).time_s[-1])
    os.utime(path, (NOON.timestamp(), NOON.timestamp()))
    noted = bench_day.cable(alder, at=NOON + timedelta(seconds=7))
    held = yaml.safe_load((alder / "review.yaml").read_text(encoding="utf-8"))
    assert held["charge_runs"][0]["cable_out_s"] == pytest.approx(last_s + 7, abs=1)
    assert noted.entry.file == "review.yaml"
    bench_day.cable(alder, at=datetime(2026, 2, 11, 7, 0).astimezone())
    by_date = yaml.safe_load((alder / "review.yaml").read_text(encoding="utf-8"))
    assert 0 < by_date["charge_runs"][0]["cable_out_s"] < last_s


def test_at_a_terminal_a_fault_is_said_and_the_next_entry_asked_for(alder: Path) -> None:
    trial = "trial standby press low --remark 'two words'"
    typed = f"clap\nreading 3.951 3.9\nreading 9 9\nnonsense\n{trial}\nundo\nend\n"
    done = CliRunner().invoke(main, ["note", str(alder)], input=typed)
    assert done.exit_code == 0, done.output
    assert "no voltage of a lithium-ion cell" in done.output
    assert "No such command 'nonsense'" in done.output
    assert [entry.what for entry in bench_day.entries(alder) if not entry.undone] == ["clap", "reading"]


def test_one_entry_by_one_command(alder: Path) -> None:
    done = CliRunner().invoke(
        main, ["note", str(alder), "drain", "locked out", "2.5 uA", "--range", "600 uA"]
    )
    assert done.exit_code == 0
    assert "locked out draws 2.50" in done.output.replace("\u00a0", " ")
    refused = CliRunner().invoke(main, ["note", str(alder), "drain", "locked out", "2.5"])
    assert refused.exit_code == 2


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no process is forked here")
def test_killed_at_any_moment_a_table_is_the_old_or_the_new_one(alder: Path) -> None:
    drawn = random.Random(7)
    table = alder / "readout.csv"
    before = table.read_text(encoding="utf-8")
    made = 0
    for _ in range(6):
        child = os.fork()
        if child == 0:
            for number in range(10_000):
                entering.reading(alder, f"{3.90 + (number % 90) / 1000:.3f}", "3.9", sure=True)
        time.sleep(drawn.uniform(0.02, 0.6))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        text = table.read_text(encoding="utf-8")
        assert text.startswith(before)
        assert all(line.count(",") == 4 for line in text.splitlines())
        assert text.endswith("\n")
        made = len(text.splitlines()) - len(before.splitlines())
        assert made - len(journal.entries(alder)) in range(7)
    assert made > 0


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("a: 1\ndrain_states:\n", "a: 1\ndrain_states:\n  - {name: y}\n"),
        ("drain_states: []  # none yet\nb: 2\n", "drain_states:  # none yet\n  - {name: y}\nb: 2\n"),
        ("drain_states: [{name: x}]\n", "drain_states: [{name: x}, {name: y}]\n"),
        (
            "drain_states:\n- name: x\n  log: a # keep\n\n# tail\nb: 3",
            "drain_states:\n- name: x\n  log: a # keep\n- {name: y}\n\n# tail\nb: 3",
        ),
        ("a: 1", "a: 1\n\ndrain_states:\n  - {name: y}\n"),
        ("drain_states: null\r\nb: 1\r\n", "drain_states:\r\n  - {name: y}\r\nb: 1\r\n"),
    ],
)
def test_an_item_is_added_to_a_list_however_it_is_written(text: str, wanted: str) -> None:
    new = yaml_edit.with_item(text, "drain_states", {"name": "y"}, file="review.yaml")
    assert new.rstrip() == wanted.rstrip()


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("runs:\n- {v: a}\n", "runs:\n- {v: a, out: 5}\n"),
        ("runs:\n  - v: a\n    out:\n", "runs:\n  - v: a\n    out: 5\n"),
        ("runs:\n  - v: a\n    out: 4 # keep\n    w: 1\n", "runs:\n  - v: a\n    out: 5 # keep\n    w: 1\n"),
        (
            "runs:\n  - v: >-\n      long\n      text\nb: 1\n",
            "runs:\n  - v: >-\n      long\n      text\n    out: 5\nb: 1\n",
        ),
    ],
)
def test_a_value_is_written_however_its_block_is(text: str, wanted: str) -> None:
    assert yaml_edit.with_value(text, ("runs", 0, "out"), 5, file="review.yaml") == wanted


def test_what_cannot_be_added_to_is_left(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"can't be added to|no such key"):
        yaml_edit.with_value("runs: 5\n", ("runs", 0, "out"), 5, file="review.yaml")


def test_forms_write_ask_back_and_undo(alder: Path) -> None:
    """Driven as a click drives them; a browser does the same in `test_jupyterlab.py`."""
    clap_and_undo, tabs, told, listed = bench_day.forms(alder).children
    reference, shown, *_, sure, enter = tabs.children[0].children
    reference.value, shown.value = "3.951", "3.2"
    enter.click()
    assert "Not written." in told.value
    assert 'role="alert"' in told.value
    assert sure.layout.display == ""
    assert reference.value == "3.951", "what was typed stays to be corrected"
    shown.value = "3.9"
    enter.click()
    assert "readout.csv: 3.951 V shown as 3.9." in told.value
    assert (reference.value, sure.layout.display) == ("", "none")
    assert "3.951 V shown as 3.9" in listed.value
    clap_and_undo.children[1].click()
    assert "Taken back" in told.value
    assert "<s>" in listed.value


def test_what_is_typed_into_a_form_is_shown_as_text(alder: Path) -> None:
    _, tabs, told, listed = bench_day.forms(alder).children
    reference, shown, _, _, remark, _, enter = tabs.children[0].children
    reference.value, shown.value, remark.value = "3.951", "<img src=x>", "<script>"
    enter.click()
    assert "<img" not in told.value + listed.value


def test_a_list_of_what_is_left_shrinks_as_it_is_done(tmp_path: Path) -> None:
    folder = Path(shutil.copytree(EXAMPLES / "birch", tmp_path / "birch"))
    before = bench_day.tonight(folder=folder)
    assert "Try power lost in full" in [row[0] for row in before.rows]
    bench_day.trial(folder, "full", "power lost", "full", times=10)
    after = bench_day.tonight(folder=folder)
    assert "Try power lost in full" not in [row[0] for row in after.rows]
    assert len(after.rows) == len(before.rows) - 1


def test_a_new_folder_has_everything_left(tmp_path: Path) -> None:
    commands.start(tmp_path / "fir")
    listed = [row[0] for row in bench_day.tonight(folder=tmp_path / "fir").rows]
    assert listed[0] == "Fill in what the times depend on"
    assert [line.split()[0] for line in listed[1:]] == ["Read", "Log", "Log", "List"]
