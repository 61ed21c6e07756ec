"""A section's template opened by itself: filled in by hand, without a review file, wherever its logs lie."""

from __future__ import annotations

import ast
import json
import re
from pathlib import Path
from typing import Any

import nbformat
import pytest
from make_loose_logs import TRUTH, write
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError

import reviewkit
from reviewkit import commands
from reviewkit.errors import InputError
from reviewkit.findings import MIME
from reviewkit.review import strict_yaml
from reviewkit.sections import fillable, parameter_cell, template

EXAMPLES = Path(__file__).parents[1] / "examples"
SECTIONS = template.of_kind("section", template.discover())
METERS = {
    "voltmeter": {"accuracy": "±(0.05 % + 2)", "resolution": "1 mV"},
    "ammeter": {"accuracy": "±(0.5 % + 3)", "resolution": "1 mA"},
}


def by_hand(path: Path, values: dict[str, Any]) -> tuple[dict[str, Any], list[str]]:
    """Fill in a notebook's parameter cell, run all; return findings by key, and what an error shows."""
    notebook = nbformat.read(path, as_version=4)
    cell = next(one for one in notebook.cells if "parameters" in one.metadata.get("tags", ()))
    cell.source += "".join(f"\n{name} = {value!r}" for name, value in values.items())
    shown: list[str] = []
    try:
        NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(path.parent)}}).execute()
    except CellExecutionError:
        outputs = (output for one in notebook.cells for output in one.get("outputs", ()))
        shown = next("\n".join(one.traceback) for one in outputs if one.output_type == "error").splitlines()
    bundles = (
        output.data[MIME]["findings"]
        for one in notebook.cells
        for output in one.get("outputs", ())
        if MIME in output.get("data", ())
    )
    return {item["key"]: item for found in bundles for item in found}, shown


def test_a_template_alone_reads_logs_from_a_folder_of_its_users(tmp_path: Path) -> None:
    write(tmp_path / "bench")
    copied = tmp_path / "elsewhere" / "charge.ipynb"
    copied.parent.mkdir()
    copied.write_bytes(next(one for one in SECTIONS if one.name == "charge").path.read_bytes())
    values = METERS | {
        "folder": str(tmp_path / "bench"),
        "charge_runs": [{"voltage": "volts.csv", "current": "amps.csv"}],
    }
    found, shown = by_hand(copied, values)
    assert not shown
    plateau = found["charge.plateau_current"]
    assert abs(plateau["value"] - TRUTH["plateau_A"]) <= plateau["uncertainty"]
    assert found["charge.terminates"]["value"] is True


def test_what_is_wrong_is_a_short_list_that_speaks_of_the_cell(tmp_path: Path) -> None:
    copied = tmp_path / "charge.ipynb"
    copied.write_bytes(next(one for one in SECTIONS if one.name == "charge").path.read_bytes())
    wrong = {"cell": {"chemistry": "lead"}, "voltmeter": {"accurracy": "±(0.5 % + 2)"}}
    _, shown = by_hand(copied, wrong)
    assert len(shown) == 3
    assert shown[1].startswith("  – the parameter cell, cell.chemistry: found 'lead'; expected one of")
    assert "voltmeter.accurracy: no such key 'accurracy'. Did you mean 'accuracy'?" in shown[2]
    _, shown = by_hand(copied, METERS | {"charge_runs": [{"voltage": "volts.csv", "current": "amps.csv"}]})
    assert [line for line in shown if "there is no such file" in line]
    assert "review.yaml" not in "".join(shown)


@pytest.mark.parametrize("section", SECTIONS, ids=lambda one: one.name)
@pytest.mark.parametrize("device", ["", "alder", "birch"])
def test_a_fillable_copy_holds_what_is_known_and_every_other_key_behind_a_mark(
    section: template.Section, device: str
) -> None:
    known = strict_yaml.load(EXAMPLES / device / "review.yaml") if device else {}
    whole = json.loads(fillable.notebook(section, known))
    nbformat.validate(nbformat.from_dict(whole))
    assert "reviewkit" not in whole["metadata"]
    source = "".join(next(one for one in whole["cells"] if one["id"] == "parameters")["source"])
    declared = parameter_cell.inspect(source, template="x")
    assert [item.name for item in declared if item.name != "folder"] == [
        one.name for one in section.parameters
    ]
    for item in declared:
        if item.name in known:
            assert item.default == known[item.name], item.name
    unmarked = re.sub(r"(?m)^(\s*)# (?=\s*[\"{}])", r"\1", source)
    keys = {node.value for node in ast.walk(ast.parse(unmarked)) if isinstance(node, ast.Constant)}
    inside = [key.name for key in commands.keys("") if re.fullmatch(r"\w+(\.\*|\[\])?\.\w+", key.name)]
    for name in inside:
        block, key = name.partition(".")[0].removesuffix("[]"), name.rpartition(".")[2]
        if block in section.names - {"device", "claims"}:
            assert key in keys, f"{name} can be filled in"


def test_start_puts_notebooks_into_a_review_folder_and_they_run_there(tmp_path: Path) -> None:
    folder = tmp_path / "rowan"
    made = reviewkit.start(folder, *write(tmp_path / "bench"), notebooks=True)
    names = {f"{one.name}.ipynb" for one in SECTIONS}
    assert names <= {path.name for path in made.files}
    found, shown = by_hand(folder / "charge.ipynb", METERS)
    assert not shown
    assert found["charge.terminates"]["value"] is True
    assert not [line for line in commands.remarks(folder) if "nothing names" in line and "ipynb" in line]
    with pytest.raises(InputError, match="already"):
        reviewkit.start(folder, notebooks=True)
    (folder / "charge.ipynb").unlink()
    assert [path.name for path in reviewkit.start(folder, notebooks=True).files] == ["charge.ipynb"]


def test_folder_is_no_key_of_a_review_and_never_handed_to_a_section(tmp_path: Path) -> None:
    (tmp_path / "review.yaml").write_text("device: {name: Rowan}\nfolder: /home/me\n", encoding="utf-8")
    assert any("no such key 'folder'" in fault.message for fault in commands.check(tmp_path))
    for section in SECTIONS:
        assert "folder" not in section.handed({"folder": "/home/me", "device": {"name": "Rowan"}})
        assert re.search(r'"folder: str = \\"\\"', section.path.read_text(encoding="utf-8"))
