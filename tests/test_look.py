"""A look at a file: columns, clock, gaps, a small picture, the entry to paste; what a reviewer adds."""

from __future__ import annotations

from pathlib import Path

import pytest
import writers
import yaml
from click.testing import CliRunner
from writers.judged import LINE

import reviewkit
from reviewkit import cli, logs
from reviewkit.errors import LogError
from reviewkit.tables import headers


def put(folder: Path, name: str, style: str) -> Path:
    found = next(one for one in writers.STYLES if one.name == style)
    (folder / name).write_bytes(found.write(writers.truth(found.interval_s)))
    return folder / name


def test_a_look_tells_layout_columns_units_clock_rate_and_what_it_is_taken_for(tmp_path: Path) -> None:
    place = put(tmp_path, "log.csv", "Spanish")
    told = str(reviewkit.look(place)).replace("\xa0", " ")
    for part in (
        "semicolons between the cells: 3 columns, headings in row 1, data from row 2",
        "2  Voltaje (V): 3,4200, 3,4331, 3,4429  [voltage in V]",
        "A cell's voltage (sure)",
        "300 readings in V, 3.420 V to 4.200 V",
        "one reading each 30 s; 0 gaps, 0 marks of overload",
        "A charge current (sure)",
        "→ current: log.csv",
    ):
        assert part in told
    assert "▁" in told
    assert "█" in told


def test_in_a_notebook_a_look_is_html_with_a_picture(tmp_path: Path) -> None:
    shown = reviewkit.look(put(tmp_path, "log.csv", "bars"))._repr_html_()
    assert shown.count("<svg") == shown.count("</svg>") == 2


def test_the_command_looks_anywhere_and_its_entry_works(tmp_path: Path) -> None:
    place = put(tmp_path, "log.csv", "no unit anywhere")
    ended = CliRunner().invoke(cli.main, ["look", str(place)])
    assert ended.exit_code == 0
    lines = [line.partition("→ ")[2] for line in ended.output.splitlines() if "→ " in line]
    entries = yaml.safe_load("\n".join(lines))
    assert set(entries) == {"voltage", "current"}
    assert logs.read(entries["voltage"], "V", folder=tmp_path).series.max() == pytest.approx(4.2)
    assert logs.read(entries["current"], "A", folder=tmp_path).series.max() == pytest.approx(0.873)


def test_a_file_with_nothing_in_it_is_told_and_the_others_are_looked_at(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("Dear keeper,\nit is red.\n")
    place = put(tmp_path, "log.csv", "bars")
    ended = CliRunner().invoke(cli.main, ["look", str(tmp_path / "letter.txt"), str(place)])
    assert ended.exit_code == 2
    assert "no table of times and readings" in ended.stderr
    assert "A charge current" in ended.stdout


def test_headings_of_ones_own_meters_mean_what_the_review_file_says(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("Takt,Kanal 3\n0,3500\n1000,3501\n2000,3502\n")
    meant = {"Kanal 3": "Voltage (mV)", "takt": "Time (ms)"}
    log = logs.read("log.csv", "V", folder=tmp_path, headings=meant)
    assert log.time_s.tolist() == [0.0, 1.0, 2.0]
    assert log.series.tolist() == pytest.approx([3.5, 3.501, 3.502])


@pytest.mark.parametrize(
    ("heading", "unit", "number"),
    [
        ("Voltage (V)", "mV", "3.7"),
        ("Voltage", "V", "3700"),
        ("Voltage (mV)", None, "3.7"),
        ("U [V]", None, "3700"),
    ],
)
def test_a_unit_that_can_t_be_is_refused_declared_or_not_and_the_line_mends_it(
    tmp_path: Path, heading: str, unit: str | None, number: str
) -> None:
    (tmp_path / "log.csv").write_text(
        f"Time (s),{heading}\n" + "".join(f"{at},{number}\n" for at in range(20))
    )
    entry = {"path": "log.csv"} | ({"unit": unit} if unit else {})
    with pytest.raises(LogError, match="which no bench has") as caught:
        logs.read(entry, "V", folder=tmp_path)
    mended, meant = (yaml.safe_load(line) for line in LINE.findall(str(caught.value)))
    assert logs.read(mended, "V", folder=tmp_path).series.iloc[0] == pytest.approx(3.7)
    assert meant["plausible"] == "yes, I mean it"
    assert any(
        "the review file says so" in note for note in logs.read(meant, "V", folder=tmp_path).report.notes
    )


def test_a_gap_is_a_departure_from_the_rate_there(tmp_path: Path) -> None:
    """Once a minute at rest, once a second around a step; ten rows are lost in the quick stretch."""
    seconds = [*range(0, 3600, 60), *range(3600, 3700), *range(3710, 3900), *range(3900, 7200, 60)]
    (tmp_path / "log.csv").write_text("Time (s),U (V)\n" + "".join(f"{at},3.7\n" for at in seconds))
    assert logs.read("log.csv", "V", folder=tmp_path).report.gaps == (logs.Gap(3699.0, 3710.0),)


def test_a_file_of_which_a_tenth_is_left_out_is_refused(tmp_path: Path) -> None:
    rows = [f"{at},3.7" if at % 10 != 5 else f"{at},3.7,1,2,3" for at in range(200)]
    (tmp_path / "log.csv").write_text("\n".join(["Time (s),U (V)", *rows, ""]))
    with pytest.raises(LogError, match="20 of 200 rows have not the 2 cells of the others"):
        logs.read("log.csv", "V", folder=tmp_path)


@pytest.mark.parametrize(
    ("text", "kinds", "unit"),
    [
        # IEC 60050-121-11-27 and 60050-131-11-19 give electric current and voltage in these languages.
        ("Electric tension [V]", {"voltage"}, "V"),
        ("courant électrique (mA)", {"current"}, "mA"),
        ("tensión eléctrica / mV", {"voltage"}, "mV"),
        ("elektrische Spannung in V", {"voltage"}, "V"),
        ("电流(毫安)", {"current"}, "mA"),
        ("Voltage min", {"voltage", "avoided"}, ""),
        ("Channel A", {"plain"}, ""),
        ("elapsed_ms", {"time", "since"}, "ms"),
    ],
)
def test_words_and_units_in_five_languages(text: str, kinds: set[str], unit: str) -> None:
    found = headers.parse(text)
    assert (found.kinds, found.unit) == (kinds, unit)


ALDER = Path(__file__).parents[1] / "examples" / "alder"


def test_a_charge_is_one_although_the_ammeter_shows_less_than_nothing_for_most_of_the_night() -> None:
    (seen,) = reviewkit.look(ALDER / "logs" / "charge-overnight-current.csv").seen
    assert (seen.what, seen.key) == ("a charge current", "current")


def test_the_entry_of_a_log_in_a_review_folder_is_as_the_review_file_wants_it() -> None:
    (seen,) = reviewkit.look(ALDER / "logs" / "charge-overnight-current.csv").seen
    assert seen.entry == "logs/charge-overnight-current.csv"
