"""A charge's current as stretches in which it flows, its pulses, and both logs in few bins."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from reviewkit.charge.record import ChargeRecord, FloatArray, local_intervals, running_median
from reviewkit.metrology import left_of_step

BoolArray = npt.NDArray[np.bool_]

START_SHARE = 0.02
"""Charge start: so much of the plateau, or five times the noise, above the ammeter's zero (METHODS'
definition).
"""

STOP_SHARE = 0.003
"""Current counts as flowing on down to this share of the plateau: chosen, well under any C/50."""

NOISES = 5.0
"""A current counts as one from so many standard deviations on: one row in two million by chance."""

START_STEPS, STOP_STEPS = 5.0, 3.0
"""The same in steps of the display: a reading that flickers between two of them is no current that
starts: chosen.
"""

UNRESOLVED = 0.1
"""Rows of on-times that differ from the next by more than this share average over switchings: chosen."""

LOW_NOISES, LOW_STEPS = 2.0, 1.2
"""The same for the median of five rows, of less than half the noise: chosen."""

STRAY_SHARE = 0.015
"""Rows off from their neighbours by more than this share of the plateau, beyond the noise, are strays:
chosen.
"""

FALLS_ON = 0.25
"""A current that falls on by this share of a drop was not cut off by it: chosen."""

FLOWS_ON = 0.4
"""Current flows on over a lone low reading only with at least this share of what it was: chosen."""

TAIL_ROWS = 20
"""A trickle after a cut-off shows in at least so many rows: chosen."""

FADING = 0.35
"""A stop that takes less than this share of the current before it is a fading, no cut: chosen."""

AS_MUCH = 0.5
"""A charge that goes on after a dip does so with at least this share of the current before: chosen."""

DIP_S = 16.0
"""Shorter pauses are dips: counted, and left out of what is read of levels; chosen, from simulated
charges.
"""

PULSE_S = 90.0
"""Longest on-time and off-time of a pulse train: three times the slowest pulses that the kit is tried on."""

PULSES = 6
"""So many pauses alike in a row are a pulse train: chosen; a source that fails is not so regular."""

ALIKE = 1.6
"""Pauses whose lengths differ by no more than this factor, beyond two intervals of the rows, are alike:
chosen.
"""

LONE_ROWS = 30
"""So many stops of one row each: how long they are, and how many lie between the rows, is open. So many slow
pauses alike in a row are a beat of pulses with the rows: chosen.
"""

SHAKEN, LEAST_OHM = 4.0, 0.01
"""Jumps of the voltage count from so many display steps on, from twice as many usual changes, and from what
the plateau drops over any cell and its leads [ohm]: chosen.
"""

HIDDEN = 2.0
"""With more than so many times the current's switchings in the voltage, the rows miss most: chosen, one
switching seen by rows on either side may count twice.
"""

ALIASED_S = 600.0
"""Slow beats of pulses with the rows look like pauses of up to so long: chosen, ten times a slow logger's
row.
"""

SUSTAINED_S, SUSTAINED_ROWS = 10.0, 3
"""Shorter stretches of current are no charge: chosen."""

BINS = 320
"""About so many bins: finer ones cost time, coarser ones blur the limits; from simulated charges."""

DRIFT = 5e-4
"""A current limit wanders by so much of itself [1]: chosen above the 0.03 % at which simulated drift
splits levels.
"""

DRIFT_V = 1e-3
"""A voltage limit wanders by so much [V]: 25 millionths a kelvin over ten kelvins, from memory."""

FINE_SHARE, FINEST = 0.02, 8
"""Bins in which the current changes by more than this share of the plateau are cut into up to so many:
chosen.
"""

BESIDE_S = 120.0
"""A switching known to within this is one moment; a longer one is a gap, of which only the near end
counts: chosen.
"""

EDGES = 80
"""So many steps of the current at most get a bin's edge of their own."""

_FIRST_ROWS = 10


