"""What in a film speaks against believing its blinks: recognised, named, and when."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from reviewkit.film.blinks import NOISIEST, Switching
from reviewkit.film.level import Level

AROUND_S = 0.1
"""How much longer than it is seen a difficulty is taken to last, at either end [s]: a hand's shadow.
Chosen."""
OTHER = 0.75
"""A blink whose picture is less like the light's than this [1] is another light's, or a reflection's.
Chosen."""
MISSING = 2.2
"""A time between two pictures of more than so many usual ones has pictures missing [1]. Chosen: a phone that
goes from 60 to 30 pictures a second in a dim room misses none."""
EXPOSED = 0.3
"""A surround that gets brighter or darker by more than this share was exposed or lit otherwise [1]. Chosen: a
third of a stop and noise; the thresholds follow it."""
WAVY = 0.03
"""A surround whose brightness swings by more than this, steadily, flickers [1]. Chosen: ten times what noise
leaves of a mean over some thousand points."""

JUMP, SHAKEN = 0.6, 6.0
"""A view that goes on by more than this from one picture to the next [cells], and by more than so many times
what it usually does, jumps [1]: a cut between two takes, or a knock. Chosen: a hand's shake goes twice as far
as usual at most, and on a stand a displacement is known to a tenth of a cell."""
VEILED, STEADY = 0.03, 6.0
"""A dark light whose place looks different by more than this share of its lit level, and by more than so many
usual deviations, is covered [1]. Chosen: clean rendered films stay below 0.03, fingers over a light change it
by 0.05 to 0.16."""

NAMED = ("exposure", "flicker", "fades", "light beside")


@dataclass(frozen=True)
class Difficulty:
    """Something that makes a film hard to read.

    Parameters
    ----------
    kind : str
        "covered", "cut", "moved", "jump", "lost", "missing", "other light", "unclear", "dark", "noisy" keep a
        reading from being sure; "exposure", "flicker", "fades", "light beside" are only named, for the levels
        follow them.
    start_s, end_s : float [s]
        When; on the film's own clock.
    """

    kind: str
    start_s: float
    end_s: float

    @property
    def decides(self) -> bool:
        """Whether nothing that it overlaps is sure."""
        return self.kind not in NAMED

    def overlaps(self, start_s: float, end_s: float) -> bool:
        """Whether it lies in a stretch of time, even in part."""
        return self.start_s <= end_s and self.end_s >= start_s


def recognised(found: Switching) -> tuple[Difficulty, ...]:
    """Return everything that makes a film hard to read at the light's place, in order of time.

    Examples
    --------
    >>> recognised(filmed.found)  # nothing makes this one hard to read
    ()
    """
    level, track = found.level, found.level.track
    begin, end = float(level.time_s[0]), float(level.time_s[-1])
    all_of = [
        *(Difficulty("covered", *span) for span in _spans(level, level.disturbed)),
        *(Difficulty("covered", *span) for span in _spans(level, _veiled(found))),
        *(Difficulty("cut", when - AROUND_S, when + AROUND_S) for when in track.cuts_s),
        *(Difficulty("moved", when - 1, when + 1) for when in track.moves_s),
        *(Difficulty("jump", when - AROUND_S, when + AROUND_S) for when in _jumps(level)),
        *(Difficulty("lost", when - AROUND_S, when + AROUND_S) for when in track.lost_s),
        *_missing(level),
        *(Difficulty("unclear", when - AROUND_S, when + AROUND_S) for when in found.unclear_s),
        *_others(found),
        *([Difficulty("dark", begin, end)] if level.is_dark else []),
        *([Difficulty("noisy", begin, end)] if level.noise > NOISIEST else []),
        *([Difficulty("fades", begin, end)] if found.fades else []),
        *([Difficulty("light beside", begin, end)] if level.beside.any() else []),
        *_exposure(level),
    ]
    return tuple(sorted(_joined(all_of), key=lambda one: one.start_s))


def _spans(level: Level, flagged: NDArray[np.bool_]) -> Iterator[tuple[float, float]]:
    label, count = ndimage.label(flagged)
    for one in ndimage.find_objects(label, count):
        yield level.time_s[one[0].start] - AROUND_S, level.time_s[one[0].stop - 1] + AROUND_S


def _veiled(found: Switching) -> NDArray[np.bool_]:
    """Return whether the light's own place, while it is dark, looks other than it usually does dark."""
    dark = np.ones(len(found.share), bool)
    for blink in found.blinks:
        # The pictures beside a blink may hold a part of it.
        dark[max(0, blink.first - 1 - 2 * found.fades) : blink.last + 3 + 2 * found.fades] = False
    if not dark.any():
        return dark
    usual = float(np.median(found.share[dark]))
    spread = 1.4826 * float(np.median(np.abs(found.share[dark] - usual)))
    other = dark & (np.abs(found.share - usual) > max(VEILED, STEADY * spread, STEADY * found.level.noise))
    # One picture alone may be the encoder's.
    return np.asarray(ndimage.binary_opening(other, np.ones(2, bool)))


