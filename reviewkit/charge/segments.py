"""Where charge current flows, where it stops, and which of the stretches make the main charge."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.series import FloatArray

Ending = Literal["terminated", "cable pulled", "log ended", "never"]

BoolArray = npt.NDArray[np.bool_]

START_SHARE = 0.02
"""Charge start: so much above this share of the plateau, or five times the noise, from the ammeter's zero."""

_STOP_SHARE = 0.003
_SHORTEST_DIP_S = 2.0
_PULSE_S = 60.0
_PULSES = 8
_SUSTAINED_S = 10.0
_SUSTAINED_ROWS = 3
_SAME_STOP = 1.5
_FIRST_ROWS = 10


@dataclass(frozen=True)
class Segment:
    """A stretch in which charge current flows.

    Parameters
    ----------
    first, last : int
        Rows of the current log, both with current.
    first_s, last_s : float [s]
        Their times.
    before_s, after_s : float [s]
        Times of the row before and of the row after; the same as first and last at the log's ends.
    stop_A : float [A]
        Current just before it stops.
    """

    first: int
    last: int
    first_s: float
    last_s: float
    before_s: float
    after_s: float
    stop_A: float


@dataclass(frozen=True)
class Segments:
    """The main charge and what came after it.

    Parameters
    ----------
    charging : tuple of Segment
        Of the main charge; the pauses between them are interruptions.
    top_ups : tuple of Segment
        After the charge had ended.
    ending : {"terminated", "log ended", "never"}
        Whether the main charge's last segment was cut off, the log ended first, or the current faded away.
    level_A : float [A]
        Rough plateau.
    threshold_A : float [A]
    began_before : bool
        Whether current already flows in the log's first rows.
    """

    charging: tuple[Segment, ...]
    top_ups: tuple[Segment, ...]
    ending: Ending
    level_A: float
    threshold_A: float
    began_before: bool

    @property
    def interruptions(self) -> int:
        """Pauses within the main charge."""
        return len(self.charging) - 1


def rough_level(record: ChargeRecord) -> float:
    """Return a first guess of the plateau [A]: time-weighted median of the larger currents."""
    current, time = record.current, record.time_s
    high = float(np.quantile(current, 0.995))
    span = np.diff(time, append=time[-1])
    span = np.minimum(span, 3 * record.interval_s)
    large = current > 0.5 * high
    if high <= 5 * record.noise_A or span[large].sum() < _SUSTAINED_S:
        return max(high, 0.0)
    values, weights = current[large], span[large]
    order = np.argsort(values)
    run = np.cumsum(weights[order])
    return float(values[order][int(np.searchsorted(run, run[-1] / 2))])


def shown_at_none(record: ChargeRecord) -> float:
    """Return what the ammeter shows where no current flows [A]: the log's first level or its lowest.

    Either counts only if the meter's statement allows it for no current; else the meter is taken to show 0.
    """
    allowed = record.ammeter.half_width(0.0) + record.ammeter.resolution / 2
    first, lowest = (
        float(np.median(record.current[:_FIRST_ROWS])),
        float(np.quantile(record.thinned.current, 0.02)),
    )
    return next((level for level in (first, lowest) if abs(level) <= allowed), 0.0)


def cut(record: ChargeRecord) -> Segments | None:
    """Return the stretches of charge current, or None if there is none.

    Parameters
    ----------
    record : ChargeRecord
    """
    level = rough_level(record.thinned)
    noise = record.noise_A
    zero = shown_at_none(record)
    start_A = zero + max(5 * noise, START_SHARE * level)
    stop_A = min(start_A, zero + max(5 * noise, 3 * record.ammeter.resolution, _STOP_SHARE * level))
    spans = _sustained(record.time_s, _hysteresis(record.current, start_A, stop_A))
    if not spans:
        return None
    spans = [piece for span in spans for piece in _split_at_cut_off(record, span, level)]
    segments = [_segment(record, first, last) for first, last in spans]
    count = _main_count(record, segments, level)
    last = segments[count - 1]
    ending: Ending = "never" if _faded(record, last) else "terminated"
    return Segments(
        charging=tuple(segments[:count]),
        top_ups=tuple(one for one in segments[count:] if _tops_up(record, one, last)),
        ending="log ended" if last.last == len(record.current) - 1 else ending,
        level_A=level,
        threshold_A=start_A,
        began_before=segments[0].first == 0,
    )


