"""Reviews run on a cluster: two workers on this machine publish what one process does."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from reviewkit import cli

FILES = Path(__file__).parent / "files"
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")


@pytest.fixture(scope="module")
def scheduler() -> Iterator[str]:
    distributed = pytest.importorskip("distributed", reason="reviewkit[cluster] is not installed")
    workers = distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
    )
    with workers as cluster:
        yield cluster.scheduler_address


def published(out: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(out)): path.read_bytes() for path in sorted(out.rglob("*")) if path.is_file()
    }


def run(out: Path, *options: str) -> dict[str, bytes]:
    arguments = [
        "run",
        str(FILES / "lantern"),
        "--only-templates",
        str(FILES / "templates"),
        "-o",
        str(out),
        *options,
    ]
    done = CliRunner().invoke(cli.main, arguments)
    assert done.exit_code == 0, done.output
    return published(out)


def test_two_workers_publish_what_one_process_does(scheduler: str, tmp_path: Path) -> None:
    assert run(tmp_path / "cluster", "--scheduler", scheduler) == run(tmp_path / "here")


def test_an_address_where_nobody_answers_is_an_input_error(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    pytest.importorskip("distributed", reason="reviewkit[cluster] is not installed")
    monkeypatch.setattr("reviewkit.execution.execute._CONNECT_S", 0.5)
    folder = str(FILES / "lantern")
    done = CliRunner().invoke(
        cli.main, ["run", folder, "-o", str(tmp_path), "--scheduler", "tcp://127.0.0.1:9"]
    )
    assert done.exit_code == cli.INPUT_AT_FAULT
    assert "no scheduler answers at 'tcp://127.0.0.1:9'" in done.output
    assert "such as tcp://" in done.output
