"""Whether the charge section tells what any charger does, over simulated charges of every kind.

    python tests/benchmarks/charge_kinds.py [--charges 60] [--kinds plain cuts …] [--seed 0] [--fresh]
                                            [--processes 2] [--minutes 40] [--write]

The charges come from `tests/adversary`, which shares no code with the kit. Each is written as a review folder
and goes through the section's own functions. Even seeds are for tuning; `--fresh` takes odd ones. Printed is,
per kind and finding: how often the stated interval holds the truth, the 95 % limits of that share, the width
over the narrowest that the meters allow, how often nothing is said though the log tells, how often a limit
two half-widths off the truth would be judged wrongly; then false statements on ending, pausing, topping up,
verdicts that are false, and findings of one review that contradict each other.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from multiprocessing import get_context
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np
from adversary import KINDS, Charge, draw
from adversary.implications import broken
from scipy.stats import beta

from reviewkit import charge
from reviewkit.errors import InputError

ROOT = Path(__file__).resolve().parents[2]
STORED = ROOT / "tests" / "published" / "charge_kinds.json"
WORDS = ("terminates", "interruptions", "top_ups")
"""Findings that are a statement and have no interval."""

WRONGLY_JUDGED = 2.82
"""Half-widths by which a value must be off for a limit two half-widths away to be judged wrongly: at 95 % it
is 1.64 standard deviations beyond, of which two make a half-width."""


@dataclass(frozen=True)
class Outcome:
    """One finding of one charge against its truth.

    Parameters
    ----------
    state : {"given", "bounded", "absent"}
    """

    kind: str
    name: str
    seed: int
    state: str
    told: bool
    held: bool
    error: float
    half: float
    floor: float


@dataclass
class Told:
    """All that one charge gave."""

    kind: str
    seed: int
    outcomes: list[Outcome] = field(default_factory=list)
    false: list[str] = field(default_factory=list)
    silent: list[str] = field(default_factory=list)
    verdicts: list[str] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)
    refused: str = ""
    seconds: float = 0.0


def tell(task: tuple[str, int]) -> Told:
    """Return what the section says of one simulated charge, against the truth."""
    one = draw(*task)
    told = Told(one.kind, one.seed)
    with tempfile.TemporaryDirectory() as place:
        declared = one.write(Path(place))
        began = time.perf_counter()
        try:
            found = findings(declared, Path(place))
        except InputError as fault:
            found, told.refused = {}, str(fault)
        told.seconds = time.perf_counter() - began
    told.outcomes = [outcome(one, name, found.get(name)) for name in one.truths if name not in WORDS]
    if found:
        told.false, told.silent = statements(one, found)
        told.verdicts = list(verdicts(one, found))
        told.broken = broken(found)
    return told


def findings(declared: dict[str, Any], folder: Path) -> dict[str, dict[str, Any]]:
    """Return the section's findings as its notebook makes them, by the last part of their key."""
    bench = charge.inputs(**declared, reader_capacities_Ah=[3.0])
    results = charge.analyse(charge.read(bench, folder=folder), cell=bench.cell)
    items = [*results.findings(), *charge.separate_all(results, bench).findings()]
    return {item.key.split(".")[-1]: item.to_dict() for item in items if item.key.count(".") == 1}


def outcome(one: Charge, name: str, item: dict[str, Any] | None) -> Outcome:
    """Return a finding beside its truth."""
    truth, floor = one.truths[name], one.floors.get(name)
    least, tells = (floor.half, bool(floor.told)) if floor else (np.nan, True)
    if item is None or (item["low"] is None and item["high"] is None):
        silent = item is None or item["value"] is None
        return Outcome(
            one.kind, name, one.seed, "absent" if silent else "given", tells, not silent, 0.0, np.nan, least
        )
    low = -np.inf if item["low"] is None else item["low"]
    high = np.inf if item["high"] is None else item["high"]
    state = "bounded" if item["value"] is None else "given"
    error = 0.0 if item["value"] is None else distance(truth, float(item["value"]))
    return Outcome(
        one.kind, name, one.seed, state, tells, truth.meets(low, high), error, (high - low) / 2, least
    )


def distance(truth: Any, value: float) -> float:
    """Return how far a value is from the truth, or from the nearer end of where it may lie."""
    low = float(truth.value) if truth.low is None else truth.low
    high = float(truth.value) if truth.high is None else truth.high
    return min(max(low, value), high) - value


