"""Whole runs with tiny templates: what is run, collected, published, and what stays private."""

from __future__ import annotations

import csv
import getpass
import hashlib
import json
import shutil
import socket
import time
from collections.abc import Iterable
from concurrent.futures import Executor, Future
from contextlib import suppress
from pathlib import Path
from typing import Any

import nbformat
import pytest
from filelock import FileLock

from reviewkit import commands
from reviewkit.commands import Published
from reviewkit.errors import InputError
from reviewkit.execution.execute import execute
from reviewkit.execution.papermill_run import Outcome, Task
from reviewkit.pipeline import loading, runner
from reviewkit.privacy import notebook as scrub
from reviewkit.publishing import atomic, written
from reviewkit.sections import template

FILES = Path(__file__).parent / "files"


class InTurn(Executor):
    """Runs each task where and when it is submitted: any executor will do."""

    def submit(self, task: Any, /, *given: Any, **named: Any) -> Future[Any]:
        future: Future[Any] = Future()
        future.set_result(task(*given, **named))
        return future


@pytest.fixture
def lantern(tmp_path: Path) -> Path:
    """A copy of the tiny review folder, where a log is."""
    return Path(shutil.copytree(FILES / "lantern", tmp_path / "lantern"))


def run(folder: Path | Iterable[Path], out: Path, *more: str) -> tuple[Published, ...]:
    folders = [folder] if isinstance(folder, Path) else list(folder)
    return commands.run(*folders, out=out, only_templates=[FILES / name for name in ("templates", *more)])


def tree(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()
    }


@pytest.fixture(scope="module")
def lantern_done(tmp_path_factory: pytest.TempPathFactory) -> Published:
    """The tiny review, run once for all tests that only look."""
    return run(FILES / "lantern", tmp_path_factory.mktemp("site"))[0]


def test_a_run_leaves_the_folder_that_the_contract_names(lantern_done: Published) -> None:
    assert lantern_done.place.name == "lantern"
    assert {
        *("index.html", "lamp.html", "weight.html", "findings.json", "findings.csv"),
        *("notebooks/lamp.ipynb", "notebooks/weight.ipynb", "notebooks/summary.ipynb"),
    } <= set(tree(lantern_done.place))
    beside = {path.name for path in lantern_done.place.parent.iterdir()}
    assert {"index.html", "lantern"} <= beside
    assert not [name for name in beside if name.startswith(".")]


def test_findings_are_what_the_notebooks_displayed(lantern_done: Published) -> None:
    values = {item.key: (item.value, item.verdict) for item in lantern_done.findings}
    assert values == {
        "lamp.reading": (410.5, None),
        "weight.mass": (182, None),
        "weight.belt": (None, "not tested"),
    }


def test_findings_json_tells_where_everything_came_from(lantern_done: Published) -> None:
    whole = json.loads((lantern_done.place / "findings.json").read_text(encoding="utf-8"))
    assert list(whole) == [
        *("schema", "device", "review", "declared", "made_with", "inputs", "sections", "findings")
    ]
    raw = (FILES / "lantern" / "logs" / "lux.csv").read_bytes()
    log = {"path": "logs/lux.csv", "sha256": hashlib.sha256(raw).hexdigest(), "bytes": len(raw)}
    assert log in whole["inputs"]
    assert [item["path"] for item in whole["inputs"]] == ["logs/lux.csv", "review.yaml"]
    assert [(part["name"], part["status"]) for part in whole["sections"]] == [
        ("lamp", "done"),
        ("weight", "done"),
    ]
    assert set(whole["made_with"]) == {"reviewkit", "python", "libraries"}


def test_findings_csv_has_a_row_for_each(lantern_done: Published) -> None:
    with (lantern_done.place / "findings.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [(row["key"], row["value"], row["from"]) for row in rows] == [
        ("lamp.reading", "410.5", "logs/lux.csv"),
        ("weight.mass", "182", ""),
        ("weight.belt", "", ""),
    ]


