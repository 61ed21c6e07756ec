"""Inputs and machines at their worst: a sentence, or the part at fault alone, never a traceback."""

from __future__ import annotations

import csv
import math
import os
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

import faults
import pytest
from strangers import TEMPLATES, bench

from reviewkit import commands
from reviewkit.errors import InputError
from reviewkit.findings import Finding
from reviewkit.metrology.conformity import Limit
from reviewkit.pipeline import cache, harvest
from reviewkit.publishing import editions, evidence
from reviewkit.review import author_text
from reviewkit.system import disk
from reviewkit.tables import keys

pytestmark = pytest.mark.usefixtures("libraries_ready")

OWN = ["--only-templates", str(TEMPLATES[0])]


def call(*arguments: str | Path | bytes, cwd: Path, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-c", "from reviewkit.cli import main; main()", *arguments],
        cwd=cwd,
        env={**os.environ, **environment},
        capture_output=True,
        timeout=300,
    )


def test_a_link_that_leads_nowhere_is_a_file_like_any_other(tmp_path: Path) -> None:
    """Such as the lock that an editor leaves while it has a file open."""
    folder = bench(tmp_path / "bicycle-lamp")
    (folder / ".#review.yaml").symlink_to("somebody@somewhere.1234:5678")
    assert [".#review.yaml", -1] in cache._listing(folder)
    for _ in range(2):
        done = call("run", "bicycle-lamp", *OWN, cwd=tmp_path)
        assert done.returncode == 0, done.stderr
        assert (tmp_path / "site" / "bicycle-lamp" / "index.html").is_file()
    assert (folder / ".#review.yaml").is_symlink()


def test_a_folder_for_temporary_files_that_takes_none_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").touch()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "file"))
    with pytest.raises(InputError, match=r"can't write to the folder for temporary files .*TMPDIR"):
        disk.made_temporary()


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="needs a folder that lets nobody write")
@pytest.mark.parametrize("more", [[], ["--stay-ready", "0"]])
def test_a_run_without_a_folder_for_temporary_files_is_told(tmp_path: Path, more: list[str]) -> None:
    """Whoever may write anywhere is refused by the file system itself; others fall back to another folder."""
    bench(tmp_path / "bicycle-lamp")
    done = call("run", "bicycle-lamp", *OWN, *more, cwd=tmp_path, TMPDIR="/proc")
    assert done.returncode == (2 if os.access("/proc", os.W_OK) else 0), done.stderr
    assert b"Traceback" not in done.stderr
    if done.returncode:
        assert b"/proc: can't write to the folder for temporary files" in done.stderr


@pytest.mark.skipif(os.name != "posix" or sys.platform == "darwin", reason="names are no bytes there")
def test_letters_that_the_locale_cannot_hold_are_told(tmp_path: Path) -> None:
    bench(tmp_path / "Müller")
    plain = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    for words in (["run", "Müller".encode(), *OWN], ["check", "Müller".encode(), *OWN]):
        done = call(*words, cwd=tmp_path, **plain)
        assert done.returncode == 2, done.stderr
        assert b"letters that this terminal's locale can't hold" in done.stderr
        assert b"Traceback" not in done.stderr
    assert not (tmp_path / "site").exists()


def test_a_name_of_250_letters_is_published(tmp_path: Path) -> None:
    name = "l" * 250
    assert len(keys.published_name(Path(name))) <= keys.LONGEST
    assert keys.published_name(Path(name)) != keys.published_name(Path(name + "m"))
    bench(tmp_path / name)
    done = call("run", name, *OWN, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "site" / keys.published_name(Path(name)) / "index.html").is_file()


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_a_text_that_a_spreadsheet_would_run_is_disarmed(tmp_path: Path, start: str) -> None:
    text = f'{start}HYPERLINK("https://example.org")'
    limit = Limit(high=1, source=text)
    item = Finding("drain.mean", text, value=-1.5e-6, unit="A", low=-2e-6, note=text, limit=limit)
    harvest._write_csv(tmp_path / "findings.csv", [item, Finding("drain.said", "said", value=text)])
    with (tmp_path / "findings.csv").open(encoding="utf-8", newline="") as stream:
        first, second = csv.DictReader(stream)
    for cell in (first["label"], first["note"], first["limit_source"], second["value"]):
        assert cell == f"'{text}"
    assert (float(first["value"]), float(first["low"])) == (-1.5e-6, -2e-6)


