"""Runs killed at random moments: what is published then, and what the next run finds and leaves.

A small review with old data is published; a run with new data is killed, by each of several means; at once
the published folder must hold the old review or the new one, byte for byte. Then the run is started again: it
must end with the new review, and leave no process, temporary file or lock. Disks that are full are small ones
mounted for the purpose, for which one has to be root. Linux only. Prints a table, and each moment to the
other stream; status 1 if anything is not as it must be.

    python tests/benchmarks/killed.py [--moments 200] [--whole 6] [--seed 1]
"""

from __future__ import annotations

import argparse
import contextlib
import random
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from killing import rounds
from killing.rounds import Ended, Rounds, Way
from killing.scene import Scene, WholeScene

SHARES = {
    Way("SIGKILL"): 28,
    Way("SIGKILL", when=rounds.CHANGE): 28,
    Way("SIGKILL", when=rounds.PUTTING): 40,
    Way("SIGINT"): 10,
    Way("SIGINT", when=rounds.CHANGE): 8,
    Way("SIGINT", when=rounds.PUTTING): 8,
    Way("SIGTERM"): 6,
    Way("SIGTERM", when=rounds.CHANGE): 6,
    Way("SIGTERM", when=rounds.PUTTING): 6,
    Way(rounds.CHILD): 6,
    Way(rounds.SITE_FULL): 12,
    Way(rounds.TEMPORARY_FULL): 10,
    Way("SIGKILL", rounds.OWN): 10,
    Way("SIGINT", rounds.OWN): 3,
    Way(rounds.ALL, rounds.OWN): 5,
    Way(rounds.SERVER, rounds.OWN): 4,
    Way("SIGKILL", rounds.KERNELS): 5,
    Way("SIGINT", rounds.KERNELS): 2,
    Way(rounds.CHILD, rounds.KERNELS): 3,
}
"""Of 200 moments, how many go to each way."""


def plan(moments: int) -> list[Way]:
    """Return the way of each moment: each way by its share, the largest first."""
    whole = sum(SHARES.values())
    wanted = {way: share * moments / whole for way, share in SHARES.items()}
    counts = {way: int(number) for way, number in wanted.items()}
    for way in sorted(wanted, key=lambda way: counts[way] - wanted[way])[: moments - sum(counts.values())]:
        counts[way] += 1
    return [way for way, count in counts.items() for _ in range(count)]


WHOLE = (Way("SIGKILL"), Way("SIGKILL", when=rounds.PUTTING), Way("SIGINT"))
"""What the runs of a whole example go through in turns."""

Ends = dict[tuple[str, Way], list[Ended]]


def killed(one: Rounds, way: Way, ends: Ends) -> None:
    """Kill a run, and note and tell what became of it."""
    ended = one.round(way)
    ends.setdefault((one.scene.name, way), []).append(ended)
    number = sum(map(len, ends.values()))
    print(number, one.scene.name, way, ended.found, *ended.faults, file=sys.stderr, flush=True)


def all_killed(root: Path, *, moments: int, whole: int, rng: random.Random) -> Ends:
    """Kill runs of the small review, a working copy and an edition in turns, and of an example."""
    ends: Ends = {}
    scenes: list[Scene] = [Scene(root / "copy", 0), Scene(root / "edition", 1)] if moments else []
    scenes += [WholeScene(root / "whole")] if whole else []
    ways = plan(moments)
    with contextlib.ExitStack() as servers:
        every = [Rounds(scene, rng) for scene in scenes]
        for one in every:
            servers.callback(rounds.stop, one)
        for number, way in enumerate(rng.sample(ways, len(ways))):
            killed(every[number % 2], way, ends)
        for number in range(whole):
            killed(every[-1], WHOLE[number % len(WHOLE)], ends)
    return ends


def told(name: str, way: Way, all_ended: Iterable[Ended]) -> str:
    """Return a way's row."""
    each = list(all_ended)
    found = [sum(ended.found == name for ended in each) for name in ("old", "new")]
    healed, left = sum(ended.healed for ended in each), sum(bool(ended.left) for ended in each)
    longest = max(ended.took_s for ended in each)
    return (
        f"{name:<9}{way.how:<24}{way.run_with:<21}{way.when:<21}{len(each):>7}{found[0]:>7}{found[1]:>7}"
        f"{len(each) - sum(found):>8}{healed:>8}{left:>6}{longest:>9.1f}"
    )


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--moments", type=int, default=200)
    parser.add_argument("--whole", type=int, default=6, help="moments in runs of a whole example besides")
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    rng = random.Random(chosen.seed)
    with tempfile.TemporaryDirectory() as root:
        ends = all_killed(Path(root), moments=chosen.moments, whole=chosen.whole, rng=rng)
    print(
        f"{'review':<9}{'ended':<24}{'run with':<21}{'at':<21}{'moments':>7}{'old':>7}{'new':>7}"
        f"{'neither':>8}{'healed':>8}{'left':>6}{'ends [s]':>9}"
    )
    for (name, way), all_ended in ends.items():
        print(told(name, way, all_ended))
    every = [ended for all_ended in ends.values() for ended in all_ended]
    print(told("all", Way("", "", ""), every))
    return int(any(ended.faults for ended in every))


if __name__ == "__main__":
    sys.exit(main())
