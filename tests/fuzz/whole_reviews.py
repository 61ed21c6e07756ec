"""Whole reviews at random, each begun from a valid one: `python tests/fuzz/whole_reviews.py --inputs 20000`.

What `check` passes is run as the section notebooks run it, in one process. A failure is anything but the
kit's own word about the input: it is kept with its folder, one of each class; status 1 where there is any.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1]))

from fuzz import as_notebooks, changed_reviews, valid_reviews

BATCH = 25
TELL = 250
"""A line is printed for so many inputs that `check` passed."""
SLOW_S = 60
"""So long a small input may take; chosen: many times what any takes, on a busy machine."""


@dataclass
class Tally:
    """What came of some inputs: how many of which end, and the first input of each class of failure."""

    ends: Counter[str] = field(default_factory=Counter)
    parts: Counter[str] = field(default_factory=Counter)
    first: dict[str, int] = field(default_factory=dict)

    def add(self, other: Tally) -> None:
        """Take in another's."""
        self.ends += other.ends
        self.parts += other.parts
        for name, number in other.first.items():
            self.first.setdefault(name, number)

    @property
    def passed(self) -> int:
        """How many inputs `check` passed, so that they were run."""
        return sum(self.ends[end] for end in self.ends if end != "refused by check")


def make(seed: int, number: int, folder: Path) -> valid_reviews.Review:
    """Write the input of that number."""
    draw = Random(f"{seed} {number}")
    review = valid_reviews.draw(draw)
    changed_reviews.change(draw, review)
    changed_reviews.write(review, folder)
    return review


def one(seed: int, number: int, folder: Path) -> tuple[str, str, list[str]]:
    """Try one input: how it ended, the class of its failure or refusal, the sections in it."""
    review = make(seed, number, folder)
    began = time.monotonic()
    parts = [name for name, key in as_notebooks.OWN.items() if key in review.values]
    try:
        if as_notebooks.check(folder):
            return "refused by check", "", parts
        refused = as_notebooks.run(folder, idle=number % 10 == 0 or "claims" in review.values)
    except Exception as error:
        return "failed", _class(error), parts
    if time.monotonic() - began > SLOW_S:
        return "failed", "slow", parts
    if refused:
        section, error = next(iter(refused.items()))
        return "refused by a section", f"refused by {section}: {error.message[:80]}", parts
    return "clean", "", parts


def _class(error: Exception) -> str:
    """The error's kind and the kit's own line that it came from."""
    inside = [
        frame
        for frame in traceback.extract_tb(error.__traceback__)
        if "reviewkit" in Path(frame.filename).parts
    ]
    last = inside[-1] if inside else traceback.extract_tb(error.__traceback__)[-1]
    words = str(error)[:160] if isinstance(error, as_notebooks.NotAsItMust | ValueError) else ""
    file = Path(last.filename)
    return f"{type(error).__name__} {file.parent.name}/{file.name} {last.name} {words}".strip()


def batch(seed: int, numbers: range) -> Tally:
    """Try inputs of these numbers."""
    warnings.simplefilter("ignore")
    tally = Tally()
    for number in numbers:
        with tempfile.TemporaryDirectory(prefix="fuzz-whole-") as room:
            end, what, parts = one(seed, number, Path(room) / "hazel")
        tally.ends[end] += 1
        if end != "refused by check":
            tally.parts.update(parts)
        if what:
            tally.first.setdefault(what, number)
    return tally


def main() -> int:
    """Read the command line, try inputs until enough passed or time is up, print what came of them."""
    asked = argparse.ArgumentParser(description="Whole reviews at random.")
    asked.add_argument("--inputs", type=int, default=20_000, help="how many inputs must pass `check`")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--start", type=int, default=0, help="number of the first input")
    asked.add_argument("--processes", type=int, default=2)
    asked.add_argument("--seconds", type=float, default=float("inf"))
    asked.add_argument("--again", type=int, help="run the input of this number alone")
    asked.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "fuzz-whole-reviews")
    options = asked.parse_args()
    if options.again is not None:
        return _again(options.seed, options.again, options.keep)
    tally = _all(options)
    for number, name in sorted((number, name) for name, number in tally.first.items()):
        print(f"{number:7} {name}")
        if not name.startswith("refused"):
            _kept(options.seed, number, options.keep)
    print(f"{tally.ends.total()} inputs; {_counts(tally.ends)}")
    print(f"{tally.passed} passed check and were run; in them {_counts(tally.parts)}")
    return 1 if tally.ends["failed"] else 0


def _all(options: argparse.Namespace) -> Tally:
    """Try inputs until as many as asked for have passed, or time is up."""
    tally, until, told = Tally(), time.monotonic() + options.seconds, 0
    numbers = count(options.start, BATCH)
    with ProcessPoolExecutor(options.processes) as pool:
        waiting: set[Future[Tally]] = set()
        while tally.passed < options.inputs and time.monotonic() < until:
            while len(waiting) < 2 * options.processes:
                start = next(numbers)
                waiting.add(pool.submit(batch, options.seed, range(start, start + BATCH)))
            done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
            for future in done:
                new = future.result()
                for name in sorted(set(new.first) - set(tally.first)):
                    print(f"{new.first[name]:7} {name}", flush=True)
                tally.add(new)
            if tally.passed // TELL > told:
                told = tally.passed // TELL
                print(f"{'':7} … {_counts(tally.ends)}", flush=True)
        pool.shutdown(cancel_futures=True)
    return tally


def _counts(counted: Counter[str]) -> str:
    return ", ".join(f"{name}: {many}" for name, many in counted.items() if many)


def _kept(seed: int, number: int, keep: Path) -> Path:
    folder = keep / f"{seed}-{number}"
    for path in (folder, folder.with_name(f"{folder.name}.staged")):
        shutil.rmtree(path, ignore_errors=True)
    make(seed, number, folder)
    return folder


def _again(seed: int, number: int, keep: Path) -> int:
    folder = _kept(seed, number, keep)
    print(folder)
    faults = as_notebooks.check(folder)
    for fault in faults:
        print(fault.message)
    if not faults:
        for error in as_notebooks.run(folder).values():
            print(error.message)
    return 0


if __name__ == "__main__":
    sys.exit(main())
