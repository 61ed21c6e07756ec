"""Whether every number in a review's sentences is one that it found, over whole simulated reviews.

    python tests/benchmarks/stated_numbers.py [--reviews 100] [--seed 2026] [--write]

Each review is drawn anew (`simulate.whole`) and run by its sections' own cells, figures and summary included.
Printed are the sentences with a number that no finding carries, how many numbers were read, and how many that
were made wrong on purpose, by 5 to 15 %, were noticed: the others are by chance another finding's.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "examples"))
sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # before this folder

import honest_sections
import numpy as np
from simulate.whole import draw_whole
from stated_numbers import read
from stated_reviews import Review, altered, review, unfound

from reviewkit.errors import InputError

BENCH = ("readout", "charge", "drain")


def simulated(seed: int) -> Review | None:
    """Return a random review as its sections show it; None where its input is refused."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place, "bench")
        folder.mkdir()
        try:
            return review(draw_whole(seed).write(folder), folder, Path(place, "published"), sections=BENCH)
        except InputError:
            return None


def main() -> None:
    """Run the reviews and print what was found."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--reviews", type=int, default=100)
    asked.add_argument("--seed", type=int, default=2026)
    asked.add_argument("--write", action="store_true")
    wish = asked.parse_args()
    rng = np.random.default_rng(wish.seed)
    reviews = numbers = lost = tried = noticed = 0
    for seed in range(wish.seed, wish.seed + wish.reviews):
        one = simulated(seed)
        if one is None:
            continue
        reviews += 1
        numbers += sum(len(read(said.text)) for said in one.said)
        for said, number in unfound(one):
            lost += 1
            print(f"{seed} {said.where}: [{number.text}] {said.text[:300]}")
        more, seen = altered(one, rng)
        tried, noticed = tried + more, noticed + seen
    print(f"{reviews} reviews, {numbers} numbers read, {lost} of them found nowhere")
    print(f"{tried} numbers made wrong by 5 to 15 %: {100 * noticed / max(tried, 1):.1f} % noticed")
    if wish.write:
        command = (
            f"python tests/benchmarks/stated_numbers.py --reviews {wish.reviews} --seed {wish.seed} --write"
        )
        found = f"numbers in sentences and captions that no finding carries, {reviews} reviews"
        wrong = "numbers made wrong by 5 to 15 % that are noticed"
        rows = (
            (found, "0", "not looked at", f"{lost} of {numbers}"),
            (wrong, "", "not looked at", honest_sections.share(noticed, tried)),
        )
        honest_sections.store("sentences", command, rows)


if __name__ == "__main__":
    main()
