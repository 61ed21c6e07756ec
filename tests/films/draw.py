"""Scenes drawn at random: what is filmed, how, and with which one thing that makes it hard to read."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

import numpy as np

from tests.films.render import Hand, Light, Pulse, Scene, readings

RATES = (
    Fraction(24),
    Fraction(25),
    Fraction(30_000, 1001),
    Fraction(30),
    Fraction(50),
    Fraction(60),
    Fraction(0),
)
SIZES = ((640, 360),) * 20 + ((480, 360),) * 6 + ((360, 640),) * 4 + ((1280, 720), (1920, 1080))
DIFFICULTIES = (
    *("shake", "defocus", "autoexposure", "room", "flicker", "light elsewhere", "light beside"),
    *("covered", "fade", "cut", "zoom", "dark room", "compressed"),
)


@dataclass(frozen=True)
class Drawn:
    """A scene with what is true of it: each reading's counts, pulses, and which light tells it."""

    scene: Scene
    counts: tuple[tuple[int, int], ...]
    pulses: tuple[tuple[Pulse, ...], ...]
    difficulty: str

    @property
    def middle(self) -> tuple[float, float]:
        """Where the light is in the first picture, in pixels."""
        light = self.scene.lights[0]
        return light.x * self.scene.width, light.y * self.scene.height


def draw(
    seed: int, *, difficulty: str | None = None, size: tuple[int, int] | None = None, count: int = 10
) -> Drawn:
    """Return a scene of `count` readings; six of ten have something planted in them."""
    rng = np.random.default_rng([seed, 7])
    planted = rng.random() < 0.6
    chosen = DIFFICULTIES[int(rng.integers(len(DIFFICULTIES)))] if planted else ""
    difficulty = chosen if difficulty is None else difficulty
    wide, high = SIZES[int(rng.integers(len(SIZES)))] if size is None else size
    rate = RATES[int(rng.integers(len(RATES)))]
    frame_s = float(1 / rate) if rate else 1 / 24
    lit_s = float(np.exp(rng.uniform(math.log(0.06), math.log(0.25))))
    if rng.random() < 0.05:
        lit_s = float(rng.uniform(0.5, 1.0))
    exposure_s = min(float(np.exp(rng.uniform(math.log(1 / 500), math.log(1 / 40)))), 0.9 * frame_s)
    # A camera sees a gap of a frame and an exposure; a device that means to be read leaves a little more.
    dark_s = max(lit_s * float(rng.uniform(0.7, 1.5)), 0.09, 1.3 * (frame_s + exposure_s))
    pause_s = max(2.5 * dark_s, dark_s + lit_s, 0.45) * float(rng.uniform(1.0, 1.4))
    between_s = max(2.2 * pause_s, 1.2) * float(rng.uniform(1.0, 1.3))
    most = 9 if lit_s + dark_s < 0.3 else 5 if lit_s < 0.5 else 3
    counts = tuple((int(rng.integers(1, 5)), int(rng.integers(1, most + 1))) for _ in range(count))
    start_s = float(rng.uniform(1.2, 1.8)) + pause_s
    pulses, end_s = readings(
        counts,
        lit_s=lit_s,
        dark_s=dark_s,
        pause_s=pause_s,
        between_s=between_s,
        start_s=start_s,
        jitter=0.03,
        rng=rng,
    )
    colour = ("red", "orange", "green", "white", "blue")[int(rng.integers(5))]
    light = Light(
        *(float(rng.uniform(0.3, 0.7)), float(rng.uniform(0.3, 0.7)), float(rng.uniform(0.006, 0.018))),
        colour,
        float(np.exp(rng.uniform(math.log(0.8), math.log(6)))),
        tuple(pulse for group in pulses for pulse in group),
    )
    scene = Scene(
        *(wide, high, rate, "libx264" if rng.random() < 0.8 else "libvpx-vp9", end_s + 0.5, (light,), seed),
        crf=int(rng.integers(20, 30)),
        exposure_s=exposure_s,
        readout_s=float(rng.uniform(0, 0.7)) * frame_s,
        noise=float(rng.uniform(1, 4)),
        room_level=float(rng.uniform(0.12, 0.4)),
        shake=float(rng.uniform(0, 0.0006)),
    )
    if difficulty:
        scene = PLANTED[difficulty](scene, rng)
    return Drawn(scene, counts, tuple(tuple(group) for group in pulses), difficulty)


def _shake(scene: Scene, rng: np.random.Generator) -> Scene:
    return replace(scene, shake=float(rng.uniform(0.003, 0.012)))


def _defocus(scene: Scene, rng: np.random.Generator) -> Scene:
    return replace(scene, defocus=float(rng.uniform(0.003, 0.012)))


def _autoexposure(scene: Scene, rng: np.random.Generator) -> Scene:
    big = replace(
        scene.lights[0], radius=float(rng.uniform(0.015, 0.03)), brightness=float(rng.uniform(3, 12))
    )
    return replace(scene, lights=(big,), auto_exposure=float(rng.uniform(0.05, 0.3)))


