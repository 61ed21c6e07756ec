"""What a plan may foretell of a charge: the taper's time constant and the slope near full, cell by cell.

    python tests/benchmarks/plan_times.py

For simulated cells (PyBaMM, its published parameter sets) at three currents, with 0, 0.1 and 0.3 ohm·Ah in
line. The taper's time constant is the time beyond charge over current, by ln(I/I_end) − 1 + I_end/I; the
slope in volts per rated capacity is what the later end of the charge and the earlier knee each stand for.
`reviewkit.planning.charges` takes its `TAPER_S` and `SLOPE_V` from the rows that charge to 4.1 V or 4.2 V.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from pybamm_charges import PhysicsCharge, charge

CELLS = {
    "Chen2020": (5.0, 4.2),
    "Mohtat2020": (5.0, 4.2),
    "Ai2020": (2.28, 4.2),
    "Marquis2019": (0.680616, 4.1),
    "ORegan2022": (5.0, 4.4),
}
RATES = (0.15, 0.3, 0.6)
IN_LINE_ohm_Ah = (0.1, 0.3)


def run(name: str, rate: float, ohm_Ah: float) -> PhysicsCharge:
    capacity, set_V = CELLS[name]
    return charge(
        name,
        scale=1.0,
        plateau_A=rate * capacity,
        set_V=set_V,
        stop_A=capacity / 30,
        series_ohm=ohm_Ah / capacity,
        period_s=20,
    )


def main() -> None:
    print("cell          I/C   duration/s  taper τ/s   slope by the end, by the knee / V")
    for name in CELLS:
        for rate in RATES:
            bare, ratio = run(name, rate, 0.0), rate * 30
            on = (bare.time_s >= 0) & (bare.time_s <= bare.duration_s)
            held_s = np.trapezoid(bare.current_A[on], bare.time_s[on]) / bare.plateau_A
            taper_s = (bare.duration_s - held_s) / (math.log(ratio) - 1 + 1 / ratio)
            slopes = []
            for ohm_Ah in IN_LINE_ohm_Ah:
                other = run(name, rate, ohm_Ah)
                later, sooner = other.duration_s - bare.duration_s, bare.knee_s - other.knee_s
                by_end = 3600 * ohm_Ah * (math.log(ratio) - 1) / later
                slopes.append(f"{by_end:7.2f} {3600 * ohm_Ah / sooner:7.2f}")
            print(f"{name:12} {rate:5.2f} {bare.duration_s:10.0f} {taper_s:10.0f}   {'   '.join(slopes)}")


if __name__ == "__main__":
    main()
