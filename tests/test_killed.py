"""A run may be killed at any moment: what is published stays whole, and nothing is in the next run's way."""

from __future__ import annotations

import errno
import multiprocessing
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import uuid
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import nbformat
import pytest
from filelock import FileLock
from killing import rounds
from killing.rounds import Rounds, Way
from killing.scene import FILES, Scene, tree
from killing.victim import At, forked

from reviewkit import commands
from reviewkit.errors import InputError
from reviewkit.execution import forked as fork_server
from reviewkit.execution.kernel import kernel_in
from reviewkit.publishing import atomic, written
from reviewkit.system import disk

linux = pytest.mark.skipif(sys.platform != "linux", reason="processes are forked and looked at in /proc")
root = pytest.mark.skipif(not hasattr(os, "getuid") or os.getuid() != 0, reason="only root mounts a disk")

WAYS = (
    *(Way("SIGKILL"), Way("SIGKILL", when=rounds.CHANGE), Way("SIGKILL", when=rounds.PUTTING)),
    *(
        Way("SIGINT", when=rounds.CHANGE),
        Way("SIGINT", when=rounds.PUTTING),
        Way("SIGTERM", when=rounds.CHANGE),
    ),
    Way(rounds.CHILD),
    Way(rounds.ALL, rounds.OWN),
    Way("SIGKILL", rounds.KERNELS),
    pytest.param(Way(rounds.SITE_FULL), marks=root),
    pytest.param(Way(rounds.TEMPORARY_FULL), marks=root),
)


@pytest.fixture(scope="module")
def killing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rounds]:
    """The first edition published, the second measured."""
    own = Rounds(Scene(tmp_path_factory.mktemp("scene"), edition=1), random.Random(20))
    yield own
    rounds.stop(own)


@linux
@pytest.mark.parametrize("way", WAYS, ids=lambda way: f"{way.how}, {way.run_with}, {way.when}")
def test_a_killed_run_leaves_the_old_review_or_the_new(killing: Rounds, way: Way) -> None:
    ended = killing.round(way)
    assert ended.faults == []
    assert ended.found in ("old", "new")
    assert (ended.healed, ended.left) == (True, [])


HANGING = "import pathlib, os, time\npathlib.Path('reached').write_text('')\ntime.sleep(600)"


@linux
@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("kernels", [False, True], ids=["server", "kernels"])
def test_a_run_that_is_asked_to_end_does_not_wait_for_its_notebooks(
    tmp_path: Path, kernels: bool, sent: int
) -> None:
    scene = Scene(tmp_path)
    scene.lay()
    scene.measure(new=False)
    templates = Path(shutil.copytree(FILES / "templates", tmp_path / "templates"))
    book = nbformat.read(templates / "lamp.ipynb", as_version=4)  # type: ignore[no-untyped-call]
    next(
        cell for cell in book.cells if cell.cell_type == "code" and not cell.metadata.get("tags")
    ).source = HANGING
    nbformat.write(book, templates / "lamp.ipynb")  # type: ignore[no-untyped-call]
    arguments = [*scene.arguments[:-1], str(templates)]
    run = forked(arguments, environment=scene.environment, told=scene.told, kernels=kernels, at=At())
    while not (scene.bench / "reached").exists() and run.is_alive():
        run.join(0.05)
    os.kill(run.pid or 0, sent)
    run.join(300)
    assert run.exitcode == 128 + sent
    assert scene.told.read_text(encoding="utf-8") == (
        "Interrupted. Every published review is whole, as it was or new.\n"
    )
    assert (scene.quiet(), scene.left(), list(scene.out.iterdir())) == ([], [], [])


