"""How well the bench's own resistance is told apart, over physics-based cells, resistances and meters.

Run: ``python tests/benchmarks/without_rig.py [draws]``. Prints a table; asserts nothing.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pybamm_charges import PhysicsCharge, charge, shown

from reviewkit.charge import burden_correction, series_resistance
from reviewkit.charge.cell_model import Limits
from reviewkit.metrology import meter

CELLS = {
    "Chen2020": {"scale": 0.52, "plateau_A": 0.8, "set_V": 4.2},
    "Ai2020": {"scale": 1.0, "plateau_A": 0.8, "set_V": 4.2},
    "Mohtat2020": {"scale": 0.5, "plateau_A": 0.8, "set_V": 4.2},
    "Marquis2019": {"scale": 3.5, "plateau_A": 0.8, "set_V": 4.1},
    "Prada2013 (LFP)": {"scale": 1.0, "plateau_A": 2.0, "set_V": 3.6, "period_s": 1.0},
}
SERIES_OHM = (0.02, 0.05, 0.10, 0.15)
STEPS = (1e-3, 1e-2)


def one(
    truth: PhysicsCharge, bare: PhysicsCharge, step: float, rng: np.random.Generator, *, astray: bool
) -> tuple[float, ...]:
    """Return errors and their stated uncertainties: resistance, set voltage, time without the rig.

    With `astray` each meter is drawn somewhere within its accuracy; else it reads true but for its display.
    """
    gain_V, gain_A = astray * rng.uniform(-0.0005, 0.0005), astray * rng.uniform(-0.005, 0.005)
    count_V, count_A = astray * rng.uniform(-1, 1, 2) * step
    voltmeter = meter.meter({"accuracy": "±(0.05 % + 1)", "resolution": step}, "V")
    ammeter = meter.meter({"accuracy": "±(0.5 % + 1)", "resolution": step}, "A")
    voltage = shown(truth.cell_V * (1 + gain_V) + count_V, step, rng)
    current = shown(truth.current_A * (1 + gain_A) + count_A * (truth.current_A > 0), step, rng)
    inside = (
        (truth.current_A < 0.97 * truth.plateau_A)
        & (truth.time_s > truth.knee_s)
        & (truth.time_s < truth.duration_s - 1)
    )
    found = series_resistance.regress(voltage[inside], current[inside], voltmeter=voltmeter, ammeter=ammeter)
    if found is None:
        return (np.nan,) * 6
    limits = Limits(
        float(np.median(current[(truth.time_s > 60) & (truth.time_s < truth.knee_s)])),
        found.set_voltage.value,
        found.series_resistance.value,
        float(current[truth.time_s < truth.duration_s - 1][-5:].mean()),
    )
    measured = burden_correction.Charge(
        truth.time_s, voltage, current, truth.knee_s, truth.duration_s, limits
    )
    predicted = burden_correction.predict(measured, truth.series_ohm).duration_s
    return (
        found.series_resistance.value - truth.series_ohm,
        found.series_resistance.expanded,
        found.set_voltage.value - truth.set_V,
        found.set_voltage.expanded,
        predicted.value / bare.duration_s - 1,
        predicted.expanded / bare.duration_s,
    )


def main(draws: int) -> None:
    """Print the worst errors and how often the intervals held, for true meters and for meters astray."""
    for astray in (False, True):
        print("meters within their accuracy" if astray else "meters true but for their display")
        table(draws, astray=astray)


def table(draws: int, *, astray: bool) -> None:
    """Print one table: a row per cell and display step."""
    heads = (f"{what + ' worst':>14s} {'±':>8s} {'held':>7s}" for what in ("R/mΩ", "V/mV", "time/%"))
    print(f"{'cell':18s} {'step':>5s}{''.join(heads)}")
    for cell, how in CELLS.items():
        name = cell.split()[0]
        bare = charge(name, series_ohm=0.0, **how)
        for step in STEPS:
            rng = np.random.default_rng(20)
            rows = np.array(
                [
                    one(charge(name, series_ohm=ohm, **how), bare, step, rng, astray=astray)
                    for ohm in SERIES_OHM
                    for _ in range(draws)
                ]
            )
            rows = rows[np.isfinite(rows[:, 0])]
            held = [np.mean(np.abs(rows[:, column]) <= rows[:, column + 1]) for column in (0, 2, 4)]
            worst = [np.abs(rows[:, column]).max() for column in (0, 2, 4)]
            stated = [np.median(rows[:, column]) for column in (1, 3, 5)]
            scale = (1e3, 1e3, 1e2)
            cells = "".join(
                f"{unit * bad:14.2f} {unit * said:8.2f} {share:7.1%}"
                for unit, bad, said, share in zip(scale, worst, stated, held, strict=True)
            )
            print(f"{cell:18s} {step * 1e3:3.0f} mV{cells}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10)