def test_the_summary_reads_the_findings(lantern_done: Published) -> None:
    notebook = nbformat.read(lantern_done.place / "notebooks" / "summary.ipynb", as_version=4)
    assert notebook.cells[-1].outputs[0].data["text/plain"] == "'Lantern: 3 findings'"


def test_executed_notebooks_are_valid_and_tell_no_times(lantern_done: Published) -> None:
    for path in (lantern_done.place / "notebooks").iterdir():
        notebook = nbformat.read(path, as_version=4)
        nbformat.validate(notebook)
        assert set(notebook.metadata) <= {"kernelspec", "language_info", "reviewkit"}
        assert all(set(cell.metadata) <= {"tags"} for cell in notebook.cells)


def test_two_runs_give_the_same_files_and_leave_the_folder_alone(
    lantern: Path, lantern_done: Published, tmp_path: Path
) -> None:
    before = tree(lantern)
    (again,) = run(lantern, tmp_path / "site")
    assert tree(again.place) == tree(lantern_done.place)
    assert tree(lantern) == before


def test_any_executor_runs_the_notebooks(lantern: Path, tmp_path: Path) -> None:
    done = commands.run(
        lantern, out=tmp_path / "site", only_templates=[FILES / "templates"], executor=InTurn()
    )
    assert len(done[0].findings) == 3


def test_several_reviews_in_one_command(lantern: Path, tmp_path: Path) -> None:
    other = Path(shutil.copytree(lantern, tmp_path / "Torch"))
    (other / "review.yaml").write_text("device: {name: Torch}\ngrams: 90\n", encoding="utf-8")
    done = run([other, lantern], tmp_path / "site")
    assert [(item.place.name, item.findings[1].value) for item in done] == [("torch", 90), ("lantern", 182)]
    listed = (tmp_path / "site" / "index.html").read_text(encoding="utf-8")
    assert "torch/index.html" in listed
    assert "lantern/index.html" in listed


@pytest.fixture(scope="module")
def troubled_done(tmp_path_factory: pytest.TempPathFactory) -> Published:
    """The tiny review with sections that fail each in its own way, and one that shows a table; run once."""
    troubles = ("failing", "at_fault", "doubled", "measuring")
    return run(FILES / "lantern", tmp_path_factory.mktemp("site"), *troubles)[0]


def test_a_failed_section_costs_the_others_nothing(troubled_done: Published) -> None:
    assert troubled_done.is_draft
    failed = {result.section.name: result.message for result in troubled_done.review.failed}
    assert failed == {
        "failing": "its cell 4 failed (ZeroDivisionError)",
        "at_fault": "logs/lux.csv, row 1: no column in volts. Name the column.",
        "again": "another section makes weight.mass already",
    }
    assert [item.key for item in troubled_done.findings] == ["lamp.reading", "weight.mass", "weight.belt"]
    whole = json.loads((troubled_done.place / "findings.json").read_text(encoding="utf-8"))
    states = {part["name"]: part["status"] for part in whole["sections"]}
    assert states == dict.fromkeys(("lamp", "measuring", "weight"), "done") | dict.fromkeys(failed, "failed")


def test_a_failed_cell_leaves_its_line_and_no_traceback(troubled_done: Published) -> None:
    cells = nbformat.read(troubled_done.place / "notebooks" / "failing.ipynb", as_version=4).cells
    shown = [cell.outputs for cell in cells if cell.cell_type == "code" and cell.outputs]
    assert shown[0][0].data["text/plain"] == "'before the failure'"
    assert dict(shown[1][0]) == {
        "output_type": "error",
        "ename": "SectionError",
        "evalue": "its cell 4 failed (ZeroDivisionError)",
        "traceback": [],
    }
    assert len(shown) == 2


def test_a_draft_never_takes_the_place_of_a_good_review(
    lantern: Path, lantern_done: Published, tmp_path: Path
) -> None:
    site = Path(shutil.copytree(lantern_done.place.parent, tmp_path / "site"))
    before = tree(site / "lantern")
    (draft,) = run(lantern, site, "failing")
    assert draft.place == site / "lantern.draft"
    assert tree(site / "lantern") == before
    assert "lantern.draft" not in (site / "index.html").read_text(encoding="utf-8")


