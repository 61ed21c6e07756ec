"""Raw files: a whole review opens them for reading alone, and notices if anyone else changes one."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from reviewkit import commands
from reviewkit.errors import Faults, InputError
from reviewkit.pipeline import loading
from reviewkit.pipeline.results import Reviewed
from reviewkit.publishing import evidence
from reviewkit.review import fingerprints
from reviewkit.sections import template

FILES = Path(__file__).parent / "files"
ALDER = Path(__file__).parents[1] / "examples" / "alder"
_CALL = "from reviewkit.cli import main; main()"
HOOK = '''
"""Notes every file below a folder that this interpreter opens, and every other change it makes there."""

import os
import sys

_FOLDER = {folder!r}
_NOTES = os.open({notes!r}, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
_CHANGES = (
    *("os.rename", "os.remove", "os.rmdir", "os.mkdir", "os.chmod", "os.chown", "os.utime", "os.truncate"),
    *("os.link", "os.symlink", "os.setxattr", "os.removexattr", "os.mkfifo", "os.mknod"),
)


def _note(event, arguments):
    if event == "open":
        path, mode, flags = arguments
        writes = (isinstance(mode, str) and set(mode) & set("wax+")) or (flags or 0) & _WRITING
        _told("writes" if writes else "reads", path)
    elif event in _CHANGES:
        for path in arguments[:2]:
            _told(event, path)


def _told(what, path):
    if isinstance(path, (str, bytes)):
        whole = os.path.realpath(os.fsdecode(path))
        if whole == _FOLDER or whole.startswith(_FOLDER + os.sep):
            os.write(_NOTES, f"{{os.getpid()}} {{what}} {{os.path.relpath(whole, _FOLDER)}}\\n".encode())


sys.addaudithook(_note)
'''


def audited(folder: Path, scratch: Path, *more: str) -> tuple[int, list[tuple[str, str, str]]]:
    """Run a review in processes that note what they open; return the exit status and the notes."""
    hook, notes = scratch / "hook", scratch / "notes"
    hook.mkdir()
    text = HOOK.format(folder=os.path.realpath(folder), notes=str(notes))
    (hook / "sitecustomize.py").write_text(text, encoding="utf-8")
    paths = [str(hook), *filter(None, [os.environ.get("PYTHONPATH")])]
    # The same search path for the processes that sections run in, as the kit passes it on to them.
    done = subprocess.run(
        [sys.executable, "-c", _CALL, "run", str(folder), "-o", str(scratch / "site"), *more],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
        capture_output=True,
        check=False,
    )
    # Shown where the test fails.
    sys.stderr.write(done.stderr.decode())
    lines = notes.read_text(encoding="utf-8").splitlines() if notes.exists() else []
    return done.returncode, [tuple(line.split(" ", 2)) for line in lines]  # type: ignore[misc]


def state(folder: Path) -> dict[str, tuple[int, int, bytes]]:
    """Mode, time of the last change and bytes of everything below a folder, the folders included."""
    found = {}
    for path in (folder, *sorted(folder.rglob("*"))):
        about = path.stat()
        content = path.read_bytes() if path.is_file() else b""
        found[path.relative_to(folder).as_posix()] = (about.st_mode, about.st_mtime_ns, content)
    return found


@pytest.fixture
def sealed(tmp_path: Path) -> Iterator[Path]:
    """A whole example whose files and folders may only be read."""
    folder = Path(shutil.copytree(ALDER, tmp_path / "alder"))
    everything = [folder, *folder.rglob("*")]
    for path in everything:
        path.chmod(0o555 if path.is_dir() else 0o444)
    yield folder
    for path in everything:
        path.chmod(0o755 if path.is_dir() else 0o644)


def test_a_whole_review_only_reads_its_folder(
    sealed: Path, tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    before = state(sealed)
    status, notes = audited(sealed, tmp_path)
    assert status == 0
    assert [note for note in notes if note[1] != "reads"] == []
    assert state(sealed) == before
    # The sections' processes were heard too: raw files are read in more than one.
    readers = {process for process, _, name in notes if name.startswith("logs/")}
    files = {name for _, _, name in notes if not (sealed / name).is_dir()}
    raw = {path.relative_to(sealed).as_posix() for path in sealed.rglob("*") if path.is_file()}
    assert len(readers) > 1
    assert files == raw
    told = f"{len(raw)} raw files opened {len(notes)} times in {len(readers)} processes, for writing: none"
    record_property("figure", told)


def test_a_section_that_writes_to_a_raw_file_is_caught(tmp_path: Path) -> None:
    """The same watch does see a writer; and the review is refused, the published one left as it was."""
    folder = Path(shutil.copytree(FILES / "lantern", tmp_path / "lantern"))
    kit = ["--only-templates", str(FILES / "templates")]
    (published,) = commands.run(folder, out=tmp_path / "site", only_templates=[FILES / "templates"])
    before = state(published.place)
    status, notes = audited(folder, tmp_path, *kit, "--only-templates", str(FILES / "meddling"))
    assert status == 2
    assert {note[1:] for note in notes} >= {("writes", "logs/lux.csv")}
    assert state(published.place) == before
    assert {path.name for path in (tmp_path / "site").iterdir()} == {
        "assets",
        "index.html",
        "lantern",
        "reviewkit.sha256",
    }


@pytest.mark.parametrize("name", ["logs/lux.csv", "review.yaml"])
def test_a_file_that_changes_between_start_and_end_is_named(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = Path(shutil.copytree(FILES / "lantern", tmp_path / "lantern"))
    out = tmp_path / "site"
    templates = [FILES / "templates"]
    (published,) = commands.run(folder, out=out, only_templates=templates)
    before = state(published.place)
    written = evidence.write

    def changed_first(reviewed: Reviewed) -> None:
        with (folder / name).open("a", encoding="utf-8") as stream:
            stream.write("\n# one line more\n")
        written(reviewed)

    monkeypatch.setattr(evidence, "write", changed_first)
    with pytest.raises(Faults, match=f"^{name}: the file has changed while the review was run. Nothing"):
        commands.run(folder, out=out, only_templates=templates)
    assert state(published.place) == before


def test_a_file_that_is_gone_at_the_end_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = Path(shutil.copytree(FILES / "lantern", tmp_path / "lantern"))
    written = evidence.write

    def removed_first(reviewed: Reviewed) -> None:
        (folder / "logs" / "lux.csv").unlink()
        written(reviewed)

    monkeypatch.setattr(evidence, "write", removed_first)
    with pytest.raises(Faults, match=r"^logs/lux\.csv: the file cannot be read"):
        commands.run(folder, out=tmp_path / "site", only_templates=[FILES / "templates"])
    assert not (tmp_path / "site" / "lantern").exists()


def test_a_review_file_saved_while_it_is_read_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = Path(shutil.copytree(FILES / "lantern", tmp_path / "lantern"))
    bind = loading.review_file.bind

    def saved_first(*given: object) -> object:
        with (folder / "review.yaml").open("a", encoding="utf-8") as stream:
            stream.write("# saved\n")
        return bind(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(loading.review_file, "bind", saved_first)
    with pytest.raises(Faults, match=r"^review\.yaml: the file has changed"):
        loading.read([folder], template.discover(only=[FILES / "templates"]))


def test_each_file_is_read_for_its_fingerprint_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = Path(shutil.copytree(FILES / "lantern", tmp_path / "lantern"))
    taken: list[str] = []
    real = fingerprints.fingerprint

    def counted(place: Path, name: str) -> fingerprints.Fingerprint:
        taken.append(name)
        return real(place, name)

    (file,) = loading.read([folder], template.discover(only=[FILES / "templates"]))
    monkeypatch.setattr(fingerprints, "fingerprint", counted)
    assert [item.path for item in file.seen] == ["logs/lux.csv", "review.yaml"]
    assert taken == []


def test_a_file_that_cannot_be_read_is_a_plain_fault(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"^logs/a\.csv: the file cannot be read"):
        fingerprints.fingerprint(tmp_path, "logs/a.csv")
    assert fingerprints.there(tmp_path, ["logs/a.csv"]) == {}
