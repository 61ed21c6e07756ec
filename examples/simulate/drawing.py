"""Random benches: cells, chargers, rigs and meters such as may turn up, from one seed."""

from __future__ import annotations

import numpy as np

from simulate.cell import Cell, Chemistry
from simulate.charger import Charger, Rig
from simulate.meters import LoggingMeter
from simulate.scenario import Scenario

_FULL_V = {"NMC": 4.20, "LFP": 3.62}
_PRECHARGE_BELOW_V = 3.0


def draw(rng: np.random.Generator, *, chemistry: Chemistry | None = None, rig: bool = True) -> Scenario:
    """Return a random bench: an unremarkable CC-CV charge, two meters of 1 mV and 1 mA.

    Parameters
    ----------
    rng : numpy.random.Generator
    chemistry : {"NMC", "LFP"} or None
        None: drawn.
    rig : bool
        Whether the bench has any resistance of its own.
    """
    kind: Chemistry = chemistry or ("LFP" if rng.random() < 0.2 else "NMC")
    cell = _cell(rng, kind)
    charger = _charger(rng, cell)
    bench = Rig(float(rng.uniform(0.005, 0.06)), float(rng.uniform(0.005, 0.05))) if rig else Rig(0.0, 0.0)
    hours = cell.capacity_Ah / charger.plateau_A
    return Scenario(
        cell=cell,
        charger=charger,
        rig=bench,
        voltmeter=_meter(rng, percent=0.05, starts_s=float(rng.uniform(0.0, 20.0))),
        ammeter=_meter(rng, percent=0.4, starts_s=float(rng.uniform(0.0, 20.0))),
        charge_state=float(rng.uniform(0.03, 0.35)),
        before_s=float(rng.integers(60, 180)),
        plugged_s=float(round(hours * 3600 * 1.25 + 5400)),
        seed=int(rng.integers(2**31)),
    )


def _cell(rng: np.random.Generator, chemistry: Chemistry) -> Cell:
    capacity = float(rng.uniform(0.7, 5.0))
    return Cell(
        chemistry=chemistry,
        capacity_Ah=capacity,
        series_ohm=float(rng.uniform(0.08, 0.16)) / capacity,
        fast_ohm=float(rng.uniform(0.02, 0.06)) / capacity,
        fast_s=float(rng.uniform(10.0, 60.0)),
        slow_ohm=float(rng.uniform(0.05, 0.12)) / capacity,
        slow_s=float(rng.uniform(1000.0, 3600.0)),
    )


def _charger(rng: np.random.Generator, cell: Cell) -> Charger:
    plateau = float(rng.uniform(0.15, 0.7)) * cell.capacity_Ah
    return Charger(
        plateau_A=plateau,
        set_V=_FULL_V[cell.chemistry] + float(rng.uniform(-0.04, 0.02)),
        stop_A=float(rng.uniform(0.06, 0.18)) * plateau,
        precharge_A=0.1 * plateau,
        precharge_below_V=_PRECHARGE_BELOW_V,
        device_ohm=float(rng.uniform(0.0, 0.12)),
        idle_A=float(rng.choice([0.0, 0.0005, 0.002])),
    )


def _meter(rng: np.random.Generator, *, percent: float, starts_s: float) -> LoggingMeter:
    return LoggingMeter(
        percent=percent,
        counts=1.0,
        resolution=1e-3,
        error_share=float(rng.uniform(-1.0, 1.0)),
        noise=float(rng.uniform(0.1e-3, 0.8e-3)),
        interval_s=float(rng.choice([1.0, 2.0])),
        jitter_s=float(rng.uniform(0.0, 0.05)),
        starts_s=starts_s,
        clock_rate_ppm=float(rng.uniform(-20.0, 20.0)),
    )
