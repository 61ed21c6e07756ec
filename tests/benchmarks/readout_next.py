"""Readings that following the proposed voltage needs, beside bisection's bound and even spacing.

Run: ``python tests/benchmarks/readout_next.py [devices [first seed]]``. A readout of 0.1 V that has an
offset only, read beside a reference good to ±3 mV (its display's 1 mV step included); wanted: a transition
level no wider than 0.01 V, the reference's accuracy included.
"""

from __future__ import annotations

import math
import random
import sys
import time
from decimal import Decimal
from pathlib import Path
from statistics import median

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

import readout_devices as devices

from reviewkit import readout
from reviewkit.readout.fit import Fit

WANTED_V = 0.01
METER = devices.meter(counts=3.0)
LEFT_V = WANTED_V - 2 * 0.003
BOUND = 1 + math.ceil(math.log2(0.1 / LEFT_V))
"""The first reading leaves a whole step; each further one can at best halve it."""


def fitted(device: devices.Device, bench: devices.Bench, cells: list[Decimal]) -> Fit:
    """Return what readings of these cells say."""
    return readout.fit(
        [float(bench.reads(cell)) for cell in cells],
        [float(device.shows(cell)) for cell in cells],
        resolution_V=0.1,
        meter=bench.meter,
        most=0,
    )


def following(device: devices.Device, bench: devices.Bench, rng: random.Random) -> int:
    """Return how many readings the proposals need.

    The reviewer stops a cell within 1 mV of what was proposed, by the only meter at hand.
    """
    meter_error = bench.share * Decimal("0.0025")
    cells = [Decimal(rng.randint(30_000, 42_000)) / 10_000]
    while True:
        fit = fitted(device, bench, cells)
        if float(fit.transition.width) <= WANTED_V:
            return len(cells)
        cells.append(Decimal(str(fit.next_V)) + Decimal(rng.randint(-10, 10)) / 10_000 - meter_error)


def evenly(device: devices.Device, bench: devices.Bench) -> int:
    """Return the smallest number of voltages, evenly spaced over the range, that happens to be enough.

    With an offset only and no percent in the meter's statement the place lies above every (reference −
    shown) and at most a step above each, give or take the display's half step and the shared 2.5 mV.
    """
    count = 2
    while True:
        cells = [Decimal(str(round(voltage, 4))) for voltage in np.linspace(3.0, 4.2, count)]
        above = [bench.reads(cell) - device.shows(cell) for cell in cells]
        if float(device.step_V + min(above) - max(above)) + 0.006 <= WANTED_V + 1e-12:
            return count
        count += 1


def main(count: int, first: int = 0) -> None:
    """Print the medians and the extremes."""
    started = time.perf_counter()
    proposed, spaced = [], []
    for seed in range(first, first + count):
        rng = random.Random(seed)
        device = devices.Device("nearest", Decimal(rng.randint(-500, 500)) / 10_000)
        bench = devices.Bench(METER, Decimal(rng.randint(-100, 100)) / 100)
        proposed.append(following(device, bench, rng))
        spaced.append(evenly(device, bench))
    print(f"devices {count}; bisection's bound {BOUND} readings")
    for name, found in (("proposed", proposed), ("evenly spaced, luckiest number", spaced)):
        print(f"{name:32} median {median(found):g}, from {min(found)} to {max(found)}")
    print(f"proposed {sorted(proposed)}\nevenly   {sorted(spaced)}")
    print(f"within one of the bound: {sum(found <= BOUND + 1 for found in proposed)}")
    print(f"took {time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main(*([int(word) for word in sys.argv[1:]] or [200]))
