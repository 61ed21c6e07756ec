"""How often the posterior's 95.45 % interval holds the truth, errors being even within the statement.

Run: ``python tests/benchmarks/readout_coverage.py [cases [first seed]]``.
Half of the cases have a gain within ±1 %.
"""

from __future__ import annotations

import random
import sys
import time
from decimal import Decimal
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import readout_devices as devices

from reviewkit import readout

METERS = (devices.meter(), devices.meter(0.05, 3.0), devices.meter(0.5, 2.0))


def covered(seed: int) -> tuple[bool, float] | None:
    """Return whether the interval holds the true place, and its width; None where nothing fits."""
    rng = random.Random(10_000 + seed)
    gain = 1 + Decimal(rng.randint(-100, 100)) / 10_000 * (seed % 2)
    device = devices.Device("nearest", Decimal(rng.randint(-600, 600)) / 10_000, gain)
    share = Decimal(repr(round(rng.uniform(-1.0, 1.0), 6)))
    bench = devices.Bench(METERS[rng.randrange(3)], share)
    cells = devices.voltages(rng, rng.randint(3, 12))
    fit = readout.fit(
        [float(bench.reads(voltage)) for voltage in cells],
        [float(device.shows(voltage)) for voltage in cells],
        resolution_V=0.1,
        meter=bench.meter,
        gain_bound=0.01 * (seed % 2),
        most=2,
    )
    if not fit.consistent:
        return None
    low, high = fit.posterior.interval()
    return low <= float(device.place_V) <= high, high - low


def main(count: int, first: int = 0) -> None:
    """Print the share of the cases in which the interval holds the truth."""
    started = time.perf_counter()
    results = [found for seed in range(first, first + count) if (found := covered(seed)) is not None]
    inside = sum(holds for holds, _ in results)
    print(f"cases {count}, fitted {len(results)}, truth inside {inside}: {100 * inside / len(results):.2f} %")
    print(f"median width {1000 * sorted(width for _, width in results)[len(results) // 2]:.1f} mV")
    print(f"took {time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main(*([int(word) for word in sys.argv[1:]] or [500]))
