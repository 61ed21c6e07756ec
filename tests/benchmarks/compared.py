"""Whether differences between two devices hold, and are called resolved only where they are.

    python tests/benchmarks/compared.py [--pairs 500] [--seed 0] [--processes 2] [--write]

Pairs of charges from `tests/adversary`, which shares no code with the kit: one device twice, or two devices;
measured with the same named meters, with other ones of the same statement, with meters that nobody named, or
on different ranges of one. Printed is, for each of these and each finding: how often the stated difference
holds the true one, how often two equal figures are called different, and the width of the difference over
what it is without anything shared.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import honest_sections
import numpy as np
from adversary import Charge, draw
from adversary.meters import LogMeter, Range, log
from scipy.stats import beta

from reviewkit import charge
from reviewkit.comparison import Sharing, sharing, side_by_side
from reviewkit.errors import InputError
from reviewkit.findings import Finding

METERS = ("same", "other", "unnamed", "ranges")
FIGURES = (
    *("plateau_current", "hold_voltage", "set_voltage", "peak_voltage", "termination_current", "delivered"),
    *("termination_time", "knee_time", "series_resistance", "current_after"),
)
OFFSETS = ("plateau_current", "hold_voltage", "set_voltage", "peak_voltage")
"""Figures whose uncertainty is mostly the meter's own error."""


@dataclass(frozen=True)
class Outcome:
    """One finding of a pair: the stated difference against the true one."""

    meters: str
    equal: bool
    name: str
    held: bool
    resolved_wrongly: bool
    width: float


def pair(task: tuple[str, int]) -> list[Outcome]:
    """Return what the comparison says of one simulated pair."""
    meters, seed = task
    rng = np.random.default_rng([seed, METERS.index(meters)])
    equal = bool(rng.random() < 0.5)
    first, second = _benches(meters, draw("plain", 2 * seed + 1), equal, rng)
    with tempfile.TemporaryDirectory() as place:
        try:
            told = [_findings(one, Path(place) / str(number)) for number, one in enumerate((first, second))]
        except InputError:
            return []
    shared = sharing(told[0][1], told[1][1])
    return list(_outcomes(meters, equal, (first, second), [items for items, _ in told], shared))


def _benches(meters: str, first: Charge, equal: bool, rng: np.random.Generator) -> tuple[Charge, Charge]:
    """Return both charges, logged with the meters that the pair is about."""
    volts = _meter(first.bench.voltmeter, rng, Range(0.1, 3, 1e-3, 6.0))
    most = float(first.course.current_A.max())
    amps = _meter(first.bench.ammeter, rng, Range(0.5, 3, 1e-3, 10.0))
    other = first if equal else draw("plain", int(rng.integers(0, 4000)) * 2 + 1)
    volts_2, amps_2 = volts, amps
    if meters in ("other", "unnamed"):
        volts_2, amps_2 = _meter(volts, rng, volts.ranges[0]), _meter(amps, rng, amps.ranges[0])
    if meters == "ranges":
        amps_2 = _meter(amps, rng, Range(0.5, 3, 1e-4, round(1.2 * max(most, 0.1), 1) + 2.0))
    names = {"same": ("bench", "bench"), "ranges": ("bench", "bench"), "other": ("bench", "field")}
    one, two = names.get(meters, ("", ""))
    return _logged(first, volts, amps, one, rng), _logged(other, volts_2, amps_2, two, rng)


def _meter(like: LogMeter, rng: np.random.Generator, one: Range) -> LogMeter:
    """Return a sound meter of one range, with an error of its own inside its statement."""
    error = (float(rng.uniform(-1, 1)), float(rng.uniform(-1, 1)))
    return LogMeter((one,), (error,), noise=0.3 * one.resolution, interval_s=2.0, starts_s=like.starts_s)


def _logged(one: Charge, volts: LogMeter, amps: LogMeter, name: str, rng: np.random.Generator) -> Charge:
    declared = {**one.bench.declared}
    for key, meter, kind in (("voltmeter", volts, "V"), ("ammeter", amps, "A")):
        (only,) = meter.ranges
        kept = {part: declared[key][part] for part in ("burden_ohm", "leads_ohm") if part in declared[key]}
        declared[key] = {
            **kept,
            **({"name": f"{name} {kind}"} if name else {}),
            "accuracy": f"±({only.percent:g} % + {only.counts:g})",
            "resolution": only.resolution,
            "full_scale": only.full_scale,
        }
    bench = replace(one.bench, voltmeter=volts, ammeter=amps, declared=declared)
    rows = (
        log(volts, one.course, one.course.cell_V, rng),
        log(amps, one.course, one.course.current_A, rng),
    )
    return replace(one, bench=bench, voltage=rows[0], current=rows[1])


