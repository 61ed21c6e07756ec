"""The review file: what is read, what is refused, and how a fault is told."""

from __future__ import annotations

import re
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from reviewkit.errors import InputError, ReviewFileError
from reviewkit.review import review_file, strict_yaml

MINIMAL = "device: {name: Lantern}\n"


def loaded(folder: Path, text: str | bytes) -> dict[str, Any]:
    path = folder / "review.yaml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return strict_yaml.load(path)


def refused(folder: Path, text: str | bytes) -> str:
    with pytest.raises(ReviewFileError) as caught:
        loaded(folder, text)
    return caught.value.message


def test_reads_plain_values(tmp_path: Path) -> None:
    text = "a: 1\nb: 0.5\nc: [x, true, null, -2e-3]\nd: {e: 'f'}\n"
    assert loaded(tmp_path, text) == {"a": 1, "b": 0.5, "c": ["x", True, None, -2e-3], "d": {"e": "f"}}


def test_words_that_older_yaml_takes_for_something_else_stay_words(tmp_path: Path) -> None:
    """YAML 1.1 reads these as false, true, a date, 750 and 8; the person meant what they typed."""
    text = "a: no\nb: on\nc: 2026-03-01\nd: 12:30\ne: 010\n"
    assert loaded(tmp_path, text) == {"a": "no", "b": "on", "c": "2026-03-01", "d": "12:30", "e": "010"}


def test_keys_are_the_text_they_are(tmp_path: Path) -> None:
    assert loaded(tmp_path, "s: {50: low, on: high, null: none}\n") == {
        "s": {"50": "low", "on": "high", "null": "none"}
    }


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_reads_what_editors_save(tmp_path: Path, encoding: str) -> None:
    assert loaded(tmp_path, 'accuracy: "±(0.5 % + 2)"\n'.encode(encoding)) == {"accuracy": "±(0.5 % + 2)"}


def test_another_encoding_is_told_with_its_line(tmp_path: Path) -> None:
    message = refused(tmp_path, 'a: 1\nb: "±"\n'.encode("cp1252"))
    assert "line 2" in message
    assert "Save it as UTF-8" in message


def test_a_key_written_twice_is_refused(tmp_path: Path) -> None:
    assert refused(tmp_path, "a: 1\nb: {c: 1, c: 2}\n") == (
        "review.yaml, line 2: the key 'c' is written twice. Remove one of the two."
    )


def test_aliases_are_refused_before_they_multiply(tmp_path: Path) -> None:
    bomb = 'a: &a ["x","x"]\n' + "".join(f"k{i}: &b{i} [*a, *a, *a, *a, *a, *a]\n" for i in range(9))
    assert "alias '*a'" in refused(tmp_path, bomb)


@pytest.mark.parametrize("tag", ["!!python/object/apply:os.system ['true']", "!!binary aGk=", "!own {x: 1}"])
def test_tags_are_refused(tmp_path: Path, tag: str) -> None:
    assert "the tag" in refused(tmp_path, f"a: {tag}\n")


def test_depth_is_limited(tmp_path: Path) -> None:
    assert "deeper" in refused(tmp_path, "a: " + "[" * 100 + "]" * 100)


def test_very_deep_nesting_does_not_exhaust_the_stack(tmp_path: Path) -> None:
    refused(tmp_path, "a: " + "[" * 200_000)


def test_the_number_of_values_is_limited(tmp_path: Path) -> None:
    assert "more values" in refused(tmp_path, "a: [" + "1," * 60_000 + "]")


def test_size_is_limited(tmp_path: Path) -> None:
    assert "larger than 1 MB" in refused(tmp_path, "a: '" + "x" * 1_000_001 + "'")


@pytest.mark.parametrize("text", ["", "- a\n", "just words\n"])
def test_a_file_without_keys_is_told(tmp_path: Path, text: str) -> None:
    assert "holds no keys" in refused(tmp_path, text)


def test_a_slip_of_yaml_is_told_with_its_lines(tmp_path: Path) -> None:
    assert "lines 2 to 4" in refused(tmp_path, "a: 1\nb: [1,\n2\n")
    assert "line 2:" in refused(tmp_path, "a: 1\nb: c: d\n")


