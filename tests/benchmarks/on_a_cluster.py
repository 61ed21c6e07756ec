"""Many reviews by two workers of a cluster on this machine, one of which is killed on the way.

Each review is to be published once, whole, as this machine alone publishes it.

    python tests/benchmarks/on_a_cluster.py [--reviews 200]
"""

from __future__ import annotations

import argparse
import os
import signal
import tempfile
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bench import Bench

_KILLED_AT = 0.2
"""Share of the reviews that are published when a worker is killed. Chosen: both are well under way."""


@dataclass(frozen=True)
class Told:
    """How it went.

    Parameters
    ----------
    once : int
        Reviews that both published whole, byte for byte the same, and no draft of them.
    killed : int
        Workers killed while reviews were still to come.
    cluster_s, alone_s : float [s]
        The whole command.
    """

    once: int
    killed: int
    cluster_s: float
    alone_s: float


def measured(reviews: int) -> Told:
    """Run so many reviews twice: on a cluster of two, one of them killed on the way, and here."""
    from distributed import LocalCluster

    with tempfile.TemporaryDirectory() as place:
        bench = Bench(Path(place), reviews)
        alone_s = bench.run(bench.devices)
        alone = published(bench.site)
        workers = LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
        )
        with workers as cluster:
            killed: list[int] = []
            ended = threading.Event()
            watch = threading.Thread(
                target=_kill_one, args=(cluster, bench.next_site, int(_KILLED_AT * reviews), ended, killed)
            )
            watch.start()
            try:
                cluster_s = bench.run(bench.devices, "--scheduler", cluster.scheduler_address)
            finally:
                ended.set()
                watch.join()
        there = published(bench.site)
    once = sum(there.get(name) == pages and ".draft" not in name for name, pages in alone.items())
    return Told(once if there.keys() == alone.keys() else 0, len(killed), cluster_s, alone_s)


def _kill_one(cluster: Any, site: Path, after: int, ended: threading.Event, killed: list[int]) -> None:
    """Kill the process of a busy worker once so many reviews are published."""
    while not (killed or ended.wait(0.05)):
        if len(list(site.glob("*/index.html"))) < after:
            continue
        busy = [address for address, one in cluster.scheduler.workers.items() if one.processing]
        for nanny in cluster.workers.values():
            if not killed and nanny.worker_address in busy:
                killed.append(nanny.pid)
                os.kill(nanny.pid, signal.SIGKILL)


def published(site: Path) -> dict[str, dict[str, bytes]]:
    """Return every review of a published folder with its files."""
    return {
        place.name: {
            str(path.relative_to(place)): path.read_bytes() for path in place.rglob("*.*") if path.is_file()
        }
        for place in site.iterdir()
        if (place / "index.html").is_file()
    }


def main() -> None:
    """Print how it went."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--reviews", type=int, default=200)
    given = parser.parse_args()
    told = measured(given.reviews)
    print(
        f"{told.once} of {given.reviews} reviews published once, as here; workers killed on the way: "
        f"{told.killed}; {told.cluster_s:.1f} s by two workers, {told.alone_s:.1f} s on this machine alone"
    )


if __name__ == "__main__":
    main()