@dataclass(frozen=True)
class Block:
    """A stretch in which charge current flows, pulses and dips included.

    Parameters
    ----------
    first, last : int
        Rows of the current log, both with current.
    first_s, last_s : float [s]
        Their times.
    before_s, after_s : float [s]
        The rows before and after, both without current; first and last at the log's ends.
    """

    first: int
    last: int
    first_s: float
    last_s: float
    before_s: float
    after_s: float


@dataclass(frozen=True)
class Bins:
    """Both logs averaged over short times, charging only; pulses by their on-time.

    Parameters
    ----------
    time_s, span_s, current_A, voltage_V : array, shape (n,)
        Middle, length, on-time current and the cell's voltage at it (NaN where it was not logged).
    current_sd, voltage_sd : array, shape (n,)
        Standard deviations of the averages, display and drift included.
    group : array of int, shape (n,)
        Bins of one number follow each other without a gap.
    """

    time_s: FloatArray
    span_s: FloatArray
    current_A: FloatArray
    voltage_V: FloatArray
    current_sd: FloatArray
    voltage_sd: FloatArray
    group: npt.NDArray[np.int_]
    pulsing: BoolArray

    def __len__(self) -> int:
        return len(self.time_s)

    def coarser(self, by: int) -> Bins:
        """Return the same in bins of up to `by` neighbours of one group and much the same current."""
        jump = np.abs(np.diff(self.current_A)) > 6 * (self.current_sd[1:] + self.current_sd[:-1])
        jump &= np.abs(np.diff(self.current_A)) > 0.05 * np.abs(self.current_A[1:])
        run = np.cumsum(np.concatenate([[False], (np.diff(self.group) != 0) | jump]))
        since = np.arange(len(run)) - np.searchsorted(run, run)
        first = np.flatnonzero(since % by == 0)
        size = np.diff(np.append(first, len(run)))
        known = np.isfinite(self.voltage_V)
        seen = np.add.reduceat(known.astype(float), first)
        with np.errstate(invalid="ignore"):
            volts = np.add.reduceat(np.where(known, self.voltage_V, 0.0), first) / seen
        mean = [np.add.reduceat(one, first) / size for one in (self.time_s, self.current_A)]
        floor = [
            np.add.reduceat(one, first) / size / np.sqrt(size) for one in (self.current_sd, self.voltage_sd)
        ]
        current_sd = np.maximum(floor[0], DRIFT * np.abs(mean[1]))
        return Bins(
            mean[0],
            np.add.reduceat(self.span_s, first),
            mean[1],
            volts,
            current_sd,
            np.maximum(floor[1], DRIFT_V),
            self.group[first],
            self.pulsing[first],
        )


@dataclass(frozen=True)
class Profile:
    """What the current log alone shows.

    Parameters
    ----------
    zero_A, level_A, start_A, stop_A : float [A]
        What the ammeter shows for none, a rough plateau, where current counts as begun and as stopped.
    on : array of bool, shape (rows,)
        Rows with current that lie inside an on-time, its edges left out.
    pulsing : array of bool, shape (rows,)
        Rows within a pulse train.
    pauses_s : tuple of (float, float) [s]
        Short stops that are no pulses.
    resolved : bool
        Whether the rows show the level of the pulses' on-times.
    edges : int
        How often the current was switched by pulses and dips.
    """

    time_s: FloatArray
    zero_A: float
    level_A: float
    start_A: float
    stop_A: float
    blocks: tuple[Block, ...]
    on: BoolArray
    pulsing: BoolArray
    pauses_s: tuple[tuple[float, float], ...]
    resolved: bool
    edges: int

    def on_at(self, time_s: FloatArray) -> BoolArray:
        """Return which moments are those of rows inside an on-time: for some of the log's own rows."""
        rows = np.minimum(np.searchsorted(self.time_s, time_s), len(self.time_s) - 1)
        return np.asarray(self.on[rows])


