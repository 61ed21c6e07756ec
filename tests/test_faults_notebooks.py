"""Notebooks that fail, hang, flood or die: each costs its own section, with a plain line, and no other."""

from __future__ import annotations

import json
import os
import re
import shutil
import time
from pathlib import Path

import faults
import pytest
from faults.notebooks import BROKEN_DISPLAYS, BROKEN_FINDINGS, displaying, executed, template

from reviewkit import commands

FILES = Path(__file__).parent / "files"


@pytest.fixture
def lantern(tmp_path: Path) -> Path:
    return Path(shutil.copytree(FILES / "lantern", tmp_path / "lantern"))


@pytest.mark.parametrize("entry", faults.FAILING, ids=lambda entry: entry.name)
def test_a_section_ends_with_a_plain_line(entry: faults.Failing, lantern: Path, tmp_path: Path) -> None:
    if reason := entry.needs():
        pytest.skip(reason)
    outcome = executed(entry, lantern, tmp_path)
    assert entry.fits(outcome.message), outcome.message
    assert len(outcome.notebook) < 3_000_000


def _lives(number: int) -> bool:
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    # An ended process that nobody has asked after is still listed.
    stat = Path(f"/proc/{number}/stat")
    return not (stat.exists() and stat.read_text().rpartition(")")[2].split()[0] == "Z")


@pytest.mark.skipif(os.name != "posix", reason="needs POSIX processes")
def test_a_section_leaves_no_process_behind(lantern: Path, tmp_path: Path) -> None:
    entry = next(item for item in faults.FAILING if "leaves a process" in item.name)
    cells = json.loads(executed(entry, lantern, tmp_path).notebook)["cells"]
    printed = "".join(text for cell in cells for item in cell["outputs"] for text in item.get("text", ()))
    child = int(re.findall(r"\d+", printed)[0])
    for _ in range(100):
        if not _lives(child):
            return
        time.sleep(0.1)
    os.kill(child, 9)
    raise AssertionError("the process that a cell started is still there")


def test_broken_findings_and_dead_kernels_cost_no_other_section(lantern: Path, tmp_path: Path) -> None:
    """One run with sections that display what are no findings, fail and die, beside two good ones."""
    room = tmp_path / "sections"
    room.mkdir()
    broken = [displaying(data, number) for number, data in enumerate(BROKEN_FINDINGS)]
    broken += [displaying(data, number, mime) for number, (mime, data) in enumerate(BROKEN_DISPLAYS)]
    dead = [item for item in faults.FAILING if "ends its own" in item.name or "divides" in item.name]
    for entry in (*broken, *dead):
        template(entry, room)
    (done,) = commands.run(lantern, out=tmp_path / "site", only_templates=[FILES / "templates", room])
    assert done.is_draft
    failed = {result.section.title: result.message for result in done.review.failed}
    assert set(failed) == {entry.name for entry in (*broken, *dead)}
    assert all(message and "Traceback" not in message and "\n" not in message for message in failed.values())
    assert {"lamp.reading", "weight.mass"} <= {item.key for item in done.findings}
    assert {"lamp.html", "weight.html"} <= {path.name for path in done.place.iterdir()}
