"""Random meters, what the review declares of them, and limits some way off the truth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from adversary.cells import CellModel
from adversary.course import Course
from adversary.meters import LogMeter, Range

Rng = np.random.Generator
DECLARED_SHARE = 0.2
"""How far burden and leads may be from what the review declares of them, as a share."""

_SET_S, _OTHER_ZONE = 60.0, 0.015
"""Clocks are set by hand to a minute; now and then one shows another zone's hour: chosen."""

_PPM = 50.0
"""A quartz clock's rate: common practice, no source. Two of them are up to 100 ppm apart."""


@dataclass(frozen=True)
class Bench:
    """Both meters, and the review file's cell and meters."""

    voltmeter: LogMeter
    ammeter: LogMeter
    declared: dict[str, Any]

    @property
    def rig_declared_ohm(self) -> float:
        """Burden and leads as declared [ohm]."""
        ammeter = self.declared["ammeter"]
        return float(ammeter["burden_ohm"] + ammeter["leads_ohm"])


def draw_bench(rng: Rng, course: Course, cell: CellModel, rig_ohm: float) -> Bench:
    """Return a random bench for a course."""
    last, dated = float(course.time_s[-1]), bool(rng.random() < 0.7)
    step_V = float(rng.choice([1e-4, 1e-3, 1e-2], p=[0.15, 0.6, 0.25]))
    volts = Range(float(rng.choice([0.05, 0.1, 0.5])), float(rng.integers(1, 4)), step_V)
    voltmeter = _meter(rng, (volts,), last, dated=dated)
    ammeter = _meter(rng, _ampere_ranges(rng, float(course.current_A.max())), last, dated=dated)
    declared_ohm = rig_ohm / (1 + DECLARED_SHARE * float(rng.uniform(-1.0, 1.0)))
    burden = round(0.6 * declared_ohm, 5)
    declared = {
        "cell": _cell(rng, cell, course),
        "voltmeter": _block(voltmeter, "V"),
        "ammeter": {
            **_block(ammeter, "A"),
            "burden_ohm": burden,
            "leads_ohm": round(declared_ohm - burden, 5),
        },
    }
    return Bench(voltmeter, ammeter, declared)


def _ampere_ranges(rng: Rng, most_A: float) -> tuple[Range, ...]:
    percent, counts = float(rng.choice([0.2, 0.5, 1.0])), float(rng.integers(1, 5))
    step = float(rng.choice([1e-4, 1e-3, 1e-2, 0.0], p=[0.15, 0.5, 0.2, 0.15]))
    if step:
        return (Range(percent, counts, step),)
    top = 6.0 if most_A > 0.55 else 0.6
    return tuple(
        Range(percent, counts, full_scale / 6000, full_scale)
        for full_scale in (0.06, 0.6, 6.0)
        if full_scale <= top
    )


def _meter(rng: Rng, ranges: tuple[Range, ...], last_s: float, *, dated: bool) -> LogMeter:
    every = float(rng.choice([1.0, 2.0, 5.0, 10.0, 30.0], p=[0.35, 0.25, 0.2, 0.15, 0.05]))
    together = bool(rng.random() < 0.5)
    errors = []
    for _ in ranges:
        share = float(rng.uniform(-1, 1))
        errors.append((share, share if together else float(rng.uniform(-1, 1))))
    finest = min(one.resolution for one in ranges)
    return LogMeter(
        ranges,
        tuple(errors),
        drift=float(rng.choice([0.0, rng.uniform(0.0, 0.1)], p=[0.7, 0.3])),
        noise=float(rng.uniform(0.05, 0.9)) * min(finest, 1e-3),
        interval_s=every,
        jitter_s=float(rng.uniform(0.0, 0.05)),
        rates=_rates(rng, every, last_s),
        averages=bool(rng.random() < 0.2),
        starts_s=float(rng.uniform(0.0, 40.0)),
        ends_s=last_s - float(rng.uniform(0.0, 60.0)),
        gaps=_gaps(rng, last_s),
        ahead_s=float(rng.uniform(-_SET_S, _SET_S)) + 3600.0 * (dated and rng.random() < _OTHER_ZONE),
        rate_ppm=float(rng.uniform(-_PPM, _PPM)),
        stamp_s=float(rng.choice([0.001, 1.0], p=[0.65, 0.35])),
        dated=dated,
    )


def _rates(rng: Rng, every_s: float, last_s: float) -> tuple[tuple[float, float], ...]:
    if rng.random() > 0.1:
        return ()
    moments = np.sort(rng.uniform(0.05, 0.95, int(rng.integers(1, 5)))) * last_s
    choice = [every_s, 1.0, 5.0, 20.0, 60.0]
    return tuple((float(moment), float(rng.choice(choice))) for moment in moments)


def _gaps(rng: Rng, last_s: float) -> tuple[tuple[float, float], ...]:
    short, long = rng.random() < 0.25, rng.random() < 0.12
    lengths = [float(rng.uniform(8, 120)) for _ in range(int(rng.integers(1, 3)) if short else 0)]
    lengths += [float(rng.uniform(120, 1500))] if long else []
    return tuple((float(rng.uniform(120.0, max(last_s - length, 121.0))), length) for length in lengths)


def _block(meter: LogMeter, unit: str) -> dict[str, Any]:
    """Return what the review file says of a meter."""
    blocks = [
        {
            "accuracy": f"±({one.percent:g} % + {one.counts:g})",
            "resolution": one.resolution,
            **({"full_scale": one.full_scale} if one.full_scale else {}),
        }
        for one in meter.ranges
    ]
    name = "logger V" if unit == "V" else "logger A"
    return {"name": name, **(blocks[0] if len(blocks) == 1 else {"ranges": blocks})}


def _cell(rng: Rng, cell: CellModel, course: Course) -> dict[str, Any]:
    """Return the cell as declared; its limits lie where the truth is clearly on one side of them."""
    limit = 3.65 if cell.chemistry == "LFP" else 4.2
    most = float(course.current_A.max())
    return {
        "label": "test cell",
        "chemistry": cell.chemistry,
        "rated_capacity_Ah": round(cell.capacity_Ah * float(rng.uniform(0.9, 1.15)), 2),
        "charge_limit_V": limit,
        "charge_limit_tolerance_V": 0.05,
        "max_charge_A": round(most * float(rng.uniform(0.85, 1.3)), 3),
    }
