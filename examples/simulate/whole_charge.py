"""Random charges for whole simulated reviews: cells, chargers, rigs, meters, clocks and their lapses."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from simulate.cell import Cell
from simulate.charger import Charger, Fold, Pause, Rig
from simulate.drawing import draw
from simulate.meters import Lapse, LoggingMeter
from simulate.scenario import Scenario
from simulate.styles import STYLES, Style

QUARTZ_PPM = 50.0
"""How far a logger's clock may run fast or slow."""

DECLARED_SHARE = 0.2
"""How far the rig's true resistance may lie from what the review declares, as a share of it."""

_VOLTMETERS = ((0.5, 2.0, 1e-3), (0.05, 2.0, 1e-3), (0.1, 3.0, 1e-3), (0.5, 1.0, 1e-2))
_AMMETERS = ((1.0, 3.0, 1e-3), (0.5, 3.0, 1e-3), (0.2, 2.0, 1e-4), (1.2, 2.0, 1e-2))
_OFTEN = (0.35, 0.35, 0.2, 0.1)
"""How often each of the meters turns up: percent, counts, resolution."""

_MOST_RIG_OHM = 0.13
_SLOW_H = 2.5
"""A charger folds back only where the charge is slow enough to be at constant current still."""

_COUNTED = ("plain", "comments")
_CLOCKED = ("tabs", "semicolon", "dated")


@dataclass(frozen=True)
class DrawnCharge:
    """A random charge and what its review declares of it.

    Parameters
    ----------
    scenario : Scenario
    declared : Rig
        Burden and leads as the review file states them.
    """

    scenario: Scenario
    declared: Rig


def draw_charge(rng: np.random.Generator) -> DrawnCharge:
    """Return a random charge: now and then deeply discharged, folded back, interrupted or cut short."""
    base = draw(rng)
    cell, deep = base.cell, bool(rng.random() < 0.25)
    charger = _charger(rng, base.charger, cell)
    if deep:
        # A pause would end this charger's precharge.
        charger = replace(charger, pauses=())
    off = 1 + DECLARED_SHARE * float(rng.uniform(-1.0, 1.0))
    hours = cell.capacity_Ah / charger.plateau_A / min([fold.share for fold in charger.folds] or [1.0])
    plugged_s = float(round(hours * 3600 * 1.25 + 5400 + 3600 * deep))
    voltage_style, current_style = _styles(rng)
    scenario = replace(
        base,
        charger=charger,
        charge_state=float(rng.uniform(-0.004, 0.006)) if deep else base.charge_state,
        rig=Rig(base.rig.burden_ohm * off, base.rig.leads_ohm * off),
        plugged_s=plugged_s,
        after_s=float(rng.choice([3700.0, 3700.0, 3700.0, 1500.0])),
        voltmeter=_meter(rng, _VOLTMETERS, plugged_s),
        ammeter=_meter(rng, _AMMETERS, plugged_s),
        voltage_style=voltage_style,
        current_style=current_style,
    )
    return DrawnCharge(scenario, base.rig)


def _charger(rng: np.random.Generator, charger: Charger, cell: Cell) -> Charger:
    hours = cell.capacity_Ah / charger.plateau_A
    folds, pauses = (), ()
    if rng.random() < 0.15 and hours > _SLOW_H:
        folds = (Fold(float(rng.uniform(0.05, 0.25)) * hours * 3600, float(rng.uniform(0.7, 0.9))),)
    if rng.random() < 0.1:
        pauses = (Pause(float(rng.uniform(0.1, 0.5)) * hours * 3600, float(rng.uniform(60.0, 400.0))),)
    changed = replace(charger, folds=folds, pauses=pauses)
    return _topping_up(changed, cell) if rng.random() < 0.1 else changed


def _topping_up(charger: Charger, cell: Cell) -> Charger:
    """Return a charger that draws a little from the full cell and tops it up again, about once an hour."""
    inside = cell.series_ohm + cell.fast_ohm + cell.slow_ohm + charger.device_ohm + _MOST_RIG_OHM
    rests_V = charger.set_V - (charger.stop_A or 0.0) * inside
    return replace(charger, idle_A=0.006 * cell.capacity_Ah, recharge_below_V=rests_V - 0.004)


def _meter(
    rng: np.random.Generator, kinds: tuple[tuple[float, float, float], ...], lasts_s: float
) -> LoggingMeter:
    """Return a logging meter whose error lies evenly anywhere within its whole statement."""
    percent, counts, resolution = kinds[int(rng.choice(len(kinds), p=_OFTEN))]
    gaps = tuple(
        Lapse(float(rng.uniform(300.0, lasts_s)), float(rng.uniform(10.0, 120.0)))
        for _ in range(int(rng.choice([0, 1, 2], p=[0.6, 0.3, 0.1])))
    )
    return LoggingMeter(
        percent=percent,
        counts=counts,
        resolution=resolution,
        error_share=float(rng.uniform(-1.0, 1.0)),
        counts_hold_rounding=False,
        noise=float(rng.uniform(0.1, 0.8)) * min(resolution, 1e-3),
        interval_s=float(rng.choice([1.0, 2.0, 5.0], p=[0.4, 0.4, 0.2])),
        jitter_s=float(rng.uniform(0.0, 0.05)),
        starts_s=float(rng.uniform(0.0, 30.0)),
        clock_offset_s=float(rng.uniform(-60.0, 60.0)),
        clock_rate_ppm=float(rng.uniform(-QUARTZ_PPM, QUARTZ_PPM)),
        gaps=gaps,
        overload_chance=float(rng.choice([0.0, 3e-4])),
    )


def _styles(rng: np.random.Generator) -> tuple[Style, Style]:
    """Return how the two logs are written: both count seconds, or both show a clock."""
    known = _COUNTED if rng.random() < 0.5 else _CLOCKED
    one, two = (STYLES[known[int(rng.choice(len(known)))]] for _ in range(2))
    return (
        replace(one, value_heading="Voltage ({unit})"),
        replace(two, value_heading="Current ({unit})"),
    )
