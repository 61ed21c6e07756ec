"""What a film tells goes into a review once it is confirmed, each thing once; what a person wrote stays."""

from __future__ import annotations

import csv
import shutil
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import make_film
import pytest
import site_sample
from click.testing import CliRunner

from reviewkit import cli, readout
from reviewkit.bench_day import film_moments, films
from reviewkit.errors import InputError
from reviewkit.film.patterns import Reading
from reviewkit.film.telling import Told
from reviewkit.publishing import site
from reviewkit.readout import table as readings
from reviewkit.review import author_text, chapters, photographs
from reviewkit.schema.blocks import BlinkRule
from tests.films import render
from tests.films.render import Scene

pytestmark = pytest.mark.usefixtures("libraries_ready")

EXAMPLES = Path(make_film.__file__).parent
RULE = "\nreadout_blinks: {groups: [units, tenths]}\n"
LARGEST = 1_000_000


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_film.make(tmp_path_factory.mktemp("filmed"))


@pytest.fixture
def birch(tmp_path: Path) -> Path:
    """Birch's review, its table without the readings that the film shows."""
    from simulate import film as invented

    folder = tmp_path / "birch"
    shutil.copytree(EXAMPLES / "birch", folder)
    with (folder / "review.yaml").open("a", encoding="utf-8") as file:
        file.write(RULE)
    lines = (folder / "readout.csv").read_text(encoding="utf-8").splitlines()
    left = [line for row, line in enumerate(lines, start=1) if row not in invented.rows()]
    (folder / "readout.csv").write_text("\n".join(left) + "\n", encoding="utf-8")
    return folder


def written(folder: Path, file: str) -> list[dict[str, str]]:
    with (folder / file).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def with_cells(folder: Path, file: str, row: int, **cells: str) -> None:
    rows = written(folder, file)
    rows[row] |= cells
    with (folder / file).open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def test_the_example_film_is_small(filmed: Path) -> None:
    assert filmed.stat().st_size < LARGEST


def test_the_rows_that_the_film_shows_are_made_from_it(filmed: Path, birch: Path) -> None:
    """Birch's table again, from the film and the reference meter."""
    from simulate import film as invented

    list(films.read(filmed, birch))
    whole = readout.inputs(films.entering.values(EXAMPLES / "birch"))
    before = readings.read(whole, EXAMPLES / "birch")
    assert before is not None
    for place, row in enumerate(invented.rows()):
        with_cells(
            birch,
            films.FILE,
            place,
            **{"reference (V)": f"{before.reference_V[row]:.3f}", "confirmed": "yes"},
        )
    said = films.accept(birch)
    assert len(said) == 2 * len(invented.rows())
    after = readings.read(readout.inputs(films.entering.values(birch)), birch)
    assert after is not None
    known = {(float(one.reference_V), one.displayed_V) for one in before.readings}
    assert {(float(one.reference_V), one.displayed_V) for one in after.readings} == known
    assert "0:02.0" in (birch / "readout.csv").read_text(encoding="utf-8")
    # Each goes in once, and the film's times stay.
    assert films.accept(birch) == ()
    assert all(row["entered"] and row["film"] == "readout.mp4" for row in written(birch, films.FILE))


def test_a_film_read_again_keeps_what_a_person_wrote(filmed: Path, birch: Path) -> None:
    list(films.read(filmed, birch))
    with_cells(birch, films.FILE, 1, **{"reference (V)": "3.222", "confirmed": "no"})
    list(films.read(filmed, birch))
    row = written(birch, films.FILE)[1]
    assert (row["reference (V)"], row["confirmed"]) == ("3.222", "no")
    assert "left out, as you say" in films.accept(birch)[1]
    assert len(list((birch / films.STRIPS).glob("*.png"))) == 3


