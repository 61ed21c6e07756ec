"""The evidence of a review: what is in the zip, that it is what was measured, and how it is described."""

from __future__ import annotations

import getpass
import hashlib
import json
import shutil
import socket
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import pytest

from reviewkit import commands
from reviewkit.commands import Published
from reviewkit.errors import InputError
from reviewkit.publishing import evidence

pytestmark = pytest.mark.usefixtures("libraries_ready")

FILES = Path(__file__).parent / "files"
REVIEW = (
    "device: {name: Lantern, sample: invented for these tests}\n"
    'review: {title: A lantern on the bench, author: a keeper of lanterns, date: "2026-02-14", edition: 2}\n'
    "lux: 410.5\n"
    "log: logs/lux at 1 m.csv\n"
)


def bench(folder: Path) -> Path:
    """Return the tiny review's folder with a blank in a log's name, and files that it does not name."""
    shutil.copytree(FILES / "lantern", folder)
    (folder / "logs" / "lux.csv").rename(folder / "logs" / "lux at 1 m.csv")
    (folder / "logs" / "another.csv").write_text("not named\n", encoding="utf-8")
    (folder / "diary.txt").write_text("private\n", encoding="utf-8")
    (folder / "words.md").write_bytes(b"Read at {lamp.reading}.\r\n")
    (folder / "review.yaml").write_text(REVIEW, encoding="utf-8")
    return folder


def run(folder: Path, out: Path) -> Published:
    return commands.run(folder, out=out, only_templates=[FILES / "templates"])[0]


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Published:
    return run(bench(tmp_path_factory.mktemp("bench") / "lantern"), tmp_path_factory.mktemp("site"))


@pytest.fixture(scope="module")
def packed(done: Published) -> dict[str, bytes]:
    """What lies in the zip, in its order."""
    with zipfile.ZipFile(done.place / evidence.ZIP) as archive:
        assert archive.testzip() is None
        return {item.filename: archive.read(item) for item in archive.infolist()}


@pytest.fixture(scope="module")
def graph(packed: dict[str, bytes]) -> dict[str, Any]:
    """The crate's entities by their identifiers."""
    whole = json.loads(packed["ro-crate-metadata.json"])
    assert whole["@context"] == "https://w3id.org/ro/crate/1.2/context"
    return {item["@id"]: item for item in whole["@graph"]}


def test_the_zip_holds_what_the_review_names_and_nothing_else_of_the_folder(packed: dict[str, bytes]) -> None:
    assert list(packed) == [
        *("findings.csv", "findings.json"),
        *("notebooks/lamp.ipynb", "notebooks/summary.ipynb", "notebooks/weight.ipynb"),
        *("review/logs/lux at 1 m.csv", "review/review.yaml", "review/words.md"),
        "ro-crate-metadata.json",
    ]


def test_every_file_is_what_it_was_to_the_byte(done: Published, packed: dict[str, bytes]) -> None:
    for name, content in packed.items():
        if name.startswith("review/"):
            assert content == (done.review.file.folder / name.removeprefix("review/")).read_bytes()
        elif name != "ro-crate-metadata.json":
            assert content == (done.place / name).read_bytes()


def test_the_same_review_gives_the_same_bytes_wherever_it_lies(done: Published, tmp_path: Path) -> None:
    again = run(bench(tmp_path / "elsewhere" / "lantern"), tmp_path / "site")
    assert (again.place / evidence.ZIP).read_bytes() == (done.place / evidence.ZIP).read_bytes()


def test_nothing_tells_where_when_or_by_whom_it_was_packed(done: Published, packed: dict[str, bytes]) -> None:
    private = [str(done.place.parent), str(done.review.file.folder.parent), socket.gethostname()]
    private += [getpass.getuser()] if getpass.getuser() != "root" else []
    for name, content in packed.items():
        assert not [word for word in private if word.encode() in content], name
    with zipfile.ZipFile(done.place / evidence.ZIP) as archive:
        kinds = {
            (item.date_time, item.create_system, item.external_attr, item.extra)
            for item in archive.infolist()
        }
    assert kinds == {((1980, 1, 1, 0, 0, 0), 3, 0o100644 << 16, b"")}