def runs(mask: BoolArray) -> list[tuple[int, int]]:
    """Return the first and last row of each stretch in which `mask` holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(first), int(last) - 1) for first, last in zip(edges[::2], edges[1::2], strict=True)]


def rough_level(record: ChargeRecord) -> float:
    """Return a first guess of the plateau [A]: time-weighted median of the larger currents."""
    current, time = record.current, record.time_s
    high = float(np.quantile(current, 0.995))
    if high <= record.ammeter.half_width(0.0) + START_STEPS * record.ammeter.resolution:
        # A charge of a few rows is left out of a quantile.
        high = max(high, float(running_median(current, 5).max()))
    span = np.minimum(np.diff(time, append=time[-1]), 3 * record.interval_s)
    large = current > 0.5 * high
    if high <= NOISES * record.noise_A or span[large].sum() < SUSTAINED_S:
        return max(high, 0.0)
    order = np.argsort(current[large])
    grown = np.cumsum(span[large][order])
    return float(current[large][order][int(np.searchsorted(grown, grown[-1] / 2))])


def shown_at_none(record: ChargeRecord) -> float:
    """Return what the ammeter shows where no current flows [A]: the log's first level or its lowest.

    Each counts only if the meter's statement allows it for no current; else the meter is taken to show 0.
    """
    allowed = record.ammeter.half_width(0.0) + record.ammeter.resolution / 2
    levels = (
        float(np.median(record.current[:_FIRST_ROWS])),
        float(np.quantile(record.thinned.current, 0.02)),
    )
    return next((level for level in levels if abs(level) <= allowed), 0.0)


def of(record: ChargeRecord) -> Profile | None:
    """Return where charge current flows; None if it never does."""
    level, noise, zero = rough_level(record.thinned), record.noise_A, shown_at_none(record)
    step = record.ammeter.resolution
    start_A = zero + max(NOISES * noise, START_SHARE * level, min(START_STEPS * step, level / 2))
    stop_A = min(start_A, zero + max(NOISES * noise, STOP_STEPS * step, STOP_SHARE * level))
    spans = _not_faded(record, _reaching(record.current, start_A, stop_A), start_A - zero)
    if not spans:
        return None
    spans = _to_their_ends(
        record, spans, zero + max(LOW_NOISES * noise, LOW_STEPS * step, STOP_SHARE * level)
    )
    spans = [_up_to_cut_off(record, span, level) for span in spans] if len(spans) < PULSES else spans
    joins, jumps_s = _joins(record, spans), _hidden_jumps(record, spans, level)
    if len(jumps_s):
        joins = [_beat(record, spans, index, how) for index, how in enumerate(joins)]
    blocks = [one for one in _grouped(record, spans, joins) if _sustained(record, one)]
    if not blocks:
        return None
    pulsing = _pulsing(record, spans, joins) | _beside(record, jumps_s)
    on = _inside(record, spans) & (pulsing | ~_strays(record, level))
    resolved = not len(jumps_s) and _resolved(record, spans, joins) and not _beaten(record, spans, joins)
    edges = 2 * sum(how != "pause" for how in joins)
    short = tuple(
        (float(record.time_s[early[1]]), float(record.time_s[late[0]]))
        for early, late, how in zip(spans[:-1], spans[1:], joins, strict=True)
        if how == "dip" and late[0] - early[1] > 2
    )
    return Profile(
        record.time_s,
        zero,
        level,
        start_A,
        stop_A,
        tuple(_block(record, *one) for one in blocks),
        on,
        pulsing,
        short,
        resolved,
        edges,
    )


def _reaching(current: FloatArray, start_A: float, stop_A: float) -> list[tuple[int, int]]:
    """Return the stretches above `stop_A` that reach `start_A`, from where they first do."""
    found = []
    high = np.flatnonzero(current > start_A)
    for first, last in runs(current > stop_A):
        index = int(np.searchsorted(high, first))
        if index < len(high) and high[index] <= last:
            found.append((int(high[index]), last))
    return found


def _to_their_ends(record: ChargeRecord, spans: list[tuple[int, int]], low_A: float) -> list[tuple[int, int]]:
    """Return the stretches with their ends where the median of five rows falls below a lower threshold.

    A single reading's noise ends no charge. Where current flows again before that, the stop is left as it is.
    """
    above = running_median(record.current, 5) > low_A
    if not above.any():
        return spans
    first, last = np.array(runs(above)).T
    found = []
    for index, span in enumerate(spans):
        following = spans[index + 1][0] if index + 1 < len(spans) else len(record.current)
        run = int(np.searchsorted(first, span[1], side="right")) - 1
        end = int(last[run]) if run >= 0 and last[run] >= span[1] else span[1]
        tail = record.current[span[1] + 1 : end + 1][:5]
        before = record.current[max(span[0], span[1] - 5) : span[1] + 1]
        flows = len(tail) > 0 and float(np.median(tail)) > FLOWS_ON * float(np.median(before))
        found.append((span[0], end if flows and end < following - 1 else span[1]))
    return found


def _up_to_cut_off(record: ChargeRecord, span: tuple[int, int], level_A: float) -> tuple[int, int]:
    """Return a stretch up to where the current drops to a trickle that then stays: the charge ended there."""
    first, last = span
    current = record.current[first : last + 1]
    if len(current) < TAIL_ROWS:
        return span
    before, after = current[:-3], current[3:]
    drop = (after < 0.6 * before) & (before < 0.5 * level_A) & (before - after > 10 * record.noise_A)
    for row in np.flatnonzero(drop)[:200]:
        if _stays_low(record, current[row + 3 :], float(before[row]), first + int(row)):
            return first, first + int(row) + int(np.argmin(np.diff(current[row : row + 4])))
    return span


def _stays_low(record: ChargeRecord, tail: FloatArray, before_A: float, row: int) -> bool:
    """Whether the current keeps a trickle's level and the cell's voltage does not rise under it."""
    high = np.flatnonzero(tail > before_A)
    kept = tail[: high[0]] if len(high) else tail
    if len(kept) < TAIL_ROWS:
        return False
    flat = float(np.median(kept[-5:])) > 0.7 * float(np.median(kept[:5]))
    volts = record.voltage[row + 4 : row + len(kept) + 3]
    volts = volts[np.isfinite(volts)]
    return flat and len(volts) > 5 and float(np.median(volts[-5:])) <= float(np.median(volts[:5]))


def _not_faded(record: ChargeRecord, spans: list[tuple[int, int]], start_A: float) -> list[tuple[int, int]]:
    """Leave out what flickers over the threshold after a current has faded below it, up to a clear rise."""
    kept: list[tuple[int, int]] = []
    doubtful = _shallow(record, spans)
    for span, shallow in zip(spans, doubtful, strict=True):
        if kept and shallow and fades(record, kept[-1], span[0]):
            before = float(np.median(record.current[max(kept[-1][0], kept[-1][1] - 4) : kept[-1][1] + 1]))
            if float(np.quantile(record.current[span[0] : span[1] + 1], 0.9)) < 2 * before + start_A:
                continue
        kept.append(span)
    return kept


def _shallow(record: ChargeRecord, spans: list[tuple[int, int]]) -> BoolArray:
    """Return before which stretches the current had not sunk by most of itself."""
    if len(spans) < 2:
        return np.zeros(len(spans), dtype=bool)
    first, last = np.array(spans).T
    cuts = np.column_stack([last[:-1] + 1, first[1:]]).ravel()
    lowest = np.minimum.reduceat(record.current, cuts)[::2]
    before = record.current[np.maximum(last - 1, first)][:-1]
    shallow = before - lowest < np.maximum(8 * record.noise_A, 2 * FADING * before)
    return np.concatenate([[False], shallow])


def fades(record: ChargeRecord, span: tuple[int, int], until: int | None = None) -> bool:
    """Whether the current sank below what counts as current after a stretch, instead of being cut off.

    Parameters
    ----------
    span : (int, int)
        First and last row of the stretch.
    until : int or None
        The row with which current flows again.
    """
    first, last = span
    before = record.current[max(first, last - 5) : max(last, first + 1)]
    after = record.current[last + 1 : until][:4]
    after = after[1:] if len(after) > 2 else after
    if not len(after):
        return False
    # Where the ammeter shows less than nothing for none, half of the largest lies above it.
    before = before[before >= min(0.5 * before.max(), before.max())]
    earlier = record.current[max(first, last - 10) : max(first + 1, last - 5)]
    earlier = earlier[earlier > 0.5 * before.max()]
    level, drop = float(np.median(before)), float(np.median(before) - np.median(after))
    # A taper slows down as it falls: it goes on by the same share, not by the same amount.
    share = 1 - level / float(np.median(earlier)) if len(earlier) > 2 else 0.0
    falling = level * share
    later = record.current[last + 1 : until][10:40]
    on = float(np.median(after) - np.median(later)) if len(later) > 10 else 0.0
    # A cut-off ends at a level; a current that was falling, or falls on, has only passed a threshold.
    if drop < 1.5 * falling + 1.5 * record.noise_A or on > FALLS_ON * drop:
        return True
    return drop < max(3 * record.noise_A, 1.5 * record.ammeter.resolution, FADING * float(np.median(before)))


def _joins(record: ChargeRecord, spans: list[tuple[int, int]]) -> list[str]:
    """Return for each pause between two stretches whether it is a "pulse", a "dip" or a "pause"."""
    time = record.time_s
    first, last = np.array(spans).T
    off = time[first[1:]] - time[last[:-1]]
    on = time[last] - time[first]
    before = record.current[np.maximum(last - 2, first)][:-1]
    after = record.current[np.minimum(first + 2, last)][1:]
    # What flows on with much less is a trickle after an end, no charge that goes on.
    dips = (off - record.interval_s < DIP_S) & (after > AS_MUCH * before)
    how = np.where(dips, "dip", "pause").astype(object)
    short = (off < PULSE_S + record.interval_s) & (on[:-1] < PULSE_S + record.interval_s)
    for early, late in runs(short):
        alike = _alike(off[early : late + 1], record.interval_s) and _alike(
            on[early : late + 1], record.interval_s
        )
        if late - early + 1 >= PULSES and alike:
            how[early : late + 1] = "pulse"
    slow = (off < ALIASED_S) & (on[:-1] < ALIASED_S)
    for early, late in runs(slow):
        # So many alike, and slow: pulses that the rows meet now and then.
        alike = _alike(off[early : late + 1], record.interval_s) and _alike(
            on[early : late + 1], record.interval_s
        )
        if late - early + 1 >= LONE_ROWS and alike:
            how[early : late + 1] = "pulse"
    pulsed = how == "pulse"
    # The first and the last pulse of a train may be shorter than the rest.
    beside = np.concatenate([pulsed[1:], [False]]) | np.concatenate([[False], pulsed[:-1]])
    how[(how == "dip") & beside] = "pulse"
    # A gap of the log within a train is no pause of the charger.
    within = np.concatenate([pulsed[1:], [False]]) & np.concatenate([[False], pulsed[:-1]])
    holes = np.array([gap.start_s for gap in record.gaps])
    gapped = np.searchsorted(holes, time[last[:-1]]) < np.searchsorted(holes, time[first[1:]])
    how[within & gapped & (after > AS_MUCH * before)] = "pulse"
    return list(how)


def _alike(lengths: FloatArray, interval_s: float) -> bool:
    low, high = np.quantile(lengths, [0.1, 0.9])
    return bool(high <= ALIKE * low + 2 * interval_s)


def _grouped(record: ChargeRecord, spans: list[tuple[int, int]], joins: list[str]) -> list[tuple[int, int]]:
    grouped = [spans[0]]
    for span, how in zip(spans[1:], joins, strict=True):
        if how == "pause":
            grouped.append(span)
        else:
            grouped[-1] = (grouped[-1][0], span[1])
    return grouped


def _sustained(record: ChargeRecord, span: tuple[int, int]) -> bool:
    first, last = span
    return bool(
        last - first + 1 >= SUSTAINED_ROWS and record.time_s[last] - record.time_s[first] >= SUSTAINED_S
    )


def _block(record: ChargeRecord, first: int, last: int) -> Block:
    time, rows = record.time_s, len(record.time_s)
    return Block(
        first,
        last,
        float(time[first]),
        float(time[last]),
        float(time[max(first - 1, 0)]),
        float(time[min(last + 1, rows - 1)]),
    )


def _pulsing(record: ChargeRecord, spans: list[tuple[int, int]], joins: list[str]) -> BoolArray:
    pulsing = np.zeros(len(record.time_s), dtype=bool)
    for early, late, how in zip(spans[:-1], spans[1:], joins, strict=True):
        if how == "pulse":
            pulsing[early[0] : late[1] + 1] = True
    return pulsing


def _inside(record: ChargeRecord, spans: list[tuple[int, int]]) -> BoolArray:
    """Return the rows of on-times without their edge rows, which may average over a switching."""
    on = np.zeros(len(record.time_s), dtype=bool)
    for span in spans:
        first, last = _inner(*span)
        on[first : last + 1] = True
    return on


def _strays(record: ChargeRecord, level: float) -> BoolArray:
    """Return one to three rows that stand off from all about them: means over one or two switchings."""
    about = running_median(record.current, 9)
    away = np.abs(record.current - about) > max(8 * record.noise_A, STRAY_SHARE * level)
    strays = np.zeros(len(away), dtype=bool)
    for first, last in runs(away):
        strays[first : last + 1] = last - first < 3
    return strays


def _hidden_jumps(record: ChargeRecord, spans: list[tuple[int, int]], level_A: float) -> FloatArray:
    """Return when the current is switched [s] where its own rows are too far apart to show it; else nothing.

    The voltage falls and rises by I·R with each switching: where it does so much more often than the current,
    or most of the current's stops are single rows, what the rows show is a beat of rows and pulses.
    """
    first, last = np.array(spans).T
    if np.count_nonzero(first[1:] - last[:-1] == 2) >= LONE_ROWS:
        return np.asarray(record.time_s[last[:-1]], dtype=np.float64)
    change = np.diff(record.voltage_shown)
    size = np.abs(change)
    if len(size) < TAIL_ROWS:
        return np.array([])
    jump = float(np.quantile(size, 0.995))
    usual = 2 * SHAKEN * float(np.median(size))
    if jump < max(SHAKEN * record.voltmeter.resolution, usual, LEAST_OHM * level_A):
        return np.array([])
    large = size > jump / 2
    seen = 2 * min(np.count_nonzero(large & (change < 0)), np.count_nonzero(large & (change > 0)))
    if seen <= HIDDEN * 2 * (len(spans) - 1) + 2 * PULSES:
        return np.array([])
    return np.asarray(record.voltage_time_s[1:][large])


def _beat(record: ChargeRecord, spans: list[tuple[int, int]], index: int, how: str) -> str:
    """Return what a pause is where rows and pulses beat: a pulse, if the same current flows again soon."""
    (first, last), (again, until) = spans[index : index + 2]
    before = float(np.median(record.current[max(first, last - 2) : last + 1]))
    after = float(np.median(record.current[again : min(until, again + 2) + 1]))
    soon = record.time_s[again] - record.time_s[last] < ALIASED_S
    return "pulse" if soon and after > AS_MUCH * before else how


def _beside(record: ChargeRecord, jumps_s: FloatArray) -> BoolArray:
    """Return the rows of the current beside switchings that only the voltage shows."""
    if not len(jumps_s):
        return np.zeros(len(record.time_s), dtype=bool)
    right = np.clip(np.searchsorted(jumps_s, record.time_s), 1, len(jumps_s) - 1)
    away = np.minimum(np.abs(record.time_s - jumps_s[right - 1]), np.abs(jumps_s[right] - record.time_s))
    return np.asarray(away < max(2 * record.interval_s, PULSE_S / 3))


def _resolved(record: ChargeRecord, spans: list[tuple[int, int]], joins: list[str]) -> bool:
    """Return whether the rows show the level of the on-times.

    Rows that average over longer than an on-time show anything between: their levels scatter.
    """
    many = [index for index, how in enumerate(joins) if how == "pulse"]
    if not many:
        return True
    rows = np.concatenate(
        [np.arange(_inner(*spans[index])[0], _inner(*spans[index])[1] + 1) for index in many]
    )
    levels = record.current[rows]
    change = np.abs(np.diff(levels)) / np.maximum(
        np.maximum(levels[1:], levels[:-1]), record.ammeter.resolution
    )
    return bool(np.quantile(change, 0.7) < UNRESOLVED)


def _beaten(record: ChargeRecord, spans: list[tuple[int, int]], joins: list[str]) -> bool:
    """Whether most of a train's on-times are longer than pulses are: a beat of pulses with the rows."""
    on = [
        record.time_s[last] - record.time_s[first]
        for (first, last), how in zip(spans, joins, strict=False)
        if how == "pulse"
    ]
    return bool(on) and float(np.median(on)) > PULSE_S + record.interval_s


