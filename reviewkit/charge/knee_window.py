"""Where the constant-voltage phase lies, roughly: the longest stretch to the end in which V + R·I stands.

Behind a series resistance R the regulation point is at V_cell + R·I. The stretch is grown from the last part
of the charge, in which the voltage hardly moves while the current still falls.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.segments import Segments
from reviewkit.charge.series import FloatArray
from reviewkit.logs import decimation

_CELLS = 4000
_ROWS = 20 * _CELLS
_END_BANDS_V = (0.008, 0.016, 0.032)
"""Voltages within which the end of the charge is looked at; the wider for a larger series resistance."""

_ASTRAY_S = 180.0
_LEAST_FALL = 0.05
_ROUNDS = 40
_MOST_OHM = 1.0
_LEAST_ROWS = 12
_LONGER = (2.0, 1.0, 0.5, 0.25, 0.125)
_END_ROWS = 5


@dataclass(frozen=True)
class Coarse:
    """Cell averages over an even grid; rows without charge current left out."""

    time_s: FloatArray
    voltage_V: FloatArray
    current_A: FloatArray


def coarse_of(record: ChargeRecord, main: Segments, from_s: float) -> Coarse:
    """Return cell averages of at most a few thousand equal time steps, interruptions left out."""
    inside = np.zeros(len(record.time_s), dtype=bool)
    for segment in main.charging:
        inside[segment.first : segment.last + 1] = True
    inside &= (record.time_s >= from_s) & np.isfinite(record.voltage)
    # The last row may average over the cut-off, and the voltage beside it reach beyond.
    inside[main.charging[-1].last] = False
    margin = record.voltage_interval_s
    if record.clock_is_told:
        # An offset that no step confirms may set the voltage's own end minutes apart from the current's.
        margin = max(margin, min(_ASTRAY_S, 0.1 * (main.charging[-1].last_s - from_s)))
    inside &= record.time_s < main.charging[-1].last_s - margin
    rows = np.flatnonzero(inside)
    rows = rows[decimation.rows(len(rows), _ROWS)]
    time, voltage, current = record.time_s[rows], record.voltage[rows], record.current[rows]
    if len(time) < 10:
        return Coarse(time, voltage, current)
    step = max(record.interval_s, float(time[-1] - time[0]) / _CELLS)
    place = ((time - time[0]) / step).astype(np.int64)
    count = np.bincount(place)
    filled = np.flatnonzero(count)
    columns = [np.bincount(place, values)[filled] / count[filled] for values in (time, voltage, current)]
    return Coarse(*columns)


def hold_window(coarse: Coarse, record: ChargeRecord, level_A: float) -> tuple[int, float, float] | None:
    """Return where the constant-voltage phase begins, with set voltage and series resistance."""
    current, step = coarse.current_A, record.voltmeter.resolution
    least = max(_LEAST_FALL * float(np.median(current[-_END_ROWS:])), 4 * record.noise_A)
    for band_V in _END_BANDS_V:
        first = _late_part(coarse.voltage_V, max(band_V, 1.6 * step))
        if _fall(current, first) < least:
            continue
        first, set_V, ohm = _further(coarse, *_grown(coarse, first, step), step)
        if _fall(current, first) > _LEAST_FALL * level_A:
            return first, set_V, ohm
    return None


def _grown(coarse: Coarse, first: int, step: float) -> tuple[int, float, float]:
    """Return the longest stretch to the end in which V + R·I is constant, grown from its last part."""
    voltage, current = coarse.voltage_V, coarse.current_A
    set_V, ohm = _line(voltage[first:], current[first:])
    for _ in range(_ROUNDS):
        left = voltage[first:] + ohm * current[first:] - set_V
        tolerance = max(0.0025, 0.6 * step, 4 * float(np.std(left)))
        regulation = _smooth(voltage + ohm * current - set_V)
        below = np.flatnonzero(regulation < -tolerance)
        reached = int(below[-1]) + 1 if len(below) else 0
        # Grow step by step: a resistance read off a small span of current does not reach far.
        target = max(reached, first - (len(voltage) - first))
        if abs(target - first) <= 1 or len(voltage) - target < 4:
            break
        first = target
        set_V, ohm = _line(voltage[first:], current[first:])
    return first, set_V, ohm


def _further(coarse: Coarse, first: int, set_V: float, ohm: float, step: float) -> tuple[int, float, float]:
    """Return the stretch grown on with the line drawn anew each time: a coarse display bends a short one."""
    voltage, current = coarse.voltage_V, coarse.current_A
    scatter = float(np.std(voltage[first:] + ohm * current[first:] - set_V))
    tolerance = max(0.0025, 0.75 * step, 4 * scatter)
    length = len(voltage)
    while first > 0:
        # A display's steps may lie badly for one length of the stretch: a longer one may fit again.
        tries = (max(0, first - max(1, int(share * (length - first)))) for share in _LONGER)
        found = next((one for one in tries if _fits(coarse, one, tolerance)), None)
        if found is None:
            break
        first = found
        set_V, ohm = _line(voltage[first:], current[first:])
    return first, set_V, ohm


def _fits(coarse: Coarse, first: int, tolerance: float) -> bool:
    """Whether V + R·I stands within a tolerance from a row to the end, for some R."""
    voltage, current = coarse.voltage_V[first:], coarse.current_A[first:]
    set_V, ohm = _line(voltage, current)
    return bool(np.abs(_smooth(voltage + ohm * current - set_V)).max() <= tolerance)


def falls_from(coarse: Coarse, first: int, *, noise_A: float, step_A: float) -> int:
    """Return the row of a stretch from which on the current falls.

    A voltage that hardly rises looks held even while the current is still the plateau's.

    Parameters
    ----------
    coarse : Coarse
    first : int
        The stretch's first row.
    noise_A, step_A : float [A]
        Of the current's readings and of their display.
    """
    time, current = coarse.time_s[first:], _smooth(coarse.current_A[first:])
    level = float(np.median(current[:_END_ROWS]))
    least = max(4 * noise_A, 0.6 * step_A, 0.003 * level)
    once, twice = (time[np.flatnonzero(current >= level - many * least)[-1]] for many in (1, 2))
    # It fell as much again in as long again: so long before, it had not fallen at all.
    return first + int(np.searchsorted(time, 2 * once - twice))


def _late_part(voltage: FloatArray, band_V: float) -> int:
    """Return the row from which on half of the last stretch lies whose voltage stays within a band."""
    apart = np.flatnonzero(np.abs(voltage - np.median(voltage[-_END_ROWS:])) > band_V)
    first = int(apart[-1]) + 1 if len(apart) else 0
    return max(0, min(first + (len(voltage) - first) // 2, len(voltage) - _LEAST_ROWS))


def _fall(current: FloatArray, first: int) -> float:
    """Return by how much the current falls from a row to the end [A]."""
    return float(np.median(current[first : first + _END_ROWS]) - np.median(current[-_END_ROWS:]))


def _line(voltage: FloatArray, current: FloatArray) -> tuple[float, float]:
    """Return set voltage and series resistance of a stretch: V = V_set − R·I, R not negative."""
    centre_V, centre_A = float(voltage.mean()), float(current.mean())
    spread = float(((current - centre_A) ** 2).sum())
    slope = float(((current - centre_A) * (voltage - centre_V)).sum()) / spread if spread > 0 else 0.0
    ohm = min(max(-slope, 0.0), _MOST_OHM)
    return centre_V + ohm * centre_A, ohm


def _smooth(values: FloatArray) -> FloatArray:
    """Return the median of three neighbours."""
    if len(values) < 3:
        return values
    inner = np.median(np.stack([values[:-2], values[1:-1], values[2:]]), axis=0)
    return np.concatenate([values[:1], inner, values[-1:]])
