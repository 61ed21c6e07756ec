"""Charge and energy delivered, how they grow, and what a log with gaps cannot say about them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from reviewkit.charge.profile import PULSE_S
from reviewkit.charge.record import GAP_INTERVALS, ChargeRecord, FloatArray
from reviewkit.charge.regimes import PhaseName, Phases
from reviewkit.charge.statistics import of_some_size
from reviewkit.logs.log import Gap
from reviewkit.metrology import Component, Measured


@dataclass(frozen=True)
class Delivered:
    """The charge that flowed into the cell, row by row.

    Parameters
    ----------
    time_s : array, shape (n,) [s]
        From the row before charge start to the row after the end of the main charge.
    charge_Ah, energy_Wh : array, shape (n,)
        Grown so far, by the trapezoidal rule.
    """

    record: ChargeRecord
    phases: Phases
    time_s: FloatArray
    current_A: FloatArray
    voltage_V: FloatArray
    charge_Ah: FloatArray
    energy_Wh: FloatArray

    @property
    def total_Ah(self) -> float:
        """Charge of the main charge [A.h]."""
        return float(self.charge_Ah[-1])

    @property
    def stop_A(self) -> float:
        """Current just before the main charge stops [A]."""
        return (
            float(np.median(self.current_A[-7:-2])) if len(self.current_A) > 8 else float(self.current_A[-2])
        )

    @cached_property
    def gaps(self) -> tuple[Gap, ...]:
        """Gaps of the current log within the main charge."""
        first, last = self.phases.first_sample_s, self.phases.end_s
        return tuple(gap for gap in self.record.gaps if gap.end_s > first and gap.start_s < last)

    @cached_property
    def hidden_Ah(self) -> float:
        """Standard deviation of what the gaps may have hidden from the integral [A.h]."""
        profile = self.phases.profile
        rows = [int(np.searchsorted(self.record.time_s, gap.start_s)) for gap in self.gaps]
        wrong = [
            hidden(self.record, gap, pulsing=bool(profile.pulsing[row]))
            for gap, row in zip(self.gaps, rows, strict=True)
        ]
        return math.sqrt(sum(one**2 / 3 for one in wrong))

    @property
    def switched_Ah(self) -> float:
        """What each of the current's switchings hides between two rows [A.h], as a half-width."""
        return self.phases.plateau_A * self.record.interval_s / 2 / 3600

    def at(self, moment_s: float) -> float:
        """Return the charge delivered up to a moment [A.h]."""
        return float(np.interp(moment_s, self.time_s, self.charge_Ah))

    def when(self, charge_Ah: float) -> float:
        """Return when that much had been delivered, on the record's clock [s]."""
        return float(np.interp(charge_Ah, np.maximum.accumulate(self.charge_Ah), self.time_s))

    def of_phase(self, name: PhaseName) -> float:
        """Return the charge delivered in the phases of a name [A.h]."""
        spans = self.phases.named(name)
        return float(sum(self.at(span.end_s) - self.at(span.start_s) for span in spans))


def integrate(record: ChargeRecord, phases: Phases) -> Delivered:
    """Return the charge and energy of the main charge."""
    last = max(phases.main[-1].last, int(np.searchsorted(record.time_s, phases.end_s, side="right")) - 1)
    rows = slice(max(phases.main[0].first - 1, 0), min(last + 2, len(record.time_s)))
    time, current = record.time_s[rows], record.current[rows].copy()
    if last < len(record.time_s) - 1:
        # The row after the cut-off belongs to what comes afterwards.
        current[-1] = 0.0
    volts = _filled(record.voltage[rows])
    steps = np.diff(time) / 3600
    charge = np.concatenate([[0.0], np.cumsum((current[1:] + current[:-1]) / 2 * steps)])
    power = current * volts
    energy = np.concatenate([[0.0], np.cumsum((power[1:] + power[:-1]) / 2 * steps)])
    return Delivered(record, phases, time, current, volts, charge, energy)


