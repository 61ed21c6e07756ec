"""The command line: what it says, and its exit status."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from reviewkit.cli import main
from reviewkit.publishing.site import prose as words_of_page

FILES = Path(__file__).parent / "files"
KIT = ["--only-templates", str(FILES / "templates")]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in, with the tiny review in it."""
    shutil.copytree(FILES / "lantern", tmp_path / "lantern")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def call(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(item) for item in arguments], catch_exceptions=False)


def only(folder: Path, name: str, values: str) -> list[str]:
    """Make the review one of a single section, and return the option that runs it alone."""
    (folder / "lantern" / "review.yaml").write_text(f"device: {{name: L}}\n{values}\n", encoding="utf-8")
    return ["--only-templates", str(FILES / name)]


def test_a_run_ends_with_the_page_to_open(bench: Path) -> None:
    result = call("run", "lantern", *KIT)
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == f"{Path('site', 'lantern', 'index.html')}\n"
    assert (bench / "site" / "lantern" / "index.html").is_file()


def test_a_faulty_review_file_is_status_2_and_a_line_for_each_fault(bench: Path) -> None:
    (bench / "lantern" / "review.yaml").write_text("device: {name: 5}\ngram: 1\n", encoding="utf-8")
    result = call("run", "lantern", *KIT)
    assert result.exit_code == 2
    assert sorted(result.stderr.splitlines()) == [
        "review.yaml, device.name: found 5; expected text (put it in quotes).",
        "review.yaml, gram: no such key 'gram'. Did you mean 'grams'?",
    ]


def test_an_input_fault_inside_a_section_is_status_2(bench: Path) -> None:
    result = call("run", "lantern", "-o", "out", *only(bench, "at_fault", "log: logs/lux.csv"))
    assert result.exit_code == 2
    assert result.stderr == "lantern, Bad log: logs/lux.csv, row 1: no column in volts. Name the column.\n"
    assert result.stdout.startswith("draft only: ")


def test_a_sections_own_fault_is_told_before_what_its_failure_costs_the_words(bench: Path) -> None:
    only(bench, "at_fault", "log: logs/lux.csv")
    (bench / "own").mkdir()
    notebook = json.loads((FILES / "at_fault" / "at_fault.ipynb").read_text(encoding="utf-8"))
    notebook["metadata"]["reviewkit"]["makes"] = ["bad."]
    (bench / "own" / "bad.ipynb").write_text(json.dumps(notebook), encoding="utf-8")
    shutil.copy(FILES / "templates" / "summary.ipynb", bench / "own")
    words = "It reads {bad.volts}; and {other.reading}.\n"
    (bench / "lantern" / "words.md").write_text(words, encoding="utf-8")
    result = call("run", "lantern", "--only-templates", bench / "own")
    assert result.exit_code == 2
    first, second = result.stderr.splitlines()
    assert first == "lantern, Bad log: logs/lux.csv, row 1: no column in volts. Name the column."
    assert second.startswith("words.md, line 1: there is no finding 'other.reading'")
    assert (bench / "site" / "lantern.draft" / "index.html").is_file()
    draft = words_of_page.author_words(bench / "lantern", {}, {}, is_draft=True)
    assert "[bad.volts: not had, a section failed]" in draft


def test_a_fault_of_a_section_itself_is_status_1(bench: Path) -> None:
    result = call("run", "lantern", *only(bench, "failing", "grams: 1"))
    assert result.exit_code == 1
    assert result.stderr == "lantern, Failing: its cell 4 failed (ZeroDivisionError)\n"


def test_a_template_that_is_none_is_status_1(bench: Path) -> None:
    (bench / "broken").mkdir()
    (bench / "broken" / "x.ipynb").write_text("{}", encoding="utf-8")
    result = call("run", "lantern", "--only-templates", "broken")
    assert result.exit_code == 1
    assert "x.ipynb" in result.stderr


