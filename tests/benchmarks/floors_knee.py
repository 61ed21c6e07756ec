"""How well the best fit of its kind reads the knee's bend out of the current log."""

from __future__ import annotations

import numpy as np
from simulate import Course, Run
from simulate.charger import Mode

_WINDOWS_S = np.geomspace(10.0, 2000.0, 16)
_LEAST_ROWS = 10


def first_held(course: Course) -> int | None:
    """Return the first step of constant voltage in the main charge."""
    rows = np.flatnonzero((course.mode == Mode.VOLTAGE.value) & course.main)
    return int(rows[0]) if len(rows) else None


def held(run: Run) -> np.ndarray | None:
    """Return the steps of constant voltage in the main charge; None where they are too few for a line."""
    rows = np.flatnonzero((run.course.mode == Mode.VOLTAGE.value) & run.course.main)
    return rows if len(rows) > 100 else None


def current(run: Run) -> float:
    """Return the current just before the knee [A]."""
    first = first_held(run.course)
    return float(run.course.current_A[max((first or 1) - 1, 0)])


def bend(run: Run, sigma_A: float) -> tuple[float, float]:
    """Return the standard deviation of the bend's place [s], and by how much the slope changes there [A/s].

    A line that bends into a parabola is fitted about the knee, in the window that is best for it: a long one
    averages more noise, a short one is bent less by what is no parabola. Which one is best is known here.
    """
    first = first_held(run.course)
    if not first:
        return 0.0, np.inf
    interval = run.scenario.ammeter.interval_s
    found = [_in_window(run.course, first, reach, interval, sigma_A) for reach in _WINDOWS_S]
    return min((one for one in found if one is not None), default=(0.0, np.inf))


def _in_window(
    course: Course, first: int, reach_s: float, interval_s: float, sigma_A: float
) -> tuple[float, float] | None:
    rows = np.flatnonzero(np.abs(course.time_s - course.time_s[first]) <= reach_s)
    rows = rows[course.main[rows]][:: int(interval_s)]
    time, truth = course.time_s[rows] - course.time_s[first], course.current_A[rows]
    if (time < 0).sum() < _LEAST_ROWS / 2 or (time > 0).sum() < _LEAST_ROWS / 2:
        return None
    after = np.maximum(time, 0.0) / reach_s
    design = np.column_stack([np.ones_like(time), time / reach_s, after, after**2])
    fitted = np.linalg.lstsq(design, truth, rcond=None)[0]
    moved = -(fitted[2] * (time > 0) + 2 * fitted[3] * after) / reach_s
    whole = np.column_stack([design, moved])
    inverse = np.linalg.pinv(whole.T @ whole)
    astray = float((inverse @ whole.T @ (truth - design @ fitted))[-1])
    return float(np.hypot(sigma_A * np.sqrt(inverse[-1, -1]), astray)), abs(float(fitted[2])) / reach_s