def _filled(volts: FloatArray) -> FloatArray:
    """Return the voltage with its ends carried on where the voltage log is a little shorter."""
    known = np.flatnonzero(np.isfinite(volts))
    if not len(known):
        return volts
    return np.asarray(np.interp(np.arange(len(volts)), known, volts[known]), dtype=np.float64)


def covered(record: ChargeRecord, phases: Phases) -> float:
    """Return the share of the main charge for which the voltage log has readings."""
    inside = (record.time_s >= phases.first_sample_s) & (record.time_s <= phases.end_s)
    return float(np.isfinite(record.voltage[inside]).mean()) if inside.any() else 0.0


def hidden(record: ChargeRecord, gap: Gap, *, pulsing: bool = False) -> float:
    """Return the most by which a straight line across a gap may be wrong [A.h].

    Notes
    -----
    Nothing is known of a gap by itself: the current may have been anything from nothing to the larger of its
    two ends. Where the voltage log runs through the gap, an interruption would show in it as a drop by I·R;
    without one the current lay between its two ends.
    """
    ends = np.interp([gap.start_s, gap.end_s], record.time_s, record.current)
    if pulsing:
        # The row beside a gap may be one of those between two pulses.
        about = (record.time_s >= gap.start_s - PULSE_S) & (record.time_s <= gap.end_s + PULSE_S)
        return float(record.current[about].max()) * gap.length_s / 3600
    hours = gap.length_s / 3600
    between = abs(float(ends[1] - ends[0])) / 2
    if _voltage_stands(record, gap):
        return between * hours
    return max(between, float(ends.max())) * hours


def _voltage_stands(record: ChargeRecord, gap: Gap) -> bool:
    """Whether the voltage log runs through a gap of the current log without a jump."""
    time = record.voltage_V.index.to_numpy(dtype=float)
    inside = (time >= gap.start_s - record.voltage_interval_s) & (
        time <= gap.end_s + record.voltage_interval_s
    )
    seen = time[inside]
    # Nor does it run through a gap in which it begins or ends itself.
    steps = np.diff(seen, prepend=gap.start_s, append=gap.end_s)
    if len(seen) < 3 or steps.max() > GAP_INTERVALS * record.voltage_interval_s:
        return False
    volts = record.voltage_V.to_numpy(dtype=float)[inside]
    straight = np.interp(seen, seen[[0, -1]], volts[[0, -1]])
    return float(np.abs(volts - straight).max()) < max(0.004, 3 * record.voltmeter.resolution)


def charge(delivered: Delivered) -> Measured:
    """Return the charge delivered [A.h] with its doubt."""
    record, total = delivered.record, delivered.total_Ah
    hours = _hours(delivered)
    mean_A = total / hours if hours > 0 else 0.0
    accuracy = record.ammeter.component(mean_A, hours)
    return Measured(total, "A.h", (accuracy, *_edges(delivered), *_hidden_parts(delivered)))


def energy(delivered: Delivered) -> Measured:
    """Return the energy delivered into the cell [W.h] with its doubt."""
    record, total = delivered.record, float(delivered.energy_Wh[-1])
    hours, charge_Ah = _hours(delivered), delivered.total_Ah
    volts = total / charge_Ah if charge_Ah else 0.0
    accuracy_A = record.ammeter.component(charge_Ah / hours if hours > 0 else 0.0, hours * volts)
    accuracy_V = record.voltmeter.component(volts, charge_Ah)
    rest = (part.scaled(volts) for part in (*_edges(delivered), *_hidden_parts(delivered)))
    return Measured(total, "W.h", (accuracy_A, accuracy_V, *rest))


