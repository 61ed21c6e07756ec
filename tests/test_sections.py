"""Sections: found in a folder, read, and asked what they need."""

from __future__ import annotations

import json
from importlib import metadata
from pathlib import Path
from typing import Any

import pytest

from reviewkit.errors import InputError, KitError
from reviewkit.review.review_file import Claim
from reviewkit.sections import parameter_cell, template
from reviewkit.sections.parameter_cell import Parameter
from reviewkit.system import kit

FILES = Path(__file__).parent / "files"


def written(folder: Path, name: str = "part", source: str = "a: int = 0\n", **own: Any) -> Path:
    """Write a template with a parameter cell and these metadata."""
    cell = {"cell_type": "code", "id": "p", "metadata": {"tags": ["parameters"]}, "source": source}
    notebook = {
        "cells": [cell | {"outputs": [], "execution_count": None}],
        "metadata": {"reviewkit": {"kind": "section", "title": "Part", "place": 1} | own},
        "nbformat": 4,
        "nbformat_minor": 5,
    }
    path = folder / f"{name}.ipynb"
    path.write_text(json.dumps(notebook), encoding="utf-8")
    return path


def test_a_parameter_cell_is_read_as_written() -> None:
    source = (
        "# the meters\n"
        "voltmeter: dict[str, str] = {}  # accuracy, resolution\n"
        "limits_V: tuple[float, float] = (\n    3.0,  # inner remark\n    4.2,\n)  # both ends [V]\n"
        "label: str | None = None\n"
        'colour: str = "#fff"  # with a # in it\n'
    )
    assert parameter_cell.inspect(source, template="x") == (
        Parameter("voltmeter", "dict[str, str]", {}, "accuracy, resolution"),
        Parameter("limits_V", "tuple[float, float]", (3.0, 4.2), "both ends [V]"),
        Parameter("label", "str | None", None, ""),
        Parameter("colour", "str", "#fff", "with a # in it"),
    )


@pytest.mark.parametrize(
    "source",
    ["a = 1", "a: int", "import os", "a: int = int()", "a.b: int = 1", "a: list = [1, x]", "a: int ="],
)
def test_anything_but_plain_parameters_is_refused(source: str) -> None:
    with pytest.raises(KitError, match=r"part\.ipynb"):
        parameter_cell.inspect(source, template="part.ipynb")


def test_templates_are_found_in_their_order_with_what_they_say() -> None:
    found = template.discover(only=[FILES / "templates"])
    assert [(item.name, item.kind, item.title) for item in found] == [
        ("lamp", "section", "Light output"),
        ("weight", "section", "Weight"),
        ("summary", "summary", "Summary"),
    ]
    assert found[0].names == {"lux", "log"}
    assert found[0].about.makes == ("lamp.",)


def test_a_template_dropped_in_is_found(tmp_path: Path) -> None:
    written(tmp_path, "b", place=2)
    assert [item.name for item in template.discover(only=[tmp_path])] == ["b"]
    written(tmp_path, "a", place=3)
    assert [item.name for item in template.discover(only=[tmp_path])] == ["b", "a"]


def test_a_later_folder_takes_the_place_of_a_written(tmp_path: Path) -> None:
    written(tmp_path, "weight", title="Weight, twice weighed")
    found = template.discover([tmp_path], only=[FILES / "templates"])
    assert [item.title for item in found if item.name == "weight"] == ["Weight, twice weighed"]


def test_folders_are_added_to_the_kits_own_or_take_their_place(tmp_path: Path) -> None:
    written(tmp_path, "beam")
    kit = [item.name for item in template.discover()]
    assert sorted(item.name for item in template.discover([tmp_path])) == sorted([*kit, "beam"])
    assert [item.name for item in template.discover(only=[tmp_path])] == ["beam"]


def test_the_clone_that_the_kit_was_installed_from_is_looked_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """PEP 610: `direct_url.json` says which folder an installer was given."""
    clone = tmp_path / "a clone"
    (clone / "templates").mkdir(parents=True)
    written(clone / "templates", "beam")
    noted = tmp_path / "reviewkit-9.dist-info"
    noted.mkdir()
    (noted / "METADATA").write_text("Metadata-Version: 2.4\nName: reviewkit\nVersion: 9\n", encoding="utf-8")
    monkeypatch.setattr(metadata, "distribution", lambda _: metadata.PathDistribution(noted))
    assert kit.clone_folder() is None
    file = noted / "direct_url.json"
    file.write_text(json.dumps({"url": clone.as_uri(), "archive_info": {}}), encoding="utf-8")
    assert kit.clone_folder() is None
    file.write_text(json.dumps({"url": clone.as_uri(), "dir_info": {}}), encoding="utf-8")
    assert kit.clone_folder() == clone / "templates"
    assert "beam" in [item.name for item in template.discover()]
    found = template.discover(only=[FILES / "templates"])
    assert [item.name for item in found] == ["lamp", "weight", "summary"]


def test_wording_of_added_folders_comes_before_the_kits_the_last_one_first(tmp_path: Path) -> None:
    for name in "ab":
        (tmp_path / name / "words").mkdir(parents=True)
    section = template.discover([tmp_path / "a", tmp_path / "b", FILES / "templates"])[0]
    assert section.words == (tmp_path / "b", tmp_path / "a")