@pytest.mark.skipif(
    os.name == "nt" or not hasattr(os, "geteuid"), reason="needs a read-only file system path"
)
def test_an_output_folder_that_cannot_be_made_is_status_2(bench: Path) -> None:
    (bench / "occupied").write_text("a file", encoding="utf-8")
    result = call("run", "lantern", "-o", "occupied", *KIT)
    assert result.exit_code == 2
    assert "Choose another with -o" in result.stderr


def test_check_tells_faults_without_running(bench: Path) -> None:
    (bench / "lantern" / "review.yaml").write_text(
        "device: {name: L}\nlog: ../x\ngram: 1\n", encoding="utf-8"
    )
    (bench / "x").touch()
    result = call("check", "lantern", *KIT)
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 2
    assert not (bench / "site").exists()


def test_check_of_a_good_folder_says_so(bench: Path) -> None:
    result = call("check", "lantern", *KIT)
    assert (result.exit_code, result.stdout) == (0, "Nothing at fault.\n")


def test_a_charts_script_of_the_authors_own_is_shared_by_the_pages(bench: Path) -> None:
    (bench / "small.js").write_text("// a smaller build", encoding="utf-8")
    result = call("run", "lantern", "--charts-script", "small.js", *KIT)
    assert result.exit_code == 0
    (script,) = (bench / "site" / "assets").glob("charts-*.js")
    assert script.read_text(encoding="utf-8") == "// a smaller build"
    assert script.name in (bench / "site" / "lantern" / "index.html").read_text(encoding="utf-8")


def test_a_charts_script_that_is_not_there_is_said_before_anything_runs(bench: Path) -> None:
    result = call("run", "lantern", "--charts-script", "nowhere.js", *KIT)
    assert result.exit_code == 2
    assert "no such file 'nowhere.js'" in result.stderr
    assert not (bench / "site").exists()


def test_check_points_out_numbers_typed_by_hand(bench: Path) -> None:
    words = "It gives {lamp.reading}, about 400 lx, for 3 h.\n"
    (bench / "lantern" / "words.md").write_text(words, encoding="utf-8")
    result = call("check", "lantern", *KIT)
    assert result.exit_code == 0
    assert "lantern/words.md, line 1: '3 h' is typed by hand" in result.stdout
    assert "lamp.reading" not in result.stdout.split("placeholder")[0]


def test_start_makes_a_folder_that_check_accepts(bench: Path) -> None:
    result = call("start", "night-lamp", *KIT)
    assert result.exit_code == 0
    assert [Path(line).name for line in result.stdout.splitlines()] == ["review.yaml", "bench-sheet.html"]
    assert call("check", "night-lamp", *KIT).exit_code == 0
    assert "name: Night lamp" in (bench / "night-lamp" / "review.yaml").read_text(encoding="utf-8")


def test_every_line_that_start_wrote_can_be_filled_in(bench: Path) -> None:
    """With all the '#' taken off, only values that a person must fill in are at fault."""
    call("start", "night-lamp", "--all", *KIT)
    path = bench / "night-lamp" / "review.yaml"
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("##")]
    path.write_text("\n".join(line.removeprefix("#") for line in lines), encoding="utf-8")
    result = call("check", "night-lamp", *KIT)
    assert "no such key" not in result.stderr
    assert "YAML" not in result.stderr
    assert all("claims[1]" in line for line in result.stderr.splitlines())


def test_start_never_writes_over_a_review(bench: Path) -> None:
    before = (bench / "lantern" / "review.yaml").read_bytes()
    assert call("start", "lantern", *KIT).exit_code == 2
    assert (bench / "lantern" / "review.yaml").read_bytes() == before


def test_the_bench_sheet_takes_a_name_for_text(bench: Path) -> None:
    call("start", "x", "--name", "<script>alert(1)</script>", *KIT)
    sheet = (bench / "x" / "bench-sheet.html").read_text(encoding="utf-8")
    assert "<script" not in sheet
    assert "&lt;script&gt;" in sheet


