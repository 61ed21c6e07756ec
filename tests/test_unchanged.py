"""What has not changed is not run again; whatever a result depends on makes it run."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from PIL import Image

from reviewkit import cli, commands
from reviewkit.commands import verification
from reviewkit.execution import execute, forkserver
from reviewkit.execution.papermill_run import Outcome, Task
from reviewkit.pipeline import cache, runner
from reviewkit.pipeline.cache import SectionCache
from reviewkit.review import author_text
from reviewkit.review.fingerprints import fingerprints
from reviewkit.sections import template
from reviewkit.system import kit

ALDER = Path(__file__).parents[1] / "examples" / "alder"
REVIEW = """
device: {name: Alder}
cell: {label: test cell A, chemistry: NMC, rated_capacity_Ah: 3.0}
voltmeter: {accuracy: "±(0.5 % + 2)", resolution: 1 mV}
readout_table: readout.csv
ui_states: {off: {light_percent: 0}, on: {light_percent: 100}}
ui_transitions: transitions.csv
"""
TRANSITIONS = "state,event,next,seen,tried\noff,press,on,5,5\non,press,off,5,5\n"


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(kit.CACHE_VARIABLE, str(tmp_path / "cache"))
    return tmp_path / "cache"


@pytest.fixture(scope="module", autouse=True)
def server() -> Iterator[None]:
    with forkserver.serving():
        yield


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "lamp"
    place.mkdir()
    (place / "review.yaml").write_text(REVIEW, encoding="utf-8")
    (place / "transitions.csv").write_text(TRANSITIONS, encoding="utf-8")
    shutil.copy(ALDER / "readout.csv", place)
    return place


@pytest.fixture
def ran(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Collect the templates that are executed."""
    names: list[str] = []

    def spied(task: Task) -> Outcome:
        names.append(task.template.stem)
        return execute.execute(task)

    monkeypatch.setattr(runner, "execute", spied)
    return names


ALL = ["charge", "drain", "readout", "summary", "ui_states"]


def run(folder: Path, *options: str, status: int = 0) -> str:
    done = CliRunner().invoke(cli.main, ["run", str(folder), "-o", str(folder.parent / "site"), *options])
    assert done.exit_code == status, done.output
    return done.output


def tree(place: Path) -> dict[str, bytes]:
    return {str(path.relative_to(place)): path.read_bytes() for path in place.rglob("*") if path.is_file()}


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def add_to(path: Path, more: str) -> None:
    path.write_text(path.read_text(encoding="utf-8") + more, encoding="utf-8")


