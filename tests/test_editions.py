"""Editions: none is written over with other data, each before the last is kept, and no kill loses one."""

from __future__ import annotations

import json
import os
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import reviewkit
from reviewkit import commands
from reviewkit.cli import main
from reviewkit.commands import Published
from reviewkit.errors import InputError
from reviewkit.publishing import atomic, editions, written

pytestmark = pytest.mark.usefixtures("libraries_ready")

FILES = Path(__file__).parent / "files"
TEMPLATES = [FILES / "templates"]
LOG = Path("logs") / "lux.csv"
REVIEW = (
    "device: {{name: Lantern}}\n"
    'review: {{title: A lantern, edition: {edition}, date: "2026-02-1{edition}"}}\n'
    "lux: {lux}\ngrams: 182\nlog: logs/lux.csv\n"
)


def bench(folder: Path, *, edition: int = 1, lux: float = 410.5) -> Path:
    """Write, or write again, the tiny review's folder."""
    shutil.copytree(FILES / "lantern", folder, dirs_exist_ok=True)
    (folder / "review.yaml").write_text(REVIEW.format(edition=edition, lux=lux), encoding="utf-8")
    return folder


def other_log(folder: Path) -> None:
    (folder / LOG).write_text("lux\n399\n", encoding="utf-8")


def run(folder: Path, out: Path) -> Published:
    return commands.run(folder, out=out, only_templates=TEMPLATES)[0]


def tree(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()
    }


def call(*arguments: str | Path) -> Result:
    return CliRunner().invoke(
        main, [*map(str, arguments), "--only-templates", str(TEMPLATES[0])], catch_exceptions=False
    )


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A published folder that holds edition 1; only looked at."""
    out = tmp_path_factory.mktemp("site")
    run(bench(tmp_path_factory.mktemp("bench") / "lantern"), out)
    return out


@pytest.fixture
def out(first: Path, tmp_path: Path) -> Path:
    """A published folder that holds edition 1, to be published into."""
    return Path(shutil.copytree(first, tmp_path / "site"))


@pytest.fixture
def lantern(tmp_path: Path) -> Path:
    """The review folder behind it."""
    return bench(tmp_path / "lantern")


def new_name(folder: Path) -> None:
    (folder / LOG).rename(folder / "logs" / "lx.csv")
    path = folder / "review.yaml"
    path.write_text(path.read_text(encoding="utf-8").replace("lux.csv", "lx.csv"), encoding="utf-8")


@pytest.mark.parametrize(
    ("change", "named"),
    [
        (other_log, "logs/lux.csv"),
        (lambda folder: bench(folder, lux=398.5), "lux in review.yaml"),
        (new_name, "logs/lux.csv (no longer read), logs/lx.csv (new) and log in review.yaml"),
    ],
)
def test_an_edition_is_not_published_again_from_other_data(
    out: Path, lantern: Path, change: Callable[[Path], Any], named: str
) -> None:
    change(lantern)
    before = tree(out)
    result = call("run", lantern, "-o", out)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        "review.yaml, review.edition: edition 1 of 'lantern' is published already, made from other data: "
        f"{named}. Raise it to 2, and edition 1 is kept beside the new one; "
        "set it to 0 while you prepare that.\n"
    )
    assert tree(out) == before


def test_several_reviews_are_refused_by_their_names_before_any_is_run(
    out: Path, lantern: Path, tmp_path: Path
) -> None:
    torch = bench(tmp_path / "torch")
    other_log(lantern)
    with pytest.raises(InputError, match=f"^{re.escape(str(lantern))}: review.yaml, review.edition"):
        commands.run(torch, lantern, out=out, only_templates=TEMPLATES)
    assert not (out / "torch").exists()


def test_what_the_author_tells_may_change(out: Path, lantern: Path) -> None:
    path = lantern / "review.yaml"
    text = path.read_text(encoding="utf-8").replace("A lantern", "A lantern again")
    path.write_text(f"# a remark\n{text}claims: [{{about: lamp.reading, says: bright}}]\n", encoding="utf-8")
    (lantern / "words.md").write_text("It is bright.\n", encoding="utf-8")
    assert "A lantern again" in run(lantern, out).index.read_text(encoding="utf-8")
    assert editions.kept(out, "lantern") == []


def test_how_warm_it_was_was_measured(out: Path, lantern: Path) -> None:
    path = lantern / "review.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("edition: 1", "edition: 1, ambient_C: 21"), encoding="utf-8")
    with pytest.raises(InputError, match=r"review\.ambient_C in review\.yaml"):
        run(lantern, out)


def test_a_published_review_that_cannot_be_read_is_not_written_over(out: Path, lantern: Path) -> None:
    (out / "lantern" / "evidence.zip").write_bytes(b"cut off")
    with pytest.raises(InputError, match=r"evidence\.zip \(changed\)"):
        run(lantern, out)
    # Of a folder without a list of what the kit wrote into it, this can't be told.
    for newer in (written.MARK, "card.html", "preview.png"):
        (out / "lantern" / newer).unlink()
    bench(lantern, lux=398.5)
    with pytest.raises(InputError, match=r"cannot be read any more \(evidence\.zip: refused"):
        run(lantern, out)


def test_a_raised_edition_keeps_the_one_before_whole(out: Path, lantern: Path) -> None:
    old = tree(out / "lantern")
    other_log(bench(lantern, edition=2, lux=399.0))
    run(lantern, out)
    kept = tree(out / "lantern.edition-1")
    assert {name for name in old if kept.get(name) != old[name]} <= {
        name for name in old if name.endswith((".html", written.MARK))
    }
    assert kept.keys() == old.keys()
    assert b"There is a later edition" in kept["index.html"]
    assert b"There is a later edition" not in (out / "lantern" / "index.html").read_bytes()


def test_links_between_editions_lead_there_and_back_from_disk(out: Path, lantern: Path) -> None:
    for edition in (2, 3):
        run(bench(lantern, edition=edition, lux=400.0 + edition), out)
    pages = {
        place: out / place / "index.html" for place in ("lantern", "lantern.edition-1", "lantern.edition-2")
    }
    leads = {place: links(page) for place, page in pages.items()}
    assert {"lantern.edition-1", "lantern.edition-2"} <= leads["lantern"]
    assert {"lantern", "lantern.edition-1"} <= leads["lantern.edition-2"]
    assert "lantern" in leads["lantern.edition-1"]
    shelf = links(out / "index.html")
    assert "lantern" in shelf
    assert not [name for name in shelf if "edition" in name]


def links(page: Path) -> set[str]:
    """The folders that a page's links lead to, each of which is there."""
    found = re.findall(r'href="([^"#:]+)', page.read_text(encoding="utf-8"))
    targets = [(page.parent / address).resolve() for address in found if not address.startswith("data")]
    assert all(target.exists() for target in targets), page
    return {target.parent.name for target in targets}


