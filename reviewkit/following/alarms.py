"""What needs a hand, told once for each thing and as long as it stands."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from reviewkit.charge.inputs import COLD_START_V, temperature_limit, termination_limit, voltage_limit
from reviewkit.findings import sentences
from reviewkit.following.observed import Observed
from reviewkit.following.state import Standing
from reviewkit.metrology import Measured
from reviewkit.metrology.conformity import Limit, conformance_probability
from reviewkit.metrology.meter import Meter
from reviewkit.schema.blocks import Cell

say = sentences.of("follow")

ROWS = 3
"""Rows in a row by which a fault is told: one may be a stray (chosen)."""

SILENT_S, SILENT_ROWS, SILENT_BURSTS = 25.0, 3.0, 2.5
"""A log is silent after so long [s], so many of its intervals, and so many of the times between which its
logger writes, whichever is longest (chosen, so that it is told within 30 s of the last row)."""

LIKELY = 0.5
"""An alarm of a limit is given from this probability on: a reading beyond the limit (chosen; a verdict asks
for more, but an alarm may come too early)."""

FEWEST_COUNTS = 20
"""A current below so many counts of its range reads too coarsely: METHODS' range check."""

FULL_SHARE = 0.95
"""From this share of its range's full scale a reading is about to overflow (chosen)."""

MID_TAPER = 1.5
"""A current that stops so many times above the highest at which a charge ends was cut: see `ending`."""

STILL_S, STILL_SHARE, STILL_V, NEAR_V = 3600.0, 0.02, 0.004, 0.15
"""Current and cell stand still if for an hour [s] the one moves by no more than this share, or three counts,
and the other by no more than this [V], within so much of the limit [V] (chosen: a tenth of what planning's
flattest slope makes of a current of C/20 in an hour)."""

OFF_S = 25.0
"""A current stays off for so long before it counts as stopped: pulses rest shorter (chosen)."""

DRIFT_S, DRIFT_PPM = 15.0, 1000.0
"""A log's clock has gone astray by so much [s], and so many millionths of the time watched: twenty times a
quartz (chosen)."""

AUTO_OFF_S = (600.0, 900.0, 1200.0, 1800.0, 2700.0, 3600.0)
AUTO_OFF_SHARE = 0.02
"""Meters switch themselves off so long after a key was last pressed: common practice, no source."""

ROOM_BYTES = 300_000_000
"""A disk with less room is nearly full: logs, and a review with its pages, take less (chosen)."""

HELD_S = 180.0
"""What has not been found for so long has passed; before that it is the same alarm (chosen)."""

FLOOR_WAIT_S = 120.0
"""The floor is judged at the start: within so long of the first current (chosen)."""


@dataclass(frozen=True)
class Alarm:
    """One thing that needs a hand.

    Parameters
    ----------
    kind : str
        "over limit", "below floor", "too hot", "current steady", "charge resumed", "charge stopped",
        "log silent", "overload", "range too coarse", "range too small", "clock astray", "disk nearly full".
    about : str
        What it is about: "cell", "charge", "disk", or the log's key.
    since_s : float [s]
        When it was first told, by this computer's clock.
    says, do : str
        What is the matter; what to do.
    urgent : bool
        Whether the cell may be in danger.
    """

    kind: str
    about: str
    since_s: float
    says: str
    do: str
    urgent: bool = False

    @property
    def key(self) -> str:
        """Kind and thing together: there is never more than one of it."""
        return f"{self.kind}: {self.about}"


@dataclass
class Bench:
    """What the alarms look at.

    Parameters
    ----------
    logs : mapping of str to Observed
        By the run's keys.
    meters : mapping of str to Meter
    standing : Standing or None
        The last whole reading.
    room_bytes : int or None
        What is left on the disk.
    """

    cell: Cell
    logs: dict[str, Observed]
    meters: dict[str, Meter]
    standing: Standing | None = None
    room_bytes: int | None = None
    ended_A: float | None = None