def _inner(first: int, last: int) -> tuple[int, int]:
    """Return the rows of an on-time without its edges, which may average over a switching."""
    return (first + 1, last - 1) if last - first >= 2 else (first, last)


def bins(record: ChargeRecord, profile: Profile) -> Bins:
    """Return both logs in few bins, charging only; a bin never holds a gap or a step of the current."""
    columns = [_block_bins(record, profile, block, number) for number, block in enumerate(profile.blocks)]
    joined = [np.concatenate(parts) for parts in zip(*columns, strict=True)]
    time, span, current, count, volts, seen, group, pulsing = joined
    # Rows that average over switchings show anything up to the level.
    hidden = (pulsing > 0) & (not profile.resolved)
    scatter = np.where(hidden, max(0.5 * profile.level_A, record.noise_A), record.noise_A)
    noise = np.hypot(
        scatter / np.sqrt(count),
        _display(record.noise_A, record.ammeter.resolution),
    )
    current_sd = np.hypot(noise, DRIFT * np.abs(current))
    shown = np.hypot(record.noise_V / np.sqrt(seen), _display(record.noise_V, record.voltmeter.resolution))
    _, group = np.unique(group, return_inverse=True)
    voltage_sd = np.hypot(np.hypot(shown, DRIFT_V), _unclocked(record, time, volts))
    return Bins(time, span, current, volts, current_sd, voltage_sd, group, pulsing.astype(bool))


