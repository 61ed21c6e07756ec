"""The house: who may import whom, what is heavy where, and that names handed out are there."""

from __future__ import annotations

import ast
import importlib
import pkgutil
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

import reviewkit

ROOT = Path(reviewkit.__file__).parent

# A module may import from rows below its own, and from its own row only where the row says so.
MACHINERY = (
    {"picture_metadata", "private_text"},
    {"embedded"},
    {"task", "lean", "scratch", "environment", "swap", "full_disk", "interrupted"},
    {"program"},
    {"yaml_file", "parameters", "scrub", "archive", "published", "chapters", "author", "inputs_seen"},
    {"kernel", "cells"},
    {"warm", "kept"},
    {"unchanged", "cluster"},
    {"review", "execute", "harvest"},
    {"template", "records", "displays", "data_files", "film"},
    {"sections"},
    {"results"},
    {"runner", "intake", "editions", "outline", "bench_sheet", "crate", "standing"},
    {"site", "progress", "publish", "evidence"},
    {"comparison", "stills", "verification", "overwriting"},
    {"commands"},
    {"cli"},
)
SHARED = {
    *("files", "finding", "dataset", "leaflet", "placeholders", "validation", "errors", "units", "wording"),
    *(
        "sentences",
        "places",
        "cautions",
        "uncertainty",
        "conformity",
        "moments",
        "tables",
        "headers",
        "workbook",
    ),
}
CORE = SHARED | {"instrument", "blocks", "clocks", "logs", "tables", "headers", "workbook", "answers"}
SECTIONS = {"readout", "charge", "drain", "ui_states", "side_by_side", "summary"}
HEAVY = {
    "papermill": {"cells", "warm"},
    "nbconvert": {"site"},
    "jupyter_client": {"kernel"},
    "plotly": {"figures", "site", "warm"},
    "jinja2": {"site", "bench_sheet", "sentences"},
    "networkx": {"ui_states"},
    "pint": {"units"},
    "uncertainties": {"uncertainty", "worked"},
    "yaml": {"yaml_file"},
    "click": {"cli"},
    "distributed": {"cluster"},
    "playwright": {"stills"},
}


def modules() -> list[str]:
    return [item.name for item in pkgutil.walk_packages([str(ROOT)], "reviewkit.")] + ["reviewkit"]


def path_of(module: str) -> Path:
    place = ROOT.joinpath(*module.split(".")[1:])
    return place / "__init__.py" if place.is_dir() else place.with_suffix(".py")


@cache
def imports(module: str) -> frozenset[str]:
    """Every module that a module's code imports, in functions too; type-checking blocks included."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path_of(module).read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {item.name for item in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: imports are absolute here"
            found |= {f"{node.module}.{item.name}" for item in node.names}
    return frozenset(found)


def part(module: str) -> str:
    """The first name below the package: its room in the house."""
    return module.split(".")[1] if "." in module else ""


def rooms(module: str) -> set[str]:
    return {part(name) for name in imports(module) if name.startswith("reviewkit.")} - {part(module)}


def machinery_row(room: str) -> int | None:
    return next((number for number, row in enumerate(MACHINERY) if room in row), None)


@pytest.mark.parametrize("module", modules())
def test_arrows_point_downward(module: str) -> None:
    room, used = part(module), rooms(module)
    row = machinery_row(room)
    if row is not None:
        below = SHARED.union(*MACHINERY[:row])
        assert used <= below, f"{module} may not import {sorted(used - below)}"
    elif room:
        above = set().union(*MACHINERY)
        assert not used & above, f"{module} is of the bench and knows no {sorted(used & above)}"


@pytest.mark.parametrize("module", [name for name in modules() if part(name) in SECTIONS])
def test_sections_never_import_each_other_or_a_figure(module: str) -> None:
    assert not rooms(module) & (SECTIONS | {"figures"})


@pytest.mark.parametrize("module", [name for name in modules() if part(name) in CORE])
def test_the_core_knows_no_section(module: str) -> None:
    assert not rooms(module) & (SECTIONS | {"figures"})


def test_every_module_has_its_row() -> None:
    """A new room is put into the plan above before it is lived in."""
    others = {"figures", "bench_plan", "worked", ""}
    known = CORE | SECTIONS | others | set().union(*MACHINERY)
    assert {part(name) for name in modules()} <= known


@pytest.mark.parametrize("library", HEAVY)
def test_a_heavy_library_lives_in_few_rooms(library: str) -> None:
    users = {
        part(module) for module in modules() if any(name.split(".")[0] == library for name in imports(module))
    }
    assert users <= HEAVY[library]


@pytest.mark.parametrize("module", [name for name in modules() if name != "reviewkit"])
def test_no_module_imports_the_package_itself(module: str) -> None:
    direct = {name for name in imports(module) if name == "reviewkit"}
    assert not direct


@pytest.mark.parametrize("module", [name for name in modules() if path_of(name).name == "__init__.py"])
def test_an_init_only_hands_out_names(module: str) -> None:
    allowed = (ast.Import, ast.ImportFrom, ast.Assign, ast.Expr)
    body = ast.parse(path_of(module).read_text(encoding="utf-8")).body
    assert all(isinstance(line, allowed) for line in body)


@pytest.mark.parametrize("module", [name for name in modules() if path_of(name).name == "__init__.py"])
def test_every_name_handed_out_is_there(module: str) -> None:
    loaded = importlib.import_module(module)
    assert all(getattr(loaded, name) is not None for name in getattr(loaded, "__all__", ()))


def test_importing_the_package_is_light() -> None:
    """Nothing heavy is loaded before a name is used."""
    heavy = ["numpy", "pandas", "scipy", "plotly", "papermill", "nbconvert", "pint", "pydantic", "networkx"]
    code = f"import sys, reviewkit; print([name for name in {heavy} if name in sys.modules])"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"
