"""When the current will begin to fall, and when the charge will end: an interval from all cells that fit.

Some hundred cells and chargers are drawn from what is usual; each is run along the charge so far and weighed
by how well its voltage agrees; those that agree are run on to their ends. What nobody can know from the log
so far (how much the cell still holds, at which current the charger stops) stays as wide as the cells that
agree are apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

SOC = np.array(
    [0, 0.01, 0.02, 0.04, 0.06, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95, 0.98, 1]
)
LAYERED_V = np.array([
    [2.5, 2.711, 2.862, 3.05, 3.155, 3.296, 3.434, 3.485, 3.581, 3.667, 3.751, 3.841, 3.948, 4.042, 4.081,
     4.097, 4.124, 4.164, 4.2],
    [2.8, 3.114, 3.285, 3.432, 3.48, 3.511, 3.54, 3.585, 3.639, 3.671, 3.716, 3.797, 3.88, 3.971, 4.022,
     4.077, 4.136, 4.174, 4.2],
    [2.5, 2.88, 3.034, 3.229, 3.344, 3.459, 3.528, 3.587, 3.709, 3.77, 3.787, 3.815, 3.882, 3.987, 4.03,
     4.079, 4.135, 4.173, 4.2],
])  # fmt: skip
"""Open-circuit voltages [V] at `SOC` of three published cells (graphite against a layered oxide): Chen 2020
(doi 10.1149/1945-7111/ab9050), Mohtat 2020 (doi 10.1149/1945-7111/aba5d1), Ecker 2015 (doi
10.1149/2.0551509jes), from their half-cell functions as PyBaMM 26 gives them."""
PHOSPHATE_V = np.array([[
    2.0, 2.4, 2.75, 3.0, 3.09, 3.18, 3.21, 3.23, 3.27, 3.29, 3.295, 3.3, 3.325, 3.332, 3.334, 3.336, 3.34,
    3.36, 3.5,
]])  # fmt: skip
"""The same of lithium iron phosphate: the usual shape, common practice, no source."""

DRAWS, STARTS, CARRIED = 600, 96, 400
"""Cells drawn, charge states at the start tried with each, and those run on: chosen; twice as many move no
end by more than a tenth of its half-width."""

POINTS = 18
"""Moments of the charge so far at which a cell's voltage is held against the log (chosen)."""

BEND_V, HALF_BEND_V = 0.03, 0.015
"""How far a cell's curve may lie off a published one in its middle, and at its quarters [V]; flat curves a
tenth of it (chosen: about what the three published ones lie apart)."""

MISFIT_V, WITNESSES = 0.015, 5.0
"""A circuit misses a cell's voltage by so much [V]; so many of the points are independent (chosen)."""

OHM, SLOW_SHARE, SLOW_S = (0.018, 0.08), (0.2, 1.3), (100.0, 1000.0)
"""Resistance of a 3 Ah cell that answers at once, the share of it that answers slowly, and how slowly:
common practice for 18650 and 21700 cells, no source. It falls as the root of the capacity."""

HELD_SHARE = (0.84, 1.13)
"""What a cell holds of its rated capacity: aged by 80 %, new ones a tenth more (common practice)."""

RATES = (0.15, 1.0)
"""Capacities an hour at which built-in chargers charge, where no capacity is declared: common practice."""

BELOW_LIMIT_V = (-0.06, 0.025)
"""Where a charger's set voltage lies about the cell's limit [V]: common practice, no source."""

DEVICE_OHM = 0.1
"""Most that a device has between its regulation point and the cell [ohm]: common practice."""

STOPS = (0.012, 0.12)
"""Current at which a charge ends, as a share of the capacity, where nothing says: C/10 to C/50 (common
practice), and a good part beyond."""

KNOWN_STOP = 0.03
"""A charger that has ended a charge at a current ends the next within this share of it (chosen)."""

SAME_V, SAME_OHM = 0.004, 0.01
"""A charger's set voltage [V] and a bench's resistance [ohm] from one charge to the next: chosen, a count or
two of the meter, a plug pushed in anew."""

