"""Films of invented lamps whose truth is known: a camera in few lines. Shares no code with the reader.

A scene is light, in amounts: a table top under a room lamp, a small light on it, perhaps a hand, another
light.
A camera looks at it for a part of each frame's time, row after row, sets its exposure, loses focus, shakes;
what it saw becomes eight bits through a gamma curve, with noise, and goes to an encoder.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

COLOURS = {
    "red": (1.0, 0.06, 0.03),
    "deep red": (1.0, 0.01, 0.005),
    "orange": (1.0, 0.35, 0.02),
    "green": (0.05, 1.0, 0.12),
    "blue": (0.05, 0.15, 1.0),
    "white": (1.0, 0.95, 0.9),
}


@dataclass(frozen=True)
class Pulse:
    """One time that a light is lit, from half its brightness to half its brightness."""

    start_s: float
    length_s: float
    brightness: float = 1.0

    @property
    def end_s(self) -> float:
        return self.start_s + self.length_s


@dataclass(frozen=True)
class Light:
    """A light: where it is (in parts of the picture), how large (parts of the width), when it is lit."""

    x: float
    y: float
    radius: float
    colour: str
    brightness: float
    pulses: tuple[Pulse, ...]
    ramp_s: float = 0.0

    def mean(self, start_s: float, end_s: float) -> float:
        """Return its brightness averaged over a time, of its own."""
        near = [
            one
            for one in self.pulses
            if one.start_s - self.ramp_s < end_s and one.end_s + self.ramp_s > start_s
        ]
        if not near:
            return 0.0
        moments = np.linspace(start_s, end_s, 9)
        level = np.zeros(9)
        for one in near:
            if self.ramp_s:
                rise = 0.5 + (moments - one.start_s) / self.ramp_s
                fall = 0.5 + (one.end_s - moments) / self.ramp_s
                level += one.brightness * np.clip(np.minimum(rise, fall), 0, 1)
            else:
                level += one.brightness * ((moments >= one.start_s) & (moments < one.end_s))
        return float(level.mean())


@dataclass(frozen=True)
class Hand:
    """Something that moves into the picture, stays over a place and goes again."""

    start_s: float
    end_s: float
    x: float
    y: float
    radius: float

    def at(self, time_s: float) -> tuple[float, float] | None:
        """Return its middle; it takes 0.25 s to come from the right, and to go."""
        if not self.start_s - 0.25 < time_s < self.end_s + 0.25:
            return None
        away = max(self.start_s - time_s, time_s - self.end_s, 0.0) / 0.25
        return self.x + away * (1.1 + self.radius - self.x), self.y


@dataclass(frozen=True)
class Scene:
    """Everything that a film shows, and how it is filmed.

    `rate` 0 stands for a variable one. `room` gives the room's light at a time; `zoom` the scale; `cuts_s`
    are moments after which the camera stands elsewhere, by `cut_by` of a twelfth of the picture's width.
    """

    width: int
    height: int
    rate: Fraction
    codec: str
    length_s: float
    lights: tuple[Light, ...]
    seed: int
    crf: int = 26
    exposure_s: float = 0.01
    readout_s: float = 0.0
    shake: float = 0.0
    defocus: float = 0.0
    noise: float = 2.0
    room: Callable[[float], float] = lambda _time_s: 1.0
    room_level: float = 0.25
    flicker: float = 0.0
    mains_Hz: float = 50.0
    auto_exposure: float = 0.0
    hands: tuple[Hand, ...] = ()
    cuts_s: tuple[float, ...] = ()
    zoom: Callable[[float], float] | None = None
    cut_by: float = 0.85


def times(scene: Scene) -> list[float]:
    """Return when each frame begins [s]."""
    if scene.rate:
        return [float(k / scene.rate) for k in range(math.ceil(scene.length_s * scene.rate))]
    rng = np.random.default_rng([scene.seed, 3])
    found, now = [], 0.0
    while now < scene.length_s:
        found.append(now)
        # A phone in a dim room: thirty a second, at times twenty-four, never quite.
        slow = math.sin(now / 2.7) > 0.6
        now += (1 / 24 if slow else 1 / 30) * float(rng.uniform(0.96, 1.04))
    return [round(one * 90_000) / 90_000 for one in found]


def render(scene: Scene, path: Path) -> None:
    """Write the film that a camera takes of a scene."""
    camera = _Camera(scene)
    with av.open(str(path), "w") as container:
        stream: Any = container.add_stream(scene.codec, rate=scene.rate or 30)
        stream.width, stream.height, stream.pix_fmt = scene.width, scene.height, "yuv420p"
        stream.codec_context.time_base = Fraction(1, 90_000)
        stream.options = _encoder(scene)
        for moment in times(scene):
            frame = av.VideoFrame.from_ndarray(camera.see(moment), format="rgb24")
            frame.pts, frame.time_base = round(moment * 90_000), Fraction(1, 90_000)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())


def _encoder(scene: Scene) -> dict[str, str]:
    if scene.codec == "libx264":
        return {"preset": "ultrafast", "crf": str(scene.crf), "g": "60", "threads": "1"}
    return {"deadline": "realtime", "cpu-used": "8", "crf": str(scene.crf + 10), "b:v": "0", "threads": "1"}


class _Camera:
    """What a camera has of a scene before it looks: the canvas, its own path, its exposure."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.rng = np.random.default_rng([scene.seed, 1])
        self.margin = round(0.08 * scene.width)
        self.fine = 4 if scene.height < 700 else 2 if scene.height < 1000 else 1
        self.canvas = self._canvas()
        self.phases: dict[tuple[int, int], NDArray[np.int16]] = {}
        self.zoomed: dict[int, NDArray[np.int16]] = {}
        self.developed: dict[tuple[int, int], NDArray[np.int16]] = {}
        self.gain, self.walk, self.exposed = 1.0, np.zeros(2), math.nan
        self.swing = self.rng.uniform(0, 2 * math.pi, 4)
        grain = self.rng.normal(0, scene.noise, (scene.height + 64, scene.width + 64, 1))
        self.grain = np.rint(grain).astype(np.int16).repeat(3, axis=2)

    def _canvas(self) -> NDArray[np.float32]:
        scene = self.scene
        high, wide = scene.height + 2 * self.margin, scene.width + 2 * self.margin
        plain = np.full((high, wide), 0.5, np.float32)
        down, across = np.mgrid[0:high, 0:wide].astype(np.float32) / scene.width
        for _ in range(12):
            turn, often = self.rng.uniform(0, math.pi), self.rng.uniform(3, 40)
            wave = np.sin(2 * math.pi * often * (down * math.sin(turn) + across * math.cos(turn)) + turn)
            plain += 0.05 * wave.astype(np.float32)
        for _ in range(40):
            top, left = int(self.rng.integers(high)), int(self.rng.integers(wide))
            tall, broad = (int(one) for one in self.rng.integers(high // 40, high // 6, 2))
            plain[top : top + tall, left : left + broad] *= self.rng.uniform(0.4, 1.5)
        tint = self.rng.uniform(0.75, 1.0, 3).astype(np.float32)
        return np.clip(plain, 0.05, 1.4)[:, :, None] * tint * np.float32(scene.room_level)

    def _offset(self, time_s: float) -> tuple[float, float]:
        """Return where the camera points, in pixels away from rest."""
        scene = self.scene
        jump, reach = np.array([0.0, 0.0]), self.margin * scene.cut_by
        for place, cut in enumerate(scene.cuts_s):
            if time_s >= cut:
                jump = reach * np.array([math.cos(2.4 * place + 1), math.sin(2.4 * place + 1)])
        if not scene.shake:
            return float(jump[0]), float(jump[1])
        size = scene.shake * scene.width
        one, two, three, four = self.swing
        way = np.array(
            [
                math.sin(2 * math.pi * 0.7 * time_s + one) + 0.5 * math.sin(2 * math.pi * 2.3 * time_s + two),
                math.sin(2 * math.pi * 0.5 * time_s + three)
                + 0.5 * math.sin(2 * math.pi * 3.1 * time_s + four),
            ]
        )
        self.walk = 0.97 * self.walk + self.rng.normal(0, 0.12, 2)
        moved = jump + size * (way + self.walk) / 1.5
        most = self.margin - 2.0
        return float(np.clip(moved[0], -most, most)), float(np.clip(moved[1], -most, most))

    def _view(self, across: float, down: float, scale: float) -> NDArray[np.int16]:
        """Return the canvas as the camera sees it, to a fraction of a pixel, in steps of light."""
        scene = self.scene
        if scale != 1:
            key = round(scale * 200)
            if key not in self.zoomed:
                self.zoomed = {key: self._magnified(key / 200)}
            return self.zoomed[key]
        phase, top, left = self._window(across, down)
        return self._phase(*phase)[top : top + scene.height, left : left + scene.width]

    def _window(self, across: float, down: float) -> tuple[tuple[int, int], int, int]:
        """Return the part of a pixel, and the row and column of the canvas, where the view begins."""
        row, column = round((self.margin + down) * self.fine), round((self.margin + across) * self.fine)
        (top, low), (left, right) = divmod(row, self.fine), divmod(column, self.fine)
        return (low, right), top, left

    def _phase(self, low: int, right: int) -> NDArray[np.int16]:
        if (low, right) not in self.phases:
            moved = self.canvas
            moved = moved + (np.roll(moved, -1, 0) - moved) * np.float32(low / self.fine)
            moved = moved + (np.roll(moved, -1, 1) - moved) * np.float32(right / self.fine)
            self.phases[low, right] = _steps(moved)
        return self.phases[low, right]

    def _exposed(self, steps: NDArray[np.int16], amount: float, view: tuple[float, float, float]) -> Any:
        """Return the eight bits of a view; what was developed alike before is taken from there."""
        scene, curve = self.scene, _developed(_AMOUNTS * np.float32(amount)).astype(np.int16)
        if amount != self.exposed or scene.flicker or view[2] != 1:
            self.exposed = amount
            self.developed.clear()
            return np.take(curve, steps, mode="clip")
        phase, top, left = self._window(*view[:2])
        if phase not in self.developed:
            self.developed[phase] = np.take(curve, self._phase(*phase), mode="clip")
        return self.developed[phase][top : top + scene.height, left : left + scene.width].copy()

    def _magnified(self, scale: float) -> NDArray[np.int16]:
        scene = self.scene
        rows = (np.arange(scene.height) - scene.height / 2) / scale + scene.height / 2 + self.margin
        columns = (np.arange(scene.width) - scene.width / 2) / scale + scene.width / 2 + self.margin
        return _steps(self.canvas[np.ix_(np.rint(rows).astype(int), np.rint(columns).astype(int))])

    def see(self, time_s: float) -> NDArray[np.uint8]:
        """Return one picture, red, green and blue in eight bits."""
        scene = self.scene
        across, down = self._offset(time_s)
        scale = scene.zoom(time_s) if scene.zoom else 1.0
        steps = self._view(across, down, scale)
        gain = self._gain(steps, time_s)
        by_row = self._flicker(time_s) if scene.flicker else np.ones(scene.height, np.float32)
        if scene.flicker:
            steps = steps + np.rint(np.log(by_row) / _STEP).astype(np.int16)[:, None, None]
        seen = self._exposed(steps, scene.room(time_s) * gain, (across, down, scale))
        for light in scene.lights:
            self._shine(seen, steps, light, time_s, (across, down), scale, gain)
        for hand in scene.hands:
            self._cover(seen, hand, time_s, gain)
        top, left = self.rng.integers(0, 64, 2)
        seen += self.grain[top : top + scene.height, left : left + scene.width]
        return np.clip(seen, 0, 255, out=seen).astype(np.uint8)

    def _gain(self, steps: NDArray[np.int16], time_s: float) -> float:
        """Set the exposure, a step behind what is seen: the room and what the lights add to it."""
        scene = self.scene
        if scene.auto_exposure:
            level = float(_AMOUNTS[np.clip(steps[::16, ::16], 0, len(_AMOUNTS) - 1)].mean()) * scene.room(
                time_s
            )
            for light in scene.lights:
                lit = light.mean(time_s, time_s + scene.exposure_s) * light.brightness
                level += 12 * lit * math.pi * light.radius**2
            self.gain += scene.auto_exposure * (min(0.25 / level, 4.0) ** 0.7 - self.gain)
        return self.gain

    def _flicker(self, time_s: float) -> NDArray[np.float32]:
        """Return a mains lamp's light by row: twice the mains' frequency, averaged over the exposure."""
        scene = self.scene
        often = 4 * math.pi * scene.mains_Hz
        begin = time_s + scene.readout_s * np.arange(scene.height) / scene.height
        blurred = np.sinc(often * scene.exposure_s / (2 * math.pi))
        wave = 1 + scene.flicker * blurred * np.cos(often * (begin + scene.exposure_s / 2))
        return np.asarray(wave, np.float32)

    def _shine(
        self,
        seen: NDArray[np.int16],
        steps: NDArray[np.int16],
        light: Light,
        time_s: float,
        offset: tuple[float, float],
        scale: float,
        gain: float,
    ) -> None:
        """Draw a light, its lens and its glow on the table."""
        scene = self.scene
        begin = time_s + scene.readout_s * light.y
        level = light.mean(begin, begin + scene.exposure_s) * light.brightness
        middle = (
            (light.x - 0.5) * scene.width * scale + scene.width / 2 - offset[0] * scale,
            (light.y - 0.5) * scene.height * scale + scene.height / 2 - offset[1] * scale,
        )
        radius, soft = light.radius * scene.width * scale, 0.7 + scene.defocus * scene.width
        part = _part(seen.shape, middle, int(4 * radius + 3 * soft) + 2)
        if part is None:
            return
        rows, columns, away = part
        body = 1 / (1 + np.exp(np.minimum((away - radius) / (0.4 * soft), 60)))
        body *= (radius / (radius + soft)) ** 2 if scene.defocus else 1.0
        glow = 0.012 * np.exp(-0.5 * (away / (2 * radius)) ** 2)
        place = _AMOUNTS[np.clip(steps[rows, columns], 0, len(_AMOUNTS) - 1)] * np.float32(scene.room(time_s))
        if light is not scene.lights[0]:
            # What other lights have added there already.
            place += (seen[rows, columns] / 255.0) ** 2.2 / gain - _clipped(place * gain) / gain
        # The light's own lens: a grey disc while it is dark.
        place *= (1 - 0.4 * body)[:, :, None]
        place += (level * (body + glow))[:, :, None] * np.array(COLOURS[light.colour], np.float32)
        seen[rows, columns] = _developed(place * np.float32(gain))

    def _cover(self, seen: NDArray[np.int16], hand: Hand, time_s: float, gain: float) -> None:
        scene = self.scene
        middle = hand.at(time_s)
        if middle is None:
            return
        radius = hand.radius * scene.width
        part = _part(seen.shape, (middle[0] * scene.width, middle[1] * scene.height), int(radius) + 2)
        if part is None:
            return
        rows, columns, away = part
        skin = np.array([0.6, 0.42, 0.33], np.float32) * np.float32(
            scene.room_level * scene.room(time_s) * gain
        )
        shade = _developed((1 - 0.4 * np.minimum(away / radius, 1) ** 2)[:, :, None] * skin)
        seen[rows, columns] = np.where((away < radius)[:, :, None], shade, seen[rows, columns])


_STEP = 0.01
_DARKEST = 1e-4
_AMOUNTS = (_DARKEST * np.exp(_STEP * np.arange(1200))).astype(np.float32)
"""Amounts of light, a hundredth apart: in such steps a lamp's flicker is an addition."""


def _steps(amounts: NDArray[np.float32]) -> NDArray[np.int16]:
    return np.rint(np.log(np.maximum(amounts, _DARKEST) / _DARKEST) / _STEP).astype(np.int16)


def _clipped(amounts: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.clip(amounts, 0, 1)


def _developed(amounts: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the eight bits that a camera makes of amounts of light, before noise."""
    return np.asarray(255 * _clipped(amounts) ** np.float32(1 / 2.2) + 0.5, np.float32)


def _part(
    shape: tuple[int, ...], middle: tuple[float, float], reach: int
) -> tuple[slice, slice, NDArray[np.float32]] | None:
    """Return the rows and columns around a place, and how far each pixel is from it."""
    high, wide = shape[:2]
    top, low = max(0, int(middle[1]) - reach), min(high, int(middle[1]) + reach + 1)
    left, right = max(0, int(middle[0]) - reach), min(wide, int(middle[0]) + reach + 1)
    if top >= low or left >= right:
        return None
    rows, columns = np.arange(top, low)[:, None], np.arange(left, right)[None, :]
    away = np.hypot(rows + 0.5 - middle[1], columns + 0.5 - middle[0]).astype(np.float32)
    return slice(top, low), slice(left, right), away


def readings(
    values: Sequence[Sequence[int]],
    *,
    lit_s: float,
    dark_s: float,
    pause_s: float,
    between_s: float,
    start_s: float,
    jitter: float = 0.0,
    rng: np.random.Generator | None = None,
) -> tuple[list[list[Pulse]], float]:
    """Return the pulses of each reading, a group of blinks for each of its counts, and when all is over."""
    rng = rng or np.random.default_rng(0)
    now, found = start_s, []
    for counts in values:
        pulses: list[Pulse] = []
        for count in counts:
            for _ in range(count):
                length = lit_s * float(rng.uniform(1 - jitter, 1 + jitter))
                pulses.append(Pulse(now, length))
                now += length + dark_s * float(rng.uniform(1 - jitter, 1 + jitter))
            now += pause_s - dark_s
        now += between_s - pause_s
        found.append(pulses)
    return found, now
