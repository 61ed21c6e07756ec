"""Published examples beside what the kit computes: each agrees, and a wrong number would be told."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
import worked
from worked import Check, Row

from reviewkit.errors import InputError

FOLDER = Path(__file__).resolve().parent / "published"
ALL: dict[str, Callable[[Path], Check]] = {
    name: getattr(worked, name)
    for name in worked.__all__
    if name[0].islower()
    and name not in ("charge_kinds", "display_step", "honest_intervals", "honest_sections")
}


@pytest.mark.parametrize("name", ALL)
def test_the_kit_agrees_with_what_was_published(name: str) -> None:
    check = ALL[name](FOLDER)
    assert check.rows
    assert check.agrees, [row.cells for row in check.rows if not row.agrees]


def test_a_display_has_0_29_of_its_step() -> None:
    """GUM F.2.2.1, from memory."""
    assert worked.display_step().agrees


@pytest.mark.parametrize("percent", [68.27, 90, 95, 95.45, 99, 99.73])
def test_every_column_of_table_g2_agrees(percent: float) -> None:
    """GUM Table G.2."""
    assert worked.gum_table_g2(FOLDER, percent=percent).agrees


@pytest.mark.parametrize("name", ALL)
def test_a_known_difference_is_one(name: str) -> None:
    """An excuse beside a value that agrees would hide the day on which it no longer does."""
    known = [row for row in ALL[name](FOLDER).rows if row.known]
    if name == "gum_table_g2":
        known = [row for row in worked.gum_table_g2(FOLDER, percent=90).rows if row.known]
        assert [row.quantity for row in known] == ["ν = 35"]
    assert not [row.cells for row in known if row.agrees]


def test_a_number_changed_in_the_published_file_is_told(tmp_path: Path) -> None:
    shutil.copytree(FOLDER, tmp_path / "published")
    file = tmp_path / "published" / "gum_h2_impedance.json"
    values = json.loads(file.read_text(encoding="utf-8"))
    values["printed"]["R"][0] += 0.001
    file.write_text(json.dumps(values), encoding="utf-8")
    check = worked.gum_h2(tmp_path / "published")
    assert not check.agrees
    assert [row.quantity for row in check.rows if not row.agrees and not row.known] == ["R"]
    assert "no: a fault of the kit" in check._repr_mimebundle_()["text/html"]


def test_a_folder_without_the_examples_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"gum_h1_end_gauge\.json.*tests/published"):
        worked.gum_h1(tmp_path)


@pytest.mark.parametrize(
    ("kit", "agrees"), [(0.0711, True), (0.07149, True), (0.07051, True), (0.0716, False), (0.0704, False)]
)
def test_a_value_agrees_to_half_of_the_last_digit(kit: float, agrees: bool) -> None:
    assert Row("u", 0.071, kit, 3).agrees is agrees


def test_a_count_is_shown_as_one() -> None:
    assert Row("trials", 29, 29, 0).cells == ("trials", "29", "29", "0", "to the last digit")


def test_text_that_looks_like_markup_is_shown_as_text() -> None:
    bundle = Check("<script>", "a & b", (Row("<b>", 1, 1, 0),))._repr_mimebundle_()
    assert "<script>" not in bundle["text/html"]
    assert "&lt;b&gt;" in bundle["text/html"]
