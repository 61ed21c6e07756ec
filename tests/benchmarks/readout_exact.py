"""What readings leave against a brute force on random readouts; how often the truth lies inside.

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

from reviewkit.readout import posterior
from reviewkit.readout.feasible_region import solve
from reviewkit.readout.model import Model, Reading, Reference, around

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


def compare(seed: int) -> tuple[bool, bool, float, float]:
    """Return whether the brute force agrees, the truth is inside, the largest gap, and its allowance."""
    device, bench, reference, shown, misread, bound = case(seed)
    own = Reference.of(bench.meter)
    model = Model(Fraction(1, 10), Fraction(3), Fraction(21, 5), bound, own)
    readings = [
        Reading(row, Fraction(read), Fraction(value), own.noise_V)
        for row, (read, value) in enumerate(zip(reference, shown, strict=True))
    ]
    ways = posterior.fewest(readings, model, most=2)
    solved = [solve([one for one in readings if one.row not in way], model) for way in ways]
    regions = [region for region in solved if region is not None]
    doubts = len(ways[0]) if ways else -1
    for fine in (1, 2, 4):
        grid = devices.brute_force(reference, shown, bench.meter, bound, fine)
        if grid.fewest == doubts:
            break
    level = around(region.transition for region in regions)
    gaps = (grid.low - float(level.low), float(level.high) - grid.high)
    agrees = grid.fewest == doubts and all(-1e-9 <= gap <= grid.spacing for gap in gaps)
    truth = (Fraction(device.place_V), Fraction(device.gain))
    inside = doubts <= misread and any(devices.inside(region.corners, truth) for region in regions)
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
