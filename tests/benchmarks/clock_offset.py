"""How well the clocks of two simulated meters are put on one line, over seeded runs.

Prints, per kind of bench, the share of runs in which the stated interval holds the true offset and in
which the offset found lies within one sample of it. The charges are invented.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit import logs
from reviewkit.errors import LogError
from reviewkit.logs import clock_sync

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Bench:
    """One kind of bench: sample intervals [s], steps of readings and stamps, interruptions, drift."""

    name: str
    voltage_s: float
    current_s: float
    voltage_step_V: float
    current_step_A: float = 0.001
    stamp_s: float = 0.001
    interruptions: int = 0
    drift: float = 0.0
    averaging: bool = False
    gaps: bool = False


BENCHES = (
    Bench("1 mV, 1 s and 2 s", 1.0, 2.0, 0.001),
    Bench("1 mV, 1 s, whole-second stamps", 1.0, 1.0, 0.001, stamp_s=1.0),
    Bench("1 mV, 1 s, two interruptions", 1.0, 1.0, 0.001, interruptions=2),
    Bench("10 mV, 10 s and 1 s", 10.0, 1.0, 0.01),
    Bench("10 mV, 5 s, three interruptions, gaps", 5.0, 5.0, 0.01, interruptions=3, gaps=True),
    Bench("1 mV, 1 s, averaging meters", 1.0, 1.0, 0.001, interruptions=2, averaging=True),
    Bench("1 mV, 2 s, clocks 40 millionths apart", 2.0, 2.0, 0.001, interruptions=3, drift=40e-6),
    Bench("1 mV, 30 s and 10 s", 30.0, 10.0, 0.001, interruptions=1),
    Bench("1 mV, 1.3 s and 0.7 s, whole seconds", 1.3, 0.7, 0.001, stamp_s=1.0, interruptions=2),
)


def current_A(moments: Array, start_s: float, stops: Array) -> Array:
    """Return a charge current: plateau, taper from half way, cut-off, interruptions of 40 s."""
    since = moments - start_s
    taper = 0.8 * np.exp(-np.maximum(0.0, since - 5400.0) / 1500.0)
    amps = np.where((since >= 0) & (taper > 0.08), taper, 0.0)
    for stop in stops:
        amps = np.where((moments >= stop) & (moments < stop + 40.0), 0.0, amps)
    return np.asarray(amps)


def voltage_V(step_s: float, amps: Array) -> Array:
    """Return the cell's voltage on an even grid: rising, with I·R and a slower part of 20 s."""
    charge_C = np.cumsum(amps) * step_s
    slow = np.empty_like(amps)
    keep = np.exp(-step_s / 20.0)
    level = 0.0
    for at, one in enumerate(amps):
        level = keep * level + (1 - keep) * one
        slow[at] = level
    rise = np.minimum(charge_C / 10_800.0 * 2, 1.0)
    return np.asarray(3.45 + 0.7 * rise + 0.055 * amps + 0.03 * slow)


def run(bench: Bench, seed: int) -> tuple[logs.Log, logs.Log, float]:
    """Return voltage log, current log and the true offset of one simulated charge."""
    random = np.random.default_rng(seed)
    step_s = 0.05
    grid = np.arange(0.0, 10_000.0, step_s)
    start_s = float(random.uniform(60, 300))
    stops = np.sort(random.uniform(start_s + 400, start_s + 6000, bench.interruptions))
    amps = current_A(grid, start_s, stops)
    volts = voltage_V(step_s, amps)
    offset_s = float(random.uniform(-90, 90))
    began = datetime(2025, 3, 1, 20, 0, 0)
    own = (
        _log(bench, random, grid, volts, bench.voltage_s, bench.voltage_step_V, 0.0003, "V", began, 0.0, 0.0),
        _log(
            bench,
            random,
            grid,
            amps,
            bench.current_s,
            bench.current_step_A,
            0.0003,
            "A",
            began,
            offset_s,
            bench.drift,
        ),
    )
    return own[0], own[1], offset_s


def _log(
    bench: Bench,
    random: np.random.Generator,
    grid: Array,
    truth: Array,
    interval_s: float,
    step: float,
    noise: float,
    quantity: logs.Quantity,
    began: datetime,
    offset_s: float,
    drift: float,
) -> logs.Log:
    """Sample a truth as a meter does: own start, own clock, noise, steps, cut stamps, gaps."""
    moments = np.arange(random.uniform(0, 30) + interval_s, grid[-1], interval_s)
    if bench.averaging:
        total = np.r_[0.0, np.cumsum(truth)] * (grid[1] - grid[0])
        edges = np.r_[grid, grid[-1] + grid[1] - grid[0]]
        ideal = (
            np.interp(moments, edges, total) - np.interp(moments - interval_s, edges, total)
        ) / interval_s
    else:
        ideal = truth[np.searchsorted(grid, moments, side="right") - 1]
    readings = np.round((ideal + random.normal(0, noise, len(ideal))) / step) * step
    # The current meter's clock is behind by the offset; its rate makes it fall behind further.
    shown = moments - offset_s - drift * moments
    stamps = np.floor(shown / bench.stamp_s + 1e-9) * bench.stamp_s
    keep = np.r_[True, np.diff(stamps) > 0]
    if bench.gaps:
        lost = random.uniform(0, grid[-1], 3)
        keep &= ~np.any([(moments > at) & (moments < at + 60) for at in lost], axis=0)
    stamps, readings = stamps[keep], readings[keep]
    series = pd.Series(readings, index=stamps - stamps[0])
    started = began + timedelta(seconds=float(stamps[0]))
    return logs.of_series(series, quantity, started=started, stamp_step_s=bench.stamp_s)


def study(bench: Bench, runs: int) -> str:
    """Return one line of the table."""
    held = within = few = wide = 0
    worst, widths = 0.0, []
    sample_s = max(bench.voltage_s, bench.current_s, bench.stamp_s)
    for seed in range(runs):
        voltage, current, offset_s = run(bench, seed)
        try:
            found = clock_sync.align(voltage, current)
        except LogError:
            few += 1
            continue
        # The offset holds at one moment; the true one there has the drift in it.
        began = (current.started - datetime(2025, 3, 1, 20, 0, 0)).total_seconds() if current.started else 0.0
        shown = began + found.at_s
        moment = (shown + offset_s) / (1 - bench.drift)
        truth = moment - shown
        error = abs(found.offset.value - truth)
        held += found.offset.low <= truth <= found.offset.high
        within += error <= sample_s
        worst = max(worst, error)
        widths.append(found.offset.expanded)
        few += found.how != "steps"
        wide += "ambiguous" in found.note
    return (
        f"{bench.name:<42}{held / runs:>8.1%}{within / runs:>10.1%}{worst:>9.2f}"
        f"{float(np.median(widths)):>9.2f}{few:>9}{wide:>11}"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=200)
    runs = parser.parse_args().runs
    print(f"{'bench':<42}{'held':>8}{'within 1':>10}{'worst s':>9}{'U s':>9}{'no steps':>9}{'ambiguous':>11}")
    for bench in BENCHES:
        print(study(bench, runs), flush=True)


if __name__ == "__main__":
    main()