def _findings(one: Charge, folder: Path) -> tuple[list[Finding], dict[str, Any]]:
    folder.mkdir()
    declared = one.write(folder)
    bench = charge.inputs(**{key: value for key, value in declared.items() if key != "reader_capacities_Ah"})
    results = charge.analyse(charge.read(bench, folder=folder), cell=bench.cell)
    items = [*results.findings(), *charge.separate_all(results, bench).findings()]
    return [item for item in items if item.key.count(".") == 1], declared


def _outcomes(
    meters: str, equal: bool, charges: tuple[Charge, Charge], told: list[list[Finding]], shared: Sharing
) -> Iterator[Outcome]:
    apart = Sharing({})
    rows = side_by_side(told, names=("a", "b"), shared=[shared])
    alone = side_by_side(told, names=("a", "b"), shared=[apart])
    for row, unshared in zip(rows, alone, strict=True):
        name = row.key.rsplit(".", 1)[-1]
        change, other = row.against[0].difference, unshared.against[0].difference
        truths = [one.truths.get(name) for one in charges]
        if name not in FIGURES or change is None or other is None or not all(truths):
            continue
        values = [getattr(truth, "value", None) for truth in truths]
        if None in values:
            continue
        true = float(values[1]) - float(values[0])  # type: ignore[arg-type]
        off = abs(change.value - true)
        wrong = bool(row.resolved) and (change.value * true <= 0)
        yield Outcome(meters, equal, name, off <= change.expanded, wrong, change.expanded / other.expanded)


def table(outcomes: Iterable[Outcome]) -> Iterator[str]:
    """Return the lines of the table."""
    found = list(outcomes)
    yield f"{'meters':9}{'finding':22}{'n':>5}{'held %':>9}{'95 % of that':>16}{'wrongly':>9}{'width':>8}"
    for meters in METERS:
        for name in (*FIGURES, "all"):
            these = [one for one in found if one.meters == meters and name in (one.name, "all")]
            if these:
                held, n = sum(one.held for one in these), len(these)
                low = beta.ppf(0.025, held, n - held + 1) if held else 0.0
                high = beta.ppf(0.975, held + 1, n - held) if held < n else 1.0
                wrong = 100 * sum(one.resolved_wrongly for one in these) / n
                width = float(np.median([one.width for one in these]))
                share = f"{100 * low:.1f}–{100 * high:.1f}"
                yield f"{meters:9}{name:22}{n:5}{100 * held / n:9.1f}{share:>16}{wrong:8.1f}%{width:8.2f}"
    near = [one.width for one in found if one.meters == "same" and one.name in OFFSETS]
    yield f"width of what meters dominate, same meters ÷ nothing shared: {np.median(near):.2f}"


def main() -> None:
    """Run the study and print its table."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--pairs", type=int, default=500)
    asked.add_argument("--seed", type=int, default=0)
    asked.add_argument("--processes", type=int, default=2)
    asked.add_argument("--write", action="store_true")
    wish = asked.parse_args()
    tasks = [(METERS[number % len(METERS)], wish.seed + number) for number in range(wish.pairs)]
    with ProcessPoolExecutor(wish.processes, mp_context=get_context("spawn")) as pool:
        found = [one for told in pool.map(pair, tasks, chunksize=4) for one in told]
    print("\n".join(table(found)))
    if wish.write:
        command = f"python tests/benchmarks/compared.py --pairs {wish.pairs} --seed {wish.seed} --write"
        honest_sections.store("comparison", command, rows(found))


BEFORE = {"unnamed": "0 of 4", "ranges": "0 of 4"}
"""Where unnamed meters of one statement, and ranges of one meter, counted as the same unknown."""


def rows(found: list[Outcome]) -> Iterator[tuple[str, str, str, str]]:
    """Yield what is kept of the study."""
    for meters in METERS:
        mine = [one for one in found if one.meters == meters]
        held = honest_sections.share(sum(one.held for one in mine), len(mine))
        yield f"difference holds, meters: {meters}", "≥ 95 %", BEFORE.get(meters, "not looked at"), held
    equal = [one for one in found if one.equal]
    wrongly = honest_sections.share(sum(one.resolved_wrongly for one in equal), len(equal))
    yield "equal devices' figures called different", "≤ 3 %", "4 of 4, unnamed meters", wrongly
    near = [one.width for one in found if one.meters == "same" and one.name in OFFSETS]
    what = "width where meters are shared ÷ nothing shared, figures that offsets dominate"
    yield what, "≤ 0.5", "not looked at", f"{np.median(near):.2f}"


if __name__ == "__main__":
    main()
