"""The bench sheet: two pages of A4 that a pen can write on, with what is known of the device on them."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from visits import Visit, needs_browser

import reviewkit
from reviewkit import bench_day
from reviewkit.cli import main
from reviewkit.errors import InputError
from reviewkit.findings.sentences import CAUTIONS

EXAMPLES = Path(__file__).parents[1] / "examples"
A4_MM = (210, 297)
"""ISO 216."""
PX_PER_MM = 96 / 25.4
"""CSS Values 4, section 6.2: a px is a 96th of an inch."""
DEVICES = ("alder", "birch", "blank")


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("sheets")
    for name in ("alder", "birch"):
        shutil.copytree(EXAMPLES / name, place / name)
        bench_day.sheet(place / name)
    reviewkit.start(place / "blank")
    return place


def text_of(folder: Path) -> str:
    return (folder / "bench-sheet.html").read_text(encoding="utf-8")


@needs_browser
@pytest.mark.parametrize("name", DEVICES)
def test_it_prints_on_two_pages_with_rows_to_write_in(folders: Path, browser: Any, name: str) -> None:
    with Visit(
        browser, folders / name / "bench-sheet.html", viewport={"width": 718, "height": 1000}
    ) as visit:
        printed = visit.page.pdf(prefer_css_page_size=True, print_background=True)
        assert len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) == 2
        width, height = map(float, re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", printed)[0])
        assert (round(width * 25.4 / 72), round(height * 25.4 / 72)) == A4_MM
        visit.page.emulate_media(media="print")
        rows = visit.page.eval_on_selector_all(
            "tbody tr", "rows => rows.map(row => row.getBoundingClientRect().height)"
        )
        assert len(rows) > 40
        assert min(rows) >= 8 * PX_PER_MM
        assert not visit.said


@needs_browser
@pytest.mark.parametrize("width", [360, 1280])
def test_it_can_be_read_on_a_phone_too(folders: Path, browser: Any, width: int) -> None:
    with Visit(browser, folders / "alder" / "bench-sheet.html") as visit:
        assert visit.overhang(width) <= 0


@pytest.mark.parametrize("name", DEVICES)
def test_it_has_a_place_for_all_that_comes_from_the_bench(folders: Path, name: str) -> None:
    text = text_of(folders / name)
    wanted = (
        *("States", "flashes", "Maker’s claims, from the box", "file, range", "clocks differ by / s"),
        *("at the source: V, A", "cuts at", "cable out at", "clip", "Stop when anything is warmer than"),
        *("To declare", "reading with its unit", "burden / Ω", "remark"),
    )
    assert not [words for words in wanted if words not in text]
    assert all(caution in text for caution in CAUTIONS)


def test_it_knows_the_device(folders: Path) -> None:
    text = text_of(folders / "alder")
    for words in (
        *("test cell A; NMC; 3.0 Ah; 4.2 V", "paid: none", "shows the cell&#39;s voltage to 0.1 V"),
        *("bench voltmeter", "±(0.05 % + 2)", "10 A range", "locked out", "slow red", "charging locked"),
        "after the cable is pulled: 1 h 05 min",
    ):
        assert words in text.replace("\u00a0", " ").replace("\u202f", " "), words


def test_the_voltages_to_prepare_are_the_plans(folders: Path) -> None:
    """All of them stand in rows of their own, and no other."""
    planned = bench_day.session(folder=folders / "alder")
    from reviewkit import planning

    told = re.findall(r"\d\.\d{3}", planning.readings(planned).sentences[-1])
    rows = re.findall(r"<td>(\d\.\d{3})\u00a0V</td>", text_of(folders / "alder"))
    assert rows == told
    assert told


def test_the_trials_left_stand_in_order(folders: Path) -> None:
    rows = [
        row[0].removeprefix("Try ")
        for row in bench_day.tonight(folder=folders / "birch").rows
        if "Try " in row[0]
    ]
    text = text_of(folders / "birch")
    wanted = [tuple(reversed(row.split(" in ", 1))) for row in rows]
    places = [text.find(f"<td>{state}</td><td>{event}</td>") for state, event in wanted]
    assert wanted
    assert min(places) > 0


def test_what_comes_back_is_typed_in_where_it_says(folders: Path, tmp_path: Path) -> None:
    """The sheet names `reviewkit note`, which takes a reading, a trial, a drain and cable times."""
    assert "<code>reviewkit note FOLDER</code>" in text_of(folders / "blank")
    told = CliRunner().invoke(main, ["note", str(folders / "blank"), "--help"]).output
    assert all(
        re.search(rf"^  {name}\b", told, re.MULTILINE) for name in ("reading", "trial", "drain", "cable")
    )


def test_it_is_written_anew_and_somebody_elses_is_left_alone(folders: Path, tmp_path: Path) -> None:
    place = shutil.copytree(folders / "alder", tmp_path / "alder")
    review = (place / "review.yaml").read_text(encoding="utf-8")
    (place / "review.yaml").write_text(review.replace("test cell A", "another cell"), encoding="utf-8")
    done = CliRunner().invoke(main, ["sheet", str(place)])
    assert done.exit_code == 0
    assert "another cell" in text_of(place)
    (place / "bench-sheet.html").write_text("my own notes", encoding="utf-8")
    with pytest.raises(InputError, match="did not write this file"):
        bench_day.sheet(place)
    assert text_of(place) == "my own notes"


def test_what_is_not_known_yet_is_left_to_be_written(tmp_path: Path) -> None:
    (tmp_path / "review.yaml").write_text("device: {name: Lamp}\n", encoding="utf-8")
    assert "Bench sheet: Lamp" in bench_day.sheet(tmp_path).read_text(encoding="utf-8")
