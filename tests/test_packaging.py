"""Wheel and source archive: built, the same inside, installed where nothing else is, and a review run."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
import tarfile
import zipfile
from collections.abc import Callable
from importlib import metadata
from pathlib import Path

import lock
import pytest
from clean_environment import CleanEnvironment
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
NOT_SHIPPED = {"__pycache__", ".mypy_cache", ".hypothesis", ".ipynb_checkpoints", "readout.mp4"}
REVIEW = """
device:
  name: Lamp
voltmeter:
  name: bench voltmeter
  accuracy: "±(0.05 % + 2)"
  resolution: 1 mV
  full_scale: 6 V
readout_table: readout.csv
readout_resolution_V: 0.1
"""


def build(source: Path, out: Path, *what: str) -> None:
    """Build with the backend that is installed."""
    command = [sys.executable, "-m", "build", "--no-isolation", "-o", str(out), *what, str(source)]
    subprocess.run(command, check=True, capture_output=True)


def inside(wheel: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(wheel) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def shipped(folder: str) -> set[str]:
    """Return the files of the tree under a folder, but for what tools and the film's notebook leave there."""
    files = (path for path in (ROOT / folder).rglob("*") if path.is_file())
    return {path.relative_to(ROOT).as_posix() for path in files if NOT_SHIPPED.isdisjoint(path.parts)}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The source archive, the wheel made from it, and a wheel made from the tree."""
    out = tmp_path_factory.mktemp("built")
    build(ROOT, out / "tree", "--wheel", "--sdist")
    archive = next((out / "tree").glob("*.tar.gz"))
    with tarfile.open(archive) as packed:
        # Pythons of before 3.11.4 know no filter; the archive is our own.
        packed.extractall(out / "unpacked", **({"filter": "data"} if hasattr(tarfile, "data_filter") else {}))
    build(next((out / "unpacked").iterdir()), out / "archive", "--wheel")
    return {
        "archive": archive,
        "tree": next((out / "tree").glob("*.whl")),
        "from archive": next((out / "archive").glob("*.whl")),
    }


@pytest.fixture(scope="module")
def clean(built: dict[str, Path], tmp_path_factory: pytest.TempPathFactory) -> CleanEnvironment:
    environment = CleanEnvironment(tmp_path_factory.mktemp("clean") / "env")
    environment.install(built["from archive"])
    return environment


def test_the_wheel_holds_the_kit_and_its_templates_and_nothing_else(built: dict[str, Path]) -> None:
    names = {name for name in inside(built["tree"]) if ".dist-info/" not in name}
    templates = {f"reviewkit/{name}" for name in shipped("templates")}
    assert names == shipped("reviewkit") | templates


def test_the_source_archive_makes_the_same_wheel(built: dict[str, Path]) -> None:
    tree, archive = inside(built["tree"]), inside(built["from archive"])
    assert tree.keys() == archive.keys()
    assert [name for name in tree if tree[name] != archive[name]] == []


def test_the_source_archive_holds_what_the_tests_need(built: dict[str, Path]) -> None:
    with tarfile.open(built["archive"]) as packed:
        names = {name.partition("/")[2] for name in packed.getnames()}
    folders = ("reviewkit", "templates", "notebooks", "tests", "examples")
    assert set().union(*map(shipped, folders)) - names == set()


def test_nothing_comes_from_the_source_tree(clean: CleanEnvironment, tmp_path: Path) -> None:
    ask = "import json, reviewkit, sys; print(json.dumps([reviewkit.__file__, *sys.path]))"
    told = clean.run(clean.python.name, "-c", ask, folder=tmp_path)
    module, *path = json.loads(told)
    assert Path(module).is_relative_to(clean.folder)
    assert [entry for entry in path if Path(entry).is_relative_to(ROOT)] == []
    assert clean.run("reviewkit", "--version", folder=tmp_path).split()[-1] == metadata.version("reviewkit")


def test_what_is_installed_asks_for_nothing_that_is_missing(clean: CleanEnvironment) -> None:
    checking = [sys.executable, "-m", "pip", "--python", str(clean.python), "check"]
    done = subprocess.run(checking, capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 0, done.stdout


def test_a_review_is_started_run_and_verified(
    clean: CleanEnvironment, tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    """Away from the tree: templates, pages and kernels all come out of the wheel."""
    clean.run("reviewkit", "start", "lamp", folder=tmp_path)
    folder = tmp_path / "lamp"
    assert {path.name for path in folder.iterdir()} >= {"review.yaml", "bench-sheet.html", "logs"}
    (folder / "review.yaml").write_text(REVIEW, encoding="utf-8")
    (folder / "readout.csv").write_bytes((ROOT / "examples" / "alder" / "readout.csv").read_bytes())
    clean.run("reviewkit", "check", "lamp", folder=tmp_path)
    clean.run("reviewkit", "run", "lamp", folder=tmp_path)
    site = tmp_path / "site" / "lamp"
    found = json.loads((site / "findings.json").read_text(encoding="utf-8"))
    assert {section["status"] for section in found["sections"]} == {"done"}
    values = {item["key"]: item["value"] for item in found["findings"]}
    assert values["readout.rule"] == "nearest"
    assert {path.stem for path in site.glob("*.html")} >= {"index", "readout", "charge", "drain", "ui_states"}
    told = clean.run("reviewkit", "verify", str(site / "evidence.zip"), folder=tmp_path)
    assert f"{len(values)} of {len(values)} findings still stand" in told
    record_property("figure", f"wheel made of the source archive, alone: {len(values)} findings")


def test_every_library_that_the_kit_imports_is_one_that_it_asks_for() -> None:
    owners = metadata.packages_distributions()
    own = {canonicalize_name(item.name) for item in lock.asked(tools=False)}
    extra = {canonicalize_name(item.name) for item in lock.asked()}
    for path in (ROOT / "reviewkit").rglob("*.py"):
        for module in imported(path) - sys.stdlib_module_names - {"reviewkit"}:
            names = {canonicalize_name(name) for name in owners[module]}
            allowed = extra if module in ("av", "distributed") else own
            assert names & allowed, f"{path.relative_to(ROOT)} imports {module}: not in pyproject.toml"


def imported(path: Path) -> set[str]:
    """Return the topmost names of the modules that a file imports."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.add(node.module.partition(".")[0])
    return found