def runs(mask: BoolArray) -> list[tuple[int, int]]:
    """Return the first and last row of each stretch in which `mask` holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(first), int(last) - 1) for first, last in zip(edges[::2], edges[1::2], strict=True)]


def _hysteresis(current: FloatArray, start_A: float, stop_A: float) -> list[tuple[int, int]]:
    """Return the stretches above `stop_A` that reach `start_A`, from where they first do."""
    found = []
    high = np.flatnonzero(current > start_A)
    for first, last in runs(current > stop_A):
        place = int(np.searchsorted(high, first))
        if place < len(high) and high[place] <= last:
            found.append((int(high[place]), last))
    return found


def _sustained(time_s: FloatArray, spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return the stretches with short dips bridged and lone spikes left out."""
    pauses = [time_s[late[0]] - time_s[early[1]] for early, late in pairwise(spans)]
    short = [pause for pause in pauses if pause < _PULSE_S]
    bridge = _PULSE_S if len(short) >= _PULSES else _SHORTEST_DIP_S
    joined: list[tuple[int, int]] = []
    for first, last in spans:
        if joined and time_s[first] - time_s[joined[-1][1]] < bridge:
            joined[-1] = (joined[-1][0], last)
        else:
            joined.append((first, last))
    return [
        (first, last)
        for first, last in joined
        if last - first + 1 >= _SUSTAINED_ROWS and time_s[last] - time_s[first] >= _SUSTAINED_S
    ]


def _segment(record: ChargeRecord, first: int, last: int) -> Segment:
    time, rows = record.time_s, len(record.time_s)
    recent = record.current[max(first, last - 5) : max(first + 1, last)]
    return Segment(
        first=first,
        last=last,
        first_s=float(time[first]),
        last_s=float(time[last]),
        before_s=float(time[max(first - 1, 0)]),
        after_s=float(time[min(last + 1, rows - 1)]),
        stop_A=float(np.median(recent)),
    )


def _faded(record: ChargeRecord, last: Segment) -> bool:
    """Whether the current sank below what counts as current instead of being cut off."""
    after = record.current[last.last + 2 : last.last + 7]
    return len(after) > 0 and float(np.median(after)) > 0.5 * last.stop_A


def _tops_up(record: ChargeRecord, one: Segment, main: Segment) -> bool:
    """Whether a later stretch is a charge of its own: a trickle never exceeds the current at the cut-off."""
    return float(np.quantile(record.current[one.first : one.last + 1], 0.99)) > 1.2 * main.stop_A


def _main_count(record: ChargeRecord, segments: list[Segment], level_A: float) -> int:
    """Return how many segments make the main charge.

    A charger stops at the same current each time: the first segment that ends at about the lowest of the
    stops is the one that it ended itself; those before it were interrupted, those after it are top-ups.
    Topping up never takes more than the charge itself, so a stop before half of it all was a pause.
    """
    grown = np.cumsum([_charge(record, one) for one in segments])
    closed = {
        place: one.stop_A
        for place, one in enumerate(segments)
        if one.last < len(record.current) - 1 and grown[place] >= grown[-1] / 2
    }
    lowest = min(closed.values(), default=level_A)
    if lowest > 0.5 * level_A:
        # Every stop came out of the plateau: nothing shows that an earlier one was the end.
        return len(segments)
    reach = _SAME_STOP * lowest + 5 * record.noise_A
    return 1 + next(place for place, stop_A in closed.items() if stop_A <= reach)


def _charge(record: ChargeRecord, one: Segment) -> float:
    """Return the charge of a stretch [A.s]."""
    rows = slice(one.first, one.last + 1)
    return float(np.trapezoid(record.current[rows], record.time_s[rows]))


def _split_at_cut_off(record: ChargeRecord, span: tuple[int, int], level_A: float) -> list[tuple[int, int]]:
    """Cut a stretch where the current drops to a trickle that then stays: the charge ended there.

    Returns
    -------
    list of (int, int)
        The stretch up to the cut-off, or the stretch itself.
    """
    first, last = span
    current = record.current[first : last + 1]
    if len(current) < 20:
        return [span]
    before, after = current[:-3], current[3:]
    drop = (after < 0.6 * before) & (before < 0.5 * level_A) & (before - after > 10 * record.noise_A)
    for row in np.flatnonzero(drop)[:200]:
        tail = current[row + 3 :]
        if len(tail) >= 10 and _stays_low(record, tail, float(before[row]), first + int(row)):
            steps = np.diff(current[row : row + 4])
            return [(first, first + int(row) + int(np.argmin(steps)))]
    return [span]


def _stays_low(record: ChargeRecord, tail: FloatArray, before_A: float, row: int) -> bool:
    """Whether the current keeps the trickle's level and the cell's voltage relaxes under it."""
    high = np.flatnonzero(tail > before_A)
    kept = tail[: high[0]] if len(high) else tail
    if len(kept) < 10:
        return False
    flat = float(np.median(kept[-5:])) > 0.7 * float(np.median(kept[:5]))
    volts = record.voltage[row : row + len(kept) + 3]
    volts = volts[np.isfinite(volts)]
    relaxes = len(volts) > 5 and float(np.median(volts[-5:])) < volts[0] - record.voltmeter.resolution
    return flat and relaxes
