"""Charges of physics-based cells whose every truth is known: PyBaMM, SPMe, its published parameter sets."""

from __future__ import annotations

import os
import warnings
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

os.environ["PYBAMM_DISABLE_TELEMETRY"] = "true"

FloatArray = npt.NDArray[np.float64]

REST_BEFORE_S = 180.0
REST_AFTER_S = 4200.0


@dataclass(frozen=True)
class PhysicsCharge:
    """A simulated charge; time counts from charge start, current is positive into the cell.

    Parameters
    ----------
    time_s, cell_V, current_A : array, shape (n,)
        `cell_V` is the cell's own voltage, behind the series resistance.
    series_ohm, set_V, plateau_A, stop_A : float
        The truth.
    duration_s : float [s]
        From charge start to the stop.
    """

    time_s: FloatArray
    cell_V: FloatArray
    current_A: FloatArray
    series_ohm: float
    set_V: float
    plateau_A: float
    stop_A: float
    duration_s: float

    @property
    def knee_s(self) -> float:
        """When the regulation point reached the set voltage: the last moment at full current [s]."""
        full = (self.current_A > 0.9995 * self.plateau_A) & (self.time_s < self.duration_s)
        return float(self.time_s[full][-1])


@cache
def charge(
    cell: str,
    *,
    scale: float,
    plateau_A: float,
    set_V: float,
    stop_A: float = 0.06,
    series_ohm: float = 0.0,
    start_soc: float = 0.05,
    period_s: float = 5.0,
) -> PhysicsCharge:
    """Return one constant-current/constant-voltage charge with a rest before and after.

    Parameters
    ----------
    cell : str
        A parameter set of PyBaMM.
    scale : float
        Capacity and electrode area relative to the published cell.
    series_ohm : float [ohm]
        Between the regulation point and the cell.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pybamm

        pybamm.set_logging_level("ERROR")
        values = pybamm.ParameterValues(cell)
        values["Nominal cell capacity [A.h]"] *= scale
        values["Number of electrodes connected in parallel to make a cell"] *= scale
        values["Contact resistance [Ohm]"] = series_ohm
        steps = (
            f"Rest for {REST_BEFORE_S:g} seconds",
            f"Charge at {plateau_A:g} A until {set_V:g} V",
            f"Hold at {set_V:g} V until {stop_A:g} A",
            f"Rest for {REST_AFTER_S:g} seconds",
        )
        solution = pybamm.Simulation(
            pybamm.lithium_ion.SPMe({"contact resistance": "true"}),
            parameter_values=values,
            experiment=pybamm.Experiment([steps], period=f"{period_s:g} seconds"),
        ).solve(initial_soc=start_soc)
        time = solution["Time [s]"].entries
        current = -solution["Current [A]"].entries
        terminal = solution["Voltage [V]"].entries
    fresh = np.concatenate([[True], np.diff(time) > 0])
    return PhysicsCharge(
        time[fresh] - REST_BEFORE_S,
        terminal[fresh] - series_ohm * current[fresh],
        current[fresh],
        series_ohm,
        set_V,
        plateau_A,
        stop_A,
        float(time[-1] - REST_AFTER_S - REST_BEFORE_S),
    )


def shown(values: FloatArray, step: float, rng: np.random.Generator, noise_steps: float = 0.3) -> FloatArray:
    """Return what a meter with this display step shows, with noise of a fraction of a step."""
    return np.round((values + noise_steps * step * rng.standard_normal(len(values))) / step) * step
