"""Whatever the kit did not write stays as it is, wherever and however often it is told to publish."""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import unicodedata
from collections.abc import Callable
from contextlib import nullcontext, suppress
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from strangers import TEMPLATES, bench, scatter, sums

from reviewkit import commands
from reviewkit.cli import main
from reviewkit.commands.pages import settled
from reviewkit.execution import forkserver
from reviewkit.execution.papermill_run import Outcome, Task
from reviewkit.pipeline import runner
from reviewkit.pipeline.cache import RunOptions
from reviewkit.publishing import atomic, written
from reviewkit.tables import keys

COMPARE = Path(__file__).parents[1] / "templates" / "compare.ipynb"


@pytest.fixture(autouse=True)
def _nothing_is_executed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Notebooks are published as they are: what they find does not matter here."""

    def at_once(task: Task) -> Outcome:
        return Outcome(task.template.read_text(encoding="utf-8"))

    monkeypatch.setattr(runner, "execute", at_once)
    monkeypatch.setattr(forkserver, "serving", lambda **_: nullcontext())
    monkeypatch.setattr("reviewkit.commands.pairs.execute", at_once)
    monkeypatch.chdir(tmp_path)


@pytest.fixture(scope="session")
def templates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The tiny sections and a comparison."""
    folder = Path(shutil.copytree(TEMPLATES[0], tmp_path_factory.mktemp("own") / "templates"))
    shutil.copy(COMPARE, folder)
    return folder


@pytest.fixture
def call(templates: Path) -> Callable[..., Result]:
    def called(*arguments: str | Path) -> Result:
        with_own = [*map(str, arguments), "--only-templates", str(templates)]
        return CliRunner().invoke(main, with_own, catch_exceptions=False)

    return called


Call = Callable[..., Result]


@pytest.mark.parametrize(
    ("words", "remedy"),
    [
        (
            ["run", "hazel", "-o", "."],
            "holds the review folder 'hazel'. Nothing was written. Publish outside it: -o site",
        ),
        (["run", "hazel", "-o", "hazel"], "is the review folder 'hazel'"),
        (["run", "hazel", "-o", "hazel/pages"], "lies in the review folder 'hazel'"),
        (["run", "hazel", "-o", "birch/pages"], "lies in the review folder 'birch'"),
        (["run", "hazel", "-o", "birch/../hazel"], "is the review folder 'hazel'"),
        (["run", "hazel", "-o", "link"], "is the review folder 'hazel'"),
        (["run", "link", "-o", "hazel"], "is the review folder 'hazel'"),
        (["run", "hazel", "-o", "up"], "holds the review folder 'hazel'"),
        (["compare", "hazel", "birch", "-o", "."], "holds the review folder 'hazel'"),
        (["start", "hazel/again"], "lies in the review folder 'hazel'"),
        (["start", "."], "holds the review folder 'birch'"),
    ],
)
def test_no_place_in_at_or_around_a_review_folder_is_taken(
    tmp_path: Path, call: Call, words: list[str], remedy: str
) -> None:
    for name in ("hazel", "birch"):
        bench(tmp_path / name, name=name.title())
    (tmp_path / "link").symlink_to(tmp_path / "hazel", target_is_directory=True)
    (tmp_path / "up").symlink_to(tmp_path, target_is_directory=True)
    before = sums(tmp_path)
    done = call(*words)
    assert (done.exit_code, done.stdout) == (2, "")
    assert remedy in done.stderr
    assert sums(tmp_path) == before