def test_the_bench_sheet_asks_for_each_sections_readings(bench: Path) -> None:
    call("start", "x", *KIT)
    sheet = (bench / "x" / "bench-sheet.html").read_text(encoding="utf-8")
    for words in ("Light output", "reading at one metre [lx]", "on the kitchen scale [g]", "shorted"):
        assert words in sheet


def test_without_a_folder_it_says_how_to_call_it() -> None:
    result = CliRunner().invoke(main, ["run"])
    assert result.exit_code == 2
    assert "Usage" in result.stderr


def test_check_never_says_nothing_at_fault_of_a_folder_in_which_nothing_is_connected(bench: Path) -> None:
    assert call("start", "lamp").exit_code == 0
    (bench / "lamp" / "logs" / "charge.csv").write_text("time,V\n0,3.6\n", encoding="utf-8")
    result = call("check", "lamp")
    assert (result.exit_code, result.stderr) == (0, "")
    assert "Nothing at fault" not in result.stdout
    for told in (
        "readout.csv lies there and nothing names it: 'readout_table: readout.csv' in review.yaml",
        "'ui_transitions: transitions.csv' in review.yaml connects it.",
        "nothing names logs/charge.csv",
        "Charge has nothing to work on: charge_runs",
        "lamp: nothing is connected yet; a run would find nothing.",
    ):
        assert told.replace("Charge has", "has") in result.stdout
    text = (bench / "lamp" / "review.yaml").read_text(encoding="utf-8")
    assert "\n#readout_table: readout.csv   ##" in text
    assert "\n#ui_transitions: transitions.csv   ##" in text


def test_check_says_of_the_place_to_publish_in_what_run_would(bench: Path) -> None:
    (bench / "site" / "lantern").mkdir(parents=True)
    (bench / "site" / "lantern" / "index.html").write_text("mine", encoding="utf-8")
    for out in ("site", "lantern", "."):
        checked, ran = (call(command, "lantern", "-o", out, *KIT) for command in ("check", "run"))
        assert (checked.exit_code, ran.exit_code) == (2, 2)
        assert checked.stderr == ran.stderr


def test_check_names_a_misspelt_placeholder_and_what_was_meant(bench: Path) -> None:
    alder = Path(shutil.copytree(FILES.parents[1] / "examples" / "alder", bench / "alder"))
    wrong = {
        "charge.plateau_curent": "{charge.plateau_current}",
        "drain.standbye.mean": "{drain.standby.mean}",
        "ui.hazard": "{ui.hazards}",
        "readout.rules": "{readout.rule}",
    }
    text = "".join(
        f"See {{{key}}}\n" for key in [*wrong, "charge.wall_adapter.delivered", "drain.standby.base"]
    )
    (alder / "words.md").write_text(text, encoding="utf-8")
    lines = call("check", alder).stderr.splitlines()
    assert len(lines) == len(wrong)
    for line, (key, meant) in zip(lines, wrong.items(), strict=True):
        assert f"no section makes a finding '{key}'" in line
        assert f"Did you mean '{meant}'?" in line


def test_the_sections_say_all_the_findings_that_the_examples_have() -> None:
    """What `check` refuses in an author's words and in claims is what no section makes, and its unit."""
    root = FILES.parents[1]
    finds = {}
    for path in (root / "templates").glob("*.ipynb"):
        about = json.loads(path.read_text(encoding="utf-8"))["metadata"]["reviewkit"]
        finds |= {prefix: about.get("finds", {}) for prefix in about.get("makes", ())}
    for path in (root / "tests" / "golden").glob("*.json"):
        for line in path.read_text(encoding="utf-8").splitlines():
            if line.startswith('{"key"'):
                item = json.loads(line.rstrip(","))
                head, _, tail = item["key"].partition(".")
                assert finds[f"{head}."][tail.rpartition(".")[2]] == item["unit"], item["key"]