CELL = """
lux: list[float] = []  # readings
note: str = ""  # in words
log: str = ""  # of the meter [file]
count: int | None = None  # of trials
limit_A: float = None  # most current
pair: tuple[float, float] = (1.0, 2.0)  # both ends
way: Literal["up", "down"] = "up"  # direction
many: np.ndarray = None  # of another's type
"""


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"lux": 5}, "lux: found 5; expected a list"),
        ({"lux": ["bright"]}, "lux[1]: found 'bright'; expected a number"),
        ({"note": 5}, "note: found 5; expected text (put it in quotes)"),
        ({"count": 1.5}, "count: found 1.5; expected a whole number"),
        ({"limit_A": "2 apples"}, "limit_A: 'apples' is no unit of the same kind as 'A'"),
        ({"limit_A": [1]}, "limit_A: found [1]; expected a number in A, or text such as '1.5 A'"),
        ({"way": "left"}, "way: found 'left'; expected one of 'up' or 'down'"),
        ({"log": "log.csv"}, "log.csv: there is no such file"),
        ({"log": "../lamp.dat"}, "../lamp.dat: the path leads out of the review folder"),
        ({"note": "beam.tsv"}, "beam.tsv: there is no such file"),
    ],
)
def test_values_are_held_to_the_types_of_the_parameter_cell(
    tmp_path: Path, values: dict[str, Any], said: str
) -> None:
    section = template.read(written(tmp_path, source=CELL))
    (fault,) = section.faults(values, tmp_path)
    assert said in fault.message


def test_what_fits_the_cell_is_handed_over_in_its_types_and_units(tmp_path: Path) -> None:
    section = template.read(written(tmp_path, source=CELL))
    (tmp_path / "log.csv").touch()
    given = {"lux": [1, 2.5], "log": "log.csv", "limit_A": "500 mA", "many": {"a": 1}, "count": None}
    assert section.faults(given, tmp_path) == []
    assert section.handed({**given, "device": {}}) == given | {"limit_A": 0.5}
    assert section.handed({"lux": None, "way": None}) == {"lux": [], "way": "up"}


def test_a_folder_without_templates_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no section templates"):
        template.discover(only=[tmp_path])


def test_the_kits_own_templates_describe_themselves() -> None:
    """Every notebook shipped: readable, its model's fields are its parameters, its check exists."""
    found = template.discover()
    assert template.of_kind("section", found)
    for item in template.of_kind("section", found):
        assert item.about.inputs
        assert template.inputs_model(item)
        assert item.about.makes
        assert item.faults({}, FILES / "lantern") == []


@pytest.mark.parametrize(
    ("own", "said"),
    [({"kind": "chapter"}, "kind"), ({"place": "first"}, "place"), ({"title": None}, "title")],
)
def test_metadata_that_are_not_as_they_must_be_are_told(
    tmp_path: Path, own: dict[str, Any], said: str
) -> None:
    with pytest.raises(KitError, match=said):
        template.read(written(tmp_path, **own))


def test_a_notebook_without_metadata_is_told(tmp_path: Path) -> None:
    path = tmp_path / "plain.ipynb"
    path.write_text('{"cells": [], "metadata": {}}', encoding="utf-8")
    with pytest.raises(KitError, match=r"plain\.ipynb"):
        template.read(path)


def test_a_template_needs_one_parameter_cell(tmp_path: Path) -> None:
    path = written(tmp_path)
    notebook = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps(notebook | {"cells": notebook["cells"] * 2}), encoding="utf-8")
    with pytest.raises(KitError, match="2 cells are tagged"):
        template.read(path)


def test_a_model_that_differs_from_the_cell_is_told(tmp_path: Path) -> None:
    item = template.read(
        written(
            tmp_path, source="name: str = ''\nkin: str = ''\n", inputs="reviewkit.review.review_file:Device"
        )
    )
    with pytest.raises(KitError, match="kin, kind"):
        template.inputs_model(item)


@pytest.mark.parametrize("name", ["reviewkit.nowhere:Model", "reviewkit.review.review_file:Nobody"])
def test_a_model_that_does_not_exist_is_told(tmp_path: Path, name: str) -> None:
    with pytest.raises(KitError, match=name):
        template.inputs_model(template.read(written(tmp_path, inputs=name)))


def told(values: dict[str, Any], *parts: template.Section) -> list[str]:
    faults: list[InputError] = []
    faults += template.unknown_keys(values, parts) + template.refused([values], parts)[0]
    return [fault.message for fault in faults]


def test_a_key_that_no_section_declares_is_told_with_the_nearest() -> None:
    parts = template.discover(only=[FILES / "templates"])
    assert told({"device": {}, "lux": 1, "gram": 2}, *parts) == [
        "review.yaml, gram: no such key 'gram'. Did you mean 'grams'?"
    ]


def test_one_fault_seen_by_two_sections_is_told_once(tmp_path: Path) -> None:
    source = "".join(f"{name}: str = ''\n" for name in Claim.model_fields)
    parts = [
        template.read(written(tmp_path, name, source=source, inputs="reviewkit.review.review_file:Claim"))
        for name in ("one", "two")
    ]
    assert told({"about": 5, "says": "bright"}, *parts) == [
        "review.yaml, about: found 5; expected text (put it in quotes)."
    ]


def test_a_section_receives_only_what_it_declares() -> None:
    lamp = template.discover(only=[FILES / "templates"])[0]
    assert lamp.own({"device": {}, "lux": 1, "grams": 2}) == {"lux": 1}