def test_nothing_goes_into_the_review_that_nobody_has_looked_at(filmed: Path, birch: Path) -> None:
    list(films.read(filmed, birch))
    with_cells(birch, films.FILE, 0, **{"reference (V)": "3.402"})
    before = (birch / "readout.csv").read_bytes()
    assert "look at its thumbnails" in films.accept(birch)[0]
    assert (birch / "readout.csv").read_bytes() == before


def test_thumbnails_that_were_confirmed_are_published_and_no_others(
    tmp_path: Path, filmed: Path, birch: Path
) -> None:
    """As photographs in the author's words: on the page and in the evidence, re-coded, with words for all."""
    before = author_text.read(birch)
    list(films.read(filmed, birch))
    with_cells(birch, films.FILE, 1, **{"reference (V)": "3.222", "confirmed": "yes"})
    said = films.accept(birch)
    (row,) = (row for row in written(birch, films.FILE) if row["entered"])
    strip = f"{films.STRIPS}/readout-{row['video'].replace(':', 'm')}s.png"
    assert f"words.md: {strip}" in said
    assert set(author_text.pictured(birch)) - pictures_of(before) == {strip}
    text = author_text.read(birch)
    assert text.startswith(before.rstrip())
    assert not photographs.faults(birch, text)
    (photo,) = (one for one in photographs.named(text) if one.path == strip)
    assert row["pattern"] in photo.alt
    # The words are another device's but for what was put under them.
    apart, staged = tmp_path / "folder", tmp_path / "published"
    shutil.copytree(birch / films.STRIPS, apart / films.STRIPS)
    (apart / author_text.FILE).write_text(text[text.index("## Read from a film") :], encoding="utf-8")
    site.write_review(site_sample.reviewed(apart, staged))
    (shown,) = author_text.pictured(apart).values()
    assert [path.name for path in (staged / "photos").iterdir()] == [Path(shown.name).name]
    assert f'src="{shown.name}" alt="{photo.alt}"' in (staged / "index.html").read_text(encoding="utf-8")
    # A second one goes under the same heading, and each once.
    with_cells(birch, films.FILE, 0, **{"reference (V)": "3.402", "confirmed": "yes"})
    films.accept(birch)
    films.accept(birch)
    assert author_text.read(birch).count("## Read from a film") == 1
    assert len(author_text.pictured(birch)) == len(pictures_of(before)) + 2


def pictures_of(text: str) -> set[str]:
    return {one.path for one in photographs.named(text)}


def test_a_caution_goes_before_the_video_and_before_thumbnails(
    tmp_path: Path, filmed: Path, birch: Path
) -> None:
    """WCAG 2.2, 2.3.1."""
    lit = tuple(render.Pulse(0.3 + 0.2 * k, 0.08) for k in range(12))
    lamp = render.Light(0.5, 0.5, 0.3, "white", 2.0, lit)
    scene = Scene(320, 180, Fraction(30), "libx264", 3.0, (lamp,), 3, room_level=0.02)
    render.render(scene, tmp_path / "harsh.mp4")
    said = list(films.flashes(tmp_path / "harsh.mp4", birch, at=(160, 90)))
    assert said[0].startswith("Caution: from 0:01 to 0:02 the film exceeds the threshold for general flashes")
    assert said[1] == "review.yaml: review.video_caution"
    caution = films.entering.values(birch)["review"]["video_caution"]
    assert caution.startswith("Caution, flashing light: the film shows up to 5 general flashes in a second")
    again = list(films.flashes(tmp_path / "harsh.mp4", birch, at=(160, 90)))
    assert again[1] == "review.yaml: a caution stands before the video already"
    before = (birch / "review.yaml").read_bytes()
    assert next(iter(films.flashes(filmed, birch))).startswith("The film stays below the thresholds")
    assert (birch / "review.yaml").read_bytes() == before
    list(films.read(filmed, birch))
    with_cells(birch, films.FILE, 0, **{"reference (V)": "3.402", "confirmed": "yes"})
    films.accept(birch)
    text = author_text.read(birch)
    assert 0 < text.index(caution) < text.index(films.STRIPS)