@linux
def test_of_two_runs_on_one_folder_the_second_is_refused(killing: Rounds, tmp_path: Path) -> None:
    scene = killing.scene
    scene.lay(scene.root / "published-old")
    torch = Path(shutil.copytree(scene.bench, tmp_path / "torch"))
    holding = subprocess.Popen(
        [sys.executable, "-c", HOLDING, str(scene.out)], stdout=subprocess.PIPE, stdin=subprocess.PIPE
    )
    assert holding.stdout
    assert holding.stdin
    assert holding.stdout.readline() == b"held\n"
    before = tree(scene.out)
    for bench in (scene.bench, torch):
        with pytest.raises(InputError, match=r"^another run is writing to 'out'\. Wait until it has ended"):
            commands.run(bench, out=scene.out, only_templates=[FILES / "templates"])
    assert tree(scene.out) == before
    holding.kill()
    holding.wait()
    holding.stdout.close()
    holding.stdin.close()
    assert (scene.out / ".reviewkit.lock").exists()
    with atomic.site(scene.out):
        assert not [path.name for path in scene.out.glob(".staging-*")]
    assert not [path.name for path in scene.out.iterdir() if path.name.startswith(".")]


HOLDING = """
import sys
from pathlib import Path
from reviewkit.publishing import atomic
with atomic.site(Path(sys.argv[1])) as out:
    atomic.stage(out, "lantern")
    print("held", flush=True)
    sys.stdin.read()
"""


def test_a_run_that_ends_leaves_the_lock_of_the_next_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    release = FileLock.release

    def then_another_starts(lock: FileLock, *given: Any, **named: Any) -> None:
        release(lock, *given, **named)
        (tmp_path / ".reviewkit.lock").touch()

    with atomic.site(tmp_path):
        monkeypatch.setattr(FileLock, "release", then_another_starts)
    assert (tmp_path / ".reviewkit.lock").exists()


def placed(folder: Path, text: str) -> Path:
    folder.mkdir(parents=True)
    (folder / "index.html").write_text(text, encoding="utf-8")
    return folder


@linux
def test_a_reader_never_finds_the_place_empty(tmp_path: Path) -> None:
    page, missed, read = placed(tmp_path / "lamp", "0") / "index.html", [], []
    written.seal(page.parent)
    if not disk.exchanged(placed(tmp_path / "a", ""), placed(tmp_path / "b", "")):
        pytest.skip("this disk can't exchange two folders")
    done = threading.Event()

    def look() -> None:
        while not done.is_set():
            try:
                read.append(page.read_text(encoding="utf-8"))
            except FileNotFoundError as error:
                missed.append(error)

    reader = threading.Thread(target=look)
    reader.start()
    for number in range(300):
        staged = placed(written.claim(tmp_path, "staging", "lamp"), str(number))
        atomic.put(staged, tmp_path, "lamp", good=True)
    done.set()
    reader.join()
    written.sweep_journal(tmp_path)
    # Opened in one folder and removed with it, a page is read to its end all the same.
    assert missed == []
    assert page.read_text(encoding="utf-8") == "299"
    assert len(set(read)) > 1
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


@pytest.mark.parametrize("done", range(4))
def test_where_folders_cannot_be_exchanged_a_kill_between_two_renames_is_healed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, done: int
) -> None:
    written.seal(placed(tmp_path / "lamp", "old"))
    staged = placed(written.claim(tmp_path, "staging", "lamp"), "new")
    monkeypatch.setattr(atomic, "exchanged", lambda *_: False)
    with suppress(KeyboardInterrupt), monkeypatch.context() as patch:
        patch.setattr(os, "rename", allowed(os.rename, done))
        patch.setattr(shutil, "rmtree", allowed(shutil.rmtree, done - 2))
        atomic.put(staged, tmp_path, "lamp", good=True)
    with atomic.site(tmp_path):
        pass
    found = (tmp_path / "lamp" / "index.html").read_text(encoding="utf-8")
    assert found == ("old" if done < 2 else "new")
    assert [path.name for path in tmp_path.iterdir()] == ["lamp"]


