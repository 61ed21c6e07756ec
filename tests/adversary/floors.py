"""The narrowest interval that meters and rows allow, and whether the log tells a finding at all.

A floor is half of the interval that holds the truth in 95.45 % of all cases for somebody who knows everything
but where in their statements the meters' errors lie, each reading's noise, and what happened between rows.
It is NaN where none is derived. A log *tells* a finding where its floor is small against what it is about.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from adversary.chargers import Regime
from adversary.course import Array
from adversary.meters import LogMeter, LogRows

if TYPE_CHECKING:
    from adversary.draws import Charge

_SHARE = 0.9545
_DRAWS = 4000
_RANDOM = np.random.default_rng(20251103)
_EVEN, _NORMAL = _RANDOM.uniform(-1, 1, (8, _DRAWS)), _RANDOM.standard_normal((8, _DRAWS))
_PPM = 50e-6
_DECLARED_SHARE = 0.2
_DRIFT = 0.1
"""By how much of its statement a meter's error may wander over a log: nobody knows more of it."""
_EARLY_SHARE = 0.13
"""A charge that ends by itself does so at C/10 or below: common practice, no source; a third more allowed."""
_GAP_ROWS = 4.0
_LONGEST_CLOCK_S = 60.0
_WINDOWS_S = np.geomspace(20.0, 2500.0, 12)


@dataclass(frozen=True)
class Floor:
    """Half-width [unit], and whether the log tells the finding."""

    half: float
    told: bool = True


def half(*parts: tuple[str, float]) -> float:
    """Return the half-width that holds a sum of independent parts: even within ± size, or normal."""
    known = [(kind, abs(size)) for kind, size in parts if size]
    if len(known) <= 1:
        return sum(size * (_SHARE if kind == "even" else 2.0) for kind, size in known)
    draws = sum(
        size * (_EVEN if kind == "even" else _NORMAL)[place % 8] for place, (kind, size) in enumerate(known)
    )
    return float(np.quantile(np.abs(draws), _SHARE))


def even(size: float) -> tuple[str, float]:
    """Return a part that lies evenly within ± size."""
    return ("even", float(size))


def normal(size: float) -> tuple[str, float]:
    """Return a normal part, by its standard deviation."""
    return ("normal", float(size))


def stated(meter: LogMeter, reading: float) -> float:
    """Return the largest error that the statement allows of a reading."""
    return meter.range_of(reading).stated(reading)


def scatter(meter: LogMeter, reading: float) -> float:
    """Return the standard deviation of one reading: noise and display step."""
    return float(np.hypot(meter.noise, meter.range_of(reading).resolution / np.sqrt(12)))


def between(log: LogRows, moment_s: float) -> float:
    """Return half of the time between the two rows around a moment, a cut stamp included [s]."""
    place = int(np.clip(np.searchsorted(log.true_s, moment_s), 1, len(log.true_s) - 1))
    cut = log.meter.stamp_s if log.meter.stamp_s >= 1 else 0.0
    return float(np.hypot(log.true_s[place] - log.true_s[place - 1], cut)) / 2


_UP = (0.0, 1.0, 1.0, 0.0)


def _corners(one: LogRows, other: LogRows, moment_s: float) -> Array:
    """Return the corners of the trapezoid of offsets that the rows around one step allow [s]."""
    around = []
    for log in (one, other):
        place = int(np.clip(np.searchsorted(log.true_s, moment_s), 1, len(log.true_s) - 1))
        cut = log.meter.stamp_s if log.meter.stamp_s >= 1 else 0.0
        around.append((log.true_s[place - 1], log.true_s[place] + cut))
    return np.sort([first - second for first in around[0] for second in around[1]])


def of(charge: Charge) -> dict[str, Floor]:
    """Return every finding's floor by its last name."""
    floors = _Floors(charge)
    found: dict[str, Floor] = {}
    for part in (floors.levels, floors.moments, floors.amounts, floors.line, floors.endings):
        found.update(part())
    # Pauses are told from pulses where the rows show the pulses.
    ends = found["terminates"].told
    found |= {name: Floor(np.nan, told=ends and floors.counted) for name in ("interruptions", "top_ups")}
    found["limit_adherence"] = Floor(np.nan, told=floors.resolved)
    if charge.marks.ended_by == "device":
        # Where the log can't tell whether the device ended the charge, it tells nothing of that end.
        for name in ("termination_current", "termination_time", "time_to_80", "current_after"):
            if name in found:
                found[name] = Floor(found[name].half, found[name].told and ends)
    return {name: floor for name, floor in found.items() if name in charge.truths}


