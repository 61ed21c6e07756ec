"""Sentences stand in files that a reviewer may reword."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest
from jinja2 import Environment, FileSystemLoader

from reviewkit.errors import KitError
from reviewkit.findings.compiled import Compiled
from reviewkit.findings.sentences import Sentences
from reviewkit.system.kit import WORDS_VARIABLE


def worded(folder: Path, text: str) -> Path:
    (folder / "words").mkdir(parents=True)
    (folder / "words" / "lamp.j2").write_text(text, encoding="utf-8")
    return folder


def test_blanks_fold_and_a_value_stays_in_one_piece(tmp_path: Path) -> None:
    own = worded(
        tmp_path,
        "{% macro drain(mean) %}\n  It draws\n  {{ mean | quantity('A', 0.002) }}.\n{% endmacro %}",
    )
    assert Sentences("lamp", [own])("drain", mean=0.1) == "It draws 0.1000\u00a0A\u00a0±\u00a00.0020\u00a0A."


def test_a_folder_that_comes_first_rewords_one_sentence_and_leaves_the_others(tmp_path: Path) -> None:
    kit = worded(tmp_path / "kit", "{% macro one() %}one{% endmacro %}{% macro two() %}two{% endmacro %}")
    own = worded(tmp_path / "own", "{% macro two() %}zwei{% endmacro %}")
    say = Sentences("lamp", [own, kit])
    assert (say("one"), say("two")) == ("one", "zwei")


@pytest.mark.parametrize(
    ("name", "values"), [("none", {}), ("drain", {}), ("drain", {"mean": "much", "more": 1})]
)
def test_a_sentence_that_cannot_be_worded_is_a_fault_that_names_its_file(
    tmp_path: Path, name: str, values: dict[str, object]
) -> None:
    own = worded(tmp_path, "{% macro drain(mean) %}It draws {{ mean }}.{% endmacro %}")
    with pytest.raises(KitError, match=r"words/lamp\.j2"):
        Sentences("lamp", [own])(name, **values)


def test_a_section_without_a_file_is_a_fault(tmp_path: Path) -> None:
    with pytest.raises(KitError, match=r"words/lamp\.j2"):
        Sentences("lamp", [tmp_path])


def test_a_process_can_be_told_of_folders_that_come_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kit = worded(tmp_path / "kit", "{% macro one() %}one{% endmacro %}")
    own = worded(tmp_path / "own", "{% macro one() %}eins{% endmacro %}")
    say = Sentences("lamp", [kit])
    monkeypatch.setenv(WORDS_VARIABLE, str(own))
    assert say("one") == "eins"


def test_a_file_that_is_no_template_is_a_fault_that_names_it(tmp_path: Path) -> None:
    own = worded(tmp_path, "{% macro one( %}")
    with pytest.raises(KitError, match=r"words/lamp\.j2"):
        Sentences("lamp", [own])("one")


def compiled(source: str, folder: Path, made_by: str = "# one way") -> tuple[str, bool]:
    """Return what a template says, and whether its source had to be compiled for that."""
    (folder / "maker.py").write_text(made_by)
    (folder / "one.j2").write_text(source)
    asked: list[str] = []

    class Watched(Environment):
        def compile(self, source: Any, *more: Any, **options: Any) -> Any:
            asked.append(source)
            return super().compile(source, *more, **options)

    own = Watched(loader=FileSystemLoader(folder), bytecode_cache=Compiled(str(folder / "maker.py")))
    return own.get_template("one.j2").render(), bool(asked)


def test_a_template_is_compiled_again_only_where_it_or_what_compiles_it_has_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    assert compiled("one", tmp_path) == ("one", True)
    assert not list(tmp_path.glob("*.jinja"))
    (tmp_path / "__pycache__").mkdir()
    assert [compiled("one", tmp_path) for _ in range(2)] == [("one", True), ("one", False)]
    assert [compiled("two", tmp_path) for _ in range(2)] == [("two", True), ("two", False)]
    assert compiled("two", tmp_path, "# another way") == ("two", True)


def test_nothing_is_compiled_for_another_time_where_python_is_told_not_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    (tmp_path / "__pycache__").mkdir()
    assert [compiled("one", tmp_path) for _ in range(2)] == [("one", True), ("one", True)]
    assert not list((tmp_path / "__pycache__").iterdir())
