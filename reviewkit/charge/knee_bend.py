"""Where readings bend from a line into a parabola, and how well that can be told."""

from __future__ import annotations

import numpy as np

from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.rig import correlation_length
from reviewkit.charge.series import FloatArray

_PLACES = 101


def narrowing(
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
