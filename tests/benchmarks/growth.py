"""How the time of a run grows: with sections, with rows of a charge's logs, with devices.

Every point is a command of its own in a fresh process, with nothing kept from before. The slope is that of
the least squares line through the points: what one more costs, and what it costs before the first.

    python tests/benchmarks/growth.py [--pairs 3] [--most-devices 8]
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

import long_log_page
import nbformat
import numpy as np
from bench import Bench

SECTIONS = (0, 4, 8)
ROWS = (3_000, 100_000, 300_000)
DEVICES = (1, 2, 4, 8)
_CELL = """
from reviewkit import findings
from reviewkit.metrology import Measured
findings.Findings((findings.measured("NAME.number", "number", Measured(number, "1")),))
"""


@dataclass(frozen=True)
class Slope:
    """A straight line through measured times.

    Parameters
    ----------
    what : str
        What there is more of.
    each_s, first_s : float [s]
        What each adds, and what is there without any.
    points : tuple of (float, float)
        How many, and the time [s].
    """

    what: str
    each_s: float
    first_s: float
    points: tuple[tuple[float, float], ...]


def _slope(what: str, counts: Sequence[float], time_s: Callable[[int], float], pairs: int) -> Slope:
    taken = [median(time_s(place) for _ in range(pairs)) for place in range(len(counts))]
    each, first = np.polyfit(counts, taken, 1)
    return Slope(what, float(each), float(first), tuple(zip(map(float, counts), taken, strict=True)))


def slopes(pairs: int, most_devices: int = DEVICES[-1]) -> Iterator[Slope]:
    """Walk what another section, 100,000 rows more and another device add to a run."""
    with tempfile.TemporaryDirectory() as place:
        bench = Bench(Path(place), most_devices)
        own = bench.devices[:1]
        extra = [_sections(Path(place) / f"more-{count}", count) for count in SECTIONS]
        yield _slope(
            "another section of one finding",
            SECTIONS,
            lambda at: bench.run(own, *(("--templates", str(extra[at])) if SECTIONS[at] else ())),
            pairs,
        )
        long = [Path(place) / f"rows-{rows}" for rows in ROWS]
        for folder, rows in zip(long, ROWS, strict=True):
            long_log_page.write_review(folder, rows)
        yield _slope(
            "100,000 rows more in both logs of a charge",
            [rows / 100_000 for rows in ROWS],
            lambda at: bench.run(long[at : at + 1]),
            pairs,
        )
        counts = [count for count in DEVICES if count <= most_devices]
        yield _slope("another device", counts, lambda at: bench.run(bench.devices[: counts[at]]), pairs)


def _sections(folder: Path, count: int) -> Path:
    """Write sections of one number and one finding each."""
    folder.mkdir()
    for number in range(count):
        name = f"more_{number}"
        values = nbformat.v4.new_code_cell("number: float = 1.0  # any", metadata={"tags": ["parameters"]})
        cell = nbformat.v4.new_code_cell(_CELL.replace("NAME", name).strip())
        about = {"kind": "section", "title": name, "place": 50 + number, "makes": [f"{name}.number"]}
        book = nbformat.v4.new_notebook(cells=[values, cell], metadata={"reviewkit": about})
        nbformat.write(book, folder / f"{name}.ipynb")
    return folder


def table(slopes_: Iterable[Slope]) -> Iterator[str]:
    """Walk the lines of a table in Markdown."""
    yield "| what there is more of | each adds | that is, of the shortest run | measured |"
    yield "|---|---|---|---|"
    for one in slopes_:
        told = ", ".join(f"{count:g}: {time_s:.1f} s" for count, time_s in one.points)
        yield f"| {one.what} | {one.each_s:.2f} s | {one.each_s / one.points[0][1]:.2f} | {told} |"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--pairs", type=int, default=3)
    parser.add_argument("--most-devices", type=int, default=DEVICES[-1])
    given = parser.parse_args()
    for line in table(slopes(given.pairs, given.most_devices)):
        print(line, flush=True)


if __name__ == "__main__":
    main()
