"""Whether the charge findings' intervals are honest: simulated charges, drawn anew from each seed.

Every run draws a cell, a charger, a rig and two meters with an error, a noise and a clock of their own. A
finding's interval should hold the truth in 95 of 100 runs and be little wider than what the meters force.

    python tests/benchmarks/charge_intervals.py [RUNS] [FIRST_SEED]
"""

from __future__ import annotations

import sys
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2] / "examples"))

from simulate.drawing import draw
from simulate.meters import Lapse
from simulate.scenario import Run

from reviewkit import charge, clocks, instrument, logs
from reviewkit.blocks import Cell
from reviewkit.uncertainty import Measured

FORCED = (
    "accuracy",
    "between two rows",
    "sampling interval",
    "rate of the logger",
    "rows around the step",
    "steps leave open",
    "display step",
)
"""Parts of a budget that the meters and their clocks force, whatever is done with their readings."""


COUNTED = ("terminates", "limit_adherence", "interruptions", "top_ups")
"""Findings without an interval."""


def simulated(seed: int) -> Run:
    """Return one random charge; every third current log has a gap."""
    rng = np.random.default_rng(seed)
    scenario = draw(rng)
    # The meters' errors are spread evenly over what they may be: 200 runs then tell 95 % from 92 %.
    scenario = replace(
        scenario,
        voltmeter=replace(scenario.voltmeter, error_share=2 * (seed * 0.6180339887 % 1) - 1),
        ammeter=replace(scenario.ammeter, error_share=2 * (seed * 0.7548776662 % 1) - 1),
    )
    if seed % 3 == 0:
        start, length = float(rng.uniform(300.0, 4000.0)), float(rng.uniform(20.0, 120.0))
        scenario = replace(scenario, ammeter=replace(scenario.ammeter, gaps=(Lapse(start, length),)))
    return scenario.run()


def analysed(run: Run) -> charge.ChargeResult:
    """Return the charge section's result for it, by way of the two clocks."""
    bench = run.scenario
    voltage, current = run.voltage_V.dropna(), run.current_A.dropna()
    alignment = clocks.align(logs.of_series(voltage, "V"), logs.of_series(current, "A"))
    record = charge.ChargeRecord(
        voltage.rename_axis("time_s"),
        current.set_axis(alignment.on_voltage_clock(current.index)).rename_axis("time_s"),
        instrument.meter(
            {"accuracy": bench.voltmeter.accuracy, "resolution": bench.voltmeter.resolution}, "V"
        ),
        instrument.meter({"accuracy": bench.ammeter.accuracy, "resolution": bench.ammeter.resolution}, "A"),
        clock_offset=alignment.offset,
        cable_out_s=bench.before_s + bench.plugged_s - bench.voltmeter.starts_s,
    )
    return charge.analyse_one(record, cell=Cell(rated_capacity_Ah=bench.cell.capacity_Ah))


def forced(quantity: Measured) -> float:
    """Return the expanded uncertainty that the meters alone would leave."""
    parts = tuple(part for part in quantity.components if any(word in part.name for word in FORCED))
    return Measured(quantity.value, quantity.unit, parts).expanded if parts else float("nan")


def study(runs: int, first: int) -> pd.DataFrame:
    """Return one row for each finding: coverage, error, width against what is forced."""
    rows = defaultdict(list)
    for seed in range(first, first + runs):
        run = simulated(seed)
        result, known = analysed(run), run.known()
        for name in [name for name in charge.LABELS if name not in COUNTED]:
            found, truth = result.get(name), known.get(name)
            if found is None or truth is None:
                rows[name].append(
                    (np.nan, np.nan, np.nan, float(found is not None) - float(truth is not None))
                )
                continue
            error = found.value - truth
            rows[name].append((error, found.expanded, found.expanded / forced(found), 0.0))
    return pd.DataFrame({name: _summary(np.array(values)) for name, values in rows.items()}).T


def _summary(values: np.ndarray) -> dict[str, float]:
    known = np.isfinite(values[:, 0])
    error, width, ratio = values[known, :3].T if known.any() else (np.array([]),) * 3
    return {
        "runs": len(error),
        "inside %": 100 * float(np.mean(np.abs(error) <= width)) if len(error) else np.nan,
        "largest error": float(np.abs(error).max()) if len(error) else np.nan,
        "median error": float(np.median(error)) if len(error) else np.nan,
        "median U": float(np.median(width)) if len(error) else np.nan,
        "U / forced": float(np.nanmedian(ratio)) if len(error) else np.nan,
        "too many": float((values[:, 3] > 0).sum()),
        "missing": float((values[:, 3] < 0).sum()),
    }


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    begin = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    with pd.option_context("display.width", 150, "display.max_columns", 20, "display.precision", 4):
        print(study(count, begin).to_string())
