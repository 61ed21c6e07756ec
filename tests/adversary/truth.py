"""What is true of a charge, by the definitions of its findings, from the course without noise.

Times count from charge start: the first moment of current into the cell. The *main charge* goes from there to
the end: the device's cut-off, else the cable pulled, else the end of the current log. A finding whose
definition leaves room has an interval for its truth; a stated interval holds where it meets that.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from adversary.chargers import Regime
from adversary.course import Array, Course

if TYPE_CHECKING:
    from adversary.draws import Charge

_FLOWS = (Regime.PRECHARGE, Regime.SOFT_START, Regime.CURRENT, Regime.VOLTAGE)
_GRID_S = 0.25
_STEADY_S, _STEADY_SHARE = 7200.0, 0.03
"""A charge never ends if nothing would end it and its current has been so steady over half of this time."""

_AT_SHARE, _AT_V = 0.03, 0.010
"""How near a limit counts as at it: the published definition of the limit adherence."""


@dataclass(frozen=True)
class Truth:
    """The truth of one finding.

    Parameters
    ----------
    value : float, bool, int or str
    low, high : float or None
        Where the definition leaves room; else the value itself.
    """

    value: float | bool | int | str
    low: float | None = None
    high: float | None = None

    def meets(self, low: float, high: float) -> bool:
        """Whether an interval holds it."""
        own_low = float(self.value) if self.low is None else self.low
        own_high = float(self.value) if self.high is None else self.high
        slack = 1e-9 + 1e-6 * max(abs(own_low), abs(own_high))
        return low - slack <= own_high and high + slack >= own_low


@dataclass(frozen=True)
class Marks:
    """The moments of a charge [s], true time; None: there was none.

    Parameters
    ----------
    start : float
    end : float
        Of the main charge.
    ended_by : {"device", "pulled", "log", "never"}
        *never*: the current faded to a steady trickle and flowed on to the end of the log, or until somebody
        pulled the cable.
    precharged, knee : float or None
    pulled : float or None
    """

    start: float
    end: float
    ended_by: str
    precharged: float | None
    knee: float | None
    pulled: float | None


def marks(charge: Charge) -> Marks:
    """Return a charge's moments."""
    course = charge.course
    start = course.first(*_FLOWS)
    assert start is not None
    last = float(charge.current.true_s[-1])
    end, ended = _end(charge, last)
    pre = course.first(Regime.PRECHARGE)
    after = course.first(Regime.SOFT_START, Regime.CURRENT, Regime.VOLTAGE)
    knee = course.first(Regime.VOLTAGE)
    knee = knee if knee is not None and knee < min(end, last) - 30 else None
    return Marks(start, end, ended, after if pre is not None else None, knee, charge.pulled_s)


def _end(charge: Charge, last_s: float) -> tuple[float, str]:
    """Return when the main charge ended, and how."""
    done, pulled = charge.course.first(Regime.DONE), charge.pulled_s
    if done is not None and done < min(pulled or last_s, last_s):
        return done, "device"
    end, how = (pulled, "pulled") if pulled is not None and pulled < last_s else (last_s, "log")
    knee = charge.course.first(Regime.VOLTAGE)
    if charge.charger.stop_A is None and knee is not None and end - knee > _STEADY_S:
        amps = charge.course.at([end - _STEADY_S / 2, end - 1.0], charge.course.current_A)
        if amps[0] - amps[1] <= max(_STEADY_SHARE * amps[0], charge.current.meter.ranges[0].resolution):
            return end, "never"
    return end, how


class Fine:
    """A charge on an even, fine grid from its start to its end."""

    def __init__(self, course: Course, at: Marks) -> None:
        self.time_s = np.arange(at.start + _GRID_S / 2, at.end, _GRID_S)
        self.regime = course.regime_at(self.time_s)
        self.amps = course.at(self.time_s, course.current_A)
        self.cell_V = course.at(self.time_s, course.cell_V)
        self.regulation_V = course.at(self.time_s, course.regulation_V)

    def during(self, *regimes: Regime) -> np.ndarray:
        """Return which moments lie in these regimes."""
        return np.isin(self.regime, regimes)


