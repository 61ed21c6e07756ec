"""A whole review filled in in a parameter cell: a review file's words and numbers, and a folder."""

from __future__ import annotations

import ast
import copy
import json
import tempfile
from pathlib import Path
from typing import Any

import papermill
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from make_loose_logs import TRUTH, write

import reviewkit
from reviewkit import commands, errors
from reviewkit.errors import Faults, InputError
from reviewkit.review import strict_yaml
from reviewkit.sections import cell_entries, template

NOTEBOOK = Path(__file__).parents[1] / "notebooks" / "review_a_device.ipynb"
EXAMPLES = Path(__file__).parents[1] / "examples"


def as_stored() -> dict[str, Any]:
    """The names that the notebook's parameter cell defines as it stands."""
    cells = json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]
    (cell,) = (one for one in cells if "parameters" in one["metadata"].get("tags", ()))
    names: dict[str, Any] = {}
    exec("".join(cell["source"]), names)
    return {name: value for name, value in names.items() if not name.startswith("__")}


def typed(volts: Path, amps: Path, **more: Any) -> dict[str, Any]:
    """The cell as someone with two logs fills it in."""
    names = copy.deepcopy(as_stored())
    names["folder"] = ""
    names["device"]["name"] = "Rowan"
    names["cell"]["rated_capacity_Ah"] = "1700 mAh"
    names["voltmeter"] |= {"accuracy": "±(0.05 % + 2)", "resolution": "1 mV"}
    names["ammeter"] |= {"accuracy": "±(0.5 % + 3)", "resolution": "1 mA"}
    names["charge_runs"][0] |= {"voltage": str(volts), "current": str(amps)}
    return names | more


@pytest.fixture
def logs(tmp_path: Path) -> tuple[Path, Path]:
    return write(tmp_path / "my bench")


def test_the_stored_loose_logs_are_what_their_script_writes(logs: tuple[Path, Path]) -> None:
    for log in logs:
        assert log.read_bytes() == (EXAMPLES / "loose_logs" / log.name).read_bytes()


def test_every_key_of_a_first_review_is_visible_in_the_cell_and_every_visible_key_exists() -> None:
    cells = json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]
    source = "".join(next(one for one in cells if one["id"] == "parameters")["source"])
    sections = template.of_kind("section", template.discover())
    asked = [line.lstrip("# -").partition("##")[0] for one in sections for line in one.about.bench.first]
    for line in asked:
        key = line.partition(":")[0].strip("{ ")
        assert key in source, f"a first review file asks for {key}"
    known = {key.name for key in commands.keys("")}
    for name, value in as_stored().items():
        for block in value if isinstance(value, list) else [value]:
            for key in block if isinstance(block, dict) else ():
                assert {f"{name}.{key}", f"{name}[].{key}"} & known, f"{name}: {key}"
    examples = [line for line in source.splitlines() if line.strip().startswith('"')]
    assert all("#" in line for line in examples), "each key has an example behind it"


def test_two_logs_and_nine_lines_give_a_review_with_the_right_numbers(
    logs: tuple[Path, Path], tmp_path: Path
) -> None:
    before, names = as_stored(), typed(*logs)
    changed = sum(names[name] != before[name] for name in before if not isinstance(before[name], dict | list))
    changed += sum(
        item != before[name][key]
        for name in before
        if isinstance(before[name], dict)
        for key, item in names[name].items()
    )
    assert changed + 2 <= 10, "the two logs are a line each"
    filled = reviewkit.filled_in(names)
    published = filled.run(tmp_path / "site")
    assert published.index == tmp_path / "site" / "rowan" / "index.html"
    assert not published.review.failed
    found = published.findings
    for key, truth in (
        ("charge.plateau_current", TRUTH["plateau_A"]),
        ("charge.set_voltage", TRUTH["set_V"]),
        ("charge.termination_current", TRUTH["termination_A"]),
    ):
        assert abs(found[key].value - truth) <= found[key].uncertainty, key
    assert found["charge.terminates"].value is True
    for page in (tmp_path / "site").rglob("*.html"):
        assert "my bench" not in page.read_text(encoding="utf-8"), page