def test_a_good_review_takes_away_the_draft(tmp_path: Path) -> None:
    with atomic.site(tmp_path) as out:
        atomic.put(staged(out, "draft"), out, "lantern", good=False)
        atomic.put(staged(out, "good"), out, "lantern", good=True)
    assert pages(tmp_path) == {"lantern/index.html": b"good"}


def test_an_input_fault_is_told_from_a_fault_of_the_section(troubled_done: Published) -> None:
    faults = {result.section.name: result.outcome.input_faults for result in troubled_done.review.failed}
    assert faults["at_fault"] == ("logs/lux.csv, row 1: no column in volts. Name the column.",)
    assert faults["failing"] == ()


def test_tables_are_published_as_files_that_describe_themselves(troubled_done: Published) -> None:
    done = troubled_done
    text = (done.place / "data" / "charge-port.csv").read_text(encoding="utf-8")
    assert text.splitlines() == [
        "Test Time / s,Voltage / V,Current / A",
        *("0,3.7,", "0.5,,0.5", "1,3.8,", "2,,0.4"),
    ]
    package = json.loads((done.place / "data" / "datapackage.json").read_text(encoding="utf-8"))
    (resource,) = package["resources"]
    assert (resource["path"], resource["sources"]) == ("charge-port.csv", [{"title": "logs/lux.csv"}])
    assert [field["name"] for field in resource["schema"]["fields"]] == text.splitlines()[0].split(",")
    notebook = (done.place / "notebooks" / "measuring.ipynb").read_text(encoding="utf-8")
    assert "data/charge-port.csv" in notebook
    assert "csv_gzip_base64" not in notebook