class _Floors:
    def __init__(self, charge: Charge) -> None:
        self.charge, self.at, self.course = charge, charge.marks, charge.course
        self.volts, self.amps = charge.voltage, charge.current
        pulse, rows = charge.charger.pulse, self.amps
        usual = float(np.median(np.diff(rows.true_s)))
        least = 4 if rows.meter.averages or self.volts.meter.averages else 3
        slower = max(usual, float(np.median(np.diff(self.volts.true_s))))
        self.resolved = pulse is None or min(pulse.on_s, 1e9) >= least * slower
        self.counted = pulse is None or min(pulse.on_s, pulse.off_s) >= least * slower
        self.knee_half = self._knee() if self.at.knee is not None else np.nan

    def value(self, name: str) -> float:
        truth = self.charge.truths.get(name)
        return float(truth.value) if truth else np.nan  # type: ignore[arg-type]

    def seen(self, log: LogRows, from_s: float, until_s: float) -> float:
        """Return which share of a stretch lies between rows that are near each other."""
        if until_s <= from_s:
            return 0.0
        rows = log.true_s
        steps = np.diff(rows)
        usual = max(float(np.median(steps)), 60.0 if log.meter.rates else 0.0)
        inside = np.clip(rows[1:], from_s, until_s) - np.clip(rows[:-1], from_s, until_s)
        return float(inside[steps <= _GAP_ROWS * usual].sum() / (until_s - from_s))

    def levels(self) -> dict[str, Floor]:
        at, found = self.at, {}
        for name in ("start_voltage", "knee_voltage", "hold_voltage", "peak_voltage"):
            found[name] = Floor(half(even(stated(self.volts.meter, self.value(name)))))
        found["start_voltage"] = Floor(found["start_voltage"].half, between(self.volts, at.start - 1) < 60)
        for minutes in (10, 60):
            name = f"settled_voltage_{minutes}min"
            moment = (at.pulled or at.end) + 60 * minutes
            size = even(stated(self.volts.meter, self.value(name)))
            found[name] = Floor(half(size), between(self.volts, moment) < 60)
        if at.knee is not None:
            gone = self.seen(self.volts, (at.knee + at.end) / 2, at.end) < 0.6
            told = not gone and self.resolved and at.end - at.knee > 300
            found["hold_voltage"] = Floor(found["hold_voltage"].half, told)
            rise = abs(float(np.diff(self.course.at([at.knee - 60, at.knee], self.course.cell_V))[0])) / 60
            size = half(
                even(stated(self.volts.meter, self.value("knee_voltage"))), normal(rise * self.knee_half / 2)
            )
            found["knee_voltage"] = Floor(size, self.knee_told())
        return {**found, **self.currents()}

    def currents(self) -> dict[str, Floor]:
        at, meter, found = self.at, self.amps.meter, {}
        for name in ("precharge_current", "current_after"):
            rows = self.rows(Regime.PRECHARGE if name.startswith("pre") else Regime.DONE)
            found[name] = Floor(half(even(stated(meter, self.value(name)))), rows >= 10)
        begins, until = at.precharged or at.start, at.end if at.knee is None else at.knee
        rows = self.rows(Regime.CURRENT)
        told = self.resolved and rows >= 20 and self.seen(self.amps, begins, until) > 0.7
        level = self.value("plateau_current")
        found["plateau_current"] = Floor(half(even(stated(meter, level))), told)
        sigma, step = scatter(meter, level), meter.range_of(level).resolution
        stands = step / 2 * float(np.exp(-2 * (np.pi * meter.noise / step) ** 2))
        drift = even(_DRIFT * stated(meter, level))
        line = half(normal(sigma * np.sqrt(12 / max(rows, 1))), even(stands), even(stands), drift)
        found["plateau_droop"] = Floor(100 * line / level, told and until - begins > 600)
        return found

    def rows(self, *regimes: Regime) -> int:
        inside = np.isin(self.course.regime_at(self.amps.true_s), regimes)
        return int((inside & (self.amps.true_s <= max(self.at.end, self.at.pulled or 0.0))).sum())

    def moments(self) -> dict[str, Floor]:
        at, found = self.at, {}
        first = between(self.amps, at.start)
        for name, moment in (("precharge_end", at.precharged), ("termination_time", at.end)):
            if moment is not None:
                own = between(self.amps, moment)
                size = half(even(first), even(own), even(_PPM * (moment - at.start)))
                found[name] = Floor(size, own < 60 and first < 60)
        if at.knee is not None:
            own = half(even(first), even(_PPM * (at.knee - at.start)), normal(self.knee_half / 2))
            found["knee_time"] = Floor(own, self.knee_told() and first < 60)
        found["clock_offset"] = self._clock()
        return found

    def knee_told(self) -> bool:
        return self.resolved and self.knee_half < max(60.0, 0.05 * (self.at.end - self.at.start))

    def _knee(self) -> float:
        """Return twice the standard deviation of a bend read out of the current log [s]."""
        knee = self.at.knee or 0.0
        if knee - self.at.start < 1.0:
            return between(self.amps, self.at.start)
        level = float(self.course.at([knee], self.course.current_A)[0])
        found = [self._bend(knee, reach, scatter(self.amps.meter, level)) for reach in _WINDOWS_S]
        bend = min(*found, self.at.end - self.at.start)
        return 2 * max(bend, between(self.amps, knee) / np.sqrt(3))

    def _bend(self, knee_s: float, reach_s: float, sigma: float) -> float:
        """Return how far off a hinge may be: its scatter, and what the curve's shape does to it."""
        rows = self.amps.true_s
        near = rows[np.abs(rows - knee_s) <= reach_s]
        flows = np.isin(self.course.regime_at(near), (Regime.CURRENT, Regime.VOLTAGE))
        since = (near[flows] - knee_s) / reach_s
        if (since < 0).sum() < 5 or (since > 0).sum() < 5:
            return np.inf
        truth, after = self.course.at(near[flows], self.course.current_A), np.maximum(since, 0.0)
        design = np.column_stack([np.ones_like(since), since, after, after**2])
        fitted = np.linalg.lstsq(design, truth, rcond=None)[0]
        moved = -(fitted[2] * (since > 0) + 2 * fitted[3] * after) / reach_s
        inverse = np.linalg.pinv(np.column_stack([design, moved]))
        astray = float(inverse[-1] @ (truth - design @ fitted))
        return float(np.hypot(sigma * np.linalg.norm(inverse[-1]), astray))

    def _clock(self) -> Floor:
        """Return what the rows around each step that both logs show leave open, whatever the rates."""
        regime, course = self.course.regime, self.course
        jumps = np.flatnonzero((np.diff(course.time_s) == 0) & (regime[1:] != regime[:-1])) + 1
        step_A, step_V = (np.abs(one[jumps] - one[jumps - 1]) for one in (course.current_A, course.cell_V))
        noise_A, noise_V = (scatter(log.meter, 0.0) for log in (self.amps, self.volts))
        last = min(self.amps.true_s[-1], self.volts.true_s[-1])
        clear = (step_A > 6 * noise_A) & (step_V > 6 * noise_V) & (course.time_s[jumps] < last)
        moments = course.time_s[jumps[clear]][:8]
        if not len(moments):
            return Floor(np.nan, told=False)
        corners = [(moment - moments[0], _corners(self.volts, self.amps, moment)) for moment in moments]
        grid = np.linspace(min(one[0] for _, one in corners), max(one[3] for _, one in corners), 2001)
        likely = sum(
            (1.01 - abs(share))
            * np.prod(
                [np.interp(grid, one + share * 2 * _PPM * since, _UP) for since, one in corners], axis=0
            )
            for share in np.linspace(-1, 1, 21)
        )
        ends = np.interp([(1 - _SHARE) / 2, (1 + _SHARE) / 2], np.cumsum(likely) / np.sum(likely), grid)
        narrowest = min(float(np.ptp(one)) for _, one in corners)
        return Floor(float(np.ptp(ends)) / 2, narrowest / 2 < _LONGEST_CLOCK_S)

    def hidden(self) -> list[tuple[str, float]]:
        """Return what gaps of the current log hide [A.s]: the current went between their ends."""
        rows, inside = self.amps.true_s, []
        wide = np.flatnonzero(np.diff(rows) > _GAP_ROWS * float(np.median(np.diff(rows))))
        for row in wide:
            ends = np.clip(rows[[row, row + 1]], self.at.start, self.at.end)
            amps = self.course.at(ends - [0, 1e-6], self.course.current_A)
            inside.append(even(abs(float(np.diff(amps)[0])) / 2 * float(np.diff(ends)[0])))
        return inside

    def amounts(self) -> dict[str, Floor]:
        at, total, worked = self.at, self.value("delivered"), self.value("delivered_energy")
        # A charge of a second may carry nothing.
        hours, volts = (at.end - at.start) / 3600, worked / total if total else 0.0
        mean = total / hours
        edges = [
            even(
                between(self.amps, moment)
                * float(self.course.at([moment - side], self.course.current_A)[0])
                / 3600
            )
            for moment, side in ((at.start, -1e-3), (at.end, 1e-3))
        ]
        hidden = [even(size / 3600) for _, size in self.hidden()]
        parts = [even(stated(self.amps.meter, mean) * hours), *edges, *hidden]
        size = half(*parts)
        found = {"delivered": Floor(size, size < 0.2 * total)}
        in_volts = even(stated(self.volts.meter, volts) * total)
        covered = self.seen(self.volts, at.start, at.end) > 0.9
        found["delivered_energy"] = Floor(half(*(even(one * volts) for _, one in parts), in_volts), covered)
        counts = self.amps.meter.range_of(mean).counts * self.amps.meter.range_of(mean).resolution
        if at.knee is not None:
            share = self.value("delivered_before_knee") / 100
            amps = float(self.course.at([at.knee - 1e-3], self.course.current_A)[0])
            own = [
                normal(self.knee_half / 2 * amps),
                even(counts * (at.knee - at.start - share * hours * 3600)),
            ]
            size = 100 / (3600 * total) * half(*own, *(even(one * share) for _, one in self.hidden()))
            found["delivered_before_knee"] = Floor(size, self.knee_told())
        moment = self.value("time_to_80")
        if not total:
            found["time_to_80"] = Floor(np.nan, told=False)
        elif np.isfinite(moment):
            amps = max(float(self.course.at([at.start + moment], self.course.current_A)[0]), 0.2 * mean)
            parts = [even(counts * (moment - 0.8 * hours * 3600) / amps), even(_PPM * moment)]
            parts += [even(0.8 * one / amps) for _, one in self.hidden()]
            size = half(even(between(self.amps, at.start)), *parts)
            found["time_to_80"] = Floor(size, size < max(120.0, 0.05 * moment))
        return found

    def line(self) -> dict[str, Floor]:
        """Return the floors of V = V_set − R·I over the time at the voltage limit."""
        if self.at.knee is None:
            return {}
        rows = self.volts.true_s
        rows = rows[(rows > self.at.knee) & (rows < self.at.end)]
        rows = rows[self.course.regime_at(rows) == Regime.VOLTAGE]
        if len(rows) < 10:
            return {
                name: Floor(np.nan, told=False)
                for name in ("set_voltage", "series_resistance", "device_resistance")
            }
        amps = self.course.at(rows, self.course.current_A)
        spread, sigma = float(amps.std()), scatter(self.volts.meter, self.charge.charger.set_V)
        ohm, percent = (
            self.value("series_resistance"),
            (self.volts.meter.ranges[-1].percent, self.amps.meter.ranges[-1].percent),
        )
        slope = sigma / max(spread * np.sqrt(len(rows)), 1e-9)
        parts = [normal(slope), *(even(one / 100 * ohm) for one in percent)]
        size = half(*parts)
        told = self.resolved and size < max(0.01, 0.2 * ohm) and len(rows) >= 50
        zero = self.amps.meter.ranges[0].counts * self.amps.meter.ranges[0].resolution * ohm
        at_none = slope * float(amps.mean())
        set_V = half(even(stated(self.volts.meter, self.charge.charger.set_V)), normal(at_none), even(zero))
        declared = _DECLARED_SHARE * self.charge.bench.rig_declared_ohm
        return {
            "set_voltage": Floor(set_V, told),
            "series_resistance": Floor(size, told),
            "device_resistance": Floor(half(*parts, even(declared)), told),
        }

    def endings(self) -> dict[str, Floor]:
        at, meter = self.at, self.amps.meter
        if at.ended_by != "device":
            # A current that the ammeter cannot tell from none accuses nobody; nor does one that stops as
            # somebody pulls the cable and doesn't say so.
            left = abs(float(self.course.at([at.end - 1.0], self.course.current_A)[0]))
            seen = left > 2 * stated(meter, 0.0) + scatter(meter, 0.0)
            silent = at.pulled is not None and not self.charge.cable_declared
            return {"terminates": Floor(np.nan, told=at.ended_by == "never" and seen and not silent)}
        just, usual = self.value("termination_current"), between(self.amps, at.end) * 2
        before = self.course.at([at.end - 30.0, at.end - 1e-3], self.course.current_A)
        fall = abs(float(np.diff(before)[0])) / 30
        rows = max(5.0, 30 / max(usual, 0.1))
        size = half(
            even(stated(meter, just)),
            normal(2 * scatter(meter, just) / np.sqrt(rows)),
            even(fall * usual / 2),
        )
        seen = usual < 150 and just > 3 * scatter(meter, just) and at.end < self.amps.true_s[-1] - 3 * usual
        held = at.pulled is None or at.pulled > at.end + 5 * usual
        steady = fall * 1800 < 0.03 * just
        # A current that stops far above any usual end may as well be a cable pulled that nobody noted.
        early = just > _EARLY_SHARE * self.charge.cell.capacity_Ah
        told = seen and held and (self.charge.cable_declared or not (steady or early))
        return {
            "termination_current": Floor(size, seen and self.resolved),
            "terminates": Floor(np.nan, told=told),
        }
