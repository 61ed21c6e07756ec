"""Exact sets against a brute force on random readouts; how often the truth lies inside.

Run from the tests folder: ``python benchmarks/readout_exact.py [cases]``. Half of the cases have a gain
within ±1 %, two of three have one or two readings misread by three steps or more.
"""

from __future__ import annotations

import random
import sys
import time
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import readout_devices as devices

from reviewkit import readout
from reviewkit.readout.fit import Fit

METERS = (devices.meter(), devices.meter(0.05, 3.0), devices.meter(0.5, 2.0), devices.meter(0.0, 0.5))


def case(seed: int) -> tuple[devices.Device, devices.Bench, list[Decimal], list[Decimal], int, Fraction]:
    """Return device, bench, reference voltages, shown values, number misread, gain bound."""
    rng = random.Random(seed)
    bound = Fraction(seed % 2, 100)
    gain = 1 + Decimal(rng.randint(-100, 100)) / 10_000 * (seed % 2)
    offset = Decimal(rng.randint(-600, 600)) / 10_000
    device = devices.Device(rng.choice(list(devices.MODES)), offset, gain)
    bench = devices.Bench(METERS[rng.randrange(len(METERS))], Decimal(rng.randint(-100, 100)) / 100)
    misread = rng.choice((0, 1, 2))
    cells = devices.voltages(rng, rng.randint(3 + 2 * misread, 12))
    shown = [device.shows(voltage) for voltage in cells]
    for row in range(misread):
        shown[row] += device.step_V * rng.choice((-4, -3, 3, 4))
    return device, bench, [bench.reads(voltage) for voltage in cells], shown, misread, bound


def fitted(reference: list[Decimal], shown: list[Decimal], bench: devices.Bench, bound: Fraction) -> Fit:
    """Return the exact sets; up to two rows may be doubted, however few there are."""
    return readout.fit(
        [float(value) for value in reference],
        [float(value) for value in shown],
        resolution_V=0.1,
        meter=bench.meter,
        gain_bound=float(bound),
        most=2,
    )


def compare(seed: int) -> tuple[bool, bool, float, float]:
    """Return whether the brute force agrees, the truth is inside, the largest gap, and its allowance."""
    device, bench, reference, shown, misread, bound = case(seed)
    fit = fitted(reference, shown, bench, bound)
    doubts = len(fit.ways[0]) if fit.ways else -1
    for fine in (1, 2, 4):
        grid = devices.brute_force(reference, shown, bench.meter, bound, fine)
        if grid.fewest == doubts:
            break
    low, high = float(fit.place.low), float(fit.place.high)
    gaps = (grid.low - low, high - grid.high)
    agrees = grid.fewest == doubts and all(-1e-9 <= gap <= grid.spacing for gap in gaps)
    truth = (Fraction(device.place_V), Fraction(device.gain))
    inside = doubts <= misread and any(region.holds(truth) for region in fit.regions)
    # A device that rounds up shows the lower value at the switching point itself: closed ends only.
    inside = inside or (device.rule == "up" and fit.place.low <= truth[0] <= fit.place.high)
    return agrees, inside, max(gaps), grid.spacing


def main(count: int) -> None:
    """Print how many of the cases agree and hold the truth."""
    started = time.perf_counter()
    results = [compare(seed) for seed in range(count)]
    print(f"cases                               {count}")
    print(f"equal to the grid within its spacing {sum(agrees for agrees, *_ in results)}")
    print(f"truth inside (hard bound)            {sum(inside for _, inside, *_ in results)}")
    print(f"largest gap / its allowance          {max(gap / spacing for *_, gap, spacing in results):.2f}")
    print("disagreeing", [seed for seed, (agrees, *_) in enumerate(results) if not agrees][:20])
    print("outside", [seed for seed, (_, inside, *_) in enumerate(results) if not inside][:20])
    print(f"took {time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