@dataclass
class Alarms:
    """The alarms that stand, and which of them are new."""

    standing: dict[str, Alarm] = field(default_factory=dict)
    _found_s: dict[str, float] = field(default_factory=dict)
    _off_since: float | None = None
    _was_A: float = 0.0

    def look(self, bench: Bench, now_s: float) -> tuple[Alarm, ...]:
        """Return the alarms that have come up since last time; those that have passed are dropped.

        Parameters
        ----------
        now_s : float [s]
            This computer's clock.
        """
        found = {one.key: one for one in self._found(bench, now_s)}
        new = tuple(one for key, one in found.items() if key not in self.standing)
        self._found_s |= dict.fromkeys(found, now_s)
        kept = {key: one for key, one in self.standing.items() if now_s - self._found_s[key] <= HELD_S}
        self.standing = {key: kept.get(key, one) for key, one in {**kept, **found}.items()}
        return new

    def _found(self, bench: Bench, now_s: float) -> Iterator[Alarm]:
        silent = {}
        for key, log in bench.logs.items():
            if (what := _silent(log, now_s)) is not None:
                silent[key] = what
                yield what
            else:
                yield from _of_range(log, bench, now_s)
                yield from _of_clock(log, now_s)
        if "voltage" not in silent:
            yield from _of_voltage(bench, now_s)
        if "temperature" not in silent:
            yield from _of_heat(bench, now_s)
        if "current" not in silent:
            yield from self._of_current(bench, now_s)
        if bench.room_bytes is not None and bench.room_bytes < ROOM_BYTES:
            yield _alarm("disk nearly full", "disk", now_s, megabytes=round(bench.room_bytes / 1e6))

    def _of_current(self, bench: Bench, now_s: float) -> Iterator[Alarm]:
        """Tell a stop in mid-charge, a charge that begins again, a current that no longer falls."""
        log, standing = bench.logs.get("current"), bench.standing
        if log is None or standing is None or standing.phases is None or log.rows.count < ROWS:
            return
        phases = standing.phases
        last = log.last(ROWS)
        flows = bool(np.nanmin(last) > phases.profile.start_A) if np.isfinite(last).any() else False
        off = bool(np.nanmax(last, initial=-np.inf) < phases.profile.start_A)
        if (phases.terminated and flows) or (phases.top_ups and flows):
            yield _alarm("charge resumed", "charge", now_s, current=_typical(last))
            return
        self._note_stop(log, off, flows)
        if self._stopped(bench, standing, log):
            yield _alarm("charge stopped", "charge", now_s, current=self._was_A)
        if flows and (phases.ending == "never" or _stands(bench)):
            yield _alarm("current steady", "charge", now_s, current=_typical(last))

    def _note_stop(self, log: Observed, off: bool, flows: bool) -> None:
        moment = float(log.rows.time_s[-1])
        if flows:
            self._off_since, self._was_A = None, _typical(log.last(ROWS))
        elif off and self._off_since is None:
            self._off_since = float(log.rows.time_s[-ROWS])
        if self._off_since is not None and moment < self._off_since:
            self._off_since = moment

    def _stopped(self, bench: Bench, standing: Standing, log: Observed) -> bool:
        if self._off_since is None or not self._was_A or standing.phases is None:
            return False
        long = float(log.rows.time_s[-1]) - self._off_since >= OFF_S
        limit = termination_limit(bench.cell)
        most_A = limit.high if limit is not None and limit.high else standing.phases.plateau_A / 5
        return long and self._was_A > MID_TAPER * most_A


def _alarm(kind: str, about: str, now_s: float, *, urgent: bool = False, **values: object) -> Alarm:
    what = kind.replace(" ", "_")
    said, do = (say(name, about=about, **values) for name in (what, f"{what}_do"))
    return Alarm(kind, about, now_s, said, do, urgent)


def _typical(values: np.ndarray) -> float:
    return float(np.nanmedian(values))


def measured(log: Observed, meter: Meter, rows: int = ROWS) -> Measured | None:
    """Return what the last rows show, with the meter's doubt; None where they hold no reading."""
    last = log.last(rows)
    last = last[np.isfinite(last)]
    if not len(last):
        return None
    return Measured(float(np.median(last)), meter.unit, (meter.component(float(np.median(last))),))


def _stands(bench: Bench) -> bool:
    """Whether current and voltage have both stood still for an hour, near the limit.

    A cell that still takes its current rises by 40 mV an hour and more there, and one at the voltage limit
    takes less and less.
    """
    still = []
    for key, share, least in (("current", STILL_SHARE, 0.0), ("voltage", 0.0, STILL_V)):
        log, meter = bench.logs.get(key), bench.meters.get(key)
        if log is None or meter is None or not log.rows.count:
            return False
        times, values = log.rows.time_s, log.rows.values
        hour = values[np.searchsorted(times, times[-1] - STILL_S) :]
        if times[-1] - times[0] < STILL_S or not np.isfinite(hour).all():
            return False
        low, middle, high = (float(part) for part in np.quantile(hour, (0.05, 0.5, 0.95)))
        still.append(high - low <= max(3 * meter.resolution, share * abs(middle), least))
        if key == "voltage" and middle < bench.cell.limit_V - NEAR_V:
            return False
    return all(still)