def of(charge: Charge) -> dict[str, Truth]:
    """Return every truth by the finding's last name."""
    at = charge.marks
    fine = Fine(charge.course, at)
    found: dict[str, Truth | None] = {}
    for part in (_levels, _times, _amounts, _habits, _afterwards):
        found.update(part(charge, at, fine))
    return {name: truth for name, truth in found.items() if truth is not None}


def _levels(charge: Charge, at: Marks, fine: Fine) -> Iterator[tuple[str, Truth | None]]:
    """Plateau: median of the current at its limit from the end of precharge to the knee, on-time only.

    Droop: the change of a straight line through the same, without a soft start, over the line at its start.
    Hold: median of the cell's voltage, on-time only, over the last half of the time from knee to end.
    """
    course = charge.course
    before = float(course.at([at.start - 1e-3], course.cell_V)[0])
    yield "start_voltage", Truth(before)
    low = fine.during(Regime.PRECHARGE)
    if low.any():
        yield "precharge_current", Truth(float(np.median(fine.amps[low])))
    until = at.end if at.knee is None else at.knee
    flat = fine.during(Regime.CURRENT) & (fine.time_s < until)
    if flat.sum() * _GRID_S > 20:
        yield "plateau_current", Truth(float(np.median(fine.amps[flat])))
        time = fine.time_s[flat]
        slope, level = np.polyfit(time - time[0], fine.amps[flat], 1)
        yield "plateau_droop", Truth(float(100 * slope * (time[-1] - time[0]) / level))
    if at.knee is not None:
        late = fine.during(Regime.VOLTAGE) & (fine.time_s >= (at.knee + at.end) / 2)
        if late.any():
            yield "hold_voltage", Truth(float(np.median(fine.cell_V[late])))
        yield "set_voltage", Truth(charge.charger.set_V)
        ohm = charge.charger.device_ohm + charge.rig_ohm
        yield "series_resistance", Truth(ohm)
        yield "device_resistance", Truth(charge.charger.device_ohm)


def _times(charge: Charge, at: Marks, fine: Fine) -> Iterator[tuple[str, Truth | None]]:
    """Knee: when the regulation point first reaches its set voltage.

    Where pulses or pauses let it fall back to the current limit, all up to the last such return is right.
    """
    if at.precharged is not None:
        yield "precharge_end", Truth(at.precharged - at.start)
    if at.knee is not None:
        last = _last_knee(charge, at.knee, fine)
        yield "knee_time", Truth(at.knee - at.start, at.knee - at.start, last - at.start)
        volts = charge.course.at([at.knee, last], charge.course.cell_V)
        yield "knee_voltage", Truth(float(volts[0]), float(volts.min()), float(volts.max()))
    if at.ended_by == "device":
        course = charge.course
        just = float(course.at([at.end - 1e-6], course.current_A)[0])
        yield "termination_current", Truth(just)
        yield "termination_time", Truth(at.end - at.start)
        alone = charge.without_rig_s()
        if alone is not None:
            yield "time_without_rig", Truth(alone)


def _last_knee(charge: Charge, knee_s: float, fine: Fine) -> float:
    back = fine.during(Regime.CURRENT, Regime.SOFT_START) & (fine.time_s > knee_s)
    pulsed = charge.charger.pulse is not None
    return float(fine.time_s[back][-1]) if pulsed and back.any() else knee_s


def _amounts(charge: Charge, at: Marks, fine: Fine) -> Iterator[tuple[str, Truth | None]]:
    """Charge and energy: what the current carries into the cell from start to end; top-ups come on top."""
    course = charge.course
    grown = course.summed(course.current_A) / 3600
    worked = course.summed(course.current_A * course.cell_V) / 3600
    moments = np.array([at.start, at.end])
    total = float(np.diff(np.interp(moments, course.time_s, grown))[0])
    yield "delivered", Truth(total)
    yield "delivered_energy", Truth(float(np.diff(np.interp(moments, course.time_s, worked))[0]))
    first = float(np.interp(at.start, course.time_s, grown))
    if at.knee is not None:
        ends = (at.knee, _last_knee(charge, at.knee, fine))
        shares = [100 * (float(np.interp(one, course.time_s, grown)) - first) / total for one in ends]
        yield "delivered_before_knee", Truth(shares[0], min(shares), max(shares))
    if at.ended_by == "device":
        rows = (course.time_s >= at.start) & (course.time_s <= at.end)
        moment = np.interp(first + 0.8 * total, grown[rows], course.time_s[rows])
        yield "time_to_80", Truth(float(moment) - at.start)


