"""Runs killed at random moments: what is published then, and what the next run finds and leaves.

A small review with old data is published; a run with new data is killed, by each of several means; at once
the published folder must hold the old review or the new one, byte for byte. Then the run is started again: it
must end with the new review, and leave no process, temporary file or lock. Disks that are full are small ones
mounted for the purpose, for which one has to be root. Linux only. Prints a table, and each moment to the
other stream; status 1 if anything is not as it must be.

    python tests/benchmarks/killed.py [--moments 200] [--seed 1]
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from killing import rounds
from killing.rounds import Ended, Rounds, Way
from killing.scene import Scene

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


def told(way: Way, all_ended: Iterable[Ended]) -> str:
    """Return a way's row."""
    each = list(all_ended)
    found = [sum(ended.found == name for ended in each) for name in ("old", "new")]
    healed, left = sum(ended.healed for ended in each), sum(bool(ended.left) for ended in each)
    longest = max(ended.took_s for ended in each)
    return (
        f"{way.how:<26}{way.run_with:<21}{way.when:<21}{len(each):>7}{found[0]:>7}{found[1]:>7}"
        f"{len(each) - sum(found):>8}{healed:>8}{left:>6}{longest:>9.1f}"
    )


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--moments", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    rng = random.Random(chosen.seed)
    ends: dict[Way, list[Ended]] = {}
    with tempfile.TemporaryDirectory() as root:
        pair = [Rounds(Scene(Path(root) / str(edition), edition), rng) for edition in (0, 1)]
        try:
            for number, way in enumerate(rng.sample(ways := plan(chosen.moments), len(ways))):
                ended = pair[number % 2].round(way)
                ends.setdefault(way, []).append(ended)
                print(number + 1, way, ended.found, *ended.faults, file=sys.stderr, flush=True)
        finally:
            for one in pair:
                rounds.stop(one)
    print(
        f"{'ended':<26}{'run with':<21}{'at':<21}{'moments':>7}{'old':>7}{'new':>7}{'neither':>8}"
        f"{'healed':>8}{'left':>6}{'ends [s]':>9}"
    )
    for way, all_ended in ends.items():
        print(told(way, all_ended))
    every = [ended for all_ended in ends.values() for ended in all_ended]
    print(told(Way("all", "", ""), every))
    return int(any(ended.faults for ended in every))


if __name__ == "__main__":
    sys.exit(main())
