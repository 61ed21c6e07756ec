"""How honest and how narrow the drain intervals are, on seeded pulse trains.

    python tests/benchmarks/drain_intervals.py [trains]

Base 0–3 mA, height 0.2–5 mA, width 5–500 ms, period 1–10 s, gapless rows at 10 Hz and at 1 Hz, logs of
2–10 min. What the bench alone forces on the mean: the meter's accuracy (rectangular) and one pulse more or
fewer in the log (triangular, ± pulse charge / log length).
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from simulate.drain import PulseTrain, meter_log

from reviewkit.drain.decompose import Decomposition, decompose
from reviewkit.instrument import Meter, meter
from reviewkit.uncertainty import Component, Measured

RANGE = meter({"accuracy": "±(1.0 % + 3)", "resolution": 1e-6, "full_scale": 0.01}, "A")


@dataclass(frozen=True)
class Case:
    """A train, its log and what was made of it."""

    truth: PulseTrain
    interval_s: float
    length_s: float
    result: Decomposition


def cases(count: int, *, seed: int = 2026, length_s: tuple[float, float] = (120.0, 600.0)) -> Iterator[Case]:
    """Yield seeded trains, logged at 10 Hz and 1 Hz in turn."""
    draw = np.random.default_rng(seed)
    for number in range(count):
        truth = PulseTrain(
            base_A=draw.uniform(0, 3e-3),
            height_A=draw.uniform(0.2e-3, 5e-3),
            width_s=draw.uniform(5e-3, 0.5),
            period_s=draw.uniform(1, 10),
            first_s=draw.uniform(0, 10),
        )
        interval = 0.1 if number % 2 == 0 else 1.0
        length = draw.uniform(*length_s)
        log = meter_log(truth, interval_s=interval, length_s=length, meter=RANGE, draw=draw)
        yield Case(truth, interval, length, decompose(log, meter=RANGE, aperture_s=interval))


def forced(truth: PulseTrain, length_s: float, used: Meter) -> float:
    """Return the expanded uncertainty that accuracy and length alone force on the mean [A]."""
    pulse = Component("", truth.height_A * truth.width_s / length_s, "A", "triangular")
    return Measured(truth.mean_A, "A", (used.component(truth.mean_A), pulse)).expanded


def main(count: int) -> None:
    """Print the table, for usual logs and for logs of a few periods."""
    for length in ((120.0, 600.0), (12.0, 40.0)):
        print(f"logs of {length[0]:g} s to {length[1]:g} s")
        report(pd.DataFrame([row(case) for case in cases(count, length_s=length)]))


def report(table: pd.DataFrame) -> None:
    """Print the marks of one set of trains."""
    for interval, part in [*table.groupby("interval_s"), ("both", table)]:
        resolved = part[part["period resolved"]]
        print(f"rows every {interval} s: {len(part)} trains")
        print(f"  mean inside its uncertainty       {part['mean inside'].mean():.3f}")
        print(f"  uncertainty / forced   median, max {part.ratio.median():.2f}, {part.ratio.max():.2f}")
        print(f"  base inside, where resolved       {resolved['base inside'].mean():.3f}")
        print(f"  period resolved                   {part['period resolved'].sum()} of {len(part)}")
        print(f"  of these within 1 %               {(resolved['period error'] < 0.01).mean():.3f}")
        print(f"  of these inside the uncertainty   {resolved['period inside'].mean():.3f}")
        short = part[part["width rows"] < 2]
        print(f"  widths under two rows: {len(short)}, reported as resolved {short['width resolved'].sum()}")
        wide = part[part["width resolved"]]
        if len(wide):
            print(f"  widths resolved {len(wide)}: inside {wide['width inside'].mean():.3f}")
            print(f"  heights resolved: inside {wide['height inside'].mean():.3f}")
        bounded = part[~part["width resolved"]]
        print(f"  bounds of unresolved features hold {bounded['bounds hold'].mean():.3f}")


def row(case: Case) -> dict[str, float | bool]:
    """Return one train's marks."""
    truth, shape = case.truth, case.result.features
    mean = case.result.mean.value
    assert mean is not None
    period = shape.period.value
    return {
        "interval_s": case.interval_s,
        "mean inside": abs(mean.value - truth.mean_A) <= mean.expanded,
        "ratio": mean.expanded / forced(truth, case.length_s, RANGE),
        "period resolved": period is not None,
        "period error": abs(period.value / truth.period_s - 1) if period else np.nan,
        "period inside": period is not None and abs(period.value - truth.period_s) <= period.expanded,
        "base inside": _inside(shape.base.value, truth.base_A),
        "width rows": truth.width_s / case.interval_s,
        "width resolved": shape.width.resolved,
        "width inside": _inside(shape.width.value, truth.width_s),
        "height inside": _inside(shape.height.value, truth.height_A),
        "bounds hold": _holds(shape.height.low, shape.height.high, truth.height_A)
        and _holds(shape.width.low, shape.width.high, truth.width_s)
        and _holds(shape.base.low, shape.base.high, truth.base_A),
        "period_s": truth.period_s,
    }


def _inside(value: Measured | None, truth: float) -> bool:
    return value is not None and abs(value.value - truth) <= value.expanded


def _holds(low: float | None, high: float | None, truth: float) -> bool:
    # The meter's percent error moves a bound too: 2 % allowed for it.
    return (low is None or low <= truth * 1.02) and (high is None or high >= truth * 0.98)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