def _habits(charge: Charge, at: Marks, fine: Fine) -> Iterator[tuple[str, Truth | None]]:
    """Adherence: share of the time at one of the limits; off-times of pulses may count either way."""
    flows = fine.during(Regime.SOFT_START, Regime.CURRENT, Regime.VOLTAGE)
    off = fine.during(Regime.PULSE_OFF)
    plateau = next(
        (one.value for name, one in _levels(charge, at, fine) if name == "plateau_current" and one), None
    )
    level = np.abs(fine.regulation_V - charge.charger.set_V) <= _AT_V
    if plateau is not None:
        level |= np.abs(fine.amps - float(plateau)) <= _AT_SHARE * float(plateau)
    kept = int((level & flows).sum())
    if flows.any():
        shares = sorted((100 * kept / int(flows.sum()), 100 * kept / int((flows | off).sum())))
        yield "limit_adherence", Truth(shares[1], *shares)
    yield "clock_offset", _offset(charge, at)


def _offset(charge: Charge, at: Marks) -> Truth:
    """Clocks: what to add to the current log's; where rates differ, anything it was during the charge."""
    moments = [at.start, at.end]
    apart = charge.voltage.meter.clock_s(moments) - charge.current.meter.clock_s(moments)
    if not charge.voltage.meter.dated:
        apart = apart - charge.voltage.stamp_s[0] + charge.current.stamp_s[0]
    return Truth(float(apart[0]), float(apart.min()), float(apart.max()))


def _afterwards(charge: Charge, at: Marks, fine: Fine) -> Iterator[tuple[str, Truth | None]]:
    """Settled voltages count from the cable pulled; if that is not declared, from the end or the pulling."""
    course = charge.course
    last = float(charge.voltage.true_s[-1])
    connected = (course.time_s >= at.start) & (course.time_s <= min(at.pulled or last, last))
    yield "peak_voltage", Truth(float(course.cell_V[connected].max()))
    yield "terminates", Truth(at.ended_by == "device")
    yield "interruptions", _count(charge, at)
    if at.ended_by == "device":
        yield "top_ups", Truth(charge.top_ups_seen())
        yield "current_after", Truth(charge.charger.idle_A)
    for minutes in (10, 60):
        yield f"settled_voltage_{minutes}min", _settled(charge, at, 60.0 * minutes)


def _settled(charge: Charge, at: Marks, after_s: float) -> Truth | None:
    course = charge.course
    off = _last_flow(course)
    if at.pulled is None or at.pulled + after_s > float(charge.voltage.true_s[-1]):
        return None
    since = [at.pulled] if charge.cable_declared else [off, at.pulled]
    values: Array = course.at(np.array(since) + after_s, course.cell_V)
    return Truth(float(values[-1]), float(values.min()), float(values.max()))


def _last_flow(course: Course) -> float:
    rows = np.flatnonzero(np.isin(course.regime, (*_FLOWS, Regime.TOP_UP)))
    return float(course.time_s[rows[-1]])


def _count(charge: Charge, at: Marks) -> Truth:
    """Pauses: those that the current log's rows show for certain, up to all that there were."""
    spans = [*charge.charger.cuts, *charge.charger.hiccups]
    inside = [
        (charge.plugged_s + from_s, length)
        for from_s, length in spans
        if at.start < charge.plugged_s + from_s < at.end - length
    ]
    sure = sum(charge.current_shows(from_s, from_s + length) for from_s, length in inside)
    return Truth(sure, float(sure), float(len(inside)))
