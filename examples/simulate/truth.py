"""What is exactly true of a simulated charge, under the names that its findings have."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from simulate.charger import Charger, Course, Mode, Rig

_CHARGING = (Mode.PRECHARGE.value, Mode.CURRENT.value, Mode.VOLTAGE.value)
WITHIN_SHARE, WITHIN_V = 0.03, 0.010
"""How near the current must be to its plateau, or the regulation point to its set voltage."""


@dataclass(frozen=True)
class Truth:
    """Exact values; times are from charge start, units are those of the findings; None: there is none.

    The charge and energy delivered are the main charge's; top-ups come on top.
    """

    start_voltage: float
    precharge_current: float | None
    precharge_end: float | None
    plateau_current: float | None
    plateau_droop: float | None
    knee_time: float | None
    knee_voltage: float | None
    hold_voltage: float | None
    set_voltage: float | None
    series_resistance: float
    device_resistance: float
    peak_voltage: float
    settled_voltage_10min: float | None
    settled_voltage_60min: float | None
    termination_current: float | None
    termination_time: float | None
    terminates: bool
    current_after: float | None
    delivered: float
    delivered_energy: float
    delivered_with_top_ups: float
    delivered_before_knee: float | None
    time_to_80: float
    limit_adherence: float | None
    interruptions: int
    top_ups: int
    charge_start: float
    duration: float

    def as_dict(self) -> dict[str, Any]:
        """Return the values by name, numbers to nine significant digits."""
        return {name: tidy(value) for name, value in asdict(self).items()}


def tidy(value: Any) -> Any:
    """Return a number to nine significant digits, rounding dust as 0, anything else as it is."""
    if not isinstance(value, float):
        return value
    return float(f"{value:.9g}") if abs(value) > 1e-9 else 0.0


def of(course: Course, charger: Charger, rig: Rig, *, plugged_s: float) -> Truth:
    """Return the truth of a simulated charge.

    Parameters
    ----------
    course : Course
    charger : Charger
    rig : Rig
    plugged_s : float [s]
        How long the cable was in.
    """
    step_s = float(course.time_s[1] - course.time_s[0])
    rows = np.flatnonzero(course.main)
    first, stop = int(rows[0]), int(rows[-1]) + 1
    held = np.flatnonzero((course.mode == Mode.VOLTAGE.value) & course.main)
    knee = int(held[0]) if len(held) else None
    steps_Ah = np.where(course.main, course.current_A, 0.0) * step_s / 3600
    grown_Ah = np.cumsum(steps_Ah)
    delivered = float(grown_Ah[-1])
    ended = bool((course.mode == Mode.DONE.value).any())
    start_s = float(course.time_s[first])
    return Truth(
        start_voltage=float(course.cell_V[max(first - 1, 0)]),
        **_precharge(course, start_s, step_s),
        **_plateau(course, knee, stop),
        knee_time=None if knee is None else float(course.time_s[knee]) - start_s,
        knee_voltage=None if knee is None else float(course.cell_V[knee]),
        hold_voltage=None if knee is None else _hold(course, knee, stop),
        set_voltage=None if knee is None else charger.set_V,
        series_resistance=charger.device_ohm + rig.series_ohm,
        device_resistance=charger.device_ohm,
        peak_voltage=float(course.cell_V[course.mode != Mode.UNPLUGGED.value].max()),
        settled_voltage_10min=_settled(course, start_s + plugged_s + 600),
        settled_voltage_60min=_settled(course, start_s + plugged_s + 3600),
        termination_current=float(course.current_A[stop - 1]) if ended else None,
        termination_time=(stop - first) * step_s if ended else None,
        terminates=ended,
        current_after=-charger.idle_A if ended else None,
        delivered=delivered,
        delivered_energy=float((steps_Ah * course.cell_V).sum()),
        delivered_with_top_ups=float(course.current_A.clip(min=0.0).sum()) * step_s / 3600,
        delivered_before_knee=None if knee is None else 100 * float(grown_Ah[knee - 1]) / delivered,
        time_to_80=float(np.interp(0.8 * delivered, grown_Ah[first:stop], np.arange(stop - first) + 1.0))
        * step_s,
        limit_adherence=_adherence(course, charger, knee, stop),
        interruptions=_stretches((course.mode == Mode.INTERRUPTED.value) & course.main),
        top_ups=course.top_ups,
        charge_start=start_s,
        duration=(stop - first) * step_s,
    )


def _precharge(course: Course, start_s: float, step_s: float) -> dict[str, float | None]:
    low = np.flatnonzero(course.mode == Mode.PRECHARGE.value)
    if not len(low):
        return {"precharge_current": None, "precharge_end": None}
    return {
        "precharge_current": float(np.median(course.current_A[low])),
        "precharge_end": float(course.time_s[low[-1]]) + step_s - start_s,
    }


def _constant(course: Course, knee: int | None, stop: int) -> np.ndarray:
    """Return the rows of constant current between the end of precharge and the knee."""
    rows = np.flatnonzero(course.main & (course.mode == Mode.CURRENT.value))
    return rows[rows < (stop if knee is None else knee)]


def _plateau(course: Course, knee: int | None, stop: int) -> dict[str, float | None]:
    rows = _constant(course, knee, stop)
    if len(rows) < 3:
        return {"plateau_current": None, "plateau_droop": None}
    time, current = course.time_s[rows], course.current_A[rows]
    slope, level = np.polyfit(time - time[0], current, 1)
    return {
        "plateau_current": float(np.median(current)),
        "plateau_droop": float(100 * slope * (time[-1] - time[0]) / level),
    }


def _hold(course: Course, knee: int, stop: int) -> float:
    rows = np.arange(knee + (stop - knee) // 2, stop)
    return float(np.median(course.cell_V[rows[course.mode[rows] == Mode.VOLTAGE.value]]))


def _settled(course: Course, moment_s: float) -> float | None:
    if moment_s > course.time_s[-1]:
        return None
    return float(np.interp(moment_s, course.time_s, course.cell_V))


def _adherence(course: Course, charger: Charger, knee: int | None, stop: int) -> float | None:
    """Return the share of the time from precharge to the end at one of the two limits [%]."""
    rows = np.flatnonzero(course.main & np.isin(course.mode, _CHARGING[1:]))
    plateau = _plateau(course, knee, stop)["plateau_current"]
    if not len(rows):
        return None
    at_voltage = np.abs(course.regulation_V[rows] - charger.set_V) <= WITHIN_V
    at_current = np.zeros(len(rows), dtype=bool)
    if plateau is not None:
        at_current = np.abs(course.current_A[rows] - plateau) <= WITHIN_SHARE * plateau
    return float(100 * (at_voltage | at_current).mean())


def _stretches(inside: np.ndarray) -> int:
    return int(np.sum(np.diff(np.concatenate([[False], inside]).astype(int)) == 1))
