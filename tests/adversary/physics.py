"""Charges of physics-based cells as a second source: PyBaMM, SPMe, its published parameter sets."""

from __future__ import annotations

import os
import warnings
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from adversary.cells import CellModel
from adversary.chargers import Charger, Regime
from adversary.course import Course

os.environ["PYBAMM_DISABLE_TELEMETRY"] = "true"

CELLS: dict[str, tuple[tuple[str, dict[str, float]], ...]] = {
    "NMC": (("Chen2020", {}), ("Mohtat2020", {})),
    "LFP": (("Prada2013", {}), ("Prada2013", {"Positive particle radius [m]": 2.0})),
}
"""Published parameter sets, some values of theirs multiplied: two cells of each chemistry."""

RIG_OHM, DEVICE_OHM = 0.05, 0.03
PLUGGED_S, PULLED_AFTER_S = 150.0, 1800.0
_SET_V = {"NMC": 4.17, "LFP": 3.58}
_RATE, _STOP = 0.5, 0.05
_CUT_S = 100.0


@dataclass(frozen=True)
class Physics:
    """A charge of a physics-based cell, and the charger that gave it; `pulled_s` where the cable was."""

    cell: CellModel
    charger: Charger
    course: Course
    pulled_s: float | None


def _steps(habit: str, amps: float, set_V: float) -> list[tuple[str, Regime]]:
    """Return an experiment's steps, each with its regime."""
    full = (f"Charge at {amps:g} A until {set_V} V", Regime.CURRENT)
    hold = (f"Hold at {set_V} V until {amps * _STOP / _RATE:g} A", Regime.VOLTAGE)
    some = (f"Charge at {amps:g} A for 20 minutes", Regime.CURRENT)
    rest = ("Rest for 6000 seconds", Regime.DONE)
    return {
        "plain": [full, hold, rest],
        "nearly full": [full, hold, rest],
        "cut": [some, (f"Rest for {_CUT_S:g} seconds", Regime.CUT), full, hold, rest],
        "fold": [some, (f"Charge at {0.8 * amps:g} A until {set_V} V", Regime.CURRENT), hold, rest],
        "trickle": [full, (f"Hold at {set_V} V for 6 hours", Regime.VOLTAGE)],
        "log ends": [full, (f"Hold at {set_V} V for 6 minutes", Regime.VOLTAGE)],
    }[habit]


HABITS = ("plain", "nearly full", "cut", "fold", "trickle", "log ends")


@cache
def charge(chemistry: str, variant: int, habit: str) -> Physics:
    """Return one charge; the same call costs nothing the second time."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pybamm

        pybamm.set_logging_level("ERROR")
        name, factors = CELLS[chemistry][variant]
        values = pybamm.ParameterValues(name)
        for key, factor in factors.items():
            values[key] = values[key] * factor
        values["Contact resistance [Ohm]"] = RIG_OHM + DEVICE_OHM
        capacity_Ah = float(values["Nominal cell capacity [A.h]"])
        amps, set_V = _RATE * capacity_Ah, _SET_V[chemistry]
        steps = _steps(habit, amps, set_V)
        text = (f"Rest for {PLUGGED_S:g} seconds", *(step for step, _ in steps))
        solution = pybamm.Simulation(
            pybamm.lithium_ion.SPMe({"contact resistance": "true"}),
            parameter_values=values,
            experiment=pybamm.Experiment([text], period="4 seconds"),
        ).solve(initial_soc=0.9 if habit == "nearly full" else 0.15)
        course = _course(solution.cycles[0].steps, [Regime.BEFORE, *(regime for _, regime in steps)])
    done = course.first(Regime.DONE)
    charger = Charger(
        set_V,
        amps,
        DEVICE_OHM,
        None if done is None else amps * _STOP / _RATE,
        cuts=((1200.0, _CUT_S),) if habit == "cut" else (),
    )
    cell = CellModel(chemistry, capacity_Ah, 0.03, 0.0, 0.0, pairs=())
    return Physics(cell, charger, course, None if done is None else done + PULLED_AFTER_S)


def _course(steps: list[Any], regimes: list[Regime]) -> Course:
    """Return the corner points of a solution; the cell's own voltage is behind the contact resistance."""
    parts = []
    for step, regime in zip(steps, regimes, strict=True):
        if not hasattr(step, "all_ys"):
            continue  # over before it began: the voltage was reached already
        time, amps = step["Time [s]"].entries, -step["Current [A]"].entries
        volts = step["Voltage [V]"].entries
        cell_V = volts - (RIG_OHM + DEVICE_OHM) * amps
        if parts:
            # A step begins a moment after the one before; here it is a jump.
            time = np.r_[parts[-1][0, -1], time[1:]]
        parts.append(np.array([time, amps, cell_V, volts, np.full(len(time), float(regime))]))
    columns = np.concatenate(parts, axis=1)
    return Course(*columns[:4], columns[4].astype(int))