def test_a_kept_edition_is_verified_like_any_other(out: Path, lantern: Path) -> None:
    run(bench(lantern, edition=2, lux=399.0), out)
    one, two = reviewkit.verify(out / "lantern.edition-1", out / "lantern", only_templates=TEMPLATES)
    assert one.stands
    assert two.stands
    assert [item.checks[0].published.value for item in (one, two) if item.checks[0].published] == [
        410.5,
        399.0,
    ]
    assert len(reviewkit.verify(out, only_templates=TEMPLATES)) == 1


def test_an_edition_run_again_keeps_the_ones_before(out: Path, lantern: Path) -> None:
    run(bench(lantern, edition=2, lux=399.0), out)
    kept = tree(out / "lantern.edition-1")
    again = run(lantern, out)
    assert tree(out / "lantern.edition-1") == kept
    assert [item.number for item in editions.kept(out, "lantern")] == [1]
    last = json.loads((again.place / editions.LAST_EDITION).read_text(encoding="utf-8"))
    assert last["review"]["edition"] == 1


def test_an_older_edition_does_not_take_the_place_of_a_newer(out: Path, lantern: Path) -> None:
    run(bench(lantern, edition=2), out)
    with pytest.raises(InputError, match=r"edition 2 of 'lantern' is published already\. Raise it to 3"):
        run(bench(lantern, edition=1), out)


def test_what_is_kept_counts_as_published(out: Path, lantern: Path) -> None:
    run(bench(lantern, edition=2, lux=399.0), out)
    shutil.rmtree(out / "lantern")
    with pytest.raises(InputError, match="made from other data: lux in review"):
        run(bench(lantern, edition=1, lux=1.0), out)
    assert run(bench(lantern, edition=1), out).place == out / "lantern"