def _room(scene: Scene, rng: np.random.Generator) -> Scene:
    swing, period_s, step_s = rng.uniform(0.2, 0.5), rng.uniform(2, 9), rng.uniform(0.2, 0.8) * scene.length_s
    dark = float(rng.uniform(0.5, 0.9))

    def room(time_s: float) -> float:
        wave = 1 + swing * math.sin(2 * math.pi * time_s / period_s)
        return float(wave * (dark if time_s > step_s else 1.0))

    return replace(scene, room=room)


def _flicker(scene: Scene, rng: np.random.Generator) -> Scene:
    mains = 50.0 if rng.random() < 0.5 else 60.0
    exposure_s = float(rng.uniform(1 / 500, 1 / 120))
    frame_s = float(1 / scene.rate) if scene.rate else 1 / 30
    readout_s = float(rng.uniform(0.4, 0.9)) * frame_s
    return replace(
        scene,
        flicker=float(rng.uniform(0.2, 0.7)),
        mains_Hz=mains,
        exposure_s=exposure_s,
        readout_s=readout_s,
    )


def _own_time(scene: Scene, rng: np.random.Generator) -> tuple[Pulse, ...]:
    """Pulses of another light, in its own time."""
    period_s, lit_s, now = (
        float(rng.uniform(0.3, 1.7)),
        float(rng.uniform(0.06, 0.2)),
        float(rng.uniform(0, 2)),
    )
    found = []
    while now < scene.length_s:
        found.append(Pulse(now, lit_s))
        now += period_s * float(rng.uniform(0.8, 1.2))
    return tuple(found)


def _elsewhere(scene: Scene, rng: np.random.Generator) -> Scene:
    first = scene.lights[0]
    other = replace(first, x=0.15 if first.x > 0.5 else 0.85, pulses=_own_time(scene, rng), colour="white")
    return replace(scene, lights=(first, other))


def _beside(scene: Scene, rng: np.random.Generator) -> Scene:
    first, turn = scene.lights[0], rng.uniform(0, 2 * math.pi)
    away = first.radius * float(rng.uniform(2.2, 3.5))
    x, y = first.x + away * math.cos(turn), first.y + away * math.sin(turn) * scene.width / scene.height
    return replace(scene, lights=(first, replace(first, x=x, y=y, pulses=_own_time(scene, rng))))


def _covered(scene: Scene, rng: np.random.Generator) -> Scene:
    light, hands = scene.lights[0], []
    for _ in range(int(rng.integers(1, 4))):
        start_s = float(rng.uniform(0.05, 0.9)) * scene.length_s
        radius = float(rng.uniform(0.05, 0.2))
        x, y = (
            light.x + float(rng.uniform(-0.6, 0.6)) * radius,
            light.y + float(rng.uniform(-0.6, 0.6)) * radius,
        )
        hands.append(
            Hand(start_s, start_s + float(np.exp(rng.uniform(math.log(0.1), math.log(3)))), x, y, radius)
        )
    return replace(scene, hands=tuple(hands))


def _fade(scene: Scene, rng: np.random.Generator) -> Scene:
    light = scene.lights[0]
    shortest = min(pulse.length_s for pulse in light.pulses)
    return replace(scene, lights=(replace(light, ramp_s=float(rng.uniform(0.3, 0.8)) * shortest),))


def _cut(scene: Scene, rng: np.random.Generator) -> Scene:
    cuts = sorted(float(one) * scene.length_s for one in rng.uniform(0.1, 0.9, int(rng.integers(1, 4))))
    return replace(scene, cuts_s=tuple(cuts))


def _zoom(scene: Scene, rng: np.random.Generator) -> Scene:
    start_s, lasts_s = float(rng.uniform(0.2, 0.8)) * scene.length_s, float(rng.uniform(0.5, 2))
    most = float(rng.uniform(1.15, 1.6))

    def zoom(time_s: float) -> float:
        return 1 + (most - 1) * min(1.0, max(0.0, (time_s - start_s) / lasts_s))

    return replace(scene, zoom=zoom)


def _dark(scene: Scene, rng: np.random.Generator) -> Scene:
    return replace(scene, room_level=float(np.exp(rng.uniform(math.log(0.0005), math.log(0.03)))))


def _compressed(scene: Scene, rng: np.random.Generator) -> Scene:
    return replace(scene, crf=int(rng.integers(33, 42)), noise=float(rng.uniform(3, 6)))


PLANTED: dict[str, Callable[[Scene, np.random.Generator], Any]] = {
    "shake": _shake,
    "defocus": _defocus,
    "autoexposure": _autoexposure,
    "room": _room,
    "flicker": _flicker,
    "light elsewhere": _elsewhere,
    "light beside": _beside,
    "covered": _covered,
    "fade": _fade,
    "cut": _cut,
    "zoom": _zoom,
    "dark room": _dark,
    "compressed": _compressed,
}