def test_a_run_inside_the_review_folder_is_told_where_to_publish(
    tmp_path: Path, call: Call, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(bench(tmp_path / "hazel"))
    for out in ("site", "..", "."):
        done = call("run", ".", "-o", out)
        assert done.exit_code == 2
        assert f"-o {Path('..', 'site')}" in done.stderr
    assert call("run", ".", "-o", "../site").exit_code == 0


def test_another_spelling_of_the_folder_is_seen_through(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on a disk to which 'Hazel' and 'hazel' are one: the system calls both the same."""
    hazel = bench(tmp_path / "hazel")
    (tmp_path / "HAZEL").mkdir()
    usual = Path.stat

    def one_folder(path: Path, **more: bool) -> os.stat_result:
        return usual(hazel if path.name == "HAZEL" else path, **more)

    monkeypatch.setattr(Path, "stat", one_folder)
    assert atomic.location(tmp_path / "HAZEL", [hazel])
    assert atomic.location(tmp_path / "HAZEL" / "site", [hazel])
    assert not atomic.location(tmp_path / "site", [hazel])


@pytest.mark.parametrize(
    "name", ["hazel", "hazel.draft", "assets", "reviewkit.sha256", ".reviewkit.journal", ".reviewkit.lock"]
)
@pytest.mark.parametrize("kind", ["folder", "file", "link"])
def test_what_somebody_else_put_there_is_refused_by_name(
    tmp_path: Path, call: Call, name: str, kind: str
) -> None:
    bench(tmp_path / "hazel")
    place = tmp_path / "site" / name
    place.parent.mkdir()
    if kind == "folder":
        place.mkdir()
        (place / "page.html").write_text("mine", encoding="utf-8")
    elif kind == "file":
        place.write_text("mine", encoding="utf-8")
    else:
        place.symlink_to(tmp_path / "hazel")
    before = sums(tmp_path)
    done = call("run", "hazel")
    if (name, kind) == ("assets", "folder"):
        assert done.exit_code == 0
        assert before.items() <= sums(tmp_path).items()
        return
    assert (done.exit_code, done.stdout) == (2, "")
    assert f"site/{name}" in done.stderr
    assert "-o" in done.stderr
    assert sums(tmp_path) == before


def test_files_with_names_like_a_runs_own_stay(tmp_path: Path, call: Call) -> None:
    bench(tmp_path / "hazel")
    site = tmp_path / "site"
    for name in (".staging-hazel-0a1b2c3d", ".old-hazel", ".old-birch-0a1b2c3d"):
        (site / name).mkdir(parents=True)
        (site / name / "page.html").write_text("mine", encoding="utf-8")
    for name in (".lock", "index.html.1234567", ".htaccess"):
        (site / name).write_text("mine", encoding="utf-8")
    before = sums(site)
    assert call("run", "hazel").exit_code == 0
    assert before.items() <= sums(site).items()


@pytest.mark.parametrize("change", ["page", "folder", "changed", "link"])
def test_pages_added_or_changed_by_hand_are_not_swept_away(tmp_path: Path, call: Call, change: str) -> None:
    bench(tmp_path / "hazel", edition=0)
    assert call("run", "hazel").exit_code == 0
    place = tmp_path / "site" / "hazel"
    if change == "changed":
        (place / "index.html").write_text("corrected by hand", encoding="utf-8")
    elif change == "folder":
        (place / "photos").mkdir()
    elif change == "link":
        (place / "more").symlink_to(tmp_path)
    else:
        (place / "letter.html").write_text("mine", encoding="utf-8")
    bench(tmp_path / "hazel", edition=0, lux=1.0)
    before = sums(tmp_path)
    done = call("run", "hazel")
    assert done.exit_code == 2
    named = {"page": "letter.html", "folder": "photos/", "changed": "index.html (changed)", "link": "more"}
    assert f"site/hazel: here is what the kit did not write: {named[change]}. Move that" in done.stderr
    assert sums(tmp_path) == before


def test_what_a_system_leaves_in_a_folder_is_no_persons(tmp_path: Path, call: Call) -> None:
    bench(tmp_path / "hazel", edition=0)
    assert call("run", "hazel").exit_code == 0
    (tmp_path / "site" / "hazel" / ".DS_Store").touch()
    bench(tmp_path / "hazel", edition=0, lux=1.0)
    assert call("run", "hazel").exit_code == 0


def test_a_web_root_keeps_its_own_first_page(tmp_path: Path, call: Call) -> None:
    bench(tmp_path / "hazel")
    root = tmp_path / "www"
    (root / "assets").mkdir(parents=True)
    (root / "photos").mkdir()
    for name in ("index.html", "assets/style.css", "photos/old.html", "photos/findings.json"):
        (root / name).write_bytes(b"\xffmine")
    before = sums(root)
    assert call("run", "hazel", "-o", "www").exit_code == 0
    assert before.items() <= sums(root).items()
    assert "hazel/index.html" in (root / "reviews.html").read_text(encoding="utf-8")
    assert 'href="../reviews.html"' in (root / "hazel" / "index.html").read_text(encoding="utf-8")
    assert call("run", "hazel", "-o", "www", "--fresh", "--list", "lights.html").exit_code == 0
    assert before.items() <= sums(root).items()
    assert (root / "lights.html").exists()
    assert not (root / "reviews.html").exists()
    done = call("run", "hazel", "-o", "www", "--fresh", "--list", "index.html")
    assert done.exit_code == 2
    assert "--list" in done.stderr


def test_a_list_changed_by_hand_is_not_written_over(tmp_path: Path, call: Call) -> None:
    bench(tmp_path / "hazel", edition=0)
    assert call("run", "hazel").exit_code == 0
    (tmp_path / "site" / "index.html").write_text("my own first page", encoding="utf-8")
    before = sums(tmp_path)
    done = call("run", "hazel", "--fresh")
    assert done.exit_code == 2
    assert "site/index.html" in done.stderr
    assert sums(tmp_path) == before


def test_what_the_version_without_marks_published_is_known(tmp_path: Path, call: Call) -> None:
    bench(tmp_path / "hazel", edition=0)
    assert call("run", "hazel", "--single-file").exit_code == 0
    for mark in (tmp_path / "site").rglob(written.MARK):
        mark.unlink()
    for newer in ("card.html", "preview.png"):
        (tmp_path / "site" / "hazel" / newer).unlink()
    (tmp_path / "site" / "hazel" / "letter.html").write_text("mine", encoding="utf-8")
    bench(tmp_path / "hazel", edition=0, lux=1.0)
    assert "letter.html" in call("run", "hazel").stderr
    (tmp_path / "site" / "hazel" / "letter.html").unlink()
    assert call("run", "hazel").exit_code == 0
    assert (tmp_path / "site" / "hazel" / written.MARK).exists()
    assert (tmp_path / "site" / "hazel" / "hazel.html").exists()


def test_marks_are_sums_that_others_can_check(tmp_path: Path, call: Call) -> None:
    bench(tmp_path / "hazel")
    assert call("run", "hazel").exit_code == 0
    program = shutil.which("sha256sum")
    if not program:
        pytest.skip("no sha256sum (GNU coreutils) here")
    for place in (tmp_path / "site", tmp_path / "site" / "hazel"):
        done = subprocess.run([program, "-c", "--strict", written.MARK], cwd=place, capture_output=True)
        assert done.returncode == 0, done.stderr


def test_no_edition_of_another_device_takes_a_reviews_place(tmp_path: Path, call: Call) -> None:
    bench(tmp_path / "a" / "hazel", name="Hazel")
    assert call("run", "a/hazel").exit_code == 0
    before = sums(tmp_path / "site")
    for edition in (0, 1, 2):
        bench(tmp_path / "b" / "hazel", name="Birch", edition=edition)
        done = call("run", "b/hazel")
        assert done.exit_code == 2
        assert "under 'hazel' another device is published: 'Hazel'" in done.stderr
        assert sums(tmp_path / "site") == before
    path = tmp_path / "b" / "hazel" / "review.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("name: Birch", "name: Birch, formerly: [Hazel]"), encoding="utf-8")
    assert call("run", "b/hazel").exit_code == 0
    assert (tmp_path / "site" / "hazel.edition-1").is_dir()


def test_two_folders_whose_names_meet_are_refused_with_both(tmp_path: Path, call: Call) -> None:
    bench(tmp_path / "Müller", name="Müller")
    bench(tmp_path / "Muller", name="Muller")
    done = call("run", "Müller", "Muller")
    assert done.exit_code == 2
    assert unicodedata.normalize("NFC", done.stderr).count("Müller") >= 1
    assert "Muller" in done.stderr


SCRIPTS = (
    *("abcdefghijklmnopqrstuvwxyz", "äöüéèñçøåß", "абвгдежзиклмнопрст", "αβγδεζηθικλμνξοπ"),
    *("电灯头盔猫鹰林火山河", "あいうえおかきくけこさしす", "가나다라마바사아자차", "कखगघचछजझटठ"),
    *("אבגדהוזחט", "ابتثجحخدذر", "กขคงจฉชซ", "აბგდევზთ"),
)


def test_fifty_devices_of_ten_scripts_and_more_lie_in_fifty_folders(tmp_path: Path, templates: Path) -> None:
    chance = random.Random(2026)
    names: dict[str, str] = {}
    while len(names) < 50:
        script = SCRIPTS[len(names) % len(SCRIPTS)]
        name = "".join(chance.choices(script, k=chance.randint(3, 9)))
        names.setdefault(keys.published_name(Path(name)), name)
    benches = [bench(tmp_path / name, name=name) for name in names.values()]
    done = commands.run(*benches, out=tmp_path / "site", only_templates=[templates])
    assert len({item.place for item in done}) == 50
    published = {path.parent.name for path in (tmp_path / "site").glob("*/findings.json")}
    assert published == set(names)


def test_what_was_asked_for_once_stays_until_said_otherwise(tmp_path: Path, call: Call) -> None:
    bench(tmp_path / "hazel", edition=0)
    assert call("run", "hazel", "--single-file").exit_code == 0
    single = tmp_path / "site" / "hazel" / "hazel.html"
    bench(tmp_path / "hazel", edition=0, lux=1.0)
    done = call("run", "hazel")
    assert (done.exit_code, done.stderr) == (0, "")
    assert single.exists()
    done = call("run", "hazel", "--no-single-file")
    assert done.exit_code == 0
    assert done.stderr == "no longer published in hazel: hazel.html\n"
    assert not single.exists()


def test_stills_stay_likewise(tmp_path: Path) -> None:
    place = tmp_path / "hazel"
    (place / "stills").mkdir(parents=True)
    (place / "stills" / "card-light.svg").touch()
    written.seal(place)
    assert settled(RunOptions(tmp_path), place).stills
    assert not settled(RunOptions(tmp_path, stills=False), place).stills
    assert not settled(RunOptions(tmp_path), tmp_path / "birch").stills


def test_a_list_of_reviews_cut_short_by_a_kill_is_known_again(
    tmp_path: Path, call: Call, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench(tmp_path / "hazel", edition=0)
    assert call("run", "hazel").exit_code == 0
    site = tmp_path / "site"

    class Killed(BaseException):
        pass

    replace = Path.replace
    for step in range(4):
        left = step

        def counted(path: Path, target: Path) -> Path:
            nonlocal left
            left -= 1
            if left < 0:
                raise Killed
            return replace(path, target)

        with monkeypatch.context() as patch:
            patch.setattr(Path, "replace", counted)
            with suppress(Killed):
                written.put(site, "index.html", lambda part, step=step: part.write_text(f"list {step}"))
        written.settle_journal(site)
        assert written.is_ours(site, "index.html")


@pytest.mark.parametrize("seed", range(8))
def test_no_sequence_of_commands_changes_a_file_that_is_not_the_kits(
    tmp_path: Path, call: Call, seed: int, record_property: Callable[[str, object], None]
) -> None:
    """Refusals are allowed, a change is not: strangers' files and review folders, before and after each."""
    chance = random.Random(seed)
    for name in ("lantern", "torch"):
        bench(tmp_path / "bench" / name, name=name.title(), edition=chance.randint(0, 1))
    outs = ["www", "site", "site/inner", "bench", "bench/lantern", "bench/torch/site", ".", "www/lantern"]
    for place in ("www", "site"):
        (tmp_path / place).mkdir()
        scatter(tmp_path / place, chance, most=4 if place == "site" else 8)
    theirs = sums(tmp_path)
    statuses = []
    for _ in range(12):
        out = chance.choice(outs)
        folders = [f"bench/{name}" for name in chance.sample(["lantern", "torch"], 2)]
        words = chance.choice(
            [
                ["run", *folders[: chance.randint(1, 2)], "-o", out],
                ["compare", *folders, "-o", out],
                ["run", folders[0], "-o", out, "--single-file"],
                ["start", chance.choice([out, f"{out}/lantern", "bench/new"])],
            ]
        )
        done = call(*words)
        statuses.append(done.exit_code)
        assert done.exit_code in (0, 2), (words, done.output)
        now = sums(tmp_path)
        assert theirs.items() <= now.items(), words
        if chance.random() < 0.3:
            known = now.keys()
            scatter(tmp_path / chance.choice(["www", "site", "site/lantern", "www/torch"]), chance, most=2)
            theirs |= {name: value for name, value in sums(tmp_path).items() if name not in known}
        if words[0] == "start" and done.exit_code == 0:
            started = sums(tmp_path / words[1]) if (tmp_path / words[1]).is_dir() else {}
            theirs |= started
        if chance.random() < 0.3:
            name = chance.choice(["lantern", "torch"])
            folder = bench(tmp_path / "bench" / name, name=name.title(), edition=0, lux=chance.random())
            theirs |= sums(folder)
    record_property(
        "figure", f"seed {seed}: {statuses.count(0)} runs, {statuses.count(2)} refused, changed: 0"
    )
