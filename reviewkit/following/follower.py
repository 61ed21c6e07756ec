"""A charge followed: polled, it returns what the charger does, what is coming, what needs a hand."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from reviewkit.charge.inputs import ChargeInputs, ChargeRun
from reviewkit.charge.inputs import inputs as charge_inputs
from reviewkit.charge.reading import meters_of, missing_meters, record_of
from reviewkit.charge.record import ChargeRecord
from reviewkit.errors import Faults, InputError, LogError, ReviewFileError
from reviewkit.following import alarms as alarm_rules
from reviewkit.following import growing, needs, state
from reviewkit.following.alarms import Alarm, Alarms, Bench
from reviewkit.following.forecast import Interval
from reviewkit.following.growing import GrowingLog
from reviewkit.following.growing import Standing as FileStanding
from reviewkit.following.needs import Have, Need
from reviewkit.following.observed import Observed
from reviewkit.following.state import Earlier
from reviewkit.logs.log import Log
from reviewkit.metrology import Measured

READ_EVERY_S = 20.0
"""A whole reading is made at most so often: an alarm that waits for one is told within 30 s (chosen)."""

READ_SHARE = 0.01
"""It takes at most this share of one core: the longer it takes, the less often it is made (chosen)."""

LOOK_EVERY_S = 60.0
PICTURE_POINTS = 240
_FEWEST = 5


@dataclass(frozen=True)
class LogState:
    """One log: whether it is there, what it holds, how it grows.

    Parameters
    ----------
    key, path : str
        Its key in the run, and its file.
    standing : {"not there", "empty", "locked", "no log yet", "read"}
    told : str
        What stands in the way.
    rows : int
    interval_s : float [s]
    unit, clock : str
        As read: "mV"; "date", "time of day" or "counts seconds".
    heading : str
        Above the readings.
    heard_s : float or None [s]
        When rows last came, by this computer's clock.
    event : {"", "rewritten", "started anew"}
    """

    key: str
    path: str
    standing: FileStanding
    told: str
    rows: int
    interval_s: float
    unit: str
    clock: str
    heading: str
    heard_s: float | None
    overloads: int
    left_out: int
    event: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Picture:
    """The night so far in few points, by this computer's clock.

    Parameters
    ----------
    time_s, values : array, shape (n,)
    """

    key: str
    time_s: np.ndarray
    values: np.ndarray


@dataclass(frozen=True)
class State:
    """A charge at one moment; all moments by this computer's clock, in seconds since 1970.

    Parameters
    ----------
    at_s : float [s]
    logs : tuple of LogState
    regime, shape : str
        What the charger does now: a phase's name of the charge section, "" where no log tells yet; and how.
    since_s : float or None [s]
    since_half_s : float [s]
        How well that is known.
    voltage, current, delivered : Measured or None
    knee, end : (float, float) or None [s]
        Between when and when the current will begin to fall, and the charge will end.
    alarms, new_alarms : tuple of Alarm
        All that stand, and those not told before.
    findings : tuple of Have
        For each need of the review's sections, whether it is there.
    pictures : tuple of Picture
    problem : str
        Why the logs together can't be read as a charge, where they can't.
    """

    at_s: float
    logs: tuple[LogState, ...]
    regime: str = ""
    shape: str = ""
    since_s: float | None = None
    since_half_s: float = 0.0
    voltage: Measured | None = None
    current: Measured | None = None
    delivered: Measured | None = None
    knee: tuple[float, float] | None = None
    end: tuple[float, float] | None = None
    alarms: tuple[Alarm, ...] = ()
    new_alarms: tuple[Alarm, ...] = ()
    findings: tuple[Have, ...] = ()
    pictures: tuple[Picture, ...] = ()
    problem: str = ""


class Follower:
    """Follows one charge of a review folder while its logs grow.

    Parameters
    ----------
    inputs : ChargeInputs
        The charge section's parameters.
    folder : Path
        The review folder; it and its logs may come later.
    run : int
        Which of the charges, from 1; 0: the last.
    needs : sequence of Need
        What the review's sections need.
    filled : collection of str
        Parameters under which the review has readings already.
    earlier : Earlier or None
        What a charge of this device has shown before.
    clock : callable
        Gives this computer's time [s]; a test gives its own.
    read_every_s : float [s]
        Between two whole readings, at least.

    Raises
    ------
    InputError
        If the review names no charge, or its meters are not described.

    Examples
    --------
    >>> follower = Follower(bench, folder=folder)
    >>> shown = follower.poll()
    >>> [log.standing for log in shown.logs], shown.regime
    (['read', 'read'], 'terminated')
    """

    def __init__(
        self,
        inputs: ChargeInputs,
        *,
        folder: Path,
        run: int = 0,
        needs: Sequence[Need] = (),
        filled: Collection[str] = (),
        earlier: Earlier | None = None,
        clock: Callable[[], float] = time.time,
        read_every_s: float = READ_EVERY_S,
    ) -> None:
        self._place, self._run = _run(inputs, run)
        faults: list[InputError] = list(missing_meters(inputs))
        self._meters = meters_of(self._run, self._place, inputs, faults)
        if faults:
            raise Faults(faults)
        self.folder, self._inputs, self._clock = folder, inputs, clock
        self._needs, self._filled, self._earlier = tuple(needs), filled, earlier
        self._logs = {
            key: Observed(GrowingLog(entry, quantity, folder=folder, headings=inputs.headings), key)
            for key, quantity, entry in self._run.logs()
            if key in ("voltage", "current", "temperature")
        }
        self._bench = Bench(inputs.cell, self._logs, self._meters)
        self._alarms = Alarms()
        self._read_s = self._looked_s = -np.inf
        self._cost_s = 0.0
        self._read_rows, self._read_every_s = 0, read_every_s
        self._problem = ""
        self._out_s: float | None = None

    def note(self, values: Mapping[str, Any], filled: Collection[str]) -> None:
        """Take in what has been added to the review file meanwhile: readings, and when the cable was pulled.

        Parameters
        ----------
        values : mapping
            Of the review file. What follows is the same charge, whatever else they say.
        filled : collection of str
            Parameters under which there are readings now.
        """
        self._filled = filled
        with suppress(InputError):
            run = _run(charge_inputs(values), self._place)[1]
            self._run = self._run.model_copy(update={"cable_out_s": run.cable_out_s})

    def cable_out(self, moment_s: float | None = None) -> None:
        """Note that the cable has been pulled, now or at a moment [s]."""
        self._out_s = self._clock() if moment_s is None else moment_s

    def poll(self) -> State:
        """Read what was added to the logs and return how the charge stands.

        Returns
        -------
        State
        """
        now_s = self._clock()
        for log in self._logs.values():
            log.poll(now_s)
        if now_s - self._looked_s >= LOOK_EVERY_S:
            self._bench.room_bytes, self._looked_s = growing.free_bytes(self.folder), now_s
        rows = sum(log.seen for log in self._logs.values())
        if rows != self._read_rows and now_s - self._read_s >= max(
            self._read_every_s, self._cost_s / READ_SHARE
        ):
            self._read(now_s)
            self._read_rows = rows
        new = self._alarms.look(self._bench, now_s)
        return self._state(now_s, new)

    def _read(self, now_s: float) -> None:
        """Make a whole reading of the rows kept."""
        began = time.process_time()
        self._read_s = now_s
        found = {key: log.as_log() for key, log in self._logs.items()}
        known = {key: log for key, log in found.items() if log is not None and log.series.count() >= _FEWEST}
        if not {"voltage", "current"} <= set(known):
            return
        try:
            record = self._record(known)
            self._bench.standing = state.read(record, cell=self._inputs.cell, earlier=self._earlier)
            self._problem = ""
        except (LogError, ValueError, ArithmeticError, IndexError) as failure:
            self._problem = str(failure)
        self._cost_s = time.process_time() - began

    def _record(self, known: dict[str, Log]) -> ChargeRecord:
        try:
            return record_of(self._run, self._place, self._meters, known)
        except LogError:
            # No step yet and no dates: by when this computer saw the rows come in.
            apart = (self._logs["current"].late_s or 0.0) - (self._logs["voltage"].late_s or 0.0)
            current = self._run.current.model_copy(
                update={"clock_offset_s": self._run.voltage.clock_offset_s + (apart or 1e-6)}
            )
            return record_of(
                self._run.model_copy(update={"current": current}), self._place, self._meters, known
            )

    def _state(self, now_s: float, new: tuple[Alarm, ...]) -> State:
        standing, voltage = self._bench.standing, self._logs["voltage"]
        shown = {key: self._shown(key) for key in ("voltage", "current")}
        silent = {one.about for one in self._alarms.standing.values() if one.kind == "log silent"}
        findings = needs.have(
            self._needs,
            standing,
            self._logs,
            filled=self._filled,
            silent=silent,
            cable_out_s=self._cable_out(),
        )
        told = State(
            now_s,
            tuple(_log_state(log) for log in self._logs.values()),
            voltage=shown["voltage"],
            current=shown["current"],
            alarms=tuple(self._alarms.standing.values()),
            new_alarms=new,
            findings=findings,
            pictures=tuple(_picture(log) for log in self._logs.values() if log.rows.count),
            problem=self._problem,
        )
        if standing is None:
            return told
        start = 0.0 if standing.phases is None else standing.phases.first_sample_s
        coming = standing.forecast
        spans = (coming.knee, coming.end) if coming else (None, None)
        knee, end = (None if one is None else self._wall(one, start, now_s) for one in spans)
        return replace(
            told,
            regime=standing.now.name,
            shape=standing.now.shape,
            since_s=voltage.wall_s(standing.now.start_s),
            since_half_s=standing.since_half_s,
            delivered=standing.delivered,
            knee=knee,
            end=end,
        )

    def _shown(self, key: str) -> Measured | None:
        return alarm_rules.measured(self._logs[key], self._meters[key])

    def _cable_out(self) -> float | None:
        if self._out_s is None and self._run.cable_out_s is not None and self._logs["voltage"].rows.count:
            return self._logs["voltage"].wall_s(self._run.cable_out_s)
        return self._out_s

    def _wall(self, one: Interval, start_s: float, now_s: float) -> tuple[float, float]:
        log = self._logs["voltage"]
        return max(now_s, log.wall_s(start_s + one.low_s)), max(now_s, log.wall_s(start_s + one.high_s))


def _run(inputs: ChargeInputs, wanted: int) -> tuple[int, ChargeRun]:
    runs = inputs.charge_runs
    if not runs or wanted > len(runs):
        raise ReviewFileError(
            f"there is no charge {wanted or ''} to follow".replace("  ", " "),
            file="review.yaml",
            place="charge_runs",
            expected="an entry such as {voltage: logs/voltage.csv, current: logs/current.csv}",
            remedy="Name the files that your meters are going to write; they need not be there yet.",
        )
    number = wanted or len(runs)
    return number, runs[number - 1]


def _log_state(log: Observed) -> LogState:
    first, found = log.log.first, log.log.found
    clock = heading = unit = ""
    notes: tuple[str, ...] = ()
    if first is not None:
        clock = (
            "date" if first.started else "counts seconds" if first.time_of_day_s is None else "time of day"
        )
        unit, notes = first.report.unit, first.report.notes
    if found is not None:
        heading = found.source.layout.name(found.chosen.value)
    return LogState(
        log.key, log.log.entry.path, log.log.standing, log.log.told, log.seen, log.interval_s, unit, clock,
        heading, log.heard_s, log.overloads, log.log.left_out, log.event, notes,
    )  # fmt: skip


def _picture(log: Observed) -> Picture:
    time_s, values = log.rows.time_s, log.rows.values
    step = max(1, len(time_s) // PICTURE_POINTS)
    return Picture(log.key, time_s[::step] + (log.late_s or 0.0), values[::step].copy())


def opened(
    values: Mapping[str, Any],
    folder: Path,
    *,
    run: int = 0,
    needs: Sequence[Need] = (),
    filled: Collection[str] = (),
    clock: Callable[[], float] = time.time,
    read_every_s: float = READ_EVERY_S,
) -> Follower:
    """Return what follows a charge of a review, by the values of its review file.

    Parameters
    ----------
    values : mapping
        Of the review file; the charge section's own are taken.
    folder : Path
        The review folder.
    run : int
        Which of its charges, from 1; 0: the last. What those before it have shown of the device sharpens
        the forecast.
    needs, filled, clock, read_every_s
        As for `Follower`.

    Raises
    ------
    InputError
        As for `Follower`, and for whatever the values get wrong.

    Examples
    --------
    >>> opened(alder, folder).poll().regime
    'terminated'
    """
    bench = charge_inputs(values)
    number, _ = _run(bench, run)
    earlier = state.earlier(bench, number, folder)
    return Follower(
        bench,
        folder=folder,
        run=number,
        needs=needs,
        filled=filled,
        earlier=earlier,
        clock=clock,
        read_every_s=read_every_s,
    )
