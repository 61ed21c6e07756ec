"""What kind of current the rows show, each kind tested against the rows before it is named.

A kind is named only if it describes the rows within their noise: a flat level between the pulses, one place
for each pulse in its cycle, alike charges, and an outline of rectangles where the rows can show one.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from reviewkit.drain import pulse_train
from reviewkit.drain.pulse_train import Train
from reviewkit.drain.samples import Detection, Flags, FloatArray, Samples, charges

# fmt: off
Kind = Literal[
    "steady", "image", "few", "fixed", "jittered", "bursts", "two trains", "decaying", "wave", "irregular",
]
# fmt: on
Outline = Literal["", "rectangular", "decaying", "uneven"]

_PLATEAU = 0.1
"""Share of rows that must lie at one level for it to be the base (chosen)."""
_CLEAR = 4.0
"""A mean differs from another beyond this many standard errors (chosen: one in 16,000 by chance)."""
_ALIKE = 0.25
"""Relative scatter up to which pulses are of one kind (chosen)."""
_SINE = 0.9
"""Share of the rows' variance that a sine must explain; a train of upright pulses leaves it less, or a flat
level between them (2·sin²(πD)/(π²·D·(1−D)) is at most 0.81 for a duty D)."""
_WITHIN = 1.5
"""Rows are described within their noise if what is left scatters by at most this many times as much."""
_WIDEST_JITTER = 2.2
"""Longest interval over the shortest, up to which pulses are one train with jitter (chosen: twice is a pulse
that was missed)."""
_GROUPS_APART = 1.6
"""A pause is one between groups if it is this many times as long as the longest within one (chosen)."""
_TAIL_ROWS = 1.2
"""A rectangle touches, on average, one row more than its width; what touches this many more has a tail."""
_FEW_DIPS = 2e-3
"""Share of rows that lie below all others, up to which they are an interrupted lead and no train (chosen)."""
_PARTS = 6
"""Parts of a row in which the pulses' middles are to lie before an outline is believed (chosen)."""
_EVEN, _EDGE = 0.02, 0.1
"""Share of the height that a rectangle's top and foot, and its edges, may be off in the folded picture
(chosen: what a height's uncertainty of a few per cent bears)."""


@dataclass(frozen=True)
class Pattern:
    """What kind of current the rows show.

    Parameters
    ----------
    quiet : array of bool, shape (n,)
        Rows that hold nothing but the base.
    flat : bool
        Whether those are one level within their noise, and enough.
    train : Train or None
        The regular train of kinds that have one.
    centre_s, charge_As : array, shape (pulses,)
        Of the pulses that lie wholly within the log.
    intervals_s : tuple of float or None [s]
        The shortest and longest time from pulse to pulse, what the rows leave open included.
    outline : str
        Whether pulses are rectangles as far as the rows show; empty where they can't.
    group : tuple of (int, float, float) or None
        Pulses in each group, shortest and longest time from group to group [s].
    alike : bool
        Whether all pulses hold the same charge within the noise.
    """

    kind: Kind
    quiet: Flags
    flat: bool
    train: Train | None = None
    centre_s: FloatArray = field(default_factory=lambda: np.empty(0))
    charge_As: FloatArray = field(default_factory=lambda: np.empty(0))
    intervals_s: tuple[float, float] | None = None
    outline: Outline = ""
    group: tuple[int, float, float] | None = None
    alike: bool = False

    def away_s(self, time_s: FloatArray) -> FloatArray:
        """Return the time of each row from the middle of its pulse [s]."""
        if self.train is not None:
            return self.train.offset_s(time_s)
        after = np.clip(np.searchsorted(self.centre_s, time_s), 1, len(self.centre_s) - 1)
        near = np.where(time_s - self.centre_s[after - 1] < self.centre_s[after] - time_s, after - 1, after)
        return np.asarray(time_s - self.centre_s[near])