def _unclocked(record: ChargeRecord, time: FloatArray, volts: FloatArray) -> FloatArray:
    """Return what the doubt about its times makes of a voltage that changes [V], as a standard deviation.

    The clocks' offset, and rows of either log that may be means over their intervals, stamped at one end.
    """
    known = np.isfinite(volts)
    if known.sum() < 3:
        return np.zeros(len(time))
    own = local_intervals(record.voltage_time_s, record.voltage_interval_s)
    rows = np.searchsorted(record.voltage_time_s, time)
    half = (own[np.clip(rows - 1, 0, len(own) - 1)] + record.interval_s) / 2
    clock_s = record.clock_offset.standard if record.clock_offset else 0.0
    slope = np.gradient(running_median(volts[known], 5), time[known])
    late_s = np.hypot(clock_s, half / math.sqrt(3))
    return np.asarray(late_s * np.abs(np.interp(time, time[known], slope)), dtype=np.float64)


def _display(noise: float, step: float) -> float:
    """Return what averaging leaves of a display's step, as a standard deviation."""
    return left_of_step(noise**2, step) / math.sqrt(3)


def _block_bins(record: ChargeRecord, profile: Profile, block: Block, number: int) -> list[npt.NDArray[Any]]:
    time = record.time_s[block.first : block.last + 1]
    amps = record.current[block.first : block.last + 1]
    on, pulsing = profile.on[block.first : block.last + 1], profile.pulsing[block.first : block.last + 1]
    edges, holes = _edges(record, profile, time, amps, pulsing)
    index = np.clip(np.searchsorted(edges, time, side="right") - 1, 0, len(edges) - 2)
    use = on if on.any() else np.ones(len(on), dtype=bool)
    if not profile.resolved:
        use = use | pulsing
    count = np.bincount(index[use])
    filled = np.flatnonzero(count)
    current, middle, pulsed = (
        np.bincount(index[use], one[use])[filled] / count[filled] for one in (amps, time, pulsing)
    )
    pulses = pulsed > 0.5
    low, high = edges[filled], edges[filled + 1]
    volts, seen = _voltage(record, low, high, middle, pulses)
    volts[_beside_a_switching(record, profile, block, low, high)] = np.nan
    before = sum(gap.start_s < time[0] for gap in record.gaps)
    group = number + before + np.searchsorted(holes, middle)
    return [middle, high - low, current, count[filled], volts, seen, group, pulses]