def test_the_crate_says_of_the_whole_what_its_standard_demands(graph: dict[str, Any]) -> None:
    """RO-Crate 1.2, "Root Data Entity": descriptor, and the root's type, name, description, date, licence."""
    descriptor = graph["ro-crate-metadata.json"]
    assert descriptor == {
        "@id": "ro-crate-metadata.json",
        "@type": "CreativeWork",
        "conformsTo": {"@id": "https://w3id.org/ro/crate/1.2"},
        "about": {"@id": "./"},
    }
    root = graph["./"]
    assert root["@type"] == "Dataset"
    assert (root["name"], root["datePublished"]) == ("A lantern on the bench", "2026-02-14")
    assert root["description"]
    assert graph[root["license"]["@id"]]["name"] == "No licence stated"
    assert graph[root["author"]["@id"]]["name"] == "a keeper of lanterns"


def test_the_crate_describes_each_file(graph: dict[str, Any], packed: dict[str, bytes]) -> None:
    """RO-Crate 1.2, "Data Entities": identifiers are addresses, so that a blank is %20."""
    files = {name: item for name, item in graph.items() if item["@type"] == "File"}
    assert {unquote(name) for name in files} == set(packed) - {"ro-crate-metadata.json"}
    assert "review/logs/lux%20at%201%20m.csv" in files
    assert [part["@id"] for part in graph["./"]["hasPart"]] == list(files)
    for name, item in files.items():
        content = packed[unquote(name)]
        assert item["sha256"] == hashlib.sha256(content).hexdigest()
        assert item["contentSize"] == str(len(content))
    formats = {Path(name).suffix: item["encodingFormat"] for name, item in files.items()}
    assert formats == {
        ".csv": "text/csv",
        ".ipynb": "application/x-ipynb+json",
        ".json": "application/json",
        ".md": "text/markdown",
        ".yaml": "application/yaml",
    }


def test_the_crate_says_what_made_what_from_what(graph: dict[str, Any]) -> None:
    """RO-Crate 1.2, "Provenance": an action with instrument, object and result; each program has a url."""
    action = graph["#run"]
    assert action["@type"] == "CreateAction"
    kit = graph[action["instrument"]["@id"]]
    assert (kit["@type"], kit["name"]) == ("SoftwareApplication", "reviewkit")
    assert kit["url"] == f"pkg:generic/reviewkit@{kit['version']}"
    assert all(item["@id"].startswith("review/") for item in action["object"])
    assert {"@id": "findings.json"} in action["result"]
    everything = [*action["object"], *action["result"], *kit["softwareRequirements"], graph["./"]["mentions"]]
    assert all(item["@id"] in graph for item in everything)


def test_another_reader_of_crates_finds_the_same(done: Published, tmp_path: Path) -> None:
    """ro-crate-py, the reference library, reads the crate: root, author, files and where they lie."""
    library = pytest.importorskip("rocrate.rocrate", reason="rocrate is not installed")
    crate = library.ROCrate(done.place / evidence.ZIP)
    assert crate.name == "A lantern on the bench"
    assert str(crate.metadata.version) == "1.2"
    assert crate.datePublished.date().isoformat() == "2026-02-14"
    log = crate.get("review/logs/lux%20at%201%20m.csv")
    crate.write(tmp_path)
    written = tmp_path / "review" / "logs" / "lux at 1 m.csv"
    assert hashlib.sha256(written.read_bytes()).hexdigest() == log["sha256"]


def test_a_file_that_changes_while_the_review_is_run_is_told(done: Published, tmp_path: Path) -> None:
    staged = Path(shutil.copytree(done.place, tmp_path / "staged"))
    folder = Path(shutil.copytree(done.review.file.folder, tmp_path / "lantern"))
    (folder / "logs" / "lux at 1 m.csv").write_text("lux\n1\n", encoding="utf-8")
    moved = replace(done.review, staged=staged, file=replace(done.review.file, folder=folder))
    with pytest.raises(InputError, match=r"lux at 1 m\.csv: the file has changed"):
        evidence.write(moved)
