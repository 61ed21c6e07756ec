"""A state's log split into its settled part, a base level and pulses, with the mean."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from reviewkit.drain import features, pattern, samples
from reviewkit.drain.features import Features, Mean
from reviewkit.drain.pattern import Pattern
from reviewkit.drain.pulse_train import Train
from reviewkit.drain.samples import Detection, Flags, FloatArray, Samples
from reviewkit.metrology.meter import Meter

_MOST_BLOCKS = 60
_LEAST_ROWS = 8
_LEAST_BLOCKS = 3
"""A level shorter than this many blocks is a pulse, not a state, but at the log's start (chosen)."""
_LEAST_CHANGE = 0.2
"""Relative change of the low level from which it is another state (chosen)."""
_AT_ONCE = 0.6
"""Share of a change that happens from one block to the next; a ramp does not (chosen)."""
_LONGER = 1.5
"""A high start is no pulse if it lasts this many times as long as any later high stretch (chosen)."""
_MOST_STATES = 5
SHORT_SHARE = 0.25
"""A settled part below this share of the log is said to be short (chosen)."""


@dataclass(frozen=True)
class Settled:
    """The part of a log that the state's figures come from.

    Parameters
    ----------
    start_s : float [s]
        On the log's own clock; the first row's time if all of it is settled.
    from_start : bool
        Whether the log is settled from its first row.
    share : float
        Settled part as a share of the log.
    level_before_A : float or None [A]
        Low level of the part just before; None where it showed no number.
    """

    start_s: float
    from_start: bool
    share: float
    level_before_A: float | None = None


