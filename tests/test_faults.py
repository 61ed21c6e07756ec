"""Every damaged input gives the message that it must: before anything runs, or beside its findings."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any, NoReturn

import faults
import pytest
from click.testing import CliRunner

from reviewkit import cli, commands
from reviewkit.pipeline import runner


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return faults.write(tmp_path_factory.mktemp("good") / "hazel")


@pytest.fixture
def hazel(good: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(good, tmp_path / "hazel"))


@pytest.fixture
def nothing_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    """A kernel, a child or any other process that were started would fail the test."""

    def refuse(*given: Any, **named: Any) -> NoReturn:
        raise AssertionError("a process was started")

    monkeypatch.setattr(runner, "run", refuse)
    monkeypatch.setattr(subprocess.Popen, "__init__", refuse)
    if hasattr(os, "fork"):
        monkeypatch.setattr(os, "fork", refuse)


def test_the_corpus_is_large_and_each_entry_has_a_name_of_its_own() -> None:
    names = [entry.name for entry in (*faults.REFUSED, *faults.REMARKED, *faults.FAILING)]
    assert len(set(names)) == len(names) >= 150


def test_the_good_folder_has_no_fault(good: Path) -> None:
    assert CliRunner().invoke(cli.main, ["check", str(good)]).exit_code == 0


@pytest.mark.parametrize("entry", faults.REFUSED, ids=lambda entry: entry.name)
def test_check_tells_what_is_at_fault_before_anything_runs(
    entry: faults.Refused, hazel: Path, nothing_runs: None
) -> None:
    if reason := entry.needs():
        pytest.skip(reason)
    entry.damage(hazel)
    ended = CliRunner().invoke(cli.main, ["check", str(hazel)])
    assert ended.stderr.splitlines() == list(entry.messages)
    assert ended.exit_code == 2


@pytest.mark.parametrize("entry", faults.REFUSED, ids=lambda entry: entry.name)
def test_a_message_is_for_a_reviewer_and_no_programmer(entry: faults.Refused) -> None:
    for message in entry.messages:
        assert message.endswith((".", "?"))
        assert not re.search(r"Error\b|Exception|Traceback|None|<class|0x[0-9a-f]{4}", message)


@pytest.mark.parametrize("entry", faults.REMARKED, ids=lambda entry: entry.name)
def test_what_is_taken_in_spite_of_a_fault_says_so(entry: faults.Remarked, good: Path, hazel: Path) -> None:
    entry.damage(hazel)
    assert commands.check(hazel) == ()
    assert entry.is_told(hazel)
    assert not entry.is_told(good)
