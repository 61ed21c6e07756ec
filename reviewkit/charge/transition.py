"""The knee: the moment the charger's regulation point reaches its set voltage.

The account says between which bins, and where else it could be. The rows about it say it finely: the current
bends there from a line into a fall, and the regulation point from a rise into a level.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from reviewkit.charge.profile import Bins, Block, Profile
from reviewkit.charge.record import ChargeRecord, FloatArray
from reviewkit.charge.segmentation import CLOSE, HELD, Account
from reviewkit.charge.series_resistance import correlation_length
from reviewkit.charge.statistics import averaged, of_some_size
from reviewkit.metrology import Component, Measured, shaken_left

PLACES = 121
"""Moments tried for a bend; the best is refined between its neighbours."""

MOST_ROWS = 400
"""Rows fitted about a bend; more of them are averaged."""

LEAST_ROWS = 10
"""A window reaches over so many rows to either side at least: fewer bend by chance; chosen."""

WIDE_BINS = 6.0
"""Half of the time between two moments of the knee, in bins, from which on no bend is looked for: chosen,
most knees lie within two or three bins.
"""

CHOSEN = 1.25
"""How much wider a bend's scatter is taken, because the surest of several windows is used: from simulated
charges (`tests/benchmarks/charge_kinds.py`, even seeds).
"""

EARLY_S = 120.0
"""A knee this early may be a charge that is at its voltage limit from the start: chosen."""


@dataclass(frozen=True)
class Knee:
    """Where the constant-voltage phase begins.

    Parameters
    ----------
    moment : Measured [s]
        On the record's clock.
    from_start : bool
        Whether the charge was at its voltage limit from its first reading on.
    others : tuple of (float, float) [s]
        Where else the log could have it.
    """

    moment: Measured
    from_start: bool
    others: tuple[tuple[float, float], ...] = field(default=())


def find(
    record: ChargeRecord,
    profile: Profile,
    bins: Bins,
    account: Account,
    main: tuple[Block, ...],
    *,
    from_s: float | None,
) -> Knee | None:
    """Return the knee; None if the main charge shows no voltage limit.

    Parameters
    ----------
    from_s : float or None [s]
        End of precharge, if there was one.
    """
    inside = bins.time_s <= main[-1].last_s
    seen = [
        one
        for one in account.stretches
        if one.kind == HELD and np.isfinite(bins.voltage_V[one.first : one.last + 1]).any()
    ]
    held = [index for one in seen for index in range(one.first, one.last + 1) if inside[index]]
    if not held:
        return None
    first, begun = int(held[0]), main[0].first_s if from_s is None else from_s
    low, high, others = _brackets(bins, account, first, int(np.count_nonzero(inside)))
    soon = max(3 * record.interval_s, 3 * record.voltage_interval_s, float(bins.span_s[first]))
    if first == 0 or low - begun <= soon:
        at_once = first == 0 or _falls_at_once(record, profile, begun, high)
        if at_once:
            return Knee(Measured(begun, "s"), True, others)
    moment = _refined(record, profile, account, low, high, main, float(np.median(bins.span_s)))
    for early, late in others:
        reach = max(abs(early - moment.value), abs(late - moment.value))
        moment = moment.plus(Component("knee: another reading of the log", reach, "s", "rectangular"))
    return Knee(moment, False, others)


def _brackets(
    bins: Bins, account: Account, first: int, count: int
) -> tuple[float, float, tuple[tuple[float, float], ...]]:
    """Return between which moments the knee lies, and other such pairs that the log does not rule out."""
    costs = account.knee_costs[:count]
    near = np.flatnonzero((costs <= costs.min() + CLOSE) & np.isfinite(bins.voltage_V[:count]))
    near = np.union1d(near, [first])
    own, found = (0.0, 0.0), []
    for one in np.split(near, np.flatnonzero(np.diff(near) > 2) + 1):
        begin = one[0]
        # Where no voltage was logged the limit may have been reached sooner.
        while begin and np.isnan(bins.voltage_V[begin - 1]) and bins.group[begin] == bins.group[begin - 1]:
            begin -= 1
        # The bin before may lie before a gap: the knee may lie in it.
        pair = (float(bins.time_s[max(begin - 1, 0)]), float(bins.time_s[one[-1]]))
        if begin <= first <= one[-1]:
            own = pair
        else:
            found.append(pair)
    return *own, tuple(found)


def _falls_at_once(record: ChargeRecord, profile: Profile, from_s: float, until_s: float) -> bool:
    """Whether the current falls from its first reading on: there is no plateau before so early a knee."""
    late = max(until_s, from_s + 6 * record.interval_s)
    rows = (record.time_s >= from_s) & (record.time_s <= min(late, from_s + EARLY_S))
    early = record.current[rows & profile.on]
    if len(early) < 3:
        return True
    return bool(early[0] - early[-1] > max(4 * record.noise_A, 0.004 * early[0]))


def _refined(
    record: ChargeRecord,
    profile: Profile,
    account: Account,
    low: float,
    high: float,
    main: tuple[Block, ...],
    bin_s: float,
) -> Measured:
    """Return the knee by the bend about it; by the bins alone where no bend agrees with them.

    Where the bins leave many of them open, a bend among all that lie there is found by chance.
    """
    middle, half = (low + high) / 2, (high - low) / 2
    whole = Measured(middle, "s", (Component("knee: between two bins", half, "s", "rectangular"),))
    end_s = main[-1].last_s
    room = min(0.35 * (end_s - middle), 0.5 * (middle - main[0].first_s), 900.0)
    reach = max(room, 2 * half, 8 * record.interval_s)
    pulsing = profile.edges and profile.pulsing[np.searchsorted(record.time_s, middle) - 1]
    if pulsing or half > WIDE_BINS * bin_s:
        return whole.plus(*record.clock_components())
    local = record.between(middle - 3 * reach, middle + 3 * reach)
    flows = _flowing(local, main)
    current = np.where(flows & profile.on_at(local.time_s), local.current, np.nan)
    found = _bends(local, current, middle, reach, record.ammeter.resolution, hidden=0.0, level=False)
    assert account.ohm is not None
    assert account.set_V is not None
    regulation = local.voltage + account.ohm * current - account.set_V
    hidden = account.ohm * shaken_left(local.current, record.ammeter.resolution)
    by_voltage = _bends(
        local, regulation, middle, reach, record.voltmeter.resolution, hidden=hidden, level=True
    )
    if not record.clock_is_declared:
        found += [one.plus(*record.clock_components()) for one in by_voltage]
    slack = half + 2 * local.interval_s
    fits = [one for one in found if low - slack - one.expanded <= one.value <= high + slack + one.expanded]
    best = min(fits, key=lambda one: one.standard, default=None)
    if best is None:
        return whole.plus(*record.clock_components())
    return best


def _flowing(record: ChargeRecord, main: tuple[Block, ...]) -> np.ndarray:
    flows = np.zeros(len(record.time_s), dtype=bool)
    for block in main:
        flows |= (record.time_s > block.first_s) & (record.time_s < block.last_s)
    return flows


def _bends(
    record: ChargeRecord,
    values: FloatArray,
    rough_s: float,
    reach_s: float,
    step: float,
    *,
    hidden: float,
    level: bool,
) -> list[Measured]:
    """Return the bend of one quantity in ever shorter windows, each with its doubt."""
    found: list[Measured] = []
    places: list[tuple[float, float, float]] = []
    while len(places) < 6 and reach_s > LEAST_ROWS * record.interval_s:
        one = _bend(record.time_s, values, rough_s, reach_s, step, level=level)
        if one is not None:
            places.append((*one, reach_s))
        reach_s /= 2
    for index, (bend_s, spread, reach) in enumerate(places):
        closer = places[index + 1] if index + 1 < len(places) else None
        # Halving the window bends less: by what it moves the place beyond its scatter the shape is in doubt.
        moved = abs(closer[0] - bend_s) if closer else reach / 8
        shape = moved if closer is None else max(moved - closer[1], 0.0) + 0.25 * spread
        parts = (
            Component("knee: scatter of the readings about the bend", CHOSEN * spread, "s"),
            Component("knee: length of the window fitted", CHOSEN * shape, "s"),
            Component("knee: sampling interval", record.interval_s / 2, "s", "rectangular"),
            Component(
                "knee: display step",
                _standing(record, values, bend_s, reach, step, hidden),
                "s",
                "rectangular",
            ),
        )
        bend = Measured(bend_s, "s", of_some_size(parts))
        # A short window that contradicts the surest of the longer ones bends by chance.
        surest = min(found, key=lambda other: other.standard, default=bend)
        if abs(bend.value - surest.value) <= bend.expanded + surest.expanded:
            found.append(bend)
    return found


def _standing(
    record: ChargeRecord, values: FloatArray, place_s: float, reach_s: float, step: float, hidden: float
) -> float:
    """Return by how much a display that stands still may hide the begin of a fall [s], as a half-width."""
    known = np.flatnonzero(np.isfinite(values))
    time, shown = record.time_s[known], values[known]
    before = (time < place_s) & (time > place_s - reach_s)
    after = (time > place_s) & (time < place_s + reach_s)
    if before.sum() < 4 or after.sum() < 4:
        return 0.0
    kink = abs(np.polyfit(time[after], shown[after], 1)[0] - np.polyfit(time[before], shown[before], 1)[0])
    # Where nothing falls, the begin of a fall may be anywhere.
    return float((shaken_left(shown[before], step) + hidden) / max(kink, 1e-12))


def _bend(
    time_s: FloatArray, values: FloatArray, rough_s: float, reach_s: float, step: float, *, level: bool
) -> tuple[float, float] | None:
    """Return where a line bends into a parabola (or a parabola into a level), and that place's spread [s]."""
    inside = (np.abs(time_s - rough_s) <= reach_s) & np.isfinite(values)
    time, shown = averaged(time_s[inside] - rough_s, values[inside], MOST_ROWS)
    if len(time) < 8:
        return None
    if level:
        time, shown = -time[::-1], shown[::-1]
    places = np.linspace(-0.8 * reach_s, 0.8 * reach_s, PLACES)
    losses = _losses(time, shown, places, reach_s, level=level)
    best = int(np.argmin(losses))
    if best in (0, len(places) - 1):
        return None
    grid = np.linspace(places[best - 1], places[best + 1], 41)
    fine = _losses(time, shown, grid, reach_s, level=level)
    bend_s = float(grid[int(np.argmin(fine))])
    per_row = max(1.0, float(inside.sum()) / len(time))
    variance = max(float(fine.min()) / (len(time) - 5), step**2 / 12 / per_row)
    # A display that stands on a step for several readings repeats itself: they count as fewer.
    variance *= correlation_length(_left(time, shown, bend_s, reach_s, level=level))
    likely = np.exp(-0.5 * (losses - losses[best]) / variance)
    likely /= likely.sum()
    middle = float(likely @ places)
    spread = max(float(np.sqrt(likely @ (places - middle) ** 2)), float(grid[1] - grid[0]))
    return rough_s + (-bend_s if level else bend_s), spread


