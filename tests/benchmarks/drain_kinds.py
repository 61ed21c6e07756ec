"""What the split of a drain's log is worth, over devices of every kind and meters of many.

    python tests/benchmarks/drain_kinds.py [--logs 1000] [--write]

Each log is drawn by `drain_devices`, which shares nothing with the kit: flat, fixed, jittered, bursts, two
trains, decaying, hum, drifting; displays of 0.1 µA to 1 mA, rows of 0.1 s to 5 s, windows with and without
gaps, declared or not, overloads, devices still awake at the start. Printed is, per kind and finding, in how
many logs it was given (as a value, as bounds) and how often it held, beside the same for a split whose
numbers are given without a test against the rows (`drain_kinds.json`). `--write` keeps what was found.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import drain_devices
import honest_sections
import numpy as np
import pandas as pd
from drain_devices import KINDS, Record

from reviewkit.drain import decompose
from reviewkit.metrology.meter import meter

STORED = Path(__file__).with_suffix(".json")
NAMES = ("mean", "base", "height", "width", "period")
Outcome = dict[str, Any]


def outcome(one: Record) -> Outcome:
    """Return what the kit says of one log: per name given as, holds, width of the interval."""
    spec = {
        "accuracy": f"±({one.percent} % + {one.counts:g})",
        "resolution": one.resolution_A,
        "full_scale": one.full_scale_A,
    }
    found: Outcome = {"kind": one.truth.kind}
    try:
        split = decompose(
            pd.Series(one.current_A, index=one.time_s), meter=meter(spec, "A"), aperture_s=one.declared_s
        )
    except ValueError as fault:
        return found | {"refused": str(fault)}
    except Exception as fault:
        return found | {"crash": repr(fault)}
    begin = max(split.settled.start_s, one.truth.asleep_s)
    true = one.truth.mean_A(0.0 if split.settled.from_start else begin, float(one.time_s[-1]))
    found["called"] = getattr(split, "kind", "")
    for name in NAMES:
        feature = split.mean if name == "mean" else getattr(split.features, name)
        value = feature.value
        low, high = (feature.low, feature.high) if value is None else (value.low, value.high)
        if low is None and high is None:
            continue
        given = "bounds" if value is None else "value"
        holds = bool(holding(one, name, value is None, low, high, true))
        width = None if low is None or high is None else high - low
        found[name] = [given, holds, width]
    return found


def holding(
    one: Record, name: str, bounds: bool, low: float | None, high: float | None, mean_A: float
) -> bool:
    """Return whether an interval, or bounds, are true."""
    truth = one.truth
    least, most = -np.inf if low is None else low, np.inf if high is None else high
    if name == "mean":
        return bool(least <= mean_A <= most)
    if name == "base":
        if truth.kind == "hum" and bounds:
            return bool(least <= truth.base_A and truth.lowest_A <= most)
        if truth.kind == "drifting" and bounds:
            return bool(least <= 2 * truth.base_A - truth.lowest_A and truth.lowest_A <= most)
        return bool(least <= truth.base_A <= most)
    if name == "height":
        height = truth.height_A or (truth.highest_A - truth.lowest_A)
        exact = truth.kind not in ("two trains", "hum", "flat")
        return bool(least <= height <= most) and (bounds or exact)
    if name == "width":
        exact = truth.width_s is not None and truth.kind not in ("bursts", "decaying")
        if bounds:
            return truth.width_s is None or bool(least <= truth.width_s <= most)
        return exact and bool(least <= (truth.width_s or 0.0) <= most)
    return _period(one, least, most)


def _period(one: Record, low: float, high: float) -> bool:
    truth = one.truth
    between = truth.intervals_s
    if truth.second_s is not None:
        return bool(low <= (truth.period_s or 0.0) <= high or low <= truth.second_s <= high)
    fixed = truth.kind in ("plain", "fixed", "drifting", "decaying", "bursts")
    if fixed and low <= (truth.period_s or 0.0) <= high:
        return True
    return bool(len(between)) and bool(low <= between.min() and between.max() <= high)


Cells = dict[str, list[int]]


def counted(results: list[Outcome]) -> dict[str, Any]:
    """Return per kind and finding how many values and bounds were given and held; plain trains' widths."""
    cells: Cells = {}
    for kind in (*KINDS, "all"):
        for name in NAMES:
            given = [one[name] for one in results if kind in (one["kind"], "all") and name in one]
            values, bounds = ([held for way, held, _ in given if way == word] for word in ("value", "bounds"))
            cells[f"{kind} {name}"] = [len(values), sum(values), len(bounds), sum(bounds)]
    widths = [
        {name: float(f"{one[name][2]:.3g}") for name in NAMES if name in one and one[name][0] == "value"}
        for one in results
        if one["kind"] == "plain"
    ]
    return {"logs": len(results), "cells": cells, "widths": widths}


