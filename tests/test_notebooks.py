"""The notebooks as they are stored: short, clean, nothing in them of the machine they ran on."""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import Any

import nbformat
import pytest
from store_outputs import CHECKED, KEPT, stored

NOTEBOOKS = sorted((Path(__file__).resolve().parents[1] / "notebooks").glob("*.ipynb"))
NOT_STORED = "not-stored"
LONGEST = 14
"""Lines of a cell, the parameter cell apart."""
OF_ONE_RUN = re.compile(
    r"/(?:home|root|tmp|work|Users|private)/|[A-Za-z]:\\|\b20\d\d-\d\d-\d\dT|<[\w.]+ object at 0x"
)
LOGIC = (ast.FunctionDef, ast.ClassDef, ast.For, ast.While, ast.If, ast.Try, ast.With, ast.Lambda)


def cells(path: Path, kind: str = "code") -> list[Any]:
    return [cell for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == kind]


def tags(cell: Any) -> list[str]:
    found: list[str] = cell.metadata.get("tags", [])
    return found


def test_the_notebooks_are_there() -> None:
    assert [path.stem for path in NOTEBOOKS] == [
        "bench_day",
        "compare_two_devices",
        "first_review",
        "plan_a_bench_session",
        "read_a_film",
        "review_a_device",
        "review_by_form",
        "worked_checks",
    ]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_begins_with_a_title_and_its_parameters(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    assert notebook.cells[0].source.startswith("# ")
    first, *others = cells(path)
    assert tags(first) == ["parameters"]
    assert not [cell.id for cell in others if "parameters" in tags(cell)]
    for line in ast.parse(first.source).body:
        assert isinstance(line, ast.AnnAssign), "every parameter has its type"
        assert line.value is not None
        ast.literal_eval(line.value)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_cells_are_short_and_hold_no_logic(path: Path) -> None:
    for cell in cells(path)[1:]:
        assert len(cell.source.splitlines()) <= LONGEST, cell.id
        found = [node for node in ast.walk(ast.parse(cell.source)) if isinstance(node, LOGIC)]
        assert not found, cell.id


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_what_a_cell_shows_is_stored_and_compared(path: Path) -> None:
    """A cell that ends in an expression shows something: it is compared, or said to differ by nature."""
    for cell in cells(path)[1:]:
        shows = isinstance(ast.parse(cell.source).body[-1], ast.Expr)
        assert shows == bool({CHECKED, NOT_STORED} & set(tags(cell))), cell.id
        assert bool(cell.outputs) == (CHECKED in tags(cell)), cell.id


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_stored_outputs_hold_nothing_of_one_run(path: Path) -> None:
    for number, cell in enumerate(cells(path), 1):
        assert cell.execution_count == number, cell.id
        for output in cell.outputs:
            assert output.output_type in ("display_data", "execute_result"), cell.id
            assert set(output.data) <= set(KEPT), cell.id
            assert not OF_ONE_RUN.search("".join(map(str, output.data.values()))), cell.id


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_storing_again_changes_nothing(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    before = nbformat.writes(notebook)
    assert nbformat.writes(stored(notebook)) == before


def test_storing_leaves_out_what_differs_from_run_to_run() -> None:
    notebook = nbformat.v4.new_notebook(
        metadata={
            "kernelspec": {"name": "python3", "display_name": "Python 3"},
            "language_info": {"name": "python", "version": "3.12.1"},
        }
    )
    data = {"text/plain": "4.2 V", "application/vnd.some-figure+json": {}}
    shown = nbformat.v4.new_output("display_data", data)
    noise = nbformat.v4.new_output("stream", name="stderr", text="42 %")
    told = nbformat.v4.new_code_cell("show()", metadata={"tags": [CHECKED], "execution": {"began": "now"}})
    path = nbformat.v4.new_code_cell("print(place)")
    told.outputs, path.outputs = [noise, shown], [noise]
    notebook.cells = [told, path]
    kept = stored(notebook)
    assert [dict(output.data) for output in kept.cells[0].outputs] == [{"text/plain": "4.2 V"}]
    assert kept.cells[1].outputs == []
    assert kept.cells[0].metadata == {"tags": [CHECKED]}
    assert kept.metadata["language_info"] == {"name": "python"}
