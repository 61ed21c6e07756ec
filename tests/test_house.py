"""The house: who may import whom, what is heavy where, and that names handed out are there."""

from __future__ import annotations

import ast
import importlib
import pkgutil
import subprocess
import sys
from functools import cache
from pathlib import Path

import networkx as nx
import pytest

import reviewkit

ROOT = Path(reviewkit.__file__).parent

# A room may import from floors below its own only.
FLOORS = (
    {"errors", "metrology"},
    {"schema", "system", "tables"},
    {"execution", "findings", "logs"},
    {
        "charge",
        "comparison",
        "drain",
        "drawing",
        "film",
        "privacy",
        "readout",
        "review",
        "summary",
        "ui_states",
    },
    {"following", "planning", "sections"},
    {"figures", "pipeline"},
    {"publishing"},
    {"preview"},
    {"commands"},
    {"bench_day"},
    {"cli"},
)
# Machinery knows no battery and bench knows no notebook: neither imports the other.
# The bench day is where both meet, beside the notebooks: nobody but the command line knows it.
MACHINERY = {
    "privacy",
    "review",
    "sections",
    "execution",
    "pipeline",
    "publishing",
    "preview",
    "commands",
    "cli",
}
BENCH = {
    "logs",
    "charge",
    "drain",
    "film",
    "readout",
    "ui_states",
    "comparison",
    "summary",
    "planning",
    "figures",
    "following",
}
SECTIONS = {"readout", "charge", "drain", "ui_states", "comparison", "summary"}
HEAVY = {
    "papermill": {"execution"},
    "nbconvert": {"publishing"},
    "jupyter_client": {"execution"},
    "plotly": {"figures", "publishing", "execution"},
    "jinja2": {"findings", "publishing", "sections"},
    "networkx": {"ui_states"},
    "pint": {"metrology"},
    "uncertainties": {"metrology"},
    "yaml": {"review", "schema"},
    "click": {"cli"},
    "distributed": {"execution"},
    "resvg_py": {"publishing"},
    "ipywidgets": {"bench_day", "commands"},
    "av": {"film"},
    "PIL": {"review"},
    "watchfiles": {"preview"},
}


@cache
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


def floor(room: str) -> int:
    return next(number for number, rooms in enumerate(FLOORS) if room in rooms)


def test_arrows_point_downward() -> None:
    upward = {
        module: not_below
        for module in modules()
        if part(module) and (not_below := rooms(module) - set[str]().union(*FLOORS[: floor(part(module))]))
    }
    assert not upward


def test_bench_and_machinery_do_not_know_each_other() -> None:
    """But logs are looked into before there is a review."""
    allowed = {"reviewkit.commands.first_logs": {"logs"}}
    for own, others in ((BENCH, MACHINERY), (MACHINERY, BENCH)):
        crossing = {
            module: rooms(module) & others - allowed.get(module, set())
            for module in modules()
            if part(module) in own
        }
        assert not {module: known for module, known in crossing.items() if known}


def test_sections_never_import_each_other() -> None:
    crossing = {module: rooms(module) & SECTIONS for module in modules() if part(module) in SECTIONS}
    assert not {module: known for module, known in crossing.items() if known}


def test_no_modules_import_each_other_in_a_circle() -> None:
    """Not inside a room either, nor by an import that stands in a function."""
    known = set(modules())
    graph = nx.DiGraph(
        (module, used)
        for module in known
        for name in imports(module)
        for used in (name, name.rpartition(".")[0])
        if used in known and used != module and path_of(used).name != "__init__.py"
    )
    circles = [sorted(circle) for circle in nx.strongly_connected_components(graph) if len(circle) > 1]
    assert not circles


def test_every_room_has_its_floor() -> None:
    """A new room is put into the plan above before it is lived in."""
    assert {part(name) for name in modules()} - {""} <= set().union(*FLOORS)


@pytest.mark.parametrize("library", HEAVY)
def test_a_heavy_library_lives_in_few_rooms(library: str) -> None:
    users = {
        part(module) for module in modules() if any(name.split(".")[0] == library for name in imports(module))
    }
    assert users <= HEAVY[library]


def test_no_module_imports_the_package_itself() -> None:
    assert not [module for module in modules() if module != "reviewkit" and "reviewkit" in imports(module)]


def packages() -> list[str]:
    return [name for name in modules() if path_of(name).name == "__init__.py"]


def test_an_init_only_hands_out_names() -> None:
    allowed = (ast.Import, ast.ImportFrom, ast.Assign, ast.Expr)
    for module in packages():
        body = ast.parse(path_of(module).read_text(encoding="utf-8")).body
        assert all(isinstance(line, allowed) for line in body), module


def test_every_name_handed_out_is_there() -> None:
    for module in packages():
        loaded = importlib.import_module(module)
        assert all(getattr(loaded, name) is not None for name in getattr(loaded, "__all__", ())), module


def test_importing_the_package_is_light() -> None:
    """Nothing heavy is loaded before a name is used."""
    heavy = ["numpy", "pandas", "scipy", "plotly", "papermill", "nbconvert", "pint", "pydantic", "networkx"]
    code = f"import sys, reviewkit; print([name for name in {heavy} if name in sys.modules])"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"
