"""Sections: found in a folder, read, and asked what they need."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from reviewkit.errors import InputError, KitError
from reviewkit.review.review_file import Claim
from reviewkit.sections import discovery, parameter_cell, template
from reviewkit.sections.parameter_cell import Parameter

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
    found = discovery.discover([FILES / "templates"])
    assert [(item.name, item.kind, item.title) for item in found] == [
        ("lamp", "section", "Light output"),
        ("weight", "section", "Weight"),
        ("summary", "summary", "Summary"),
    ]
    assert found[0].names == {"lux", "log"}
    assert found[0].about.makes == ("lamp.",)


def test_a_template_dropped_in_is_found(tmp_path: Path) -> None:
    written(tmp_path, "b", place=2)
    assert [item.name for item in discovery.discover([tmp_path])] == ["b"]
    written(tmp_path, "a", place=3)
    assert [item.name for item in discovery.discover([tmp_path])] == ["b", "a"]


def test_a_later_folder_takes_the_place_of_a_written(tmp_path: Path) -> None:
    written(tmp_path, "weight", title="Weight, twice weighed")
    found = discovery.discover([FILES / "templates", tmp_path])
    assert [item.title for item in found if item.name == "weight"] == ["Weight, twice weighed"]


def test_a_folder_without_templates_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no section templates"):
        discovery.discover([tmp_path])


def test_the_kits_own_templates_describe_themselves() -> None:
    """Every notebook shipped: readable, its model's fields are its parameters, its check exists."""
    found = discovery.discover()
    assert discovery.of_kind("section", found)
    for item in discovery.of_kind("section", found):
        assert template.inputs_model(item) is not None
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
    faults += discovery.unknown_keys(values, parts) + discovery.refused([values], parts)[0]
    return [fault.message for fault in faults]


def test_a_key_that_no_section_declares_is_told_with_the_nearest() -> None:
    parts = discovery.discover([FILES / "templates"])
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
    lamp = discovery.discover([FILES / "templates"])[0]
    assert lamp.own({"device": {}, "lux": 1, "grams": 2}) == {"lux": 1}