def _silent(log: Observed, now_s: float) -> Alarm | None:
    """Tell a log that no longer grows: nothing came for longer than its rows and its logger's bursts ask."""
    heard = log.heard_s
    if heard is None or log.rows.count < ROWS:
        return None
    quiet = now_s - heard
    if quiet <= max(SILENT_S, SILENT_ROWS * log.interval_s, SILENT_BURSTS * log.burst_s):
        return None
    lasted = float(log.rows.time_s[-1] - log.rows.time_s[0])
    auto_off = any(abs(lasted / usual - 1) < AUTO_OFF_SHARE for usual in AUTO_OFF_S)
    return _alarm(
        "log silent", log.key, now_s, quiet_s=quiet, lasted_s=lasted, auto_off=auto_off,
        standing=log.log.standing,
    )  # fmt: skip


def _of_range(log: Observed, bench: Bench, now_s: float) -> Iterator[Alarm]:
    """Tell overload, a range about to overflow, a range too coarse for what flows."""
    last = log.last(ROWS)
    meter = bench.meters.get(log.key)
    if len(last) < ROWS:
        return
    if np.isnan(last[-2:]).all() and log.overloads:
        yield _alarm("overload", log.key, now_s)
        return
    if meter is None or not np.isfinite(last).any():
        return
    least = float(np.nanmin(np.abs(last)))
    if meter.full_scale is not None and least > FULL_SHARE * meter.full_scale:
        yield _alarm("range too small", log.key, now_s, reading=least, unit=meter.unit)
    standing = bench.standing
    flowing = standing is not None and standing.now.name == "constant voltage"
    if log.key == "current" and flowing and standing is not None and standing.phases is not None:
        level, none = _typical(last), standing.phases.profile.stop_A
        if none < level < FEWEST_COUNTS * meter.resolution:
            counts = level / meter.resolution
            yield _alarm("range too coarse", log.key, now_s, reading=level, unit="A", counts=round(counts))


def _of_clock(log: Observed, now_s: float) -> Iterator[Alarm]:
    drift = log.drift_s
    allowed = max(DRIFT_S, DRIFT_PPM * 1e-6 * log.watched_s, 2 * log.interval_s, 2 * log.burst_s)
    if abs(drift) > allowed:
        yield _alarm("clock astray", log.key, now_s, drift_s=drift)


def _of_voltage(bench: Bench, now_s: float) -> Iterator[Alarm]:
    log, meter = bench.logs.get("voltage"), bench.meters.get("voltage")
    if log is None or meter is None or (shown := measured(log, meter)) is None:
        return
    over = _beyond(shown, voltage_limit(bench.cell, both_sides=False))
    if over >= LIKELY and log.rows.count >= ROWS:
        yield _alarm(
            "over limit", "cell", now_s, urgent=True, voltage=shown.value, half=shown.expanded,
            limit=bench.cell.limit_V + bench.cell.charge_limit_tolerance_V, percent=_percent(over),
        )  # fmt: skip
    floor = bench.cell.floor_V or COLD_START_V
    if _has_just_begun(bench, log) and (under := _beyond(shown, Limit(low=floor))) >= LIKELY:
        yield _alarm(
            "below floor", "cell", now_s, urgent=True, voltage=shown.value, half=shown.expanded, limit=floor,
            percent=_percent(under),
        )  # fmt: skip


def _has_just_begun(bench: Bench, voltage: Observed) -> bool:
    """Whether current has begun to flow a short while ago, or flows and no whole reading tells it yet."""
    phases = bench.standing.phases if bench.standing else None
    if phases is not None:
        return float(voltage.rows.time_s[-1]) - phases.first_sample_s <= FLOOR_WAIT_S
    current, meter = bench.logs.get("current"), bench.meters.get("current")
    if current is None or meter is None or current.rows.count < ROWS:
        return False
    last = current.last(ROWS)
    none_A = meter.half_width(0.0) + FEWEST_COUNTS * meter.resolution
    return bool(np.isfinite(last).all() and last.min() > none_A)


def _beyond(shown: Measured, limit: Limit) -> float:
    return 1.0 - conformance_probability(shown.value, shown.standard, limit)


def _percent(share: float) -> int:
    return min(99, max(1, math.floor(100 * share)))


def _of_heat(bench: Bench, now_s: float) -> Iterator[Alarm]:
    log = bench.logs.get("temperature")
    if log is None or log.rows.count < ROWS:
        return
    limit = temperature_limit(bench.cell)
    shown = _typical(log.last(ROWS))
    if limit.high is not None and shown > limit.high:
        yield _alarm("too hot", "cell", now_s, urgent=True, temperature=shown, limit=limit.high)