def recognised(one: Samples, what: Detection, *, resolution_A: float) -> Pattern:
    """Return the kind of current that describes the rows within their noise.

    Parameters
    ----------
    resolution_A : float [A]
        One display step.
    """
    if not what.pulses:
        image = what.dips >= pulse_train.LEAST_PULSES and what.dips > _FEW_DIPS * len(one)
        return Pattern("image" if image else "steady", what.above_A > -what.threshold_A, not image)
    train = pulse_train.find(one, what)
    quiet, flat = _between(one, what, _quiet(one, what, train, resolution_A), resolution_A)
    if _wave(one, what, flat):
        return Pattern("wave", quiet, False)
    whole = what.whole(len(one))
    sums, centres = charges(one, what)[whole], pulse_train.middles(one, what)
    alike = _alike(one, what, sums)
    found = Pattern("irregular", quiet, flat, None, centres[0][whole], sums, alike=alike)
    if train is not None and train.folded:
        return replace(found, kind="image", train=train)
    if what.pulses < pulse_train.LEAST_PULSES:
        return replace(found, kind="few")
    if train is not None and np.isfinite(train.slack) and _single(one, what, train):
        regular = _fixed(one, what, replace(found, train=train))
        if regular.kind != "irregular":
            return regular
    return _several(one, what, found, centres[1][whole])


def _fixed(one: Samples, what: Detection, found: Pattern) -> Pattern:
    """Return the pattern of a train at a fixed period, if its pulses are alike and the rows bear it out."""
    assert found.train is not None
    outline = _outline(one, what, found)
    if outline == "decaying" and found.alike:
        # Where such a pulse lies within its rows is known to half a row at each end of the log.
        half_width = max(found.train.period_half_width_s, one.interval_s / max(found.train.cycles, 1))
        train = replace(found.train, period_half_width_s=half_width)
        return replace(found, kind="decaying", outline=outline, train=train)
    if not found.alike or found.train.slack >= pulse_train.LOOSE:
        return found
    return replace(found, kind="fixed", outline=outline)


def _several(one: Samples, what: Detection, found: Pattern, unknown_s: FloatArray) -> Pattern:
    """Return what pulses are that have no fixed period: groups, two trains, one with jitter, or none."""
    found = replace(found, train=None)
    if len(found.centre_s) < pulse_train.LEAST_PULSES + 1:
        return found
    between = np.diff(found.centre_s)
    reach = unknown_s[1:] + unknown_s[:-1]
    span = float((between - reach).min()), float((between + reach).max())
    group = _groups(found.centre_s, between, one.interval_s) if found.alike else None
    if group is not None:
        return replace(found, kind="bursts", intervals_s=span, group=group)
    if _two_trains(one, found):
        return replace(found, kind="two trains")
    if not found.alike or between.max() > _WIDEST_JITTER * between.min():
        return found
    jittered = replace(found, kind="jittered", intervals_s=span)
    return replace(jittered, outline=_outline(one, what, jittered))


def _between(one: Samples, what: Detection, quiet: Flags, resolution_A: float) -> tuple[Flags, bool]:
    """Return the rows between pulses that are one level, and whether they are."""
    flat = _flat(one, what, quiet, resolution_A)
    if flat or what.pulses < pulse_train.LEAST_PULSES:
        return quiet, flat
    # What fades away leaves a level in the later half of each pause, if at all.
    late = quiet & _late(one, what, quiet)
    return (late, True) if _flat(one, what, late, resolution_A) else (quiet, False)


def _quiet(one: Samples, what: Detection, train: Train | None, resolution_A: float) -> Flags:
    """Return which rows hold nothing but the base: a row or more from any pulse."""
    low = what.above_A < max(3 * what.noise_A, resolution_A)
    near = np.zeros(len(one) + 2, dtype=bool)
    for side in (0, 1, 2):
        near[what.first + side] = near[what.last + side] = True
    away = low & ~near[1:-1]
    if train is not None and train.slack <= pulse_train.LOOSE and not train.folded:
        # By its phase: a weak pulse that falls below the threshold is none of the base either.
        clear = np.abs(train.offset_s(one.time_s)) > train.extent_s / 2 + one.interval_s
        if (clear & away).mean() >= _PLATEAU and _single(one, what, train):
            return np.asarray(clear & ~near[1:-1] & (what.above_A < what.threshold_A / 2))
    return np.asarray(away)