def test_wrong_entries_are_told_in_the_words_of_check(logs: tuple[Path, Path], tmp_path: Path) -> None:
    names = typed(*logs)
    names["cell"] |= {"chemistry": "lead", "capacity": "3 Ah"}
    names["charge_runs"][0]["cable_out_s"] = "late"
    with pytest.raises(Faults) as raised:
        reviewkit.filled_in(names)
    folder = tmp_path / "same"
    (folder / "logs").mkdir(parents=True)
    values = cell_entries.given(names, template.discover())
    (folder / "review.yaml").write_text(cell_entries.text(values), encoding="utf-8")
    same = [errors.told_in_a_cell(fault.message) for fault in commands.check(folder)]
    told = raised.value.message.splitlines()
    assert [line for line in told if "cell." in line] == [line for line in same if "cell." in line]
    assert any("cell.chemistry: found 'lead'" in line for line in told)
    assert all(line.startswith("the parameter cell, ") for line in told)
    shown = raised.value._render_traceback_()
    assert len(shown) == 1 + len(told)
    assert not any("Traceback" in line for line in shown)


def test_a_log_that_is_missing_or_not_understood_is_named_as_it_was_typed(
    logs: tuple[Path, Path], tmp_path: Path
) -> None:
    with pytest.raises(InputError, match="there is no such file") as raised:
        reviewkit.filled_in(typed(logs[0], tmp_path / "gone.csv"))
    assert str(tmp_path / "gone.csv") in raised.value.message
    bare = tmp_path / "bare.csv"
    bare.write_text(logs[1].read_text(encoding="utf-8").replace(" (mA)", ""), encoding="utf-8")
    with pytest.raises(InputError) as raised:
        reviewkit.filled_in(typed(logs[0], bare))
    (pasted,) = (raised.value.message[slice(*found)] for found in [_braces(raised.value.message)])
    entry = ast.literal_eval(pasted)
    assert (entry["path"], entry["unit"]) == (str(bare), "mA")
    names = typed(*logs)
    names["charge_runs"][0]["current"] = entry
    assert reviewkit.filled_in(names).values["charge_runs"][0]["current"] == entry


def _braces(message: str) -> tuple[int, int]:
    start = message.index('{"path"')
    return start, message.index("}", start) + 1