def test_faults_of_all_folders_are_told_before_anything_runs(lantern: Path, tmp_path: Path) -> None:
    (lantern / "review.yaml").write_text("device: {nam: x}\ngram: 1\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        run([lantern, tmp_path / "missing"], tmp_path / "site")
    lines = caught.value.message.splitlines()
    assert len(lines) == 4
    assert not (tmp_path / "site").exists()


def test_two_folders_of_one_name_are_refused(lantern: Path, tmp_path: Path) -> None:
    other = Path(shutil.copytree(lantern, tmp_path / "other" / "Lantern"))
    with pytest.raises(InputError, match="published as 'lantern' already"):
        run([lantern, other], tmp_path / "site")


def test_a_section_that_hangs_is_stopped(lantern: Path) -> None:
    outcome = execute(Task(FILES / "slow" / "slow.ipynb", {}, lantern, cell_limit_s=1))
    assert outcome.message == "it was stopped: too slow, or out of memory"


def test_an_interruption_drops_what_has_not_begun(
    lantern: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun = []

    def executed(task: Task) -> Outcome:
        begun.append(task)
        time.sleep(0.02)
        return Outcome(task.template.read_text(encoding="utf-8"))

    class Interrupted(runner.Progress):
        def done(self, review: str, title: str) -> None:
            raise KeyboardInterrupt

    monkeypatch.setattr(runner, "execute", executed)
    lamp = template.discover(only=[FILES / "templates"])[:1]
    files = loading.read([lantern], template.discover(only=[FILES / "templates"]))
    with pytest.raises(KeyboardInterrupt):
        list(runner.run([(files[0], tmp_path / "staged")], lamp * 5000, progress=Interrupted()))
    assert 0 < len(begun) < 5000


def test_nothing_private_is_published(lantern: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Markers for the folder, the home, the user and the environment, told by a section; none gets out."""
    home = tmp_path / "home-of-marker-one"
    home.mkdir()
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("LOGNAME", "markertwo")
    monkeypatch.setenv("SECRET_TOKEN", "marker-three")
    (done,) = run(lantern, tmp_path / "site-of-marker-four", "telling")
    assert not done.is_draft
    private = {
        "marker-one",
        "markertwo",
        "marker-three",
        "marker-four",
        str(tmp_path),
        str(Path(__file__).parent),
    }
    for name, content in tree(done.place).items():
        told = [word for word in private if word.encode() in content]
        assert not told, f"{name} tells {told}"


def test_machine_names_are_taken_out_as_words() -> None:
    scrubber = scrub.Scrubber(("/srv/lamp",), ("benchbox",))
    assert scrubber.text("on benchbox, /srv/lamp/logs/a.csv") == "on …, logs/a.csv"
    assert scrubber.text("benchboxes and /srv/lamps/a") == "benchboxes and …"


def test_what_the_author_wrote_is_the_authors_to_publish(tmp_path: Path) -> None:
    name = socket.gethostname()
    assert name not in scrub.for_machine(tmp_path, public=f"made on {name}").names
    assert getpass.getuser() not in scrub.for_machine(tmp_path, public=getpass.getuser()).names


@pytest.mark.parametrize(
    "text",
    [
        *("see /home/someone/x.csv", "in C:\\Users\\someone\\x.csv", "file:///Users/someone/x"),
        "PATH=/opt/a:/usr/bin",
    ],
)
def test_paths_of_the_usual_kinds_are_taken_out(text: str) -> None:
    cleaned = scrub.Scrubber((), ()).text(text)
    assert "…" in cleaned
    assert not {"someone", "opt", "usr"} & set(cleaned.replace("\\", "/").replace(":", "/").split("/"))


@pytest.mark.parametrize(
    "text", ["0.5 A/s", "V/A at 3:30", "https://example.org/home/page", "and/or", "a:/b"]
)
def test_other_text_stays(text: str) -> None:
    assert scrub.Scrubber((), ()).text(text) == text


def test_what_is_no_picture_is_not_published_as_one() -> None:
    data = {"image/png": "/home/a", "text/plain": "/home/a"}
    assert scrub.Scrubber((), ()).value(data) == {"text/plain": "…"}


def pages(folder: Path) -> dict[str, bytes]:
    return {name: text for name, text in tree(folder).items() if not name.endswith(written.MARK)}


def staged(out: Path, text: str) -> Path:
    folder = atomic.stage(out, "lantern")
    (folder / "index.html").write_text(text, encoding="utf-8")
    return folder


def test_a_new_review_takes_the_place_of_the_old_one_whole(tmp_path: Path) -> None:
    with atomic.site(tmp_path) as out:
        old = staged(out, "old")
        (old / "only-in-the-old.html").touch()
        atomic.put(old, out, "lantern", good=True)
        atomic.put(staged(out, "new"), out, "lantern", good=True)
    assert pages(tmp_path) == {"lantern/index.html": b"new"}


def test_a_run_killed_between_the_two_renames_is_set_right(tmp_path: Path) -> None:
    old = written.claim(tmp_path, "old", "lantern")
    old.mkdir()
    (old / "index.html").write_text("old", encoding="utf-8")
    atomic.stage(tmp_path, "lantern")
    with atomic.site(tmp_path):
        assert tree(tmp_path)["lantern/index.html"] == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["lantern"]


def test_a_run_killed_after_both_renames_is_set_right(tmp_path: Path) -> None:
    for place, text in ((written.claim(tmp_path, "old", "lantern"), "old"), (tmp_path / "lantern", "new")):
        place.mkdir()
        (place / "index.html").write_text(text, encoding="utf-8")
    with atomic.site(tmp_path):
        pass
    assert tree(tmp_path) == {"lantern/index.html": b"new"}


def test_two_runs_do_not_write_to_one_place(tmp_path: Path) -> None:
    with (
        FileLock(tmp_path / ".reviewkit.lock"),
        pytest.raises(InputError, match="another run"),
        atomic.site(tmp_path),
    ):
        pass


def test_a_run_that_fails_leaves_nothing_behind(tmp_path: Path) -> None:
    with suppress(RuntimeError), atomic.site(tmp_path) as out:
        staged(out, "half")
        raise RuntimeError
    assert list(tmp_path.iterdir()) == []