def settled(current_A: pd.Series[float], *, resolution_A: float) -> Settled:
    """Return where the last state in the log begins.

    Parameters
    ----------
    current_A : pandas.Series [A]
        Index: elapsed seconds. NaN: another level for certain.
    resolution_A : float [A]
        One display step.

    Notes
    -----
    The log is cut into up to 60 blocks; the lower fifth of each is its level, which pulses don't move.
    Levels are divided into stretches of least absolute deviation; a change counts if it is more than a fifth
    and more than five display steps and six times the blocks' own scatter, and if most of it happens at
    once. A high start that is too short for that counts if no later high stretch comes near its length.
    """
    time = np.asarray(current_A.index, dtype=float)
    values: FloatArray = np.asarray(current_A.to_numpy(), dtype=np.float64)
    count = min(_MOST_BLOCKS, len(values) // _LEAST_ROWS)
    whole = Settled(float(time[0]), True, 1.0)
    if count < 2 * _LEAST_BLOCKS or not np.isfinite(values).any():
        return whole
    parts = np.array_split(np.arange(len(values)), count)
    levels = np.array([_low(values[part]) for part in parts])
    cut = _last_change(levels, resolution_A)
    # The change lies somewhere in the block before the first clean one, or in that one's beginning.
    first = int(parts[min(cut + 1, count - 1)][0]) if cut else _high_start(values, levels, resolution_A)
    if first == 0:
        return whole
    start = float(time[first])
    share = (float(time[-1]) - start) / (float(time[-1]) - float(time[0]))
    before = levels[max(0, cut - _LEAST_BLOCKS) : cut] if cut else [_low(values[:first])]
    level = float(np.median(before))
    return Settled(start, False, share, level if np.isfinite(level) else None)


def _low(values: FloatArray) -> float:
    finite = values[np.isfinite(values)]
    # A block that shows nothing but overload is at another level for certain.
    return float(np.quantile(finite, 0.2)) if len(finite) else np.inf


def _high_start(values: FloatArray, levels: FloatArray, resolution_A: float) -> int:
    """Return how many rows a device was awake that fell asleep within the first blocks; 0: none."""
    asleep = float(np.median(levels))
    begin = values[0] if np.isfinite(values[0]) else np.inf
    if not np.isfinite(asleep) or begin - asleep <= max(5 * resolution_A, _LEAST_CHANGE * abs(asleep)):
        return 0
    half = asleep + (begin - asleep) / 2 if np.isfinite(begin) else np.inf
    lengths = _stretches(~(values < half))
    later = int(lengths[1:].max(initial=0))
    enough = lengths[0] >= max(_LONGER * later, _LEAST_ROWS)
    # One row more: it may hold the fall itself.
    return int(lengths[0]) + 1 if enough else 0


def _stretches(high: Flags) -> FloatArray:
    """Return the lengths of the high stretches; the first one's begins with the first row."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], high.astype(int), [0]))))
    return np.asarray(edges[1::2] - edges[::2], dtype=float)


def _last_change(levels: FloatArray, resolution_A: float) -> int:
    """Return the block at which the last state begins, 0 if there is one state only."""
    finite = np.isfinite(levels)
    capped = np.where(finite, levels, 10 * np.max(np.abs(levels[finite]), initial=resolution_A))
    noise = 1.4826 * float(np.median(np.abs(np.diff(capped)))) / np.sqrt(2)
    start = 0
    for _ in range(_MOST_STATES):
        cut = _best_cut(capped[start:])
        if cut == 0:
            break
        before = float(np.median(capped[start : start + cut]))
        after = float(np.median(capped[start + cut :]))
        least = max(5 * resolution_A, 6 * noise, _LEAST_CHANGE * min(abs(before), abs(after)))
        if abs(before - after) <= least or not _sudden(capped[start:], cut, before - after):
            break
        # A high level that came and went before is a long pulse at the log's end.
        if after > before and np.any(capped[: start + cut - 1] > (before + after) / 2):
            break
        start += cut
    return start


def _sudden(levels: FloatArray, cut: int, change: float) -> bool:
    """Return whether a change of the level happens at one place, as a device falls asleep."""
    around = levels[max(0, cut - _LEAST_BLOCKS) : cut], levels[cut : cut + _LEAST_BLOCKS]
    jump = float(np.median(around[0]) - np.median(around[1]))
    return bool(jump * np.sign(change) >= _AT_ONCE * abs(change))


def _best_cut(levels: FloatArray) -> int:
    """Return the place that divides the levels best in two, 0 if they are too few."""
    places = range(_LEAST_BLOCKS, len(levels) - _LEAST_BLOCKS + 1)
    costs = {cut: _spread(levels[:cut]) + _spread(levels[cut:]) for cut in places}
    return min(costs, key=costs.__getitem__) if costs else 0


def _spread(levels: FloatArray) -> float:
    return float(np.abs(levels - np.median(levels)).sum())


_GAPPED_FROM = 0.95
"""A window shorter than this share of the row interval leaves gaps (chosen: a meter's own pause)."""
_MANY = 8
"""Alike charges of at least this many pulses bear out that windows leave no gaps (chosen)."""
_SHORT_ROWS = 3
"""Rows that a pulse touches at most on average, to be lost in part between windows (chosen)."""

Windows = Literal["gapless", "gaps", "assumed", "borne out", "contradicted"]


@dataclass(frozen=True)
class Decomposition:
    """What a state's log says.

    Parameters
    ----------
    samples : Samples
        The settled part.
    windows : {"gapless", "gaps", "assumed", "borne out", "contradicted"}
        Whether the meter's windows leave gaps: the first two as declared; else taken to leave none, which
        the pulses' alike charges bear out, or contradict.
    aperture_s : float or None [s]
        How long the meter looks for each row, as declared.
    resolution_A : float [A]
        One step of the range in use.
    """

    settled: Settled
    samples: Samples
    detection: Detection
    pattern: Pattern
    features: Features
    mean: Mean
    windows: Windows
    aperture_s: float | None
    resolution_A: float

    @property
    def kind(self) -> str:
        """What kind of current the rows show; "hidden" where they don't hold all of it."""
        hidden = self.detection.pulses and (self.windows in ("gaps", "contradicted") or self.mean.why)
        return "hidden" if hidden else self.pattern.kind

    @property
    def train(self) -> Train | None:
        """The regular train, where the rows bear one out."""
        return None if self.kind == "hidden" else self.pattern.train

    @property
    def drift_A(self) -> tuple[float, float] | None:
        """Low level at the begin and at the end [A], if it clearly moved."""
        course = self.detection.level_A
        start, end = float(course[0]), float(course[-1])
        least = 5 * self.resolution_A, 4 * self.detection.noise_A, 0.01 * abs(self.mean.rows_mean_A)
        return (start, end) if abs(end - start) > max(least) else None

    @property
    def highest_A(self) -> float:
        """Highest reading of the settled part [A]."""
        return float(self.samples.current_A.max())


def decompose(
    current_A: pd.Series[float],
    *,
    meter: Meter,
    aperture_s: float | None = None,
    missing_is_overload: bool = True,
) -> Decomposition:
    """Return base, pulses and mean of one state's log.

    Parameters
    ----------
    current_A : pandas.Series [A]
        Index: elapsed seconds, increasing, stamped when a row's window ends. NaN marks overload.
        Drain out of the cell is positive.
    meter : Meter
        The range in use.
    aperture_s : float or None [s]
        How long the meter looks for each row. None: not declared; the windows are then taken as gapless,
        and the result says so.
    missing_is_overload : bool
        Whether a NaN hides a current beyond the range; else it is a gap.

    Raises
    ------
    ValueError
        If the log has fewer than two rows, times that don't increase, or no reading in its settled part.
    """
    part = settled(current_A, resolution_A=meter.resolution)
    one = samples.samples(current_A, from_s=-np.inf if part.from_start else part.start_s)
    if len(one) < 2:
        raise ValueError("the settled part of the log has fewer than two readings")
    what = samples.detection(one, resolution_A=meter.resolution)
    kind = pattern.recognised(one, what, resolution_A=meter.resolution)
    overloaded = one.overloads > 0 and missing_is_overload
    windows = _windows(one, what, kind, aperture_s, overloaded)
    gapped = windows in ("gaps", "contradicted")
    hidden = "gaps" if gapped else "overload" if overloaded else ""
    shape = features.features(one, what, kind, meter, hidden=hidden)
    average = features.with_gaps(one, what, meter, aperture_s) if gapped else _mean(one, what, kind, meter)
    if overloaded:
        average = features.with_overloads(one, average, meter)
    return Decomposition(part, one, what, kind, shape, average, windows, aperture_s, meter.resolution)


def _mean(one: Samples, what: Detection, kind: Pattern, meter: Meter) -> Mean:
    drifting = features.moved(what, meter, abs(one.mean_A))
    if kind.train is not None and not drifting and kind.kind in ("fixed", "decaying", "image"):
        return features.over_cycles(one, kind.train, meter)
    return features.over_rows(one, what, kind, meter)


def _windows(
    one: Samples, what: Detection, kind: Pattern, aperture_s: float | None, overloaded: bool
) -> Windows:
    if aperture_s is not None:
        return "gapless" if aperture_s >= _GAPPED_FROM * one.interval_s else "gaps"
    pulses = len(kind.charge_As)
    if overloaded or kind.kind in ("image", "wave", "few") or not pulses:
        return "assumed"
    short = float(np.mean(what.last - what.first + 1)) <= _SHORT_ROWS
    if not kind.alike and short:
        return "contradicted"
    return "borne out" if kind.alike and pulses >= _MANY else "assumed"
