"""One pass finds a light and keeps its surround, as two would; a long film’s times are right at its end."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from reviewkit import film
from reviewkit.film import decode, one_pass
from reviewkit.film.decode import Picture
from tests.films import long, render
from tests.films.render import Light, Pulse, Scene

BEGINS_S, EVERY_S, LENGTH_S = 1.7, 0.5, 4.0


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    pulses = tuple(Pulse(BEGINS_S + EVERY_S * k, 0.2) for k in range(4))
    lights = (Light(0.4, 0.5, 0.02, "green", 2.0, pulses),)
    scene = Scene(320, 180, Fraction(30), "libx264", LENGTH_S, lights, 3, shake=0.002)
    path = tmp_path_factory.mktemp("survey") / "film.mp4"
    render.render(scene, path)
    return path


def test_one_pass_keeps_what_two_would(filmed: Path) -> None:
    source = film.look_at(filmed)
    found = film.survey(source)
    (spot,) = found.spots
    (kept,) = found.kept
    assert 0 < kept.begin < len(found.view.time_s)
    one, two = found.track(kept.follower.middle), film.track(source, kept.follower.middle)
    for name in ("time_s", "patch", "colour", "shift", "likeness", "whole"):
        assert np.array_equal(getattr(one, name), getattr(two, name)), name
    assert (spot.x, spot.y) == pytest.approx((128, 90), abs=4)


def test_a_surround_that_was_not_kept_is_looked_at_again(filmed: Path) -> None:
    source = film.look_at(filmed)
    found, place = film.survey(source), (40.0, 40.0)
    assert np.array_equal(found.track(place).patch, film.track(source, place).patch)


def test_only_what_went_by_before_a_light_blinked_is_decoded_twice(
    filmed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    decoded = []

    class Counted(Picture):
        def __init__(self, *parts: object) -> None:
            super().__init__(*parts)  # type: ignore[arg-type]
            decoded.append(self.time_s)

    monkeypatch.setattr(decode, "Picture", Counted)
    blinks = len(film.tell(filmed).found.blinks)
    assert blinks == 4
    twice = len(decoded) - len(set(decoded))
    assert 0 < twice <= 30 * (BEGINS_S + EVERY_S + one_pass.AGAIN_S)


def test_a_long_film_has_right_times_at_its_end(filmed: Path, tmp_path: Path) -> None:
    """Packets repeated with shifted time stamps: each showing's blinks start where the first one's did."""
    length_s = long.repeat(filmed, tmp_path / "long.mp4", 15)
    starts = [one.start_s for one in film.tell(tmp_path / "long.mp4").found.blinks]
    truth = [BEGINS_S + EVERY_S * k + length_s * time for time in range(15) for k in range(4)]
    assert starts == pytest.approx(truth, abs=1 / 30)


@pytest.mark.parametrize("size", [(480, 270), (848, 480)])
def test_a_light_is_held_still_whatever_the_size_of_the_film(tmp_path: Path, size: tuple[int, int]) -> None:
    """A cell of these has three and five points, not four: the view's way is told in cells."""
    light = Light(0.5, 0.5, 0.012, "green", 4.0, (Pulse(0.0, 2.0),))
    scene = Scene(*size, Fraction(30), "libx264", 1.5, (light,), 3, shake=0.015, defocus=0.002)
    render.render(scene, tmp_path / "film.mp4")
    track = film.track(film.look_at(tmp_path / "film.mp4"), (size[0] / 2, size[1] / 2))
    assert np.ptp(track.shift, axis=0).max() > 2
    bright = np.where(track.patch > 200, track.patch, 0).astype(float)
    across = (bright.sum(1) @ np.arange(49)) / bright.sum((1, 2))
    assert np.std(across) < 0.6