def statements(one: Charge, found: dict[str, dict[str, Any]]) -> tuple[list[str], list[str]]:
    """Return what is said falsely on ending, pausing and topping up, and what is not said though told."""
    false, silent = [], []
    right = {"device": True, "never": False}.get(one.marks.ended_by)
    ends = found["terminates"]["value"]
    if ends is not None and ends != right:
        false.append(f"terminates: {ends}, in truth {one.marks.ended_by}")
    if ends is None and right is not None and one.floors["terminates"].told:
        silent.append("terminates")
    if found["ended_by"]["value"] == "device" and right is not True:
        false.append(f"ended by the device, in truth {one.marks.ended_by}")
    for name in ("interruptions", "top_ups"):
        count, truth = found[name]["value"], one.truths.get(name)
        if count is not None and truth is not None and not truth.meets(float(count), float(count)):
            room = "" if truth.low is None else f" ({truth.low:.0f} to {truth.high:.0f})"
            false.append(f"{name}: {count}, in truth {truth.value}{room}")
        if count is None and truth is not None and one.floors[name].told:
            silent.append(name)
    return false, silent


def verdicts(one: Charge, found: dict[str, dict[str, Any]]) -> Iterator[str]:
    """Yield verdicts that the truth contradicts, at whatever distance from the limit."""
    for name, item in found.items():
        truth, limit = one.truths.get(name), item["limit"]
        if truth is None or not limit or item["verdict"] not in ("pass", "fail") or name in WORDS:
            continue
        low, high = (
            np.inf * sign if limit[end] is None else limit[end] for end, sign in (("low", -1), ("high", 1))
        )
        inside = low <= float(truth.value) <= high
        if inside != (item["verdict"] == "pass"):
            yield f"{name}: {item['verdict']}, in truth {float(truth.value):.4g}"


def run(kinds: Iterable[str], charges: int, seed: int, processes: int) -> Iterator[Told]:
    """Yield what each charge gave, one of each kind in turn, so that whatever is done is as much of each."""
    each = list(kinds)
    tasks = [(kind, seed + 2 * place) for place in range(charges) for kind in each]
    if processes == 1:
        yield from map(tell, tasks)
        return
    pool = ProcessPoolExecutor(processes, mp_context=get_context("spawn"))
    try:
        yield from pool.map(tell, tasks, chunksize=2)
    finally:
        pool.shutdown(cancel_futures=True)


def within(told: Iterable[Told], kinds: int, minutes: float) -> list[Told]:
    """Return what was told until the time was over or Ctrl-C came, by whole rounds of all kinds."""
    found, began = [], time.monotonic()
    try:
        for one in told:
            found.append(one)
            if time.monotonic() - began > 60 * minutes:
                break
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
    whole = len(found) // kinds * kinds
    return found[:whole]


def rows(outcomes: Iterable[Outcome]) -> list[dict[str, Any]]:
    """Return one row for each kind and finding, then one for each finding over all kinds."""
    groups: dict[tuple[str, str], list[Outcome]] = {}
    for one in outcomes:
        groups.setdefault((one.kind, one.name), []).append(one)
        groups.setdefault(("all", one.name), []).append(one)
    ordered = sorted(groups.items(), key=lambda pair: pair[0][0] == "all")
    return [row(kind, name, group) for (kind, name), group in ordered]


def row(kind: str, name: str, group: list[Outcome]) -> dict[str, Any]:
    """Return what a group of outcomes comes to."""
    given = [one for one in group if one.state == "given"]
    bounded = [one for one in group if one.state == "bounded"]
    held = sum(one.held for one in given)
    low, high = clopper_pearson(held, len(given))
    ratios = [one.half / one.floor for one in given if one.told and one.floor > 0 and np.isfinite(one.half)]
    told = [one for one in group if one.told]
    wrong = sum(abs(one.error) > WRONGLY_JUDGED * one.half for one in given)
    return {
        "kind": kind,
        "finding": name,
        "true": len(group),
        "given": len(given),
        "held": held,
        "low_percent": round(100 * low, 1),
        "high_percent": round(100 * high, 1),
        "bounded": len(bounded),
        "bounds_held": sum(one.held for one in bounded),
        "width": round(float(np.median(ratios)), 2) if ratios else None,
        "told": len(told),
        "silent": sum(one.state != "given" for one in told),
        "wrongly_judged": int(wrong),
    }


def clopper_pearson(count: int, tries: int) -> tuple[float, float]:
    """Return the two-sided exact 95 % limits of a share."""
    if not tries:
        return 0.0, 1.0
    low = beta.ppf(0.025, count, tries - count + 1) if count else 0.0
    high = beta.ppf(0.975, count + 1, tries - count) if count < tries else 1.0
    return float(low), float(high)


def text(table: list[dict[str, Any]]) -> str:
    """Return the table for a terminal."""
    head = (
        f"{'kind':16}{'finding':24}{'true':>5}{'given':>6}{'held %':>8}{'95 % of it':>14}{'bounds held':>12}"
    )
    return "\n".join([f"{head}{'width':>7}{'silent':>10}{'misjudged':>10}", *map(line, table)])


