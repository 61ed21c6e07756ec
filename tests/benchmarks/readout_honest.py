"""How often the readout's intervals hold, over invented tables made without any code of the kit.

    python tests/benchmarks/readout_honest.py [tables [first seed]] [--write]

A rule is drawn, an offset to
±0.15 V, a gain of 0.96 to 1.04, 5 to 60 readings of which 0 to 3 are misread, a meter off within its
statement, steps of 0.1, 0.05, 0.2 and 0.01 V. Each table goes through the whole section as a reviewer's
does: the gain first with the default bound, then truly 1 and declared so. Printed beside it: what the
fewest contradicting rows alone give, with a gain bound of 1 % (`readout_honest.json`).
"""

from __future__ import annotations

import json
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

import honest_sections
import readout_tables
from readout_tables import InventedTable

from reviewkit import readout

NAMES = ("switching_place", "offset_if_nearest", "offset_if_down", "offset_if_up", "gain", "largest_error")
STORED = Path(__file__).with_suffix(".json")


@dataclass(frozen=True)
class Outcome:
    """What the section said of one table."""

    seed: int
    held: dict[str, bool]
    width: dict[str, float]
    falsely_doubted: frozenset[int]
    misread_named: int
    misread: int
    false_pass: bool
    false_fail: bool
    rule_wrong: bool
    rule_named: bool
    fits: bool
    exact_said: bool


def outcome(seed: int, folder: Path, *, declared: bool) -> Outcome:
    """Return what the section says of a drawn table; `declared` gives it a gain of 1 and says so."""
    drawn = readout_tables.draw(seed, gain=1.0 if declared else None)
    (folder / "readout.csv").write_text(drawn.csv(), encoding="utf-8")
    limit = drawn.largest_error_V() * random.Random(seed).uniform(0.7, 1.15)
    result = readout.analyse(_bench(drawn, limit, declared=declared), folder)
    found = {item.key.removeprefix("readout."): item for item in readout.findings(result)}
    truth = drawn.truth()
    given = [name for name in NAMES if found[name].low is not None]
    doubted = result.fit.doubted if result.fit and result.fit.consistent else frozenset()
    rule, own = found["rule"].value, abs(drawn.offset_at_middle_V)
    largest, verdict = drawn.largest_error_V(), found["largest_error"].verdict
    text = " ".join([repr(readout.summary(result)), *(item.note for item in found.values())])
    return Outcome(
        seed,
        {name: found[name].low - 1e-9 <= truth[name] <= found[name].high + 1e-9 for name in given},
        {name: found[name].high - found[name].low for name in given},
        doubted - drawn.misread,
        len(doubted & drawn.misread),
        len(drawn.misread),
        verdict == "pass" and largest > limit + 1e-9,
        verdict == "fail" and largest <= limit,
        rule in readout_tables.RULES and rule != drawn.rule and own <= drawn.step_V / 4,
        rule in readout_tables.RULES,
        rule != "inconsistent",
        "exact" in text.casefold(),
    )


def _bench(drawn: InventedTable, limit_V: float, *, declared: bool) -> Any:
    more = {"readout_gain_bound_percent": 0.0} if declared else {}
    accuracy = f"±({drawn.percent} % + {drawn.counts})"
    return readout.inputs(
        voltmeter={"accuracy": accuracy, "resolution": f"{drawn.count_V} V"},
        readout_table="readout.csv",
        readout_resolution_V=drawn.step_V,
        readout_range_V=[readout_tables.LOW_V, readout_tables.HIGH_V],
        claims=[{"about": "readout.largest_error", "at_most": f"{limit_V} V"}],
        **more,
    )


def run(seeds: Iterable[int], *, declared: bool) -> list[Outcome]:
    """Return the outcome of every table."""
    with tempfile.TemporaryDirectory() as folder:
        return [outcome(seed, Path(folder), declared=declared) for seed in seeds]


def rows(outcomes: Sequence[Outcome]) -> dict[str, str]:
    """Return the table's lines: what was counted, and the count."""
    told = {}
    for name in NAMES:
        given = [one for one in outcomes if name in one.held]
        held = sum(one.held[name] for one in given)
        if given:
            told[f"{name} holds"] = f"{held} of {len(given)} ({100 * held / len(given):.1f} %)"
            told[f"{name} median width"] = (
                f"{1000 * statistics.median(one.width[name] for one in given):.2f}e-3"
            )
    counts = {
        "tables with a right row named doubtful": sum(bool(one.falsely_doubted) for one in outcomes),
        "false passes": sum(one.false_pass for one in outcomes),
        "false fails": sum(one.false_fail for one in outcomes),
        "rules named wrongly under their bound": sum(one.rule_wrong for one in outcomes),
        "rules named": sum(one.rule_named for one in outcomes),
        "tables that no readout fits": sum(not one.fits for one in outcomes),
        "sentences that say exact": sum(one.exact_said for one in outcomes),
    }
    named, misread = sum(one.misread_named for one in outcomes), sum(one.misread for one in outcomes)
    return (
        told
        | {name: str(count) for name, count in counts.items()}
        | {"misread rows named": f"{named} of {misread}"}
    )


def main(count: int = 1000, first: int = 0, *, write: bool = False) -> None:
    """Print both tables beside the stored figures."""
    stored = json.loads(STORED.read_text(encoding="utf-8")) if STORED.is_file() else {}
    kept: list[tuple[str, str, str, str]] = []
    for declared, name in ((False, "gain 0.96 to 1.04"), (True, "gain 1, declared")):
        started = time.perf_counter()
        told = rows(run(range(first, first + count), declared=declared))
        before = stored.get(name, {})
        print(f"{name}: {count} tables; beside it {before.get('tables', 'none')} by the fewest rows alone")
        for what, figure in told.items():
            print(f"  {what:42} {figure:26} {before.get(what, '')}")
            ends = (before.get("tables", ""), str(count)) if figure.isdecimal() else ("", "")
            figures = [
                f"{one} of {end}" if end else one
                for one, end in zip((before.get(what, "not looked at"), figure), ends, strict=True)
            ]
            if _wanted(what, declared=declared):
                kept.append((f"{what}, {name}", _wanted(what, declared=declared), figures[0], figures[1]))
        print(f"  took {time.perf_counter() - started:.0f} s", flush=True)
    if write:
        command = f"python tests/benchmarks/readout_honest.py {count} {first} --write"
        honest_sections.store("readout", command, kept)


def _wanted(what: str, *, declared: bool) -> str:
    """Return what a figure has to be; empty for one that only goes with the others."""
    if what.endswith("holds"):
        return "≥ 95 %"
    if what.endswith("width"):
        return "≤ 1.2 × before" if declared else "as it is"
    return {"tables with a right row named doubtful": "≤ 1 %", "false passes": "few"}.get(what, "")


if __name__ == "__main__":
    words = [word for word in sys.argv[1:] if word != "--write"]
    main(*map(int, words), write="--write" in sys.argv)