def before_knee(delivered: Delivered) -> Measured | None:
    """Return the share of the charge that was delivered before the knee [%]."""
    knee, total = delivered.phases.knee, delivered.total_Ah
    if knee is None or total <= 0:
        return None
    if delivered.phases.knee_at_start:
        begun = (part.scaled(100 / total) for part in _edges(delivered)[:1])
        return Measured(0.0, "%", tuple(begun))
    so_far, current = delivered.at(knee.value), _current_at(delivered, knee.value)
    if reach := knee.expanded:
        # The current changes within a knee that is known to minutes only.
        either_Ah = (so_far - delivered.at(knee.value - reach), delivered.at(knee.value + reach) - so_far)
        current = max(current, *(3600 * one / reach for one in either_Ah))
    hours = (knee.value - delivered.phases.start.value) / 3600
    offset = 100 * (hours / total - so_far * _hours(delivered) / total**2)
    parts = [part.scaled(100 * current / 3600 / total) for part in knee.components]
    parts += [*_offset_part(delivered, offset)]
    parts += [part.scaled(100 * so_far / total**2) for part in _hidden_parts(delivered)]
    return Measured(100 * so_far / total, "%", tuple(parts))


def time_to(delivered: Delivered, share: float) -> Measured:
    """Return the time from charge start until that share of the charge was delivered [s]."""
    total = delivered.total_Ah
    moment = delivered.when(share * total)
    current = max(_current_at(delivered, moment), delivered.phases.threshold_A)
    start = delivered.phases.start
    hours = (moment - start.value) / 3600
    # An offset of the meter moves the share, not only the charge: t80 grows by (0.8·T − t80)/I per ampere.
    offset = 3600 * (share * _hours(delivered) - hours) / current
    late = [part.scaled(3600 * share / current) for part in _hidden_parts(delivered)]
    return Measured(
        moment - start.value,
        "s",
        (*(part.scaled(-1.0) for part in start.components), *_offset_part(delivered, offset), *late),
    )


def _hours(delivered: Delivered) -> float:
    return (delivered.phases.end.value - delivered.phases.start.value) / 3600


def _current_at(delivered: Delivered, moment_s: float) -> float:
    return float(np.interp(moment_s, delivered.time_s, delivered.current_A))


def _offset_part(delivered: Delivered, sensitivity: float) -> tuple[Component, ...]:
    """Return what a constant error of the ammeter does: the counts of its statement, never its percent."""
    meter = delivered.record.ammeter
    counts = meter.half_width(0.0)
    if counts <= 0:
        return ()
    name = f"{meter.label}: accuracy (counts)"
    return (Component(name, counts, "A", "rectangular", sensitivity, shared=meter.label),)


def _edges(delivered: Delivered) -> tuple[Component, ...]:
    """Return what the moments of start and end between two rows leave open [A.h]."""
    phases = delivered.phases
    first, last = phases.main[0], phases.main[-1]
    start_A = float(np.median(delivered.current_A[1:6]))
    parts = (
        Component(
            "charge start between two rows",
            (first.first_s - first.before_s) / 2 * start_A / 3600,
            "A.h",
            "rectangular",
        ),
        Component(
            "end of charge between two rows",
            (last.after_s - last.last_s) / 2 * abs(delivered.stop_A) / 3600,
            "A.h",
            "rectangular",
        ),
    )
    return of_some_size(parts)


def _hidden_parts(delivered: Delivered) -> tuple[Component, ...]:
    """Return what gaps of the log and switchings between its rows leave open [A.h]."""
    edges, profile = delivered.phases.profile.edges, delivered.phases.profile
    if not edges and profile.resolved:
        return _gap_part(delivered)
    name = f"{edges} switchings of the current between two rows"
    # In step with the rows all may lie early in their intervals, or late; else they scatter.
    many = math.sqrt(edges) if profile.resolved else edges
    part = Component(name, many * delivered.switched_Ah, "A.h", "rectangular")
    return (*_gap_part(delivered), part)


def _gap_part(delivered: Delivered) -> tuple[Component, ...]:
    if delivered.hidden_Ah <= 0:
        return ()
    count, length = len(delivered.gaps), sum(gap.length_s for gap in delivered.gaps)
    name = f"{count} gap{'s' if count > 1 else ''} in the current log, {length:.0f} s together"
    if count == 1:
        return (Component(name, delivered.hidden_Ah * math.sqrt(3), "A.h", "rectangular"),)
    return (Component(name, delivered.hidden_Ah, "A.h"),)
