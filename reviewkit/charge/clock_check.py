"""Whether an offset that no step of the logs confirms agrees with the one knee that both logs show."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.regimes import Phases
from reviewkit.charge.series import FloatArray
from reviewkit.charge.series_resistance import correlation_length
from reviewkit.metrology import COVERAGE, Component, formatting

_FARTHEST_S = 300.0
_REACH_S = 900.0
_LEAST_ROWS = 40
_BENT_S = 45.0
"""Smaller moves may come from the bend of the cell's own curve; from simulated charges."""

_CLEAR = 9.0
"""Log-likelihood, doubled, by which another offset must be better: three standard deviations."""


def checked(record: ChargeRecord, phases: Phases) -> ChargeRecord:
    """Return the record, its clock offset doubted where the logs' own knee contradicts it.

    Parameters
    ----------
    record : ChargeRecord
    phases : Phases

    Notes
    -----
    A charger reaches its voltage limit at one moment: V + R·I rises until the current bends and is level from
    then on. With the two logs apart, V + R·I has a bump there. Where it clearly fits better with the current
    moved, the offset is taken to be wrong by up to so much.
    """
    offset = record.clock_offset
    if offset is None or not record.clock_is_told or phases.knee is None or phases.knee_at_start:
        return record
    found = _moved(record, phases)
    if found is None:
        return record
    size = (abs(found[0]) + found[1]) / COVERAGE
    part = Component("clock offset: against the knee that both logs show", size, "s", "rectangular")
    note = (
        f"{record.clock_note} Beware: at the knee the two logs fit each other with the current log moved by "
        f"{formatting.quantity(found[0], found[1], 's')} more. The offset may be wrong by that much, and its "
        "uncertainty is widened to hold it."
    )
    return replace(record, clock_offset=offset.plus(part), clock_note=note.strip())


def _moved(record: ChargeRecord, phases: Phases) -> tuple[float, float] | None:
    """Return by how much the current log has to move, and how well that is known [s]; None if it fits."""
    assert phases.knee is not None
    knee_s = phases.knee.value
    reach = min(_REACH_S, 0.5 * (phases.end_s - knee_s), 0.8 * (knee_s - phases.plateau_start_s))
    time = record.voltage_V.index.to_numpy(dtype=float)
    near = np.abs(time - knee_s) <= reach
    if near.sum() < _LEAST_ROWS or reach <= 0:
        return None
    time, volts = time[near], record.voltage_V.to_numpy(dtype=float)[near]
    moves = np.arange(-1.0, 1.01, 0.01) * min(_FARTHEST_S, reach / 3)
    left = [_left(record, time, volts, knee_s, reach, float(move)) for move in moves]
    losses = np.array([float(one @ one) for one in left])
    best = int(np.argmin(losses))
    floor = record.voltmeter.resolution**2 / 12
    variance = max(losses[best] / (len(time) - 5), floor) * correlation_length(left[best])
    likely = np.exp(-0.5 * np.minimum((losses - losses[best]) / variance, 700.0))
    likely /= likely.sum()
    middle = float(likely @ moves)
    spread = 2 * math.sqrt(float(likely @ (moves - middle) ** 2))
    unmoved = float(np.interp(0.0, moves, losses))
    clear = (unmoved - losses[best]) / variance > _CLEAR and 0 < best < len(moves) - 1
    told = record.clock_offset.expanded if record.clock_offset else 0.0
    return (middle, spread) if clear and abs(middle) > max(told + spread, _BENT_S) else None


def _left(
    record: ChargeRecord, time: FloatArray, volts: FloatArray, knee_s: float, reach_s: float, move_s: float
) -> FloatArray:
    """Return what is left of V where R·I, moved, and a rise that ends with the current's bend explain it."""
    current = np.interp(time - move_s, record.time_s, record.current)
    since = (time - knee_s - move_s) / reach_s
    rising = np.minimum(since, 0.0)
    design = np.column_stack([np.ones_like(time), rising, rising**2, current])
    solution = np.linalg.lstsq(design, volts, rcond=None)[0]
    return np.asarray(volts - design @ solution, dtype=np.float64)