@pytest.mark.parametrize(
    "fields",
    [
        {"value": math.nan},
        {"value": math.inf},
        {"value": 1.0, "uncertainty": math.nan},
        {"value": 1.0, "low": math.nan, "high": 2.0},
        {"value": 1.0, "low": math.inf},
        {"value": 10**400},
    ],
)
def test_a_number_that_is_none_is_a_finding_not_had(fields: dict[str, float]) -> None:
    item = Finding("drain.mean", "mean", unit="A", verdict="pass", note="As read.", **fields)
    assert (item.value, item.uncertainty, item.low, item.high) == (None, None, None, None)
    assert item.verdict == "not tested"
    assert item.note == "As read. No finite number came out."
    assert Finding.from_dict(item.to_dict()) == item


def test_an_infinite_bound_is_no_bound() -> None:
    item = Finding("drain.days", "days", unit="d", low=20.0, high=math.inf, verdict="pass")
    assert (item.low, item.high, item.verdict) == (20.0, None, "pass")


def test_many_files_that_unpack_to_far_more_are_refused_at_once(tmp_path: Path) -> None:
    """Each is small enough to shrink as it likes: together they are not."""
    with zipfile.ZipFile(tmp_path / "evidence.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for number in range(100):
            archive.writestr(f"review/{number}.csv", bytes(9 << 20))
    with pytest.raises(InputError, match="far more than meters' logs"):
        evidence.unpack(tmp_path / "evidence.zip", tmp_path / "into", wanted=lambda _: True)
    assert not (tmp_path / "into").exists()


def test_a_hundred_thousand_names_are_refused_at_once(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "evidence.zip", "w") as archive:
        for number in range(100_000):
            archive.writestr(f"{number}", b"")
    with pytest.raises(InputError, match="more than 2000 files"):
        evidence.unpack(tmp_path / "evidence.zip", tmp_path / "into", wanted=lambda _: True)
    inputs = ", ".join(f'{{"path": "{number}", "sha256": ""}}' for number in range(100_000))
    whole = f'{{"schema": 1, "inputs": [{inputs}], "review": {{}}, "findings": []}}'
    (tmp_path / "findings.json").write_text(whole, encoding="utf-8")
    with pytest.raises(InputError, match="inputs") as told:
        editions.read(tmp_path / "findings.json")
    assert len(told.value.message) < 500


def test_a_drain_log_that_is_gone_costs_its_state_alone(tmp_path: Path) -> None:
    """The page is published with the other states, and says of this one why it has no figures."""
    folder = faults.write(tmp_path / "hazel")
    text = (folder / "review.yaml").read_text(encoding="utf-8").replace("edition: 1", "edition: 0")
    (folder / "review.yaml").write_text(text, encoding="utf-8")
    (folder / "logs" / "standby.csv").unlink()
    (review,) = commands.run(folder, out=tmp_path / "site")
    assert not review.is_draft
    assert [part.section.name for part in review.review.failed] == []
    mean, locked = (review.findings.get(f"drain.{name}.mean") for name in ("standby", "locked"))
    assert (mean.value, mean.verdict) == (None, "not tested")
    assert locked.value == pytest.approx(2.4e-6)
    page = (review.place / "drain.html").read_text(encoding="utf-8")
    assert "not measured. logs/standby.csv: there is no such file." in page
    assert "Not measured. logs/standby.csv" in (review.place / "index.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("start", ["", "\ufeff", "\n  "])
def test_the_authors_words_may_begin_with_a_number(tmp_path: Path, start: str) -> None:
    """A text whose first sign is a brace is no JSON."""
    (tmp_path / author_text.FILE).write_text(f"{start}{{drain.standby.mean}} is little.", encoding="utf-8")
    assert author_text.read(tmp_path).strip() == "{drain.standby.mean} is little."


@pytest.mark.parametrize("text", ['{"cells": []}', "{}", '{\n "a": 1}', '[{"a": 1}]'])
def test_json_is_none_of_the_authors_words(tmp_path: Path, text: str) -> None:
    (tmp_path / author_text.FILE).write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="this is a JSON file, no text"):
        author_text.read(tmp_path)