def _jumps(level: Level) -> list[float]:
    """Return when the view leaps from one picture to the next as no hand carries it."""
    step = np.hypot(*np.diff(level.track.shift, axis=0).T)
    # While it goes on, a hand's next step is like the one before; what is left stands out by itself.
    beside = np.maximum(np.roll(step, 1), np.roll(step, -1))
    return list(level.time_s[1:][step > np.maximum(JUMP, SHAKEN * np.median(step)) + 2 * beside])


def _missing(level: Level) -> Iterator[Difficulty]:
    step = np.diff(level.time_s)
    for index in np.nonzero(step > MISSING * level.interval_s)[0]:
        yield Difficulty("missing", float(level.time_s[index]), float(level.time_s[index + 1]))


def _others(found: Switching) -> Iterator[Difficulty]:
    """Compare each blink's own picture with the light's, at the light's place."""
    level = found.level
    patch, near = level.track.patch, ndimage.binary_dilation(level.mask, iterations=3)
    near &= ~ndimage.binary_dilation(level.beside)
    lit = [picture for blink in found.blinks for picture in range(blink.first - 1, blink.last + 2)]
    dark = np.setdiff1d(np.arange(len(patch)), lit)
    wanted = level.change[near]
    for blink in found.blinks:
        index = int(np.searchsorted(dark, blink.first))
        beside = dark[max(0, index - 2) : index + 2]
        if not len(beside):
            continue
        middle = slice((blink.first + blink.last) // 2, (blink.first + blink.last) // 2 + 1)
        own = patch[middle][:, near].mean(0) - patch[beside][:, near].mean(0)
        if _likeness(own, wanted) < OTHER:
            yield Difficulty("other light", blink.start_s, blink.end_s)


def _likeness(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    norm = float(np.linalg.norm(one) * np.linalg.norm(other))
    return float(one @ other) / norm if norm else 0.0


def _exposure(level: Level) -> Iterator[Difficulty]:
    """Name changes of exposure or of the room's light, slow ones and steady swings."""
    width = max(3, round(1.0 / level.interval_s))
    smooth = ndimage.median_filter(level.exposure, width)
    if np.ptp(np.quantile(smooth, [0.02, 0.98])) > EXPOSED:
        yield Difficulty("exposure", float(level.time_s[0]), float(level.time_s[-1]))
    rest = (level.exposure / np.maximum(smooth, 1e-6) - 1)[~level.disturbed]
    if rest.size and 1.4826 * float(np.median(np.abs(rest))) > WAVY:
        yield Difficulty("flicker", float(level.time_s[0]), float(level.time_s[-1]))


def _joined(all_of: Iterable[Difficulty]) -> list[Difficulty]:
    """Join those of a kind that touch."""
    found: list[Difficulty] = []
    for one in sorted(all_of, key=lambda one: (one.kind, one.start_s)):
        if found and found[-1].kind == one.kind and found[-1].end_s >= one.start_s:
            found[-1] = Difficulty(one.kind, found[-1].start_s, max(found[-1].end_s, one.end_s))
        else:
            found.append(one)
    return found
