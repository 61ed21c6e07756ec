"""The knee: the moment the charger's regulation point reaches its set voltage.

Found twice. First roughly, from the voltage: behind a series resistance R the regulation point is at
V_cell + R·I, and the constant-voltage phase is the longest stretch before the end in which that is constant.
Then finely, from the bend that the current makes there, or the regulation point's voltage where the current
was falling already.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from reviewkit.charge.knee_bend import narrowing
from reviewkit.charge.knee_window import coarse_of, falls_from, hold_window
from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.segments import Segments
from reviewkit.charge.series import FloatArray
from reviewkit.charge.statistics import line
from reviewkit.logs import decimation
from reviewkit.metrology import Component, Measured, shaken_left

_EARLY_S = 120.0
_LEAST_ROWS = 5
_MOST_ROWS = 5000


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


def find(record: ChargeRecord, main: Segments, *, from_s: float) -> Knee | None:
    """Return the knee, or None if the charge shows no constant-voltage phase.

    Parameters
    ----------
    record : ChargeRecord
    main : Segments
    from_s : float [s]
        End of precharge or charge start.
    """
    coarse = coarse_of(record, main, from_s)
    if len(coarse.time_s) < 10:
        return None
    rough = hold_window(coarse, record, main.level_A)
    if rough is None:
        return None
    first, set_V, series_ohm = rough
    first = falls_from(coarse, first, noise_A=record.noise_A, step_A=record.ammeter.resolution)
    # Within the first few rows the two logs and the grid cannot tell "soon" from "at once".
    grid_s = (coarse.time_s[-1] - coarse.time_s[0]) / len(coarse.time_s)
    soon_s = max(3 * record.interval_s, 3 * record.voltage_interval_s, 2 * grid_s)
    if first == 0 or coarse.time_s[first] - from_s < soon_s:
        return Knee(Measured(from_s, "s"), set_V, series_ohm, from_start=True)
    at = _Surroundings(record, main, float(coarse.time_s[first]), from_s)
    in_current, in_voltage = at.in_current(), at.in_regulation(set_V, series_ohm)
    found = [moment for moment in (in_current, in_voltage) if moment is not None]
    if record.clock_is_told and in_current:
        # The current alone tells the knee, whatever the two clocks are apart.
        found = [in_current]
    moment = min(found, key=lambda moment: moment.standard) if found else at.unrefined()
    if moment.value - from_s < soon_s or at.falls_at_once(from_s, moment.value):
        return Knee(Measured(from_s, "s"), set_V, series_ohm, from_start=True)
    return Knee(moment, set_V, series_ohm, from_start=False)


class _Surroundings:
    """The readings about a knee that is roughly known, pauses of the charge left out."""

    def __init__(self, record: ChargeRecord, main: Segments, rough_s: float, from_s: float) -> None:
        end_s = main.charging[-1].last_s
        self.rough_s = rough_s
        self.reach_s = max(
            8 * record.interval_s, min(0.3 * (end_s - rough_s), 0.5 * (rough_s - from_s), 900.0)
        )
        self.record = record.between(rough_s - 3 * self.reach_s, rough_s + 3 * self.reach_s)
        flows = np.zeros(len(self.record.time_s), dtype=bool)
        for segment in main.charging:
            flows |= (self.record.time_s > segment.first_s) & (self.record.time_s < segment.last_s)
        self.current = np.where(flows, self.record.current, np.nan)

    def in_current(self) -> Measured | None:
        """Return where the current bends."""
        return self._surest(self.current, self.record.ammeter.resolution)

    def in_regulation(self, set_V: float, series_ohm: float) -> Measured | None:
        """Return where the regulation point's voltage bends, set against a start on the current's clock."""
        near = np.abs(self.record.time_s - self.rough_s) < self.reach_s
        hidden_A = shaken_left(self.record.current[near], self.record.ammeter.resolution)
        regulation = self.record.voltage + series_ohm * self.current - set_V
        found = self._surest(regulation, self.record.voltmeter.resolution, beside=series_ohm * hidden_A)
        return found.plus(*self.record.clock_components()) if found else None

    def falls_at_once(self, from_s: float, knee_s: float) -> bool:
        """Whether the current falls from its first reading on: there is no plateau before so early a knee."""
        early = self.current[(self.record.time_s >= from_s) & (self.record.time_s <= knee_s)]
        early = early[np.isfinite(early)]
        if knee_s - from_s > _EARLY_S or len(early) < 2:
            return False
        return bool(early[0] - early[-1] > max(4 * self.record.noise_A, 0.005 * early[0]))

    def unrefined(self) -> Measured:
        """Return the knee as roughly as it was found."""
        doubt = Component("knee: read off the voltage alone", self.reach_s / 2, "s", "rectangular")
        return Measured(self.rough_s, "s", (doubt,))

    def _surest(self, values: FloatArray, step: float, *, beside: float = 0.0) -> Measured | None:
        moments = _moments(self.record, values, self.rough_s, self.reach_s, step, beside=beside)
        return min(moments, key=lambda moment: moment.standard, default=None)


def _moments(
    record: ChargeRecord,
    values: FloatArray,
    rough_s: float,
    reach_s: float,
    step: float,
    *,
    beside: float = 0.0,
) -> Iterator[Measured]:
    """Yield the bend of one quantity in ever shorter windows, each with its doubt.

    `beside` is what another display may hide of the quantity.
    """
    for place, scatter, shape in narrowing(record, values, rough_s, reach_s, step):
        parts = (
            Component("knee: scatter of the readings about the bend", scatter, "s"),
            Component("knee: length of the window fitted", shape, "s"),
            Component("knee: sampling interval", record.interval_s / 2, "s", "rectangular"),
            Component(
                "knee: display step",
                _standing(record, values, place, reach_s, step, beside),
                "s",
                "rectangular",
            ),
        )
        yield Measured(place, "s", tuple(part for part in parts if part.size > 0))


def _standing(
    record: ChargeRecord, values: FloatArray, place_s: float, reach_s: float, step: float, beside: float
) -> float:
    """Return by how much a display that stands still may hide the begin of a fall [s], as a half-width."""
    known = np.flatnonzero(np.isfinite(values))
    known = known[decimation.rows(len(known), _MOST_ROWS)]
    time, shown = record.time_s[known], values[known]
    before = (time < place_s) & (time > place_s - reach_s)
    after = (time > place_s) & (time < place_s + reach_s)
    if before.sum() < _LEAST_ROWS or after.sum() < _LEAST_ROWS:
        return 0.0
    kink = abs(line(time[after], shown[after]).slope - line(time[before], shown[before]).slope)
    return (shaken_left(shown[before], step) + beside) / kink if kink > 0 else 0.0