def test_nothing_changed_runs_nothing_and_starts_nothing(
    folder: Path, ran: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    run(folder)
    assert sorted(ran) == ALL
    before = tree(folder.parent / "site")
    ran.clear()

    def unwanted(**_: Any) -> None:
        raise AssertionError("a server was started")

    monkeypatch.setattr(forkserver, "serving", unwanted)
    assert run(folder).startswith("unchanged: ")
    assert not ran
    assert tree(folder.parent / "site") == before


CHANGES: dict[str, tuple[Callable[[Path], object], list[str]]] = {
    "a table": (
        lambda folder: add_to(folder / "readout.csv", "3.91,3.9\n"),
        ["readout", "summary"],
    ),
    "another table": (
        lambda folder: edit(folder / "transitions.csv", "5,5\non", "6,6\non"),
        ["summary", "ui_states"],
    ),
    "a value that one section takes": (
        lambda folder: edit(folder / "review.yaml", "readout_table", "readout_shows: volts\nreadout_table"),
        ["readout", "summary"],
    ),
    "a value that several take": (
        lambda folder: edit(folder / "review.yaml", "rated_capacity_Ah: 3.0", "rated_capacity_Ah: 3.5"),
        ["charge", "drain", "readout", "summary"],
    ),
    "the author's words, new": (
        lambda folder: (folder / "words.md").write_text("A good lamp.", encoding="utf-8"),
        [],
    ),
    "a published page, lost": (
        lambda folder: (folder.parent / "site" / "lamp" / "drain.html").unlink(),
        [],
    ),
    "the list of reviews, lost": (
        lambda folder: (folder.parent / "site" / "index.html").unlink(),
        [],
    ),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_runs_what_depends_on_it_and_gives_what_a_fresh_run_does(
    folder: Path, ran: list[str], change: str
) -> None:
    # A working copy may be run again from other data.
    edit(folder / "review.yaml", "device:", "review: {edition: 0}\ndevice:")
    run(folder)
    ran.clear()
    act, expected = CHANGES[change]
    act(folder)
    assert not run(folder).startswith("unchanged")
    assert sorted(ran) == expected
    once = tree(folder.parent / "site")
    ran.clear()
    run(folder, "--fresh")
    assert sorted(ran) == ALL
    assert tree(folder.parent / "site") == once


def test_a_changed_word_starts_nothing_and_asks_no_model(
    folder: Path, ran: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    run(folder)
    ran.clear()
    asked: list[object] = []
    monkeypatch.setattr(template, "refused", lambda *told: asked.append(told))
    ahead: list[bool] = []
    real = forkserver.serving

    def spied(**options: Any) -> Any:
        ahead.append(options.get("ahead", True))
        return real(**options)

    monkeypatch.setattr(forkserver, "serving", spied)
    (folder / "words.md").write_text("A lamp.", encoding="utf-8")
    run(folder)
    assert (ran, asked, ahead[0]) == ([], [], False)
    assert "A lamp." in (folder.parent / "site" / "lamp" / "index.html").read_text(encoding="utf-8")
    (folder / "transitions.csv").write_text(TRANSITIONS.replace("5,5", "6,6"), encoding="utf-8")
    assert not cache.is_reworded([folder], cache.RunOptions(folder.parent / "site"))


def test_the_words_have_one_name() -> None:
    assert cache.WORDS == author_text.FILE


@pytest.mark.parametrize("part", ["values", "cell", "model of another's"])
def test_a_models_answer_is_kept_for_the_same_question_alone(part: str) -> None:
    (section, *_) = template.of_kind("section", template.discover())
    before = cache.values_key({"a": 1}, [section])
    assert before == cache.values_key({"a": 1}, [section])
    other = section
    if part == "cell":
        other = replace(section, parameters=section.parameters[1:])
    if part == "model of another's":
        other = replace(section, about=section.about.model_copy(update={"inputs": "mine:Inputs"}))
        assert not cache.values_key({"a": 1}, [other])
    assert cache.values_key({"a": 2 if part == "values" else 1}, [other]) != before


def test_a_review_file_that_was_refused_is_asked_about_again(folder: Path) -> None:
    for _ in range(2):
        edit(folder / "review.yaml", "rated_capacity_Ah: 3.0", "rated_capacity_Ah: none")
        assert "rated_capacity_Ah" in run(folder, status=cli.INPUT_AT_FAULT)
        edit(folder / "review.yaml", "rated_capacity_Ah: none", "rated_capacity_Ah: 3.0")
        run(folder)


def test_a_section_that_was_checked_is_not_checked_again_until_something_of_it_changes(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    real = template.Section.faults

    def spied(self: template.Section, values: Any, place: Path) -> Any:
        asked.append(self.name)
        return real(self, values, place)

    monkeypatch.setattr(template.Section, "faults", spied)
    own = {"charge", "drain", "readout", "ui_states"}
    assert commands.check(folder) == ()
    assert own <= set(asked)
    asked.clear()
    assert commands.check(folder) == ()
    assert not own & set(asked)
    add_to(folder / "readout.csv", "3.91,3.9\n")
    assert commands.check(folder) == ()
    assert own & set(asked) == {"readout"}
    asked.clear()
    for _ in range(2):
        (folder / "readout.csv").rename(folder / "aside")
        (fault,) = commands.check(folder)
        assert "readout.csv" in fault.message
        (folder / "aside").rename(folder / "readout.csv")
    assert own & set(asked) == {"readout"}
    assert len([name for name in asked if name == "readout"]) == 2


def loaded(by: str, *modules: str) -> str:
    """Run a line of Python in a process of its own; return which of the modules it has loaded."""
    told = subprocess.run(
        [sys.executable, "-c", f"import sys\n{by}\nprint(sorted({set(modules)!r} & set(sys.modules)))"],
        capture_output=True,
        text=True,
        check=True,
    )
    return told.stdout.splitlines()[-1]


def test_checking_loads_nothing_that_writes_pages(folder: Path) -> None:
    check = f"from reviewkit import commands; commands.check({str(folder)!r}, out='site')"
    assert loaded(check, "nbconvert", "plotly", "papermill", "nbformat") == "[]"
    # What reads tables has nothing to read where they are as they were.
    add_to(folder / "review.yaml", "review: {ambient_C: 22}\n")
    assert loaded(check, "numpy", "pandas", "pint", "asyncio", "markdown_it", "nbformat") == "[]"


def test_a_changed_word_is_published_without_what_renders_and_as_it_would_be_with_it(folder: Path) -> None:
    words = "Bought on 2026-02-21 for 20 V ± 1 V, {readout.gain}.\n\n![A lamp](lamp.png)\n\n## After"
    Image.new("RGB", (40, 30), "red").save(folder / "lamp.png")
    (folder / "words.md").write_text(words, encoding="utf-8")
    run(folder, "--single-file")
    for new in (f"{words}\n\nEven better: 5 mA.", "Now  3 Ah, and no more.", "A `<!--` and 2 h"):
        (folder / "words.md").write_text(new, encoding="utf-8")
        arguments = ["run", str(folder), "-o", str(folder.parent / "site")]
        by = f"from reviewkit import cli; cli.main({arguments!r}, standalone_mode=False)"
        assert loaded(by, "nbconvert", "numpy", "resvg_py", "bleach") == "[]"
        once = tree(folder.parent / "site")
        run(folder, "--fresh")
        assert tree(folder.parent / "site") == once


def test_another_wish_publishes_again(folder: Path, ran: list[str]) -> None:
    run(folder)
    ran.clear()
    run(folder, "--single-file")
    assert (folder.parent / "site" / "lamp" / "lamp.html").is_file()
    assert not ran
    assert run(folder, "--single-file").startswith("unchanged")


def test_another_version_of_anything_runs_everything(
    folder: Path, ran: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    run(folder)
    ran.clear()
    monkeypatch.setattr(kit, "_libraries", lambda: ["numpy-99.0.dist-info"])
    kit.fingerprint.cache_clear()
    try:
        run(folder)
    finally:
        kit.fingerprint.cache_clear()
    assert sorted(ran) == ALL


def test_the_program_is_its_source_its_templates_and_its_libraries(monkeypatch: pytest.MonkeyPatch) -> None:
    assert {"template.py", "charge.ipynb", "page.css"} <= {path.name for path in kit._source()}
    assert any(name.startswith("pandas-") for name in kit._libraries())


def test_a_section_that_failed_is_run_again(folder: Path, ran: list[str]) -> None:
    edit(folder / "readout.csv", (folder / "readout.csv").read_text(encoding="utf-8"), "nothing\n1\n")
    run(folder, status=cli.INPUT_AT_FAULT)
    ran.clear()
    run(folder, status=cli.INPUT_AT_FAULT)
    assert ran == ["readout"]


def test_templates_of_ones_own_are_always_run(folder: Path, ran: list[str]) -> None:
    own = ("--only-templates", str(kit.kit_folder()))
    run(folder, *own)
    ran.clear()
    assert not run(folder, *own).startswith("unchanged")


def test_verifying_runs_everything(folder: Path, ran: list[str]) -> None:
    run(folder)
    ran.clear()
    (verified,) = verification.verify(folder.parent / "site" / "lamp")
    assert verified.stands
    assert sorted(ran) == [name for name in ALL if name != "summary"]


def test_two_folders_of_one_name_are_refused_though_one_is_unchanged(folder: Path, tmp_path: Path) -> None:
    run(folder)
    other = shutil.copytree(folder, tmp_path / "other" / "lamp")
    done = CliRunner().invoke(cli.main, ["run", str(folder), str(other), "-o", str(tmp_path / "site")])
    assert done.exit_code == cli.INPUT_AT_FAULT
    assert f"'{folder}' is published as 'lamp' already" in done.output


def test_what_is_kept_is_its_users_own(folder: Path, own_cache: Path) -> None:
    run(folder)
    assert (own_cache / "sections").stat().st_mode & 0o077 == 0
    assert (own_cache / "reviews").stat().st_mode & 0o077 == 0


def test_what_can_not_be_read_is_made_again(folder: Path, ran: list[str], own_cache: Path) -> None:
    run(folder)
    for path in own_cache.rglob("*"):
        if path.is_file():
            path.write_bytes(b"not what it was")
    ran.clear()
    run(folder)
    assert sorted(ran) == ALL


def test_a_folder_that_takes_nothing_costs_nothing_but_time(tmp_path: Path) -> None:
    (tmp_path / "full").write_text("no folder", encoding="utf-8")
    keep = SectionCache(tmp_path / "full")
    keep.put({"a": Outcome("{}")})
    keep.trim()
    assert keep.get("a") is None


def test_what_was_not_asked_for_longest_goes_first(tmp_path: Path) -> None:
    keep = SectionCache(tmp_path)
    keep.put({name: Outcome(name * 100, input_faults=("a", "b")) for name in "abc"})
    sizes = {path.name: path.stat().st_size for path in (tmp_path / "sections").iterdir()}
    for age, name in enumerate("bca"):
        os.utime(tmp_path / "sections" / name, (age, age))
    assert keep.get("b") == Outcome("b" * 100, input_faults=("a", "b"))
    keep.trim(sizes["a"] + sizes["b"])
    assert keep.get("c") is None
    assert keep.get("a")
    assert keep.get("b")


@pytest.mark.parametrize("part", ["values", "files", "template", "folder"])
def test_a_key_holds_all_that_a_section_depends_on(tmp_path: Path, part: str) -> None:
    template = tmp_path / "a.ipynb"
    template.write_text("{}", encoding="utf-8")
    (tmp_path / "log").write_text("1", encoding="utf-8")
    task = Task(template, {"x": 1}, tmp_path)
    before = cache.key(task, fingerprints(tmp_path, ["log"]))
    assert before == cache.key(task, fingerprints(tmp_path, ["log"]))
    if part == "template":
        template.write_text("{ }", encoding="utf-8")
    if part == "files":
        (tmp_path / "log").write_text("2", encoding="utf-8")
    values, place = {"x": 2 if part == "values" else 1}, tmp_path / "b" if part == "folder" else tmp_path
    assert cache.key(Task(template, values, place), fingerprints(tmp_path, ["log"])) != before


@pytest.fixture
def two(folder: Path) -> tuple[Path, Path]:
    """Two devices' review folders, one with a title and a notice of its own."""
    other = folder.parent / "lantern"
    shutil.copytree(folder, other)
    own = "device: {name: Birch}\nreview: {title: A lantern on the bench, notice: Invented data., edition: 0}"
    edit(other / "review.yaml", "device: {name: Alder}", own)
    return folder, other


def compared(*folders: Path, status: int = 0) -> str:
    site = folders[0].parent / "site"
    done = CliRunner().invoke(cli.main, ["compare", *map(str, folders), "-o", str(site)])
    assert done.exit_code == status, done.output
    return done.output


def test_a_comparison_runs_the_reviews_that_have_changed(two: tuple[Path, Path], ran: list[str]) -> None:
    site = two[0].parent / "site"
    together = commands.compare(*two, out=site)
    before = tree(site)
    assert len(together.reviews) == 2
    ran.clear()

    told = compared(*two)
    assert told.count("unchanged: ") == 2
    assert not ran
    # Nothing but the comparison's own folder was written, and what it says is the same.
    assert tree(site) == before

    edit(two[1] / "transitions.csv", "5,5\non", "6,6\non")
    told = compared(*two)
    assert told.count("unchanged: ") == 1
    assert sorted(ran) == ["summary", "ui_states"]
    page = (site / together.place.name / "index.html").read_text("utf-8")
    assert "A lantern on the bench" in page
    assert "Invented data." in page


def test_a_comparison_never_takes_a_published_file_that_somebody_changed(two: tuple[Path, Path]) -> None:
    compared(*two)
    findings = two[0].parent / "site" / "lamp" / "findings.json"
    changed = findings.read_bytes().replace(b'"verdict"', b'"Verdict"')
    findings.write_bytes(changed)
    told = compared(*two, status=2)
    assert "findings.json (changed)" in told
    assert findings.read_bytes() == changed
