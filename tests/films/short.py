"""Short films drawn to mislead: one to three readings of few blinks, cut off anywhere, timed as devices may.

No picture is drawn, only the light's level as a camera would show it, so that thousands can be read.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from reviewkit.film import Reading
from reviewkit.film.decode import Film
from reviewkit.film.level import Level
from reviewkit.film.tracking import Track
from tests.films.draw import RATES
from tests.films.render import Light, Pulse

BARELY = 1.2
"""Pauses are longer than gaps by this factor at least [1], and by three picture intervals: what a person
would see."""


@dataclass(frozen=True)
class Short:
    """A light's level through a film, and what is true of it.

    `pulses`: of each reading, whether the film shows it whole or not; `told` its counts.
    """

    level: Level
    told: tuple[tuple[int, ...], ...]
    pulses: tuple[tuple[Pulse, ...], ...]
    whole: tuple[bool, ...]
    number: int | None

    def wrong(self, found: Sequence[Reading]) -> list[str]:
        """Return the readings that are called sure and that the light did not tell."""
        said = []
        for reading in found:
            true = any(
                counts == reading.counts and whole and abs(pulses[0].start_s - reading.start_s) < 0.25
                for counts, pulses, whole in zip(self.told, self.pulses, self.whole, strict=True)
            )
            if reading.sure and not true:
                said.append(f"{reading.start_s:.2f} s: {reading.pattern}, truth {self.told}")
        return said


def draw(seed: int, *, number: int | None = None, quick: bool = False) -> Short:
    """Return a short film of a device that is drawn at random, as is the part of it that is filmed.

    `quick`: its blinks are about as short as the film's pictures, some shorter.
    """
    rng = np.random.default_rng([seed, 11])
    groups = int(rng.integers(1, 4)) if number is None else number
    ruled = groups if number is not None or rng.random() < 0.8 else None
    rate = RATES[int(rng.integers(len(RATES)))]
    step_s = float(1 / rate) if rate else 1 / 30
    if quick:
        lit_s = max(_between(rng, 0.03, 0.12), 0.7 * step_s)
        dark_s = max(_between(rng, 0.05, 0.2), 1.2 * step_s)
    else:
        lit_s = max(_between(rng, 0.06, 0.5), 1.4 * step_s)
        dark_s = max(_between(rng, 0.09, 0.8), 2 * step_s)
    pause_s = max(dark_s * _between(rng, BARELY, 6), dark_s + 3 * step_s)
    most = int(rng.integers(1, 5))
    told = tuple(
        tuple(int(one) for one in rng.integers(1, most + 1, groups)) for _ in range(int(rng.integers(1, 4)))
    )
    # Someone presses a key when they like, or the device repeats itself.
    even = rng.random() < 0.5
    once_s = max(1.0, (pause_s if groups > 1 else dark_s) * _between(rng, 1.4, 4))
    jitter = float(rng.choice([0.0, 0.02, 0.04]))
    now, pulses = 0.0, []
    for counts in told:
        mine = []
        for count in counts:
            for _ in range(count):
                mine.append(Pulse(now, lit_s * float(rng.uniform(1 - jitter, 1 + jitter))))
                now = mine[-1].end_s + dark_s * float(rng.uniform(1 - jitter, 1 + jitter))
            now += pause_s - dark_s
        pulses.append(tuple(mine))
        now = mine[-1].end_s + (once_s if even else once_s * _between(rng, 1, 3))
    begin_s, end_s = _filmed(rng, pulses, (lit_s, dark_s, pause_s))
    moved = tuple(tuple(Pulse(one.start_s - begin_s, one.length_s) for one in part) for part in pulses)
    whole = tuple(part[0].start_s > 0 and part[-1].end_s < end_s - begin_s for part in moved)
    light = Light(0.5, 0.5, 0.01, "white", 1.0, tuple(one for part in moved for one in part))
    level = seen(rng, light, times(rng, float(rate), end_s - begin_s))
    return Short(level, told, moved, whole, ruled)


def _between(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(math.log(low), math.log(high))))


def _filmed(
    rng: np.random.Generator, pulses: Sequence[Sequence[Pulse]], usual_s: tuple[float, float, float]
) -> tuple[float, float]:
    """Return when the film begins and ends: anywhere, or a little outside all that is told."""
    first_s, last_s = 0.0, pulses[-1][-1].end_s
    begin_s = -_between(rng, 0.05, 8) if rng.random() < 0.7 else float(rng.uniform(first_s, last_s))
    end_s = last_s + _between(rng, 0.05, 8) if rng.random() < 0.7 else float(rng.uniform(begin_s, last_s))
    return begin_s, max(end_s, begin_s + 0.7 + sum(usual_s))


def times(rng: np.random.Generator, rate: float, length_s: float) -> NDArray[np.float64]:
    if rate:
        return np.arange(0, length_s, 1 / rate)
    times = np.cumsum(rng.choice([1 / 30, 1 / 29, 1 / 24], math.ceil(length_s * 30)))
    return times[times < length_s]


def seen(rng: np.random.Generator, light: Light, time_s: NDArray[np.float64]) -> Level:
    """Return what would be measured of a small disc of light on a grey table, noise and all."""
    exposure_s = 0.9 * float(rng.uniform(0.05, 1)) * float(np.min(np.diff(time_s)))
    clean = np.array([light.mean(one, one + exposure_s) for one in time_s])
    # Of a light that is brighter than the film can show, the first part of an exposure is enough.
    seen = np.minimum(clean * rng.uniform(0.9, 4), 1)
    noise = float(rng.uniform(0.003, 0.03))
    level = seen + rng.normal(0, noise, len(seen))
    disc = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], float)
    patch = np.clip(80 + 120 * np.clip(level, 0, 1)[:, None, None] * disc, 0, 255).astype(np.uint8)
    still, same = np.zeros((len(time_s), 2), np.float32), np.ones(len(time_s), np.float32)
    film = Film(Path("short.mp4"), 640, 360, 0, 1 / float(np.mean(np.diff(time_s))), float(time_s[-1]))
    track = Track(film, (320.0, 180.0), time_s, patch, still, still, same, 90 * same)
    nothing = np.zeros(len(time_s), bool)
    return Level(
        track, time_s, level, noise, nothing, 120 * disc, disc > 0, False, same.astype(float), disc < 0
    )