def _base(time: FloatArray, reach: float, *, level: bool) -> FloatArray:
    return np.ones((len(time), 1)) if level else np.column_stack([np.ones_like(time), time / reach])


def _left(time: FloatArray, values: FloatArray, bend_s: float, reach: float, *, level: bool) -> FloatArray:
    after = np.maximum(time - bend_s, 0.0) / reach
    design = np.column_stack([_base(time, reach, level=level), after, after**2])
    return np.asarray(values - design @ np.linalg.lstsq(design, values, rcond=None)[0], dtype=np.float64)


def _losses(
    time: FloatArray, values: FloatArray, places: FloatArray, reach: float, *, level: bool
) -> FloatArray:
    """Return the squared error of the best curve that bends at each place: line or level, then a parabola."""
    base, _ = np.linalg.qr(_base(time, reach, level=level))
    left = values - base @ (base.T @ values)
    after = np.maximum(time[None, :] - places[:, None], 0.0) / reach
    first, second = (bent - (bent @ base) @ base.T for bent in (after, after**2))
    one, two, both = (first**2).sum(axis=1), (second**2).sum(axis=1), (first * second).sum(axis=1)
    by_one, by_two = first @ left, second @ left
    determinant = np.maximum(one * two - both**2, 1e-12 * one * two + np.finfo(float).tiny)
    explained = (two * by_one**2 - 2 * both * by_one * by_two + one * by_two**2) / determinant
    return np.asarray(left @ left - explained, dtype=np.float64)
