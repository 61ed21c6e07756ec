"""The knee: the moment the charger's regulation point reaches its set voltage.

Found twice. First roughly, from the voltage: behind a series resistance R the regulation point is at
V_cell + R·I, and the constant-voltage phase is the longest stretch before the end in which that is constant.
Then finely, from the bend that the current makes there, or the regulation point's voltage where the current
was falling already.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.rig import correlation_length
from reviewkit.charge.segments import Segments
from reviewkit.charge.series import FloatArray
from reviewkit.uncertainty import Component, Measured

_CELLS = 4000
_END_BANDS_V = (0.008, 0.016, 0.032)
"""Voltages within which the end of the charge is looked at; the wider for a larger series resistance."""

_LEAST_FALL = 0.05
_ROUNDS = 40
_MOST_OHM = 1.0
_LEAST_ROWS = 12
_END_ROWS = 5
_PLACES = 101


@dataclass(frozen=True)
class Knee:
    """Where the constant-voltage phase begins.

    Parameters
    ----------
    moment : Measured [s]
        On the record's clock.
    set_V : float [V]
        Rough set voltage at the regulation point.
    series_ohm : float [ohm]
        Rough resistance between it and the cell.
    from_start : bool
        Whether the charge was at its voltage limit from its first reading on.
    """

    moment: Measured
    set_V: float
    series_ohm: float
    from_start: bool


@dataclass(frozen=True)
class Coarse:
    """Cell averages over an even grid; rows without charge current left out."""

    time_s: FloatArray
    voltage_V: FloatArray
    current_A: FloatArray


def find(record: ChargeRecord, main: Segments, *, from_s: float) -> Knee | None:
    """Return the knee, or None if the charge shows no constant-voltage phase.

    Parameters
    ----------
    record : ChargeRecord
    main : Segments
    from_s : float [s]
        End of precharge or charge start.
    """
    coarse = _coarse(record, main, from_s)
    if len(coarse.time_s) < 10:
        return None
    rough = _hold_window(coarse, record, main.level_A)
    if rough is None:
        return None
    first, set_V, series_ohm = rough
    # Within the first few rows the two logs and the grid cannot tell "soon" from "at once".
    grid_s = (coarse.time_s[-1] - coarse.time_s[0]) / len(coarse.time_s)
    soon_s = max(3 * record.interval_s, 3 * record.voltage_interval_s, 2 * grid_s)
    if first == 0 or coarse.time_s[first] - from_s < soon_s:
        return Knee(Measured(from_s, "s"), set_V, series_ohm, from_start=True)
    moment = _refined(record, main, float(coarse.time_s[first]), from_s, set_V, series_ohm)
    return Knee(moment, set_V, series_ohm, from_start=False)


def _coarse(record: ChargeRecord, main: Segments, from_s: float) -> Coarse:
    """Return cell averages of at most a few thousand equal time steps, interruptions left out."""
    inside = np.zeros(len(record.time_s), dtype=bool)
    for segment in main.charging:
        inside[segment.first : segment.last + 1] = True
    inside &= (record.time_s >= from_s) & np.isfinite(record.voltage)
    # The last row may average over the cut-off, and the voltage beside it reach beyond.
    inside[main.charging[-1].last] = False
    inside &= record.time_s < main.charging[-1].last_s - record.voltage_interval_s
    time, voltage, current = record.time_s[inside], record.voltage[inside], record.current[inside]
    if len(time) < 10:
        return Coarse(time, voltage, current)
    step = max(record.interval_s, float(time[-1] - time[0]) / _CELLS)
    place = ((time - time[0]) / step).astype(np.int64)
    count = np.bincount(place)
    filled = np.flatnonzero(count)
    columns = [np.bincount(place, values)[filled] / count[filled] for values in (time, voltage, current)]
    return Coarse(*columns)


def _hold_window(coarse: Coarse, record: ChargeRecord, level_A: float) -> tuple[int, float, float] | None:
    """Return where the constant-voltage phase begins, with set voltage and series resistance."""
    current, step = coarse.current_A, record.voltmeter.resolution
    least = max(_LEAST_FALL * float(np.median(current[-_END_ROWS:])), 4 * record.noise_A)
    for band_V in _END_BANDS_V:
        first = _late_part(coarse.voltage_V, max(band_V, 1.6 * step))
        if _fall(current, first) < least:
            continue
        first, set_V, ohm = _grown(coarse, first, step)
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


def _refined(
    record: ChargeRecord, main: Segments, rough_s: float, from_s: float, set_V: float, series_ohm: float
) -> Measured:
    """Return the knee from the bend in the current or, where that is the clearer, in the voltage."""
    end_s = main.charging[-1].last_s
    reach = max(8 * record.interval_s, min(0.3 * (end_s - rough_s), 0.5 * (rough_s - from_s), 900.0))
    bends = []
    for values, floor in (
        (record.current, record.ammeter.resolution),
        (record.voltage + series_ohm * record.current - set_V, record.voltmeter.resolution),
    ):
        bends += _narrowing(record, values, rough_s, reach, floor)
    if not bends:
        doubt = Component("knee: read off the voltage alone", reach / 2, "s", "rectangular")
        return Measured(rough_s, "s", (doubt,))
    place, scatter, shape = min(bends, key=lambda bend: math.hypot(bend[1], bend[2]))
    parts = (
        Component("knee: scatter of the readings about the bend", scatter, "s"),
        Component("knee: length of the window fitted", shape, "s"),
        Component("knee: sampling interval", record.interval_s / 2, "s", "rectangular"),
    )
    return Measured(place, "s", tuple(part for part in parts if part.size > 0))


def _narrowing(
    record: ChargeRecord, values: FloatArray, rough_s: float, reach_s: float, step: float
) -> list[tuple[float, float, float]]:
    """Return the bend in ever shorter windows: place, scatter, shift against the window before [s].

    A long window knows the place well but bends the parabola; a short one knows less and bends less. What
    halving the window moves the place by, halving it for ever would move it by once more: that is taken off.
    """
    found: list[tuple[float, float, float]] = []
    wider = _bend(record.time_s, values, rough_s, reach_s, step)
    while wider and reach_s > 16 * record.interval_s and len(found) < 5:
        reach_s /= 2
        closer = _bend(record.time_s, values, wider[0], reach_s, step)
        if closer is None:
            break
        shift = closer[0] - wider[0]
        found.append((closer[0] + shift, 2 * closer[1], abs(shift)))
        wider = closer
    # Two windows may agree by chance: a third that does not is believed as well.
    shifts = [shift for _, _, shift in found] + [0.0]
    found = [(*one[:2], max(one[2], after / 2)) for one, after in zip(found, shifts[1:], strict=True)]
    return found or ([(wider[0], wider[1], reach_s / 8)] if wider else [])


def _bend(
    time_s: FloatArray, values: FloatArray, rough_s: float, reach_s: float, step: float
) -> tuple[float, float] | None:
    """Return where a line bends into a parabola, and the standard uncertainty of that place [s]."""
    inside = (np.abs(time_s - rough_s) <= reach_s) & np.isfinite(values)
    time, shown = _thinned(time_s[inside] - rough_s, values[inside])
    if len(time) < 8:
        return None
    places = np.linspace(-0.7 * reach_s, 0.7 * reach_s, _PLACES)
    losses = _losses(time, shown, places, reach_s)
    best = int(np.argmin(losses))
    if best in (0, len(places) - 1):
        return None
    grid = np.linspace(places[best - 1], places[best + 1], 41)
    fine = _losses(time, shown, grid, reach_s)
    place = float(grid[int(np.argmin(fine))])
    variance = max(float(fine.min()) / (len(time) - 5), step**2 / 12 / _per_cell(inside, time))
    # A display that stands on a step for several readings repeats itself: they count as fewer.
    variance *= correlation_length(_left(time, shown, place, reach_s))
    likely = np.exp(-0.5 * np.minimum((losses - losses[best]) / variance, 700.0))
    likely /= likely.sum()
    middle = float(likely @ places)
    spread = float(np.sqrt(likely @ (places - middle) ** 2))
    return rough_s + place, max(spread, float(grid[1] - grid[0]))


def _per_cell(inside: np.ndarray, time: FloatArray) -> float:
    return max(1.0, float(inside.sum()) / len(time))


def _thinned(time: FloatArray, values: FloatArray, most: int = 400) -> tuple[FloatArray, FloatArray]:
    """Return averages over equal numbers of rows, at most `most` of them."""
    group = len(time) // most
    if group < 2:
        return time, values
    kept = len(time) // group * group
    return time[:kept].reshape(-1, group).mean(axis=1), values[:kept].reshape(-1, group).mean(axis=1)


def _left(time: FloatArray, values: FloatArray, place: float, reach: float) -> FloatArray:
    """Return what the best line that bends into a parabola at `place` leaves of the readings."""
    after = np.maximum(time - place, 0.0) / reach
    design = np.column_stack([np.ones_like(time), time / reach, after, after**2])
    return np.asarray(values - design @ np.linalg.lstsq(design, values, rcond=None)[0], dtype=np.float64)


def _losses(time: FloatArray, values: FloatArray, places: FloatArray, reach: float) -> FloatArray:
    """Return the squared error of the best line that bends into a parabola, for each place of the bend."""
    line, _ = np.linalg.qr(np.column_stack([np.ones_like(time), time / reach]))
    left = values - line @ (line.T @ values)
    after = np.maximum(time[None, :] - places[:, None], 0.0) / reach
    first, second = (bent - (bent @ line) @ line.T for bent in (after, after**2))
    one, two, both = (first**2).sum(axis=1), (second**2).sum(axis=1), (first * second).sum(axis=1)
    by_one, by_two = first @ left, second @ left
    determinant = np.maximum(one * two - both**2, 1e-12 * one * two + 1e-300)
    explained = (two * by_one**2 - 2 * both * by_one * by_two + one * by_two**2) / determinant
    return np.asarray(left @ left - explained, dtype=np.float64)