@given(st.binary(max_size=300))
def test_any_bytes_give_values_or_the_kits_own_error(
    tmp_path_factory: pytest.TempPathFactory, raw: bytes
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.yaml"
    path.write_bytes(raw)
    with suppress(ReviewFileError):
        assert isinstance(strict_yaml.load(path), dict)


# Line separators other than the newline are white space to YAML, whoever reads it.
# A number such as 1e3 is one here, as it is in YAML 1.2; that writer's YAML 1.1 takes it for text.
_letters = st.text(st.characters(exclude_categories=["C", "Z"], include_characters=" \n"), max_size=8)
_text = _letters.filter(lambda text: not re.fullmatch(r"[-+]?[0-9.]+[eE][-+]?[0-9]+", text))
_plain = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**9), 10**9) | _text,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_text.filter(bool), inner, max_size=3),
    max_leaves=8,
)


@settings(deadline=None)
@given(st.dictionaries(st.text("abcdefgh", min_size=1), _plain, min_size=1, max_size=4))
def test_reads_what_a_yaml_library_writes(
    tmp_path_factory: pytest.TempPathFactory, values: dict[str, Any]
) -> None:
    """PyYAML's own writer is the reference: what it writes means the same here."""
    path = tmp_path_factory.getbasetemp() / "written.yaml"
    path.write_text(yaml.safe_dump(values, allow_unicode=True), encoding="utf-8")
    assert strict_yaml.load(path) == values


def bound(folder: Path, text: str) -> tuple[review_file.ReviewFile | None, list[str]]:
    (folder / "review.yaml").write_text(text, encoding="utf-8")
    faults: list[InputError] = []
    values = review_file.read_values(folder, faults)
    file = review_file.bind(folder, values, faults)
    return file, [fault.message for fault in faults]


def test_the_reviews_own_blocks_are_read(tmp_path: Path) -> None:
    text = MINIMAL + "claims: [{about: lamp.reading, at_least: 400}]\nreview: {ambient_C: 21 °C}\n"
    file, faults = bound(tmp_path, text)
    assert not faults
    assert file is not None
    assert (file.device.name, file.claims[0].at_least, file.review.ambient_C) == ("Lantern", 400, 21.0)


def test_all_faults_are_told_together(tmp_path: Path) -> None:
    text = "device: {nam: Lantern}\nreview: {edition: -1, ambient_C: warm}\nclaims: [{about: lamp.reading}]\n"
    _, faults = bound(tmp_path, text)
    places = sorted(message.partition(": ")[0] for message in faults)
    assert places == [
        "review.yaml, claims[1]",
        "review.yaml, device.nam",
        "review.yaml, device.name",
        "review.yaml, review.ambient_C",
        "review.yaml, review.edition",
    ]


def test_a_misspelt_key_is_told_with_the_nearest(tmp_path: Path) -> None:
    _, faults = bound(tmp_path, MINIMAL + "review: {titel: A lantern}\n")
    assert faults == ["review.yaml, review.titel: no such key 'titel'. Did you mean 'title'?"]


def test_named_files_are_found_wherever_they_are_named(tmp_path: Path) -> None:
    (tmp_path / "logs").mkdir()
    for name in ("logs/a.csv", "logs/b.csv", "words.md", "unnamed.csv"):
        (tmp_path / name).write_text("x", encoding="utf-8")
    file, _ = bound(tmp_path, MINIMAL + "one: logs/a.csv\nmany: [{log: {path: 'logs\\b.csv'}}]\n")
    assert file is not None
    assert file.files == ("logs/a.csv", "logs/b.csv", "review.yaml", "words.md")


def test_a_file_outside_the_folder_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "lantern"
    folder.mkdir()
    outside = tmp_path / "private.csv"
    outside.write_text("x", encoding="utf-8")
    (folder / "link.csv").symlink_to(outside)
    _, faults = bound(
        folder, MINIMAL + f"a: ../private.csv\nb: link.csv\nc: [{{path: '{outside.as_posix()}'}}]\n"
    )
    assert [message.partition(": ")[0] for message in faults] == [
        "review.yaml, a",
        "review.yaml, b",
        "review.yaml, c[1].path",
    ]
    assert all("outside the review folder" in message for message in faults)


def test_a_folder_without_a_review_file_is_told(tmp_path: Path) -> None:
    faults: list[InputError] = []
    assert review_file.read_values(tmp_path, faults) == {}
    assert faults[0].message == "review.yaml: no such file. 'reviewkit start FOLDER' writes one to fill in."


@pytest.mark.parametrize(
    ("folder", "name"), [("Alder", "alder"), ("My lamp (2)", "my-lamp-2"), ("ﾗﾝﾌﾟ", "ranpu"), ("a.b", "a-b")]
)
def test_the_published_name_is_fit_for_an_address(tmp_path: Path, folder: str, name: str) -> None:
    place = tmp_path / folder
    place.mkdir()
    file, _ = bound(place, MINIMAL)
    assert file is not None
    assert file.name == name