@pytest.fixture
def draft_dir(tmp_path: Path) -> Path:
    return tmp_path / "working"


def test_a_working_copy_is_written_over_as_often_as_need_be(lantern: Path, draft_dir: Path) -> None:
    for lux in (1.0, 2.0):
        done = run(bench(lantern, edition=0, lux=lux), draft_dir)
        assert done.place == draft_dir / "lantern"
        assert not done.is_draft
        for page in ("index.html", "lamp.html"):
            assert "This is a working copy" in (done.place / page).read_text(encoding="utf-8")
    assert "a working copy" in (draft_dir / "index.html").read_text(encoding="utf-8")
    done = run(bench(lantern, edition=1, lux=3.0), draft_dir)
    assert "working copy" not in done.index.read_text(encoding="utf-8")
    assert {path.name for path in draft_dir.iterdir()} == {"assets", "index.html", "lantern", written.MARK}


def test_a_working_copy_beside_an_edition_leaves_it_in_its_place(out: Path, lantern: Path) -> None:
    before = tree(out / "lantern")
    for lux in (1.0, 2.0):
        done = run(bench(lantern, edition=0, lux=lux), out)
    assert (done.place, done.is_draft) == (out / "lantern.draft", True)
    assert tree(out / "lantern") == before
    assert "lantern" in links(done.index)
    run(bench(lantern, edition=2, lux=2.0), out)
    assert not done.place.exists()
    assert (out / "lantern.edition-1").is_dir()


def test_a_failed_edition_moves_nothing(out: Path, lantern: Path) -> None:
    before = tree(out)
    bench(lantern, edition=2)
    (done,) = commands.run(lantern, out=out, only_templates=[*TEMPLATES, FILES / "failing"])
    assert done.is_draft
    after = tree(out)
    assert {
        name: content for name, content in after.items() if not name.startswith("lantern.draft/")
    } == before
    assert "lantern" in links(done.index)


class Killed(BaseException):
    """Ends a run on the spot."""


_STEPS = ("rename", "replace", "mkdir", "link", "rmdir", "unlink")


def killed_at(step: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the run end in place of its `step`th change to the disk, and change nothing from then on."""
    left = step

    def wrapped(change: Callable[..., Any]) -> Callable[..., Any]:
        def counted(*given: Any, **named: Any) -> Any:
            nonlocal left
            left -= 1
            if left < 0:
                raise Killed
            return change(*given, **named)

        return counted

    for name in _STEPS:
        monkeypatch.setattr(os, name, wrapped(getattr(os, name)))
    # What an interpreter does on its way out is not done by one that was killed.
    monkeypatch.setattr(atomic.shutil, "rmtree", wrapped(shutil.rmtree))


def content(folder: Path) -> dict[str, bytes]:
    return {name: text for name, text in tree(folder).items() if not name.endswith((".html", written.MARK))}


def test_a_kill_at_any_step_loses_no_edition(
    out: Path, tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    """The second edition is put in place again and again, each time ended one step later than before."""
    old = content(out / "lantern")
    new = Path(shutil.copytree(out / "lantern", tmp_path / "new"))
    whole = json.loads((new / "findings.json").read_text(encoding="utf-8"))
    whole["review"]["edition"] = 2
    (new / "findings.json").write_text(json.dumps(whole), encoding="utf-8")
    killed, step = True, 0
    while killed:
        place = Path(shutil.copytree(out, tmp_path / f"site-{step}"))
        killed = _put_until(step, new, place)
        with atomic.site(place):
            there = content(place / "lantern")
            assert there in (old, content(new)), step
            kept = [content(item.place) for item in editions.kept(place, "lantern")]
            assert old in (there, *kept), step
        assert not [path.name for path in place.iterdir() if path.name.startswith(".")], step
        step += 1
    assert step > 10
    assert (there, kept) == (content(new), [old])
    record_property(
        "figure", f"{step - 1} moments at which an edition's way into its place was cut short, lost: 0"
    )


def _put_until(step: int, new: Path, place: Path) -> bool:
    staged = Path(shutil.copytree(new, written.claim(place, "staging", "lantern")))
    with pytest.MonkeyPatch.context() as patch:
        killed_at(step, patch)
        try:
            atomic.put(staged, place, "lantern", good=True)
        except Killed:
            return True
    return False