def _flat(one: Samples, what: Detection, quiet: Flags, resolution_A: float) -> bool:
    """Return whether the rows between the pulses are one level: no slope towards either neighbour."""
    if quiet.sum() < max(4, _PLATEAU * len(one)):
        return bool(quiet.sum() >= 4 and what.pulses < pulse_train.LEAST_PULSES)
    values, times = what.above_A[quiet], one.time_s[quiet]
    if values.std() > 2 * what.noise_A + resolution_A / 2:
        return False
    begins = one.time_s[what.first]
    after = np.searchsorted(begins, times)
    until = np.where(after < len(begins), begins[np.minimum(after, len(begins) - 1)] - times, np.inf)
    return all(_level(values, away, resolution_A) for away in (_since(one, what, times), until))


def _since(one: Samples, what: Detection, time_s: FloatArray) -> FloatArray:
    """Return how long after the last pulse each time is [s]."""
    ends = one.time_s[what.last]
    before = np.searchsorted(ends, time_s) - 1
    return np.where(before >= 0, time_s - ends[np.maximum(before, 0)], np.inf)


def _late(one: Samples, what: Detection, quiet: Flags) -> Flags:
    """Return which rows lie in the later half of the pauses between pulses."""
    since = _since(one, what, one.time_s)
    known = since[quiet & np.isfinite(since)]
    return np.asarray(since > np.median(known)) if len(known) else quiet


