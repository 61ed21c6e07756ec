"""Flash rates from a film, what its pictures can't tell, what may harm; moments at which a lamp changes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import av
import numpy as np
import pytest

from reviewkit import film
from reviewkit.film import decode, signals
from tests.films import render
from tests.films.render import Light, Pulse, Scene

DARK_ROOM = 0.02


def pulses(
    lit_s: Sequence[float], dark_s: Sequence[float], length_s: float, begin_s: float = 0.3
) -> tuple[Pulse, ...]:
    found, now, place = [], begin_s, 0
    while now + lit_s[place % len(lit_s)] < length_s - 0.2:
        found.append(Pulse(now, lit_s[place % len(lit_s)]))
        now += lit_s[place % len(lit_s)] + dark_s[place % len(dark_s)]
        place += 1
    return tuple(found)


def scene(
    lit: tuple[Pulse, ...], length_s: float, *, rate: Fraction = Fraction(30), radius: float = 0.03
) -> Scene:
    light = Light(0.5, 0.5, radius, "white", 2.0, lit)
    return Scene(320, 180, rate, "libx264", length_s, (light,), 3, noise=1.0, exposure_s=0.005)


def seen(folder: Path, filmed: Scene) -> film.Flashing:
    render.render(filmed, folder / "film.mp4")
    track = film.track(film.look_at(folder / "film.mp4"), (160, 90))
    return film.flashing(film.switching(film.measure(track)))


@pytest.mark.parametrize(("rate_Hz", "pictures_Hz"), [(0.8, 24), (2.05, 30), (4.1, 60)])
def test_a_rate_is_within_one_percent_and_its_interval_holds_it(
    tmp_path: Path, rate_Hz: float, pictures_Hz: int
) -> None:
    lit = pulses([0.4 / rate_Hz], [0.6 / rate_Hz], 10)
    found = seen(tmp_path, scene(lit, 10, rate=Fraction(pictures_Hz)))
    assert found.kind == "regular"
    assert found.rate is not None
    assert found.rate.low <= rate_Hz <= found.rate.high
    assert found.rate.value == pytest.approx(rate_Hz, rel=0.01)
    assert found.image_Hz == pytest.approx(pictures_Hz - rate_Hz, rel=0.03)


def test_a_flash_as_fast_as_the_pictures_is_bounded_and_not_told(tmp_path: Path) -> None:
    found = seen(tmp_path, scene(pulses([0.031], [0.045], 4), 4))
    assert (found.kind, found.rate) == ("too fast", None)
    assert found.at_least_Hz is not None
    assert found.at_least_Hz <= 1 / 0.076 * 1.01


def test_unlike_flashes_are_not_averaged(tmp_path: Path) -> None:
    """Two short and a long one have no one rate."""
    found = seen(tmp_path, scene(pulses([0.1, 0.1, 0.5], [0.2, 0.2, 0.7], 10), 10))
    assert (found.kind, found.rate) == ("pattern", None)
    assert found.lit_s == pytest.approx((0.1, 0.1, 0.5), abs=found.half_s)
    assert found.dark_s == pytest.approx((0.2, 0.2, 0.7), abs=found.half_s)


@pytest.mark.parametrize(
    ("lit_s", "dark_s"), [((0.2, 0.28), (0.3, 0.3)), ((0.2, 0.2), (0.25, 0.35)), ((0.1, 0.1), (0.2, 0.5))]
)
def test_flashes_that_differ_by_little_more_than_a_picture_are_not_averaged(
    tmp_path: Path, lit_s: tuple[float, ...], dark_s: tuple[float, ...]
) -> None:
    found = seen(tmp_path, scene(pulses(lit_s, dark_s, 8), 8))
    assert (found.kind, found.rate) == ("pattern", None)
    assert sorted(found.lit_s) == pytest.approx(sorted(lit_s), abs=found.half_s)
    assert sorted(found.dark_s) == pytest.approx(sorted(dark_s), abs=found.half_s)


@pytest.mark.parametrize(
    ("rate_Hz", "pictures_Hz", "exposure_s"),
    [(28, 30, 0.002), (32, 30, 0.002), (55, 60, 0.001), (23, 24, 0.01)],
)
def test_a_light_faster_than_half_the_pictures_is_among_those_that_look_the_same(
    tmp_path: Path, rate_Hz: float, pictures_Hz: int, exposure_s: float
) -> None:
    """Nyquist and Shannon: at 30 pictures a second 2, 28 and 32 Hz are one."""
    filmed = scene(pulses([0.5 / rate_Hz], [0.5 / rate_Hz], 4), 4, rate=Fraction(pictures_Hz))
    found = seen(tmp_path, replace(filmed, exposure_s=exposure_s))
    assert found.kind in ("regular", "few")
    same = (found.image_Hz, 2 * pictures_Hz - found.image_Hz)
    assert min(abs(rate_Hz - one) for one in same) < 0.2


@pytest.mark.parametrize(
    ("rate_Hz", "lit", "pictures_Hz"), [(10.46, 0.22, 50), (8.12, 0.17, 24), (13, 0.5, 25)]
)
def test_what_is_too_fast_for_the_pictures_is_bounded(
    tmp_path: Path, rate_Hz: float, lit: float, pictures_Hz: int
) -> None:
    filmed = scene(pulses([lit / rate_Hz], [(1 - lit) / rate_Hz], 4), 4, rate=Fraction(pictures_Hz))
    found = seen(tmp_path, filmed)
    assert (found.kind, found.rate) == ("too fast", None)
    assert found.at_least_Hz is not None
    assert found.at_least_Hz <= rate_Hz


def test_a_light_that_breathes_does_not_blink(tmp_path: Path) -> None:
    filmed = scene(pulses([1.0], [1.0], 10, 0.8), 10)
    light = replace(filmed.lights[0], ramp_s=0.95, brightness=0.7)
    found = seen(tmp_path, replace(filmed, lights=(light,)))
    assert found.kind == "breathing"
    assert found.rate is not None
    assert found.rate.value == pytest.approx(0.5, rel=0.02)


def judged(folder: Path, filmed: Scene) -> dict[str, film.FlashThreshold]:
    render.render(filmed, folder / "film.mp4")
    return {one.kind: one for one in film.judge(film.look_at(folder / "film.mp4"))}


@pytest.mark.parametrize(
    ("rate_Hz", "radius", "exceeds"), [(5, 0.3, True), (2.5, 0.3, False), (5, 0.03, False)]
)
def test_general_flashes_are_judged_by_rate_and_area(
    tmp_path: Path, rate_Hz: float, radius: float, exceeds: bool
) -> None:
    """WCAG 2.2: more than three in a second, over a quarter of ten degrees of the field."""
    filmed = scene(pulses([0.4 / rate_Hz], [0.6 / rate_Hz], 3), 3, radius=radius)
    found = judged(tmp_path, replace(filmed, room_level=DARK_ROOM))
    assert (found["general"].exceeded_s is not None) == exceeds
    assert found["general"].most == pytest.approx(rate_Hz, abs=1)
    assert found["red"].exceeded_s is None


@pytest.mark.parametrize(
    ("colour", "rate_Hz", "red"),
    [("deep red", 5, True), ("deep red", 2.5, False), ("red", 5, False), ("orange", 5, False)],
)
def test_red_flashes_are_judged_by_colour_and_rate(
    tmp_path: Path, colour: str, rate_Hz: float, red: bool
) -> None:
    """WCAG 2.2: red’s share 0.8 or more, 0.2 from the dark; the renderer’s red has 0.92 and 0.19.

    By luminance, at least 0.21, each of them is a general flash.
    """
    filmed = scene(pulses([0.4 / rate_Hz], [0.6 / rate_Hz], 3), 3, radius=0.3)
    light = replace(filmed.lights[0], colour=colour, brightness=0.95)
    found = judged(tmp_path, replace(filmed, lights=(light,), room_level=DARK_ROOM))
    assert (found["red"].exceeded_s is not None) == red
    assert (found["general"].exceeded_s is not None) == (rate_Hz > 3)


@pytest.mark.parametrize("kind", ["general", "red"])
def test_three_flashes_in_a_second_are_below_the_threshold_and_four_above(kind: str) -> None:
    """WCAG 2.2: no more than three flashes within any one second, whose changes are in pairs."""
    for flashes, above in ((3, False), (4, True)):
        counter, worst = signals.FlashJudge(), None
        levels = [0.0, *[1.0, 0.0] * flashes]
        for k, level in enumerate(levels):
            shown = np.zeros((3, 4, 4), np.float32)
            shown[: 1 if kind == "red" else 3] = level
            counter.see(SimpleNamespace(time_s=0.9 * k / len(levels), colours=shown))  # type: ignore[arg-type]
        worst = {one.kind: one for one in counter.judged}[kind]
        assert (worst.most, worst.exceeded_s is not None) == (flashes, above)


@pytest.mark.parametrize(
    ("before", "after", "counts"),
    [
        ((0.5, 0.5, 0.5), (0.565, 0.565, 0.565), False),
        ((0.5, 0.5, 0.5), (0.61, 0.61, 0.61), True),
        ((0.95, 0.95, 0.95), (1.0, 1.0, 1.0), False),
    ],
)
def test_a_general_flash_is_a_tenth_of_white_and_its_darker_state_is_below_four_fifths(
    before: tuple[float, ...], after: tuple[float, ...], counts: bool
) -> None:
    """WCAG 2.2's thresholds in sRGB values: 0.214 to 0.279 and to 0.331, 0.888 to 1."""
    counter = signals.FlashJudge()
    for k in range(10):
        shown = np.broadcast_to(np.array((before, after)[k % 2], np.float32)[:, None, None], (3, 4, 4))
        counter.see(SimpleNamespace(time_s=0.1 * k, colours=shown))  # type: ignore[arg-type]
    assert (counter.judged[0].most > 3) == counts


