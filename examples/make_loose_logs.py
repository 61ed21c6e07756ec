"""Writes two loose logs of one charge, as two meters of two makers might save them.

    python examples/make_loose_logs.py

Invented data: no lamp named Rowan exists. A cell with a straight open-circuit voltage is charged at a
constant current, then at a constant voltage, until the charger stops; what is true of it stands in `TRUTH`.
The two clocks differ by `APART_S`, and each file has a style of its own.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

FOLDER = Path(__file__).parent / "loose_logs"
TRUTH = {"plateau_A": 0.8, "set_V": 4.2, "termination_A": 0.06, "terminates": True}
CAPACITY_AH, CELL_OHM, RIG_OHM = 1.7, 0.09, 0.05
EMPTY_V, FULL_V = 3.35, 4.17
STEP_S, BEFORE_S, AFTER_S, APART_S = 10.0, 300.0, 4200.0, 37.0
STARTED = datetime(2026, 3, 14, 18, 20)


def charge() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return time [s], cell voltage [V] and current [A], row by row."""
    time_s, held_Ah, rows, stopped_s = 0.0, 0.0, [], None
    while stopped_s is None or time_s < stopped_s + AFTER_S:
        open_V = EMPTY_V + (FULL_V + 0.02 - EMPTY_V) * held_Ah / CAPACITY_AH
        wanted_A = min(TRUTH["plateau_A"], (TRUTH["set_V"] - open_V) / (CELL_OHM + RIG_OHM))
        if time_s >= BEFORE_S and wanted_A < TRUTH["termination_A"] and stopped_s is None:
            stopped_s = time_s
        current_A = wanted_A if time_s >= BEFORE_S and stopped_s is None else 0.0
        rows.append((time_s, open_V + CELL_OHM * current_A, current_A))
        held_Ah += current_A * STEP_S / 3600
        time_s += STEP_S
    time, voltage, current = np.array(rows).T
    return time, voltage, current


def write(folder: Path = FOLDER) -> tuple[Path, Path]:
    """Write the voltmeter's log and the ammeter's, and return where they are."""
    time_s, voltage_V, current_A = charge()
    noise = np.random.default_rng(2026)
    folder.mkdir(parents=True, exist_ok=True)
    volts, amps = folder / "volts.csv", folder / "amps.csv"
    shown_V = np.round(voltage_V + noise.normal(0, 3e-4, len(time_s)), 3)
    shown_mA = np.round(1000 * current_A + noise.normal(0, 0.3, len(time_s))) + 0.0
    volts.write_text(
        "Elapsed (s),Voltage (V)\n"
        + "".join(f"{at:.0f},{value:.3f}\n" for at, value in zip(time_s, shown_V, strict=True)),
        encoding="utf-8",
        newline="\n",
    )
    clock = [STARTED + timedelta(seconds=float(at) + APART_S) for at in time_s]
    amps.write_text(
        "Invented data, for demonstration\nDate and time;Current (mA)\n"
        + "".join(f"{at:%Y-%m-%d %H:%M:%S};{value:.0f}\n" for at, value in zip(clock, shown_mA, strict=True)),
        encoding="utf-8",
        newline="\n",
    )
    return volts, amps


if __name__ == "__main__":
    print(*write(), sep="\n")