TAPERED = 0.85
"""From this share of its plateau down, a current's own fall says how it goes on (chosen)."""

SHORTER = (0.80, 1.10)
"""A taper takes so much of what its time constant of late foretells: 90 of 100 lie inside, in the simulated
charges of `tests/benchmarks/forecasts.py`, even seeds."""

LONGEST_TAPER_S = 2700.0
"""A current that falls slower than this does so for another reason than a cell that fills: planning's
longest taper, behind a tenth of an ohm of leads."""

MOST_OHM, FAR_V = 0.3, 0.1
"""A voltage limit behind a larger resistance [ohm], or farther from the cell's limit [V], is a charger that
folds its current back: common practice, no source."""

TAIL = 0.03
"""What is left out of the drawn ends on either side (chosen, with `STRETCH`, so that about 95 of 100
intervals hold in the same study's even seeds; it is judged on odd ones)."""

STRETCH = {"knee": 1.5, "before": 1.3, "falling": 1.05}
"""By how much the half-widths are stretched, of the knee, of the end while the current is at its limit, and
of the end as it falls: likewise. What they leave out is chargers that fold back later: no log tells it."""

STEP_SHARE, STEP_S, MOST_STEPS = 0.008, 120.0, 500


@dataclass(frozen=True)
class SoFar:
    """What is known of a charge while it runs.

    Parameters
    ----------
    time_s, current_A, voltage_V, charge_Ah : array, shape (n,)
        Since charge start: current of the on-times, the cell's voltage then, charge delivered by then.
    now_s, mean_A : float
        The last row's time, and what charges at present: pulses' mean.
    chemistry : str
    limit_V : float [V]
        The cell's charging limit.
    capacity_Ah : float or None [A.h]
        As rated.
    rig_ohm : float [ohm]
        Ammeter and leads, as declared.
    stop_A : (float, float) or None [A]
        Between which currents the charge ends, where something says.
    rest_V : float or None [V]
        The cell's voltage before the current began.
    held : (float, float) or None [V, ohm]
        Set voltage and series resistance, where the voltage limit has shown.
    knee_s : float or None [s]
        When it did.
    earlier : (float, float) or None [V, ohm]
        Set voltage and series resistance that an earlier charge of this device has shown.
    """

    time_s: Array
    current_A: Array
    voltage_V: Array
    charge_Ah: Array
    now_s: float
    mean_A: float
    chemistry: str = "Li-ion"
    limit_V: float = 4.2
    capacity_Ah: float | None = None
    rig_ohm: float = 0.05
    stop_A: tuple[float, float] | None = None
    rest_V: float | None = None
    held: tuple[float, float] | None = None
    knee_s: float | None = None
    earlier: tuple[float, float] | None = None


@dataclass(frozen=True)
class Interval:
    """When something will be, since charge start [s], with a confidence of nine in ten."""

    low_s: float
    middle_s: float
    high_s: float


@dataclass(frozen=True)
class Forecast:
    """When voltage limit and end will be reached, if nothing comes between; None: reached, or open."""

    knee: Interval | None
    end: Interval | None


def forecast(so_far: SoFar, *, seed: int = 1) -> Forecast:
    """Return when the current will begin to fall and when the charge will end.

    Parameters
    ----------
    so_far : SoFar
    seed : int
        Of the drawn cells; the same always, so that an interval moves only where the log does.
    """
    if so_far.knee_s is not None and (taper := _taper(so_far)) is not None:
        return Forecast(None, _falling(so_far, *taper, np.random.default_rng(seed)))
    cells = _Cells(so_far, np.random.default_rng(seed))
    knee_s, end_s = cells.run_on()
    knee = None if so_far.knee_s is not None else _interval(knee_s, so_far.now_s, "knee")
    return Forecast(knee, _interval(end_s, so_far.now_s, "before"))