def test_what_is_not_sure_says_so_where_it_waits(
    birch: Path, filmed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Told, "sure", lambda _self, _reading: False)
    list(films.read(filmed, birch))
    with_cells(birch, films.FILE, 0, **{"reference (V)": "3.402"})
    assert "not sure; look at its thumbnails" in films.accept(birch)[0]


def test_a_log_that_ran_meanwhile_gives_the_reference(filmed: Path, birch: Path) -> None:
    rows = "".join(f"{second},{3.400 if second < 107 else 3.210}\n" for second in range(95, 130))
    (birch / "logs" / "cell.csv").write_text(f"Time (s),Voltage (V)\n{rows}", encoding="utf-8")
    list(films.read(filmed, birch, log="logs/cell.csv", same="0:01=101"))
    assert [row["reference (V)"] for row in written(birch, films.FILE)] == ["3.4", "3.21", "3.21"]
    with pytest.raises(InputError, match="is no moment on both clocks"):
        list(films.read(filmed, birch, log="logs/cell.csv", same="noon"))


def test_moments_become_chapters_and_times_of_trials(tmp_path: Path, birch: Path) -> None:
    def room(time_s: float) -> float:
        return 0.05 if time_s < 1.2 else 1.0 if time_s < 2.4 else 0.4

    scene = Scene(320, 180, Fraction(30), "libx264", 3.6, (), 1, room=room)
    render.render(scene, tmp_path / "lamp.mp4")
    said = list(film_moments.moments(tmp_path / "lamp.mp4", birch))
    assert [line.split(" | ")[1].split(":")[0] for line in said[:2]] == ["light comes on", "dimmer"]
    chapters_before, trials = len(chapters.read(birch)), written(birch, "transitions.csv")
    known = next(row for row in trials if row["next"] != "n/a" and not row["video"])
    with_cells(birch, film_moments.FILE, 0, title="It comes on")
    with_cells(birch, film_moments.FILE, 1, state=known["state"], event=known["event"], next=known["next"])
    assert len(film_moments.accept(birch)) == 2
    assert film_moments.accept(birch) == ()
    listed = chapters.read(birch)
    assert len(listed) == chapters_before + 1
    assert any(one.title == "It comes on" and abs(one.start_s - 1.2) <= 2 / 30 for one in listed)
    after = written(birch, "transitions.csv")
    assert len(after) == len(trials)
    assert next(row for row in after if row not in trials)["video"].startswith("0:02.4")
    with_cells(birch, film_moments.FILE, 0, entered="", title="", state="nowhere", event="press", next="low")
    assert "no trial 'nowhere, press, low' stands in transitions.csv" in film_moments.accept(birch)[0]


def test_the_command_says_each_reading(filmed: Path) -> None:
    told = CliRunner().invoke(cli.main, ["blinks", str(filmed), "--at", "294,198"])
    assert told.exit_code == 0, told.output
    assert "0:02.00 | 3 · 4 | 3 blinks, pause, 4 blinks | yes | green" in told.output
    asked = CliRunner().invoke(cli.main, ["blinks", str(filmed), "--at", "here"])
    assert "'here' is not X,Y in pixels" in asked.output


def test_without_what_decodes_films_the_command_says_how_to_get_it(tmp_path: Path) -> None:
    code = (
        "import sys; sys.modules['av'] = None; from reviewkit.cli import main; main(['blinks', 'film.mp4'])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=tmp_path, check=False
    )
    assert done.returncode == 2
    assert "python -m pip install 'reviewkit[film]'" in done.stderr


def test_a_reading_without_a_rule_has_no_value_and_one_outside_it_is_not_sure() -> None:
    reading = Reading((), (), (), ())
    rule = BlinkRule(groups=("units", "tenths"))
    told = Told("film.mp4", None, rule, (reading,))  # type: ignore[arg-type]
    assert not told.sure(reading)
    assert replace(told, rule=BlinkRule()).sure(reading)
