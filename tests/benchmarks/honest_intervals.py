"""Whether every stated interval holds the truth as often as it says, over whole simulated reviews.

    python tests/benchmarks/honest_intervals.py [--reviews 1000] [--seed 2026] [--processes 2] [--write]

Each review is drawn anew (`simulate.whole`): cell, charger, rig, source, readout, drains, and meters whose
calibration error lies evenly anywhere within their accuracy, with clocks, gaps, overloads and display
steps of their own. Its files are written, read and analysed by the sections' own functions. Printed is, per
finding, how often its interval held the truth and how wide it was against the floor: the narrowest interval
that these meters and this log allow (`floors.py` derives one for each finding). `--write` stores the table.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "examples"))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import coverage_table
import floors
import numpy as np
from coverage_table import Outcome
from simulate.whole import draw_whole

from reviewkit import charge, drain, readout
from reviewkit.findings import Finding

ROOT = Path(__file__).resolve().parents[2]
STORED = ROOT / "tests" / "published" / "honest_intervals.json"
KEYS = {
    "charge": ("device", "cell", "voltmeter", "ammeter", "charge_runs", "source_voltmeter", "source_ammeter"),
    "drain": ("device", "cell", "drain_ammeter", "drain_states"),
    "readout": (
        *("device", "cell", "readout_voltmeter", "readout_table", "readout_resolution_V"),
        *("readout_gain_bound_percent", "readout_range_V"),
    ),
}
"""What each section takes from the review file."""

PORT = ("charge.efficiency", "charge.drawn_from_source")
"""Findings of the charge that need a log of the source's side."""


def review(seed: int) -> list[Outcome]:
    """Return every quantitative finding of one random review against the truth."""
    whole = draw_whole(seed)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        declared = whole.write(folder)
        found = {item.key: item for item in analysed(declared, folder)}
    known = whole.known()
    least = floors.of(whole)
    return [
        _outcome(key, seed, found.get(key), truth, least.get(key, np.nan))
        for key, truth in _named(known)
        if truth is not None
    ]


def analysed(declared: dict[str, Any], folder: Path) -> Iterator[Finding]:
    """Yield the findings of charge, drain and readout, as their notebooks make them."""
    mine = {name: {key: declared[key] for key in KEYS[name] if key in declared} for name in KEYS}
    bench = charge.inputs(**mine["charge"], reader_capacities_Ah=[3.0])
    runs = charge.analyse(charge.read(bench, folder=folder), cell=bench.cell)
    yield from runs.findings()
    yield from charge.separate_all(runs, bench).findings()
    yield from drain.findings(drain.analyse(drain.inputs(**mine["drain"]), folder=folder))
    yield from readout.findings(readout.analyse(readout.inputs(**mine["readout"]), folder))


def _named(known: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Yield keys of findings and their truth; a threshold has two findings, one for each end.

    What a charger does is told over chargers of every kind: `charge_kinds.py`.
    """
    for key, truth in known.items():
        if key.startswith("charge.") and key not in PORT:
            continue
        if key.startswith("readout.warning."):
            yield from ((f"{key}.{end}", truth) for end in ("low", "high"))
        else:
            yield key, truth


def _outcome(key: str, seed: int, item: Finding | None, truth: Any, floor: float) -> Outcome:
    if item is None or (item.low is None and item.high is None):
        return Outcome(key, seed, "absent", False, np.nan, np.nan, floor)
    low = -np.inf if item.low is None else item.low
    high = np.inf if item.high is None else item.high
    slack = 1e-9 * max(abs(truth), 1e-9)
    held = bool(low - slack <= truth <= high + slack)
    valued = isinstance(item.value, float | int)
    error = float(item.value) - truth if isinstance(item.value, float | int) else np.nan
    return Outcome(key, seed, "given" if valued else "bounded", held, error, (high - low) / 2, floor)


def run(reviews: int, seed: int, processes: int) -> Iterator[list[Outcome]]:
    """Yield each review's outcomes in the order of their seeds."""
    seeds = range(seed, seed + reviews)
    if processes == 1:
        yield from map(review, seeds)
        return
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        yield from pool.map(review, seeds, chunksize=4)


def main() -> None:
    """Print the table and, if asked to, store it."""
    arguments = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    arguments.add_argument("--reviews", type=int, default=1000)
    arguments.add_argument("--seed", type=int, default=2026)
    arguments.add_argument("--processes", type=int, default=1)
    arguments.add_argument("--write", action="store_true", help=f"store the table in {STORED.name}")
    asked = arguments.parse_args()
    outcomes = [one for each in run(asked.reviews, asked.seed, asked.processes) for one in each]
    table = coverage_table.rows(outcomes)
    print(coverage_table.text(table))
    if asked.write:
        store(table, reviews=asked.reviews, seed=asked.seed)


def store(table: list[dict[str, Any]], *, reviews: int, seed: int) -> None:
    """Store a table where `worked_checks.ipynb` finds it."""
    command = f"python tests/benchmarks/honest_intervals.py --reviews {reviews} --seed {seed} --write"
    known = {"reviews": reviews, "seed": seed, "command": command, "rows": table}
    text = json.dumps(known, indent=1, ensure_ascii=False)
    STORED.write_text(text + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