def allowed(change: Callable[..., Any], times: int) -> Callable[..., Any]:
    """Return a change to the disk that can be made so often; then the run is at its end."""
    left = times

    def counted(*given: Any, **named: Any) -> Any:
        nonlocal left
        left -= 1
        if left < 0:
            raise KeyboardInterrupt
        return change(*given, **named)

    return counted


def test_folders_that_are_not_there_are_not_exchanged(tmp_path: Path) -> None:
    with suppress(FileNotFoundError):
        assert not disk.exchanged(tmp_path / "a", tmp_path / "b")


def failing(out: Path, number: int) -> None:
    with atomic.site(out):
        atomic.stage(out, "lamp")
        raise OSError(number, "told by the system")


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT])
def test_a_full_disk_is_told_as_one(tmp_path: Path, number: int) -> None:
    out = tmp_path / "site"
    with pytest.raises(
        InputError, match=r"^no space is left on the disk that holds 'site' or temporary files\. M"
    ):
        failing(out, number)
    assert list(out.iterdir()) == []


def test_the_disk_that_is_full_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    usual = tempfile.TemporaryFile

    def full(*, dir: Path) -> Any:
        if dir.name == "site":
            raise OSError(errno.ENOSPC, "full")
        return usual(dir=dir)

    monkeypatch.setattr(tempfile, "TemporaryFile", full)
    with pytest.raises(InputError, match=r"^no space is left on the disk that holds 'site'\. Make room"):
        failing(tmp_path / "site", errno.ENOSPC)
    disk.refuse_no_room()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "site"))
    with pytest.raises(OSError, match="No space") as caught:
        disk.refuse_no_room()
    assert disk.is_full(caught.value)


def test_another_fault_of_the_system_is_none_of_the_disk(tmp_path: Path) -> None:
    with pytest.raises(PermissionError):
        failing(tmp_path, errno.EACCES)


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    place = tmp_path / "page"
    place.write_text("old", encoding="utf-8")
    with suppress(KeyboardInterrupt), disk.whole(place) as part:
        part.write_text("ne", encoding="utf-8")
        raise KeyboardInterrupt
    assert tree(tmp_path) == {"page": b"old"}
    with disk.whole(place) as part:
        part.write_text("new", encoding="utf-8")
    assert tree(tmp_path) == {"page": b"new"}


def test_what_a_killed_process_left_unfinished_is_removed(tmp_path: Path) -> None:
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    for name in (f"page.{ended.pid}", f"page.{os.getpid()}", f"other.{ended.pid}", "page"):
        (tmp_path / name).touch()
    disk.sweep_parts(tmp_path, "page")
    assert {path.name for path in tmp_path.iterdir()} == {f"page.{os.getpid()}", f"other.{ended.pid}", "page"}


def test_a_kernel_keeps_all_its_files_in_its_own_folder(tmp_path: Path) -> None:
    assert Path(kernel_in(tmp_path)().connection_file).parent == tmp_path


@linux
def test_a_server_whose_starter_is_gone_ends_by_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody else knows its name."""
    monkeypatch.setattr(fork_server, "_FIRST_CLIENT_S", 0.1)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setattr(sys, "argv", ["", uuid.uuid4().hex, "0"])
    monkeypatch.setattr(fork_server, "load_most", lambda: None)
    served = multiprocessing.get_context("fork").Process(target=fork_server.main)
    served.start()
    served.join(60)
    assert served.exitcode == 0
    assert not list(tmp_path.iterdir())


def test_the_folder_for_temporary_files_is_not_tried_with_a_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", None)
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    with monkeypatch.context() as patch:
        patch.setattr(os, "open", allowed(os.open, 0))
        disk.settle()
        assert tempfile.gettempdir() == str(tmp_path)
    monkeypatch.setattr(tempfile, "tempdir", None)
    monkeypatch.setenv("TMPDIR", str(tmp_path / "not there"))
    assert disk.made_temporary().parent != tmp_path / "not there"