def _interval(ends_s: Array, now_s: float, kind: str) -> Interval:
    low, middle, high = np.quantile(ends_s, [TAIL, 0.5, 1 - TAIL])
    by = STRETCH[kind]
    return Interval(
        max(now_s, float(middle - by * (middle - low))), float(middle), float(middle + by * (high - middle))
    )


def _logs(ends: tuple[float, float]) -> tuple[float, float]:
    return math.log(ends[0]), math.log(ends[1])


def _stops(so_far: SoFar, capacity_Ah: Array, rng: np.random.Generator) -> Array:
    """Return currents at which the charge may end [A]."""
    low, high = so_far.stop_A or (STOPS[0], STOPS[1])
    share = np.exp(rng.uniform(np.log(low), np.log(high), len(capacity_Ah)))
    return np.asarray(share if so_far.stop_A else share * capacity_Ah)


def _capacities(so_far: SoFar, count: int, rng: np.random.Generator) -> Array:
    if so_far.capacity_Ah:
        return np.asarray(so_far.capacity_Ah * rng.uniform(*HELD_SHARE, count))
    level = float(np.quantile(so_far.current_A, 0.9))
    return np.asarray(level / np.exp(rng.uniform(*_logs(RATES), count)))


def _taper(so_far: SoFar) -> tuple[float, float, float] | None:
    """Return the falling current now [A], its time constant [s] and that one's relative doubt."""
    assert so_far.knee_s is not None
    inside = so_far.time_s >= so_far.knee_s
    if inside.sum() < 5:
        return None
    time, amps = so_far.time_s[inside], so_far.current_A[inside]
    now_A = float(np.median(amps[-3:]))
    if now_A > TAPERED * float(np.quantile(so_far.current_A, 0.9)):
        return None
    part = (amps <= 1.8 * now_A) & (amps > 0)
    part[-5:] = amps[-5:] > 0
    if part.sum() < 4:
        return None
    since, logs = time[part] - time[part].mean(), np.log(amps[part])
    spread = float(since @ since)
    slope = float(since @ logs) / spread
    left = logs - logs.mean() - slope * since
    if slope >= -1 / LONGEST_TAPER_S:
        return None
    doubt = float(np.sqrt(left @ left / max(len(left) - 2, 1) / spread)) / -slope
    return now_A, -1 / slope, min(doubt, 1.0)


def _falling(so_far: SoFar, now_A: float, tau_s: float, doubt: float, rng: np.random.Generator) -> Interval:
    """Return the end of a charge whose current falls already: by its own time constant, which grows."""
    count = 4 * CARRIED
    capacity = _capacities(so_far, count, rng)
    stop = _stops(so_far, capacity, rng)
    usual = stop[stop < now_A]
    stop = usual if len(usual) > 0.02 * count else now_A * rng.uniform(0.7, 1.0, count)
    folds = np.log(now_A / stop)
    tau = tau_s * np.exp(rng.normal(0.0, doubt, len(stop)))
    ends = so_far.now_s + tau * folds * rng.uniform(*SHORTER, len(stop))
    return _interval(ends, so_far.now_s, "falling")


@lru_cache(maxsize=4)
def _curves(chemistry: str, seed: int) -> tuple[Array, float, float]:
    """Return open-circuit curves of the drawn cells on an even grid of charge states, its start and step."""
    rng = np.random.default_rng(seed)
    tables, size = (PHOSPHATE_V, 0.1) if chemistry == "LFP" else (LAYERED_V, 1.0)
    mixed = rng.dirichlet(np.ones(len(tables)), DRAWS) @ tables
    first, step = -0.06, 0.004
    grid = first + step * np.arange(int(1.2 / step))
    inside = np.clip(grid, 0, 1)
    curves = np.array([np.interp(inside, SOC, one) for one in mixed])
    slopes = [(one[1] - one[0]) / (SOC[1] - SOC[0]) for one in mixed[:, [0, 1]]], mixed[:, -1] - mixed[:, -2]
    curves += np.minimum(grid, 0) * np.array(slopes[0])[:, None]
    curves += np.maximum(grid - 1, 0) * (slopes[1] / (SOC[-1] - SOC[-2]))[:, None]
    waves = np.sin(np.pi * inside), np.sin(2 * np.pi * inside)
    for wave, most in zip(waves, (BEND_V, HALF_BEND_V), strict=True):
        curves += size * rng.uniform(-most, most, DRAWS)[:, None] * wave
    return curves, first, step