@pytest.mark.parametrize(
    ("names", "words"),
    [
        ({}, "nothing is filled in"),
        ({"folder": "", "device": {"name": ""}, "drain_states": [{"name": ""}]}, "nothing is filled in"),
        ({"folder": "x", "cell": {"chemistry": "NMC"}}, "'cell' is filled in too"),
        ({"folder": "x", "write_to": "y"}, "nothing to write"),
        ({"device": {"name": object()}}, "device.name: found a value of type object"),
        ({"folder": "/nowhere/at/all"}, "no such folder"),
    ],
)
def test_a_cell_that_does_not_say_which_review_is_told_so(names: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        reviewkit.filled_in(names)


def test_a_folder_is_written_once_wanted_and_nothing_in_it_is_written_over(
    logs: tuple[Path, Path], tmp_path: Path
) -> None:
    target = tmp_path / "reviews" / "rowan"
    names = typed(*logs, write_to=str(target), readout_table="\nreference (V), shown\n3.71, 3.7\n3.66, 3.6\n")
    wrong = copy.deepcopy(names)
    wrong["cell"]["chemistry"] = "lead"
    with pytest.raises(InputError):
        reviewkit.filled_in(wrong)
    assert not target.exists(), "nothing is written while something is at fault"
    filled = reviewkit.filled_in(names)
    assert sorted(path.relative_to(target).as_posix() for path in target.rglob("*.*")) == [
        *("logs/amps.csv", "logs/volts.csv", "readout.csv", "review.yaml")
    ]
    assert commands.check(target) == ()
    assert filled.folder == target
    assert [(target / "logs" / log.name).read_bytes() for log in logs] == [log.read_bytes() for log in logs]
    held = {path: path.read_bytes() for path in target.rglob("*.*")}
    reviewkit.filled_in(names)
    with pytest.raises(InputError, match="another review there already"):
        reviewkit.filled_in(names | {"device": {"name": "Hazel"}})
    assert {path: path.read_bytes() for path in target.rglob("*.*")} == held


def test_a_table_that_lies_there_already_stays(logs: tuple[Path, Path], tmp_path: Path) -> None:
    target = tmp_path / "rowan"
    target.mkdir()
    (target / "readout.csv").write_text("reference (V),shown\n3.9,3.9\n", encoding="utf-8")
    names = typed(*logs, write_to=str(target), readout_table="reference (V), shown\n3.71, 3.7\n3.6, 3.6\n")
    with pytest.raises(InputError, match="is another"):
        reviewkit.filled_in(names)
    assert sorted(path.name for path in target.rglob("*")) == ["readout.csv"]


def test_papermill_fills_the_same_cell_for_two_devices(logs: tuple[Path, Path], tmp_path: Path) -> None:
    quiet: dict[str, Any] = {"progress_bar": False, "kernel_name": "python3", "cwd": str(tmp_path)}
    for name, capacity in (("Rowan", "1700 mAh"), ("Hazel", "3.4 Ah")):
        values = typed(*logs, out=str(tmp_path / "site"))
        values["device"]["name"], values["cell"]["rated_capacity_Ah"] = name, capacity
        papermill.execute_notebook(str(NOTEBOOK), str(tmp_path / f"{name}.ipynb"), parameters=values, **quiet)
    rowan, hazel = (
        json.loads((tmp_path / "site" / name / "findings.json").read_text(encoding="utf-8"))
        for name in ("rowan", "hazel")
    )
    assert (rowan["device"]["name"], hazel["device"]["name"]) == ("Rowan", "Hazel")
    one, other = (
        next(item for item in found["findings"] if item["key"] == "charge.plateau_current")
        for found in (rowan, hazel)
    )
    assert one["value"] == other["value"]
    assert one["note"] != other["note"], "twice the cell, half the C rate"


TEXTS = st.text(st.characters(blacklist_categories=("Cs", "Cc")), min_size=1).map(str.strip).filter(bool)
PLAIN = st.recursive(
    TEXTS | st.booleans() | st.integers(-(10**9), 10**9) | st.floats(allow_nan=False, allow_infinity=False),
    lambda inner: (
        st.lists(inner, min_size=1, max_size=3) | st.dictionaries(TEXTS, inner, min_size=1, max_size=3)
    ),
    max_leaves=8,
)


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(st.sampled_from(["cell", "charge_runs", "device", "drain_states"]), PLAIN, min_size=1))
def test_what_is_filled_in_is_what_the_review_file_reads_back(values: dict[str, Any]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "review.yaml"
        path.write_text(cell_entries.text(values), encoding="utf-8")
        read = strict_yaml.load(path)
    assert read == values | {"review": {"edition": 0}}


@pytest.mark.parametrize(
    ("told", "in_a_cell"),
    [
        (
            "write into the review file: {path: logs/a.csv, value: Primary, unit: mA}.",
            'write into the parameter cell: {"path": "logs/a.csv", "value": "Primary", "unit": "mA"}.',
        ),
        (
            "write into the review file: current: {path: logs/a.csv, value: 2}.",
            'write into the parameter cell: "current": {"path": "logs/a.csv", "value": 2}.',
        ),
        (
            '{path: a, value: 2, plausible: "yes, I mean it"}',
            '{"path": "a", "value": 2, "plausible": "yes, I mean it"}',
        ),
        (
            "expected a block such as {accuracy: '±(0.5 % + 2)', resolution: 1 mV}",
            'expected a block such as {"accuracy": \'±(0.5 % + 2)\', "resolution": "1 mV"}',
        ),
        ("found 'no'; expected true or false", "found 'no'; expected True or False"),
        ("review.yaml, cell: {charging: true}", 'the parameter cell, cell: {"charging": True}'),
    ],
)
def test_a_message_is_told_in_the_words_of_a_cell(told: str, in_a_cell: str) -> None:
    assert errors.told_in_a_cell(told) == in_a_cell
    for block in [in_a_cell[in_a_cell.index("{") : in_a_cell.index("}") + 1]] if "{" in in_a_cell else []:
        assert isinstance(ast.literal_eval(block), dict)