@pytest.mark.parametrize(
    ("colour", "x", "y"),
    [
        ((1, 0, 0), 0.64, 0.33),
        ((0, 1, 0), 0.30, 0.60),
        ((0, 0, 1), 0.15, 0.06),
        ((1, 1, 1), 0.3127, 0.3290),
    ],
)
def test_chromaticities_are_those_of_the_standard(
    monkeypatch: pytest.MonkeyPatch, colour: tuple[int, ...], x: float, y: float
) -> None:
    """BT.709, 1.3 and 1.4: primaries and white in x, y; CIE 15:2004, 8.2.2.1: u′ and v′ from x and y."""
    monkeypatch.setattr(signals, "GLARE", 0.0)
    found = signals._redness(np.array(colour, np.float32)[:, None, None])[1:, 0, 0]
    below = -2 * x + 12 * y + 3
    assert found == pytest.approx((4 * x / below, 9 * y / below), abs=5e-4)


@pytest.mark.parametrize("size", [(320, 180), (1280, 720)])
@pytest.mark.parametrize("colour", [(220, 20, 10), (20, 200, 40), (30, 60, 230), (128, 128, 128)])
def test_colours_are_those_that_were_filmed(
    tmp_path: Path, size: tuple[int, int], colour: tuple[int, ...]
) -> None:
    """Encoded and decoded by the library: BT.709 where the film says so, else BT.601 below 720 lines."""
    wide, high = size
    with av.open(str(tmp_path / "film.mp4"), "w") as container:
        stream: Any = container.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = wide, high, "yuv420p"
        said = 1 if high >= 720 else 2
        stream.codec_context.colorspace = said
        whole = np.broadcast_to(np.array(colour, np.uint8), (high, wide, 3))
        frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(whole), format="rgb24")
        coded = frame.reformat(format="yuv420p", dst_colorspace="ITU709" if said == 1 else "ITU601")
        container.mux(stream.encode(coded))
        container.mux(stream.encode())
    (picture,) = [one.colours for one in decode.pictures(film.look_at(tmp_path / "film.mp4"))]
    assert picture.mean((1, 2)) * 255 == pytest.approx(colour, abs=4)


def test_moments_are_within_two_pictures(tmp_path: Path) -> None:
    """A lamp that comes on, goes up a step, down again, and off; an indicator that blinks meanwhile."""
    truth = {2.03: ("on", 0.3), 3.51: ("brighter", 1.0), 5.27: ("dimmer", 0.55), 7.11: ("off", 0.0)}

    def room(time_s: float) -> float:
        return 0.02 + max([level for start, (_, level) in truth.items() if start <= time_s][-1:], default=0.0)

    filmed = replace(scene(pulses([0.1], [0.3], 9), 9, radius=0.01), room=room)
    render.render(filmed, tmp_path / "film.mp4")
    found = film.moments(film.look_at(tmp_path / "film.mp4"))
    assert [one.kind for one in found] == [kind for kind, _ in truth.values()]
    for one, time_s in zip(found, truth, strict=True):
        assert abs(one.time_s - time_s) <= 2 / 30


def test_a_steady_film_has_no_moments(tmp_path: Path) -> None:
    filmed = replace(scene((), 3), lights=(), flicker=0.3, readout_s=0.02, shake=0.003)
    render.render(filmed, tmp_path / "film.mp4")
    assert film.moments(decode.look_at(tmp_path / "film.mp4")) == ()