def _level(values: FloatArray, distance_s: FloatArray, resolution_A: float) -> bool:
    """Return whether the third of the rows nearest to a pulse lies where the farthest third does."""
    order = np.argsort(distance_s, kind="stable")
    third = max(2, len(values) // 3)
    near, far = values[order[:third]], values[order[-third:]]
    error = np.hypot(near.std(ddof=1), far.std(ddof=1)) / np.sqrt(third)
    return bool(abs(near.mean() - far.mean()) <= _CLEAR * error + resolution_A / 2)


def _wave(one: Samples, what: Detection, flat: bool) -> bool:
    """Return whether one sine describes the rows within their noise, or better than any pulses could."""
    period = pulse_train.strongest(one, what.above_A)
    if period is None:
        return False
    left = float(np.std(what.above_A))
    for near in period * (1 + np.linspace(-1, 1, 5) * period / (8 * one.span_s)):
        turn = 2 * np.pi * one.time_s / near
        waves = np.column_stack([np.ones(len(one)), np.cos(turn), np.sin(turn)])
        fitted = waves @ np.linalg.lstsq(waves, what.above_A, rcond=None)[0]
        left = min(left, float(np.std(what.above_A - fitted)))
    explained = 1 - (left / float(np.std(what.above_A))) ** 2
    return explained > _SINE and (not flat or left < _WITHIN * what.noise_A)


def _alike(one: Samples, what: Detection, charge_As: FloatArray) -> bool:
    """Return whether pulses hold the same charge within what noise does to them."""
    if len(charge_As) < 2:
        return True
    mean = float(charge_As.mean())
    rows = float((what.last - what.first).mean()) + 3
    noise = 3 * what.noise_A * one.interval_s * np.sqrt(rows)
    return bool(charge_As.std() <= _ALIKE * abs(mean) + noise)


def _single(one: Samples, what: Detection, train: Train) -> bool:
    """Return whether each cycle holds one pulse at its place, and no cycle a second one."""
    middle = (one.time_s[what.first] + one.time_s[what.last]) / 2
    numbers = np.round((middle - train.first_s) / train.period_s)
    inner = what.whole(len(one))
    off = np.abs(train.offset_s(middle))[inner]
    return len(np.unique(numbers)) == len(numbers) and bool(
        np.all(off <= train.extent_s / 2 + one.interval_s)
    )


def _groups(
    centre_s: FloatArray, between_s: FloatArray, interval_s: float
) -> tuple[int, float, float] | None:
    """Return how many pulses each group holds, and the shortest and longest time from group to group."""
    ordered = np.sort(between_s)
    ratios = ordered[1:] / ordered[:-1]
    cut = int(np.argmax(ratios))
    if not len(ratios) or ratios[cut] < _GROUPS_APART:
        return None
    starts = np.concatenate(([0], np.flatnonzero(between_s > np.sqrt(ordered[cut] * ordered[cut + 1])) + 1))
    # The first and the last group may be cut by the log.
    counts = np.diff(starts)[1:]
    if len(counts) < 2 or counts.min() < 2 or counts.min() != counts.max():
        return None
    apart = np.diff(centre_s[starts[1:]])
    return int(counts[0]), float(apart.min() - interval_s), float(apart.max() + interval_s)


def _two_trains(one: Samples, found: Pattern) -> bool:
    """Return whether weak and strong pulses are a regular train each."""
    order = np.sort(found.charge_As)
    if len(order) < 2 * pulse_train.LEAST_PULSES or order[0] <= 0:
        return False
    ratios = order[1:] / order[:-1]
    for cut in np.argsort(ratios)[::-1][:3]:
        strong = found.charge_As > order[cut]
        if ratios[cut] > 1 + _ALIKE and all(
            _regular(found.centre_s[which], one.interval_s) for which in (strong, ~strong)
        ):
            return True
    return False


def _regular(centre_s: FloatArray, interval_s: float) -> bool:
    """Return whether pulses lie at multiples of one period, a few missing."""
    if len(centre_s) <= pulse_train.LEAST_PULSES:
        return False
    between = np.diff(centre_s)
    number = np.concatenate(([0.0], np.cumsum(np.round(between / np.median(between)))))
    if np.any(np.diff(number) < 1) or number[-1] > 1.6 * len(number):
        return False
    off = centre_s - np.polyval(np.polyfit(number, centre_s, 1), number)
    return bool(np.quantile(np.abs(off), 0.9) <= interval_s)


def _outline(one: Samples, what: Detection, found: Pattern) -> Outline:
    """Return whether the pulses laid over one another are rectangles, as far as the rows show."""
    away = found.away_s(one.time_s)
    near = what.above_A[np.abs(away) < one.interval_s]
    if not len(near) or not len(found.charge_As):
        return ""
    row, noise = one.interval_s, what.noise_A
    height = max(float(np.quantile(near, 0.9)), what.threshold_A)
    width = float(found.charge_As.mean()) / height
    whole = what.whole(len(one))
    touched = float((what.last - what.first + 1)[whole].mean())
    if touched > width / row + 1 + _TAIL_ROWS:
        return "decaying" if _falls(what, whole) else "uneven"
    core = np.abs(away) <= (width - 1.5 * row) / 2
    level = what.above_A > (1 - _EVEN) * height - (_CLEAR + 1) * noise
    running = np.concatenate(([0], np.cumsum(level)))
    filled = running[what.last[whole] + 1] - running[what.first[whole]]
    # Two rows at one level, or rows everywhere on the pulse: else an outline is not to be seen.
    seen = np.median(filled) >= 2 or _swept(away[core], row, width - 1.5 * row)
    if width < 2 * row or core.sum() < 3 or not seen:
        return ""
    if np.std(what.above_A[core]) > 2 * noise + _EVEN * height:
        return "decaying" if _falls(what, whole) else "uneven"
    height = float(what.above_A[core].mean())
    width = float(found.charge_As.mean()) / height
    model = height * np.clip((width / 2 + row / 2 - np.abs(away)) / row, 0.0, 1.0)
    bins = np.round(2 * away / row).astype(np.int64)
    reach = np.abs(bins) <= width / row + 4
    left = (what.above_A - model)[reach]
    bins = bins[reach] - bins[reach].min()
    count = np.maximum(np.bincount(bins), 1)
    off = np.abs(np.bincount(bins, left) / count)
    steep = np.bincount(bins, ((model > 0) & (model < height))[reach]) > 0
    most = np.where(steep, _EDGE, _EVEN) * height + (_CLEAR + 1) * noise / np.sqrt(count)
    if np.all(off <= most):
        return "rectangular"
    return "decaying" if _falls(what, whole) else "uneven"


def _swept(away_s: FloatArray, interval_s: float, core_s: float) -> bool:
    """Return whether rows lie everywhere on the pulses; a period of whole rows shows one place only."""
    parts = np.unique(np.floor(away_s / interval_s % 1.0 * _PARTS))
    return len(parts) >= 0.6 * min(1.0, core_s / interval_s) * _PARTS


def _falls(what: Detection, whole: Flags) -> bool:
    """Return whether pulses begin high and end low."""
    first, last = what.first[whole], what.last[whole]
    half = (last - first + 1) // 2
    running = np.concatenate(([0.0], np.cumsum(what.above_A)))
    front = running[first + half] - running[first]
    back = running[last + 1] - running[last + 1 - half]
    return bool(front.sum() > (1 + _ALIKE) * back.sum())
