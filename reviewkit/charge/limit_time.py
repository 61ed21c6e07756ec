"""How much of the charging time the charger was at one of its two limits, and what the rest looks like."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.regimes import Phases
from reviewkit.charge.series import FloatArray
from reviewkit.charge.shapes import Adherence, Stretch, adherence
from reviewkit.metrology import formatting

_MOST_ROWS = 100_000
_MEANING = {
    "early taper": "the current falls before the voltage limit is reached",
    "pulsing": "the current switches on and off",
    "steps": "the current stands on several levels",
    "foldback": "the current stands on a lower level",
    "droop": "the current sags a little",
    "unnamed": "no usual shape",
}


def at_limits(
    record: ChargeRecord, phases: Phases, *, plateau_A: float, set_V: float | None, series_ohm: float
) -> Adherence | None:
    """Return the time at a limit from the end of precharge to the end of the main charge.

    Parameters
    ----------
    record : ChargeRecord
    phases : Phases
    plateau_A : float [A]
        NaN for a charge that never saw its plateau.
    set_V : float or None [V]
        None if no voltage was held.
    series_ohm : float [ohm]
        From the regulation point to the cell's voltmeter; 0 asks about the cell itself.

    Returns
    -------
    Adherence or None
        Times from charge start. None if the charge is too short to say.
    """
    rows = np.flatnonzero(
        phases.mask(record.time_s, "constant current", "constant voltage")
        & phases.profile.on_at(record.time_s)
        & np.isfinite(record.voltage)
    )
    rows = rows[:: max(1, len(rows) // _MOST_ROWS)]
    if len(rows) < 10:
        return None
    time, current = record.time_s[rows] - phases.start.value, record.current[rows]
    volts = record.voltage[rows] + series_ohm * current
    pauses = _pauses(phases, record.time_s[rows])
    found = adherence(
        time - pauses,
        volts,
        current,
        plateau_A=plateau_A,
        set_V=float("nan") if set_V is None else set_V,
        doubt_A=2 * record.noise_A + record.ammeter.resolution / 2,
        doubt_V=2 * record.noise_V + record.voltmeter.resolution / 2,
    )
    found = _with_ends(found, 2 * record.interval_s, float(time[-1] - time[0]))
    return replace(found, stretches=tuple(_moved(one, time, pauses) for one in found.stretches))


def _with_ends(found: Adherence, rows_s: float, length_s: float) -> Adherence:
    """Return the share's bounds with what begin, knee and end between two rows leave open."""
    if found.low is None or found.high is None or length_s <= 0:
        return found
    open_end = 100 * rows_s / length_s
    return replace(found, low=max(0.0, found.low - open_end), high=min(100.0, found.high + open_end))


def _pauses(phases: Phases, time_s: FloatArray) -> FloatArray:
    """Return, for each time, how long the charge had been interrupted before it [s]."""
    lost = np.zeros(len(time_s))
    for span in phases.named("interrupted"):
        lost[time_s >= span.end_s] += span.length_s
    return lost


def _moved(stretch: Stretch, time: FloatArray, pauses: FloatArray) -> Stretch:
    """Return a stretch with the interruptions put back into its times."""
    start, end = np.interp([stretch.start_s, stretch.end_s], time - pauses, time)
    return Stretch(float(start), float(end), stretch.shape, stretch.low_A, stretch.high_A)


def in_words(found: Adherence) -> str:
    """Return what the time at neither limit looks like."""
    if not found.stretches:
        return "The rest is single moments."
    parts = [
        f"{formatting.clock(one.length_s)} from {formatting.clock(one.start_s)} on: {_MEANING[one.shape]}, "
        f"{formatting.rough(one.low_A, 'A')} to {formatting.rough(one.high_A, 'A')} ({one.shape})"
        for one in found.stretches[:3]
    ]
    more = len(found.stretches) - 3
    tail = f"; and {more} shorter" if more > 0 else ""
    return f"At neither limit: {'; '.join(parts)}{tail}."