class _Cells:
    """Cells and chargers drawn at random, held against a charge so far."""

    def __init__(self, so_far: SoFar, rng: np.random.Generator) -> None:
        self.so_far, self.rng = so_far, rng
        self.curves, self.first, self.step = _curves(so_far.chemistry, 7)
        self.capacity = _capacities(so_far, DRAWS, rng)
        scale = np.sqrt(3.0 / self.capacity)
        self.ohm = scale * np.exp(rng.uniform(*_logs(OHM), DRAWS))
        self.slow_ohm = self.ohm * rng.uniform(*SLOW_SHARE, DRAWS)
        self.slow_s = np.exp(rng.uniform(*_logs(SLOW_S), DRAWS))
        self.series = so_far.rig_ohm * rng.uniform(0.8, 1.2, DRAWS) + rng.uniform(0.0, DEVICE_OHM, DRAWS)
        self.set_V = so_far.limit_V + rng.uniform(*BELOW_LIMIT_V, DRAWS)
        if so_far.earlier is not None:
            self.set_V = rng.normal(so_far.earlier[0], SAME_V, DRAWS)
            self.series = np.maximum(rng.normal(so_far.earlier[1], SAME_OHM, DRAWS), 0.0)
        if so_far.held is not None:
            self.set_V, self.series = np.full(DRAWS, so_far.held[0]), np.full(DRAWS, so_far.held[1])
        self.stop = _stops(so_far, self.capacity, rng)

    def open_V(self, which: npt.NDArray[np.intp], soc: Array) -> Array:
        """Return open-circuit voltages of some of the cells [V]."""
        position = np.clip((soc - self.first) / self.step, 0, self.curves.shape[1] - 1.001)
        low = position.astype(np.intp)
        before = self.curves[which, low]
        return np.asarray(before + (position - low) * (self.curves[which, low + 1] - before))

    def _agreeing(self) -> tuple[npt.NDArray[np.intp], Array, Array]:
        """Return the cells that agree with the log, their charge states and their lagging voltages now."""
        so_far, rng = self.so_far, self.rng
        grid = np.linspace(-0.03, 1.0, STARTS)
        soc = grid[None, :] + rng.uniform(-0.5, 0.5, (DRAWS, 1)) * (grid[1] - grid[0])
        which = np.repeat(np.arange(DRAWS)[:, None], STARTS, axis=1)
        score = np.zeros((DRAWS, STARTS))
        lag = np.zeros(DRAWS)
        rows = _points(so_far)
        then_s, before_A = 0.0, 0.0
        for row in rows:
            amps, moment = float(so_far.current_A[row]), float(so_far.time_s[row])
            kept = np.exp(-(moment - then_s) / self.slow_s)
            lag = lag * kept + (before_A or amps) * self.slow_ohm * (1 - kept)
            then_s, before_A = moment, amps
            model = self.open_V(which, soc + so_far.charge_Ah[row] / self.capacity[:, None])
            model += (amps * self.ohm + lag)[:, None]
            score -= ((so_far.voltage_V[row] - model) / MISFIT_V) ** 2 / 2 * min(1.0, WITNESSES / len(rows))
        if so_far.rest_V is not None:
            score -= ((so_far.rest_V - self.open_V(which, soc)) / (2 * MISFIT_V)) ** 2 / 2
        if so_far.held is None:
            reached = so_far.voltage_V[-1] + self.series * so_far.current_A[-1] - self.set_V
            score -= (np.maximum(reached, 0.0) / 0.004)[:, None] ** 2 / 2
        chance = np.exp(score - score.max()).ravel()
        grown = np.cumsum(chance)
        places = np.searchsorted(grown, (np.arange(CARRIED) + rng.random()) / CARRIED * grown[-1])
        places = np.minimum(places, len(grown) - 1)
        chosen = places // STARTS
        now = soc.ravel()[places] + so_far.charge_Ah[-1] / self.capacity[chosen]
        return chosen, now, lag[chosen]

    def run_on(self) -> tuple[Array, Array]:
        """Return when the voltage limit and the end are reached in each cell that agrees [s]."""
        so_far = self.so_far
        one, soc, lag = self._agreeing()
        capacity, _ohm, set_V, stop = self.capacity[one], self.ohm[one], self.set_V[one], self.stop[one]
        slow_ohm, slow_s, whole = self.slow_ohm[one], self.slow_s[one], (self.ohm + self.series)[one]
        amps = np.full(len(one), max(float(np.median(so_far.current_A[-3:])), 1e-6))
        duty = min(1.0, max(0.2, so_far.mean_A / float(amps[0])))
        stop = np.minimum(stop, 0.9 * amps)
        limit, fall = amps.copy(), _trend(so_far) * self.rng.uniform(0.0, 1.2, len(one))
        now = np.full(len(one), so_far.now_s)
        knee, end = np.full(len(one), np.nan), np.full(len(one), np.nan)
        added = np.zeros(len(one))
        for _ in range(MOST_STEPS):
            step_s = np.minimum(STEP_SHARE * 3600 * capacity / np.maximum(amps, 1e-6), STEP_S)
            kept = np.exp(-step_s / slow_s)
            slope = (self.open_V(one, soc + 0.004) - self.open_V(one, soc)) / 0.004
            stiff = whole + slope * step_s / (3600 * capacity) + slow_ohm * (1 - kept)
            held = (set_V - self.open_V(one, soc) - lag * kept) / stiff
            limit = np.maximum(limit * np.exp(-fall * step_s * amps / 3600), 0.3 * limit)
            following = np.minimum(limit, np.maximum(held, 0.0))
            reached = np.isnan(knee) & (held <= limit)
            knee = np.where(reached, now, knee)
            below = np.isnan(end) & (following <= stop) & ~np.isnan(knee)
            share = np.clip((amps - stop) / np.maximum(amps - following, 1e-9), 0.0, 1.0)
            end = np.where(below, now + share * step_s / duty, end)
            lag = lag * kept + following * slow_ohm * (1 - kept)
            soc = soc + following * step_s / (3600 * capacity)
            now = now + step_s / duty
            added += following * step_s / 3600
            amps = following
            if not np.isnan(end).any():
                break
        return np.where(np.isnan(knee), now, knee), np.where(np.isnan(end), now, end)


def _points(so_far: SoFar) -> npt.NDArray[np.intp]:
    """Return the rows at which the voltages are compared: even in charge, the last among them."""
    grown = np.linspace(so_far.charge_Ah[0], so_far.charge_Ah[-1], POINTS)
    known = np.flatnonzero(np.isfinite(so_far.voltage_V))
    return np.unique(known[np.minimum(np.searchsorted(so_far.charge_Ah[known], grown), len(known) - 1)])


def _trend(so_far: SoFar) -> float:
    """Return by what share the charger lowers its own limit for each ampere-hour of late [1/A.h]."""
    before = so_far.time_s <= (so_far.knee_s if so_far.knee_s is not None else np.inf)
    amps, charge = so_far.current_A[before], so_far.charge_Ah[before]
    if before.sum() < 6:
        return 0.0
    late = charge >= 0.6 * charge[-1]
    if late.sum() < 6 or np.ptp(charge[late]) <= 0:
        return 0.0
    slope = np.polyfit(charge[late], np.log(np.maximum(amps[late], 1e-9)), 1)[0]
    return float(np.clip(-slope, 0.0, 2.0))