def table(now: dict[str, Any], then: dict[str, Any]) -> str:
    """Return the table: a row for each kind and finding."""
    title = f"{'value':>6} {'holds':>7}  {'bounds':>6} {'holds':>7}"
    lines = [f"{'':20} {now['logs']:5} logs {'':19}  | {then['logs']:5} logs, without the test of its rows"]
    lines += [f"{'kind':12} {'finding':7} {title}  | {title}  | {'width':>6}"]
    for kind in (*KINDS, "all"):
        for name in NAMES:
            key = f"{kind} {name}"
            ratio = _ratio(now, then, name) if kind == "plain" else ""
            lines.append(
                f"{kind:12} {name:7} {_cell(now['cells'][key])}  | {_cell(then['cells'][key])}  | {ratio:>6}"
            )
    return "\n".join(lines)


def _cell(counts: list[int]) -> str:
    shares = [
        f"{100 * held / given:6.1f}%" if given else f"{'-':>7}" for given, held in (counts[:2], counts[2:])
    ]
    return f"{counts[0]:6} {shares[0]}  {counts[2]:6} {shares[1]}"


def _ratio(now: dict[str, Any], then: dict[str, Any], name: str) -> str:
    """Return the median width over the one before, where both gave a value for the same plain log."""
    pairs = [
        new[name] / old[name]
        for new, old in zip(now["widths"], then["widths"], strict=False)
        if name in new and old.get(name)
    ]
    return f"{np.median(pairs):.2f}" if pairs else "-"


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--logs", type=int, default=1000)
    asked.add_argument("--write", action="store_true")
    wanted = asked.parse_args()
    results = [outcome(drain_devices.record(seed)) for seed in range(wanted.logs)]
    print(table(counted(results), json.loads(STORED.read_text())))
    for word in ("refused", "crash"):
        print(f"{word}: {sum(word in one for one in results)}")
    if wanted.write:
        command = f"python tests/benchmarks/drain_kinds.py --logs {wanted.logs} --write"
        honest_sections.store("drain", command, rows(results, json.loads(STORED.read_text())))


def rows(results: list[Outcome], then: dict[str, Any]) -> Iterator[tuple[str, str, str, str]]:
    """Yield what is kept of the study."""
    now = counted(results)
    for kind in (*KINDS, "all"):
        yield f"mean holds, {kind}", "≥ 95 %", *(_held(each, f"{kind} mean") for each in (then, now))
    for name in NAMES[1:]:
        yield f"{name} holds, where given", "≥ 95 %", *(_held(each, f"all {name}") for each in (then, now))
    failed = sum("refused" in one or "crash" in one for one in results)
    yield "logs refused, or a failure", "0", "not looked at", str(failed)


def _held(known: dict[str, Any], key: str) -> str:
    given, held, bounds, bounds_held = known["cells"][key]
    return honest_sections.share(held + bounds_held, given + bounds)


if __name__ == "__main__":
    main()
