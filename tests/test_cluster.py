"""Reviews run on a cluster: two workers on this machine publish what one process does."""

from __future__ import annotations

import os
import shutil
import signal
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from reviewkit import cli

FILES = Path(__file__).parent / "files"
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    distributed = pytest.importorskip("distributed", reason="reviewkit[cluster] is not installed")
    workers = distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
    )
    with workers as cluster:
        yield cluster


def published(out: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(out)): path.read_bytes() for path in sorted(out.rglob("*")) if path.is_file()
    }


def run(out: Path, *options: str, folders: Sequence[Path] = (FILES / "lantern",)) -> dict[str, bytes]:
    arguments = [
        "run",
        *map(str, folders),
        "--only-templates",
        str(FILES / "templates"),
        "-o",
        str(out),
        *options,
    ]
    done = CliRunner().invoke(cli.main, arguments)
    assert done.exit_code == 0, done.output
    return published(out)


def test_two_workers_publish_what_one_process_does(cluster: Any, tmp_path: Path) -> None:
    there = run(tmp_path / "cluster", "--scheduler", cluster.scheduler_address)
    assert there == run(tmp_path / "here")


def test_a_worker_that_is_killed_on_the_way_costs_no_review(cluster: Any, tmp_path: Path) -> None:
    folders = [shutil.copytree(FILES / "lantern", tmp_path / f"lantern-{number}") for number in range(6)]
    killed: list[int] = []
    ended = threading.Event()

    def kill() -> None:
        """Kill the process of the first worker that is seen at work."""
        while not (killed or ended.wait(0.01)):
            busy = [address for address, one in cluster.scheduler.workers.items() if one.processing]
            for nanny in cluster.workers.values():
                if not killed and nanny.worker_address in busy:
                    killed.append(nanny.pid)
                    os.kill(nanny.pid, signal.SIGKILL)

    killer = threading.Thread(target=kill)
    killer.start()
    try:
        there = run(tmp_path / "cluster", "--scheduler", cluster.scheduler_address, folders=folders)
    finally:
        ended.set()
        killer.join()
    assert killed
    assert there == run(tmp_path / "here", folders=folders)
    assert sum(name.endswith("/index.html") for name in there) == len(folders)


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