def _beside_a_switching(
    record: ChargeRecord, profile: Profile, block: Block, low: FloatArray, high: FloatArray
) -> BoolArray:
    """Return bins whose voltage may be that of another current: at a block's ends and at dips."""
    margin = (record.clock_offset.expanded if record.clock_offset else 0.0) + record.voltage_interval_s
    beside = np.zeros(len(low), dtype=bool)
    ends = [(block.before_s, block.first_s), (block.last_s, block.after_s), *profile.pauses_s]
    for early, late in ends:
        if late - early < BESIDE_S:
            beside |= (high > early - margin) & (low < late + margin)
        else:
            beside |= (
                (high > early - margin) & (low < early)
                if early == block.last_s
                else (low < late + margin) & (high > late)
            )
    return beside


def _edges(
    record: ChargeRecord, profile: Profile, time: FloatArray, amps: FloatArray, pulsing: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Return the bins' edges and the middles of the gaps, between which bins are never joined."""
    whole = sum(block.last_s - block.first_s for block in profile.blocks)
    step = max(record.interval_s, record.voltage_interval_s, whole / BINS)
    if pulsing.any():
        step = max(step, 60.0)
    half = record.interval_s / 2
    even = np.arange(time[0] - half, time[-1] + half + step, step)
    change = np.abs(np.diff(amps))
    least = max(8 * record.noise_A, 0.02 * profile.level_A)
    steps = np.flatnonzero((change > least) & ~pulsing[1:] & ~pulsing[:-1])
    steps = steps[np.argsort(-change[steps])[:EDGES]]
    holes = np.array([gap.start_s for gap in record.gaps if time[0] <= gap.start_s < time[-1]])
    ends = np.array([gap.end_s for gap in record.gaps if time[0] <= gap.start_s < time[-1]])
    own = (time[steps] + time[steps + 1]) / 2
    edges = np.unique(
        np.concatenate(
            [
                even,
                own,
                holes + half,
                ends - half,
                *_finer(record, profile, even, time[~pulsing], amps[~pulsing]),
            ]
        )
    )
    # Slivers beside an edge of its own are joined to their neighbour.
    kept = np.concatenate([[True], np.diff(edges) > 0.3 * record.interval_s])
    return edges[kept], holes + half


def _finer(
    record: ChargeRecord, profile: Profile, even: FloatArray, time: FloatArray, amps: FloatArray
) -> list[FloatArray]:
    """Return further edges where the current changes much within a bin: a short taper needs them."""
    if not len(time):
        return []
    at = np.interp(even, time, amps)
    change = np.abs(np.diff(at)) / max(FINE_SHARE * profile.level_A, record.ammeter.resolution)
    step = float(even[1] - even[0])
    many = np.minimum(
        np.minimum(np.ceil(change), FINEST), step // max(record.interval_s, record.voltage_interval_s)
    )
    return [
        np.linspace(even[index], even[index + 1], int(many[index]) + 1)[1:-1]
        for index in np.flatnonzero(many > 1)
    ]


def _voltage(
    record: ChargeRecord, low: FloatArray, high: FloatArray, middle: FloatArray, pulsing: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Return the cell's voltage in each bin and the readings behind it; in pulses that of the on-time."""
    known, shown = record.voltage_time_s, record.voltage_shown
    first, last = np.searchsorted(known, low), np.searchsorted(known, high)
    grown = np.concatenate([[0.0], np.cumsum(shown)])
    count = last - first
    volts = np.where(
        count > 0, (grown[last] - grown[first]) / np.maximum(count, 1), record.voltage_near(middle)
    )
    for index in np.flatnonzero(pulsing & (count > 3)):
        inside = shown[first[index] : last[index]]
        upper = inside[inside >= (inside.min() + inside.max()) / 2]
        volts[index] = float(np.median(upper))
    return volts, np.maximum(count, 1)
