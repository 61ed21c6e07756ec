"""How much of the charging time the charger was at one of its two limits, and what the rest looks like."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from reviewkit.charge.record import ChargeRecord, FloatArray
from reviewkit.charge.regimes import Phases
from reviewkit.findings import sentences
from reviewkit.metrology import formatting

say = sentences.of("charge")

_MOST_TOLD = 3


def at_limits(
    record: ChargeRecord, phases: Phases, *, plateau_A: float, set_V: float | None, series_ohm: float
) -> Adherence | None:
    """Return the time at a limit from the end of precharge to the end of the main charge.

    Parameters
    ----------
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
    if phases.unresolved or phases.unfit:
        return None
    charging = phases.mask(record.time_s, "constant current", "constant voltage")
    rows = np.flatnonzero(charging & phases.profile.on_at(record.time_s))
    time, current = record.time_s[rows] - phases.start.value, record.current[rows]
    volts = _at_the_cell(record, record.time_s[rows], reaching_V=(set_V or np.inf) - series_ohm * current)
    volts += series_ohm * current
    if np.isfinite(volts).sum() < 10:
        return None
    charged = time - _pauses(phases, record.time_s[rows])
    found = adherence(
        charged,
        volts,
        current,
        plateau_A=plateau_A,
        set_V=float("nan") if set_V is None else set_V,
        doubt_A=2 * record.noise_A + record.ammeter.resolution / 2,
        doubt_V=2 * record.noise_V + record.voltmeter.resolution / 2,
    )
    found = _with_ends(found, 2 * record.interval_s, float(np.ptp(charged)))
    return replace(found, stretches=tuple(_moved(one, charged, time) for one in found.stretches))


def _at_the_cell(record: ChargeRecord, time_s: FloatArray, *, reaching_V: FloatArray) -> FloatArray:
    """Return the cell's voltage; NaN within a gap of its log between whose ends the limit was reached."""
    right = np.clip(np.searchsorted(record.voltage_time_s, time_s), 1, len(record.voltage_time_s) - 1)
    ends = np.array([record.voltage_shown[right - 1], record.voltage_shown[right]])
    reached = ends >= reaching_V - VOLTAGE_V
    unseen = np.isnan(record.voltage_near(time_s)) & (reached[0] != reached[1])
    return np.where(unseen, np.nan, record.voltage_at(time_s))


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


def _moved(stretch: Stretch, charged: FloatArray, time: FloatArray) -> Stretch:
    """Return a stretch with the interruptions put back into its times."""
    start, end = np.interp([stretch.start_s, stretch.end_s], charged, time)
    return Stretch(float(start), float(end), stretch.shape, stretch.low_A, stretch.high_A)


def in_words(found: Adherence) -> str:
    """Return what the time at neither limit looks like."""
    parts = [
        {
            "length": formatting.clock(one.length_s),
            "start": formatting.clock(one.start_s),
            "shape": one.shape,
            "low": formatting.rough(one.low_A, "A"),
            "high": formatting.rough(one.high_A, "A"),
        }
        for one in found.stretches[:_MOST_TOLD]
    ]
    return say("at_neither_limit", parts=parts, more=max(0, len(found.stretches) - _MOST_TOLD))


BoolArray = npt.NDArray[np.bool_]

Shape = Literal["early taper", "pulsing", "steps", "foldback", "droop", "unnamed"]

CURRENT_SHARE = 0.03
VOLTAGE_V = 0.010
"""How near to a limit counts as at the limit."""

_LEAST_S = 30.0
_STEP_SHARE = 0.05
_PULSES = 8