def line(one: dict[str, Any]) -> str:
    """Return one row of the table for a terminal."""
    held = f"{100 * one['held'] / one['given']:.1f}" if one["given"] else ""
    between = f"{one['low_percent']:.1f}–{one['high_percent']:.1f}" if one["given"] else ""
    bounds = f"{one['bounds_held']} of {one['bounded']}" if one["bounded"] else ""
    width = "" if one["width"] is None else f"{one['width']:.2f}"
    silent = f"{one['silent']} of {one['told']}"
    short = " *" if one["given"] and one["high_percent"] < 95 and one["held"] < 0.94 * one["given"] else ""
    return (
        f"{one['kind']:16}{one['finding']:24}{one['true']:>5}{one['given']:>6}{held:>8}{between:>14}{bounds:>12}"
        f"{width:>7}{silent:>10}{one['wrongly_judged'] or '':>10}{short}"
    )


def summary(all_told: list[Told]) -> str:
    """Return what the charges come to that no interval shows."""
    parts = [
        f"\n{len(all_told)} charges; median analysis {np.median([one.seconds for one in all_told]):.2f} s"
    ]
    titles = {
        "refused": "refused",
        "false": "with a false statement on ending, pausing or topping up",
        "silent": "silent on ending though the log tells",
        "verdicts": "with a false verdict",
        "broken": "with findings that contradict each other",
    }
    for name, title in titles.items():
        hit = [one for one in all_told if getattr(one, name)]
        parts.append(f"\n{title}: {len(hit)} of {len(all_told)}  {dict(Counter(one.kind for one in hit))}")
        said = Counter(said for one in hit for said in _several(getattr(one, name)))
        parts += [f"  {count:4}  {words}" for words, count in said.most_common(12)]
    return "\n".join(parts)


def _several(said: str | list[str]) -> list[str]:
    return [said[:110]] if isinstance(said, str) else [one.split(", in truth")[0] for one in said]


def main() -> None:
    """Print the table and, if asked to, store it."""
    asks = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    asks.add_argument("--charges", type=int, default=60, help="of each kind")
    asks.add_argument("--kinds", nargs="*", default=list(KINDS), choices=list(KINDS))
    asks.add_argument("--seed", type=int, default=0)
    asks.add_argument("--fresh", action="store_true", help="odd seeds; tune on the even ones")
    asks.add_argument("--processes", type=int, default=1)
    asks.add_argument("--minutes", type=float, default=math.inf, help="stop after so many, as Ctrl-C does")
    asks.add_argument("--details", action="store_true", help="every miss by kind and seed")
    asks.add_argument("--write", action="store_true", help=f"store the table in {STORED.name}")
    asked = asks.parse_args()
    seed = asked.seed // 2 * 2 + asked.fresh
    told_of = run(asked.kinds, asked.charges, seed, asked.processes)
    all_told = within(told_of, len(asked.kinds), asked.minutes)
    table = rows(one for told in all_told for one in told.outcomes)
    print(text(table))
    print(summary(all_told))
    if asked.details:
        print(details(all_told))
    if asked.write:
        store(table, all_told, charges=len(all_told) // len(asked.kinds), seed=seed)


def details(all_told: list[Told]) -> str:
    """Return every miss, statement, false verdict and contradiction with its kind and seed."""
    lines = []
    for told in all_told:
        where = f"{told.kind} {told.seed}"
        lines += [
            f"{where}: {one.name} off by {one.error:.4g} with ±{one.half:.4g}, floor {one.floor:.4g}"
            for one in told.outcomes
            if one.state != "absent" and not one.held
        ]
        for said in (*told.false, *told.verdicts, *told.broken, *([told.refused] if told.refused else [])):
            lines.append(f"{where}: {said}")
    return "\n".join(lines)


def store(table: list[dict[str, Any]], all_told: list[Told], *, charges: int, seed: int) -> None:
    """Store a table where `worked_checks.ipynb` finds it."""
    fresh = " --fresh" if seed % 2 else ""
    command = (
        f"python tests/benchmarks/charge_kinds.py --charges {charges} --seed {seed // 2 * 2}{fresh} --write"
    )
    counts = {
        name: sum(bool(getattr(one, name)) for one in all_told) for name in ("refused", "false", "silent")
    }
    counts |= {name: sum(bool(getattr(one, name)) for one in all_told) for name in ("verdicts", "broken")}
    known = {"charges": len(all_told), "seed": seed, "command": command, "counts": counts, "rows": table}
    known_text = json.dumps(known, indent=1, ensure_ascii=False)
    STORED.write_text(known_text + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
