"""What words can name: `reviewkit findings`, held against what a run publishes in their place."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner
from markupsafe import Markup

import reviewkit
from reviewkit import cli, commands

pytestmark = pytest.mark.usefixtures("libraries_ready")

ROOT = Path(__file__).parents[1]
REVIEW = """
device: {name: Lamp}
voltmeter: {accuracy: "±(0.5 % + 2)", resolution: 1 mV}
readout_table: readout.csv
drain_ammeter: {accuracy: "±(1.0 % + 3)", resolution: 1 uA, full_scale: 6 mA, burden_ohm: 10}
drain_states: [{name: standby, reading_A: 68 uA}]
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("words") / "lamp"
    place.mkdir()
    (place / "review.yaml").write_text(REVIEW, encoding="utf-8")
    shutil.copy(ROOT / "examples" / "alder" / "readout.csv", place)
    return place


def told(folder: Path, *options: str, status: int = 0) -> tuple[str, str]:
    done = CliRunner().invoke(cli.main, ["findings", str(folder), *options])
    assert done.exit_code == status, done.output
    return done.stdout, done.stderr


def test_every_key_listed_prints_in_words_what_was_listed_beside_it(folder: Path, tmp_path: Path) -> None:
    before = sorted(path.name for path in folder.iterdir())
    items = json.loads(told(folder, "--json")[0])
    assert len(items) > 15
    assert sorted(path.name for path in folder.iterdir()) == before
    lines = [f"Here {number} stands {{{item['key']}}} so." for number, item in enumerate(items)]
    (folder / "words.md").write_text("\n\n".join(lines), encoding="utf-8")
    (done,) = reviewkit.run(folder, out=tmp_path / "site")
    (folder / "words.md").unlink()
    shown = Markup(done.index.read_text(encoding="utf-8")).striptags().replace("\u00a0", " ")
    for number, item in enumerate(items):
        assert f"Here {number} stands {' '.join(item['text'].split())} so." in " ".join(shown.split())


def test_a_word_is_looked_for_in_keys_labels_and_values(folder: Path) -> None:
    out, _ = told(folder, "largest")
    assert "{readout.largest_error}" in out
    assert "drain." not in out
    assert "Standby drain" in told(folder, "standby")[0]


def test_a_word_that_stands_nowhere_is_answered_with_the_nearest(folder: Path) -> None:
    _, said = told(folder, "readout.largest_eror", status=cli.INPUT_AT_FAULT)
    assert "no finding about 'readout.largest_eror'; near it: readout.largest_error" in said


def test_an_unknown_placeholder_is_refused_with_the_nearest(folder: Path) -> None:
    (folder / "words.md").write_text("It is {readout.largest_eror} off.", encoding="utf-8")
    (fault,) = commands.check(folder)
    (folder / "words.md").unlink()
    assert "Did you mean '{readout.largest_error}'?" in fault.message