@dataclass(frozen=True)
class Stretch:
    """A stretch of the charge at neither limit.

    Parameters
    ----------
    start_s, end_s : float [s]
        From charge start.
    low_A, high_A : float [A]
        The current's range in it.
    """

    start_s: float
    end_s: float
    shape: Shape
    low_A: float
    high_A: float

    @property
    def length_s(self) -> float:
        """Duration [s]."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Adherence:
    """Time at a limit, and what the rest looks like.

    Parameters
    ----------
    share : float [%]
        Of the charging time.
    stretches : tuple of Stretch
        Those of half a minute or more, longest first.
    low, high : float or None [%]
        The share with both bands narrower and wider by what the readings leave open; None: not asked for.
    """

    share: float
    stretches: tuple[Stretch, ...]
    low: float | None = None
    high: float | None = None


def adherence(
    time_s: FloatArray,
    voltage_V: FloatArray,
    current_A: FloatArray,
    *,
    plateau_A: float,
    set_V: float,
    doubt_A: float = 0.0,
    doubt_V: float = 0.0,
) -> Adherence:
    """Return the share of charging time at one of the two limits.

    Parameters
    ----------
    time_s, voltage_V, current_A : array, shape (n,)
        The main charge alone, from the end of precharge (or charge start) to termination; the voltage at
        the regulation point, or at the cell if that is what is asked about.
    set_V : float [V]
        Set voltage at the regulation point, or hold voltage at the cell.
    doubt_A, doubt_V : float [A], [V]
        How far a reading may be off beside the plateau, and beside the set voltage.
    """
    span = np.diff(time_s, append=time_s[-1])
    off_A, off_V = np.abs(current_A - plateau_A), np.abs(voltage_V - set_V)
    at_current = off_A <= CURRENT_SHARE * plateau_A
    # Where no voltage was logged a current below its plateau may or may not be at the voltage limit.
    unseen = np.isnan(voltage_V) & ~at_current
    low, share, high = (
        _share(
            span,
            (off_A <= CURRENT_SHARE * plateau_A + wider * doubt_A) | (off_V <= VOLTAGE_V + wider * doubt_V),
            unseen,
            wider,
        )
        for wider in (-1.0, 0.0, 1.0)
    )
    at_limit = at_current | (off_V <= VOLTAGE_V) | unseen
    stretches = [
        _stretch(
            time_s[first:last], current_A[first:last], plateau_A, after_plateau=bool(at_current[:first].any())
        )
        for first, last in _runs(_closed(~at_limit, time_s))
        if time_s[last - 1] - time_s[first] >= _LEAST_S
    ]
    return Adherence(share, tuple(sorted(stretches, key=lambda one: -one.length_s)), low, high)


def _share(span: FloatArray, near: BoolArray, unseen: BoolArray, wider: float) -> float:
    """Return the share of time near a limit [%]: what is unseen not, left out, or too."""
    counted, near = (span * ~unseen, near) if wider == 0 else (span, near | unseen if wider > 0 else near)
    total = float(counted.sum())
    return 100.0 * float(counted[near].sum()) / total if total > 0 else float("nan")


def _closed(away: BoolArray, time_s: FloatArray) -> BoolArray:
    """Return `away` with short returns to a limit bridged, so that a pulse train is one stretch."""
    bridged = away.copy()
    for first, last in _runs(~away):
        inner = first > 0 and last < len(away)
        if inner and time_s[last - 1] - time_s[first] < _LEAST_S:
            bridged[first:last] = True
    return bridged


def _runs(mask: BoolArray) -> list[tuple[int, int]]:
    """Return the index ranges [first, last) where `mask` holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(first), int(last)) for first, last in zip(edges[::2], edges[1::2], strict=True)]


def _stretch(time_s: FloatArray, current_A: FloatArray, plateau_A: float, *, after_plateau: bool) -> Stretch:
    return Stretch(
        float(time_s[0]),
        float(time_s[-1]),
        name_shape(time_s, current_A, plateau_A, after_plateau=after_plateau),
        float(current_A.min()),
        float(current_A.max()),
    )


def name_shape(time_s: FloatArray, current_A: FloatArray, plateau_A: float, *, after_plateau: bool) -> Shape:
    """Return the name of what the current does over a stretch.

    Parameters
    ----------
    after_plateau : bool
        Whether the current had reached its plateau before.

    Notes
    -----
    Pulsing: on and off many times. Steps: it stands still on a few levels. Foldback: one level, clearly
    under the plateau. Early taper: it falls steadily. Droop: it falls steadily by less than a tenth.
    """
    if _crossings(current_A) >= _PULSES:
        return "pulsing"
    levels = _levels(time_s, current_A, plateau_A)
    if len(levels) >= 2:
        return "steps"
    if len(levels) == 1:
        return "foldback"
    if not after_plateau:
        return "unnamed"
    falling = np.polyfit(time_s - time_s[0], current_A, 1)[0] < 0
    if not falling:
        return "unnamed"
    return "droop" if current_A.min() > 0.9 * plateau_A else "early taper"


def _crossings(current_A: FloatArray) -> int:
    """Return how often the current swings through the middle of its range by a good part of it."""
    low, high = float(current_A.min()), float(current_A.max())
    if high - low <= 0.3 * abs(high):
        return 0
    place = (current_A - low) / (high - low)
    ends = np.rint(place[(place < 0.3) | (place > 0.7)])
    return int(np.count_nonzero(np.diff(ends)))


def _levels(time_s: FloatArray, current_A: FloatArray, plateau_A: float) -> list[float]:
    """Return the levels on which the current stands for half a minute or a fifth of the stretch."""
    long_enough = max(_LEAST_S, 0.2 * (time_s[-1] - time_s[0]))
    edges = np.flatnonzero(np.abs(np.diff(current_A)) > _STEP_SHARE * plateau_A) + 1
    levels = []
    for piece in np.split(np.arange(len(current_A)), edges):
        if len(piece) < 3 or time_s[piece[-1]] - time_s[piece[0]] < long_enough:
            continue
        steady = np.ptp(np.percentile(current_A[piece], [5, 95])) < CURRENT_SHARE * plateau_A
        if steady:
            levels.append(float(np.median(current_A[piece])))
    return levels
