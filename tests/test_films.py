"""A film's blinks are counted right, or said to be uncertain; what is no film of a light is said plainly."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from scipy import ndimage

from reviewkit import film
from reviewkit.errors import FilmError
from reviewkit.film import decode, tracking
from reviewkit.film.decode import Box
from reviewkit.film.telling import Told
from reviewkit.schema.blocks import BlinkRule
from tests.benchmarks import films as study
from tests.films import draw, render, short
from tests.films.render import Hand, Light, Scene, readings

HERE = Path(__file__).parent / "films"
VOLTS = BlinkRule(groups=("units", "tenths"))


def scene(*counts: tuple[int, ...], lit_s: float = 0.12, **more: Any) -> Scene:
    """A small film of a green light that tells some readings."""
    told, end_s = readings(counts, lit_s=lit_s, dark_s=0.15, pause_s=0.6, between_s=1.6, start_s=1.4)
    pulses = tuple(pulse for one in told for pulse in one)
    light = Light(0.5, 0.5, 0.015, "green", 2.0, pulses)
    filmed = Scene(480, 360, Fraction(30), "libx264", end_s - 0.4, (light,), 1, shake=0.0005, readout_s=0.01)
    return replace(filmed, **more)


def told(folder: Path, filmed: Scene, **how: Any) -> Told:
    path = folder / ("film.mp4" if filmed.codec == "libx264" else "film.webm")
    render.render(filmed, path)
    return film.tell(path, rule=VOLTS, **how)


@cache
def _plain() -> Scene:
    return scene((4, 2), (3, 7))


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Told:
    return told(tmp_path_factory.mktemp("plain"), _plain())


def test_readings_are_counted_and_sure(plain: Told) -> None:
    told = [row[1:5] for row in plain.rows]
    assert told == [("4 · 2", "4.2", "yes", "green"), ("3 · 7", "3.7", "yes", "green")]


@pytest.mark.parametrize(
    ("colour", "brightness", "named"),
    [
        ("red", 0.5, "red"),
        ("red", 12.0, "red or orange"),
        ("orange", 1.5, "orange"),
        ("orange", 12.0, "orange"),
        ("green", 1.5, "green"),
        ("blue", 12.0, "green or blue"),
        ("white", 12.0, "white"),
    ],
)
def test_a_colour_is_named_as_far_as_brightness_leaves_it(
    tmp_path: Path, colour: str, brightness: float, named: str
) -> None:
    """What is brighter than a film can show loses its colour towards a neighbour's: then both are named."""
    filmed = scene((2, 1))
    light = replace(filmed.lights[0], colour=colour, brightness=brightness)
    (row,) = told(tmp_path, replace(filmed, lights=(light,))).rows
    assert row[4] == named


def test_every_blink_starts_within_a_picture_and_lasts_within_its_bounds(plain: Told) -> None:
    truth = _plain().lights[0].pulses
    assert len(plain.found.blinks) == len(truth)
    for blink, pulse in zip(plain.found.blinks, truth, strict=True):
        assert abs(blink.start_s - pulse.start_s) <= 1 / 30
        assert abs(blink.length_s - pulse.length_s) <= blink.length_half_s
        assert blink.start_half_s >= 1 / 60


def test_a_covered_blink_makes_the_count_open(tmp_path: Path) -> None:
    """A hand over the light during the first reading's third and fourth blink."""
    pulses = _plain().lights[0].pulses
    filmed = scene((4, 2), (3, 7), (3, 1))
    hand = Hand(pulses[2].start_s - 0.05, pulses[3].end_s + 0.1, 0.5, 0.5, 0.12)
    found = told(tmp_path, replace(filmed, hands=(hand,)), at=(240, 180))
    hidden = [one for one in found.readings if one.start_s < pulses[5].end_s]
    assert hidden
    assert not any(map(found.sure, hidden))
    assert all("covered" in one.why for one in hidden)
    assert "covers the light" in found.note(hidden[0])
    seen = [one.counts for one in found.readings if found.sure(one)]
    assert seen == [(3, 7), (3, 1)]


def kinds(found: Told) -> set[str]:
    return {one.kind for one in found.difficulties}


def test_a_finger_over_one_blink_is_noticed(tmp_path: Path) -> None:
    """It is hardly larger than the light, comes before a group's first blink and leaves before the second."""
    first = _plain().lights[0].pulses[6]
    finger = Hand(first.start_s - 0.03, first.end_s + 0.03, 0.505, 0.5, 0.024)
    found = told(tmp_path, scene((4, 2), (3, 7), hands=(finger,)), at=(240, 180))
    assert "covered" in kinds(found)
    assert [one.counts for one in found.readings if found.sure(one)] == [(4, 2)]


def test_a_cut_that_moves_the_view_a_little_is_noticed(tmp_path: Path) -> None:
    """Two takes from nearly the same place; between them the first reading's last blink is lost."""
    pulses = _plain().lights[0].pulses
    lost_s = pulses[6].start_s - pulses[5].start_s - 1.2
    later = tuple(replace(one, start_s=one.start_s - lost_s) for one in pulses[6:])
    light = replace(_plain().lights[0], pulses=(*pulses[:5], *later))
    filmed = replace(_plain(), lights=(light,), cuts_s=(pulses[4].end_s + 0.1,), cut_by=0.1)
    found = told(tmp_path, replace(filmed, length_s=filmed.length_s - lost_s), at=(240, 180))
    assert "jump" in kinds(found)
    assert [one.counts for one in found.readings if found.sure(one)] == [(3, 7)]


def test_a_light_that_flashes_beside_it_is_named_and_taken_out(tmp_path: Path) -> None:
    """As bright, in its own time, its edge a radius away; a finger over one blink is seen all the same."""
    first = _plain().lights[0]
    own = tuple(render.Pulse(0.3 + 0.73 * number, 0.1) for number in range(25))
    beside = replace(first, x=first.x + 3 * first.radius, pulses=own)
    filmed = replace(_plain(), lights=(first, beside))
    found = told(tmp_path, filmed, at=(240, 180))
    assert kinds(found) == {"light beside"}
    assert [one.counts for one in found.readings if found.sure(one)] == [(4, 2), (3, 7)]
    hidden = first.pulses[6]
    finger = Hand(hidden.start_s - 0.03, hidden.end_s + 0.03, 0.5, 0.5, 0.05)
    found = told(tmp_path, replace(filmed, hands=(finger,)), at=(240, 180))
    assert [one.counts for one in found.readings if found.sure(one)] == [(4, 2)]


def test_a_finger_that_taps_beside_a_light_is_no_light(tmp_path: Path) -> None:
    filmed = _plain()
    taps = tuple(
        Hand(0.5 + 1.3 * number, 0.7 + 1.3 * number, 0.5, 0.65, 0.1)
        for number in range(int(filmed.length_s / 1.3))
    )
    found = told(tmp_path, replace(filmed, hands=taps), at=(240, 180))
    assert "light beside" not in kinds(found)
    assert "covered" in kinds(found)
    assert not any(map(found.sure, found.readings))


def test_a_view_that_a_cut_carries_far_is_followed(tmp_path: Path) -> None:
    """By a fifteenth of the picture's width, within the first reading."""
    pulses = _plain().lights[0].pulses
    filmed = scene((4, 2), (3, 7), (2, 2), cuts_s=(pulses[4].end_s + 0.05,))
    found = told(tmp_path, filmed, at=(240, 180))
    assert "cut" in kinds(found)
    assert "lost" not in kinds(found)
    assert [one.counts for one in found.readings if found.sure(one)] == [(3, 7), (2, 2)]


def test_a_light_that_lights_up_a_dark_room_is_no_cut(tmp_path: Path) -> None:
    light = replace(_plain().lights[0], brightness=6.0, radius=0.018)
    found = told(tmp_path, replace(_plain(), lights=(light,), room_level=0.002, noise=2.5), at=(240, 180))
    assert not any(one.decides for one in found.difficulties)
    assert [one.counts for one in found.readings if found.sure(one)] == [(4, 2), (3, 7)]


def test_a_light_that_fades_is_named_and_its_bounds_hold(tmp_path: Path) -> None:
    """So bright that the film shows only the beginning of each rise as one."""
    light = replace(_plain().lights[0], brightness=5.0, ramp_s=0.1)
    found = told(tmp_path, scene((4, 2), (3, 7), lit_s=0.2), at=(240, 180))
    assert "fades" not in kinds(found)
    filmed = scene((4, 2), (3, 7), lit_s=0.2)
    pulses = filmed.lights[0].pulses
    found = told(tmp_path, replace(filmed, lights=(replace(light, pulses=pulses),)), at=(240, 180))
    assert "fades" in kinds(found)
    assert len(found.found.blinks) == len(pulses)
    for blink, pulse in zip(found.found.blinks, pulses, strict=True):
        assert abs(blink.start_s - pulse.start_s) <= blink.start_half_s
        assert abs(blink.length_s - pulse.length_s) <= blink.length_half_s


def test_an_overexposed_fade_begins_within_its_bounds(tmp_path: Path) -> None:
    """The film shows a rise's first quarter as all of it; half the brightness comes two pictures later."""
    filmed = scene((4, 2), lit_s=0.2, rate=Fraction(60), exposure_s=0.015)
    light = replace(filmed.lights[0], brightness=3.5, ramp_s=0.12)
    found = told(tmp_path, replace(filmed, lights=(light,)), at=(240, 180))
    off = [
        abs(one.start_s - pulse.start_s) for one, pulse in zip(found.found.blinks, light.pulses, strict=True)
    ]
    assert min(off) > 1 / 60
    assert all(a <= blink.start_half_s for a, blink in zip(off, found.found.blinks, strict=True))


def test_a_view_that_comes_back_is_known_again() -> None:
    """Something covers it all; then it is there again, a little further to the right."""
    rng = np.random.default_rng(2)
    here, there = (ndimage.gaussian_filter(rng.normal(90, 60, (90, 160)), 2) for _ in range(2))
    aligner = tracking.Aligner()
    laid = [
        aligner.lay(np.asarray(view, np.float32))
        for view in (here, here, there, there, np.roll(here, 2, axis=1), np.roll(here, 3, axis=1))
    ]
    assert [event for _, event in laid] == ["", "", "cut", "", "cut", ""]
    assert [round(shift.across) for shift, _ in laid] == [0, 0, 0, 0, 2, 3]
    assert laid[-1][0].likeness > 0.9


def test_a_blink_that_dims_halfway_is_not_counted_in_silence(tmp_path: Path) -> None:
    light = _plain().lights[0]
    dim = replace(light.pulses[3], brightness=0.35)
    pulses = (*light.pulses[:3], dim, *light.pulses[4:])
    filmed = replace(_plain(), lights=(replace(light, pulses=pulses, brightness=0.9),))
    found = told(tmp_path, filmed, at=(240, 180))
    assert not found.sure(found.readings[0])


def test_a_reading_that_the_film_cuts_off_is_not_sure(tmp_path: Path) -> None:
    filmed = _plain()
    found = told(tmp_path, replace(filmed, length_s=filmed.lights[0].pulses[-1].end_s + 0.1))
    assert found.sure(found.readings[0])
    assert found.readings[-1].why == ("edge",)


@pytest.mark.parametrize("counts", [(3, 2), (2, 2), (1, 4)])
def test_one_reading_alone_is_never_taken_for_several(tmp_path: Path, counts: tuple[int, int]) -> None:
    """Two, pause, two could be one and one, twice: then it is not sure."""
    found = told(tmp_path, scene(counts, length_s=8.0), at=(240, 180))
    assert not [one.pattern for one in found.readings if found.sure(one) and one.counts != counts]


def test_what_its_gaps_allow_besides_is_told(tmp_path: Path) -> None:
    (row,) = told(tmp_path, scene((2, 2), length_s=8.0), at=(240, 180)).rows
    assert row[1] == "2 · 2"
    assert row[3] == "no"
    assert row[5] == "2 · 2 or 1 · 1 then 1 · 1 at 0:01: its pauses can’t be told from its gaps"


@pytest.mark.parametrize("quick", [False, True])
def test_short_films_drawn_to_mislead_are_never_wrong_where_sure(quick: bool) -> None:
    """A part of what `benchmarks/film_timing.py --short` tries."""
    for seed in range(250):
        one = short.draw(seed, quick=quick)
        assert not one.wrong(film.read(film.switching(one.level), one.number))


def test_of_short_films_what_can_be_known_is_called_sure() -> None:
    """Three readings of two groups, gaps and pauses seen in them: most are told as they are."""
    drawn = [one for one in map(short.draw, range(60)) if one.number and len(one.told) == 3]
    read = [film.read(film.switching(one.level), one.number) for one in drawn]
    sure = sum(reading.sure for readings in read for reading in readings)
    assert sure >= 0.35 * sum(sum(one.whole) for one in drawn)


def test_without_a_rule_one_kind_of_pause_may_part_groups_or_readings(tmp_path: Path) -> None:
    """Three, pause, four: one reading of two groups, or two of one."""
    render.render(scene((3, 4)), tmp_path / "film.mp4")
    path = tmp_path / "film.mp4"
    assert not any(map(film.tell(path, at=(240, 180)).sure, film.tell(path, at=(240, 180)).readings))
    (told_by_rule,) = film.tell(path, at=(240, 180), rule=VOLTS).rows
    assert told_by_rule[1:4] == ("3 · 4", "3.4", "yes")


def test_two_lights_are_offered_to_choose_from(tmp_path: Path) -> None:
    first = _plain().lights[0]
    later = tuple(replace(one, start_s=one.start_s + 0.4) for one in first.pulses)
    other = replace(first, x=0.8, pulses=later)
    filmed = replace(_plain(), lights=(first, other))
    with pytest.raises(FilmError, match=r"2 spots go on and off like a light: .*Choose one: --at X,Y"):
        told(tmp_path, filmed)
    source = decode.look_at(tmp_path / "film.mp4")
    found = film.spots(source)
    assert sorted(round(spot.x / 10) for spot in found) == [24, 38]
    sheet = film.contact_sheet(source, found)
    assert sheet.shape == (360, 480, 3)


def test_a_film_that_is_stored_on_its_side_is_seen_as_a_player_shows_it(tmp_path: Path) -> None:
    """A phone held upright stores its pictures lying, with a note to turn them."""
    stored = np.zeros((48, 64), np.uint8)
    stored[8:12, 40:44] = 200
    for turned in range(4):
        shown = np.rot90(stored, turned)
        source = decode.Film(tmp_path, shown.shape[1], shown.shape[0], turned, 30.0, 1.0)
        row, column = (int(places.min()) for places in np.nonzero(shown))
        rows, columns = decode._stored(Box(column, row, 4, 4), source)
        assert (stored[rows, columns] == 200).all()
        assert stored[rows, columns].size == 16


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "the file is empty"),
        (b"no film at all" * 100, "this is no film, or its beginning or its index is damaged"),
    ],
)
def test_what_is_no_film_is_said_plainly(tmp_path: Path, content: bytes, said: str) -> None:
    (tmp_path / "film.mp4").write_bytes(content)
    with pytest.raises(FilmError, match=said):
        film.tell(tmp_path / "film.mp4")


def test_a_missing_film_is_said_plainly(tmp_path: Path) -> None:
    with pytest.raises(FilmError, match="no such file"):
        film.tell(tmp_path / "none.mp4")


def test_a_sound_file_is_said_plainly(tmp_path: Path) -> None:
    with av.open(str(tmp_path / "sound.mp4"), "w") as container:
        stream: Any = container.add_stream("aac", rate=48_000)
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 4800), np.float32), format="fltp", layout="mono")
        frame.sample_rate, frame.pts = 48_000, 0
        container.mux(stream.encode(frame))
        container.mux(stream.encode())
    with pytest.raises(FilmError, match="it holds only sound"):
        film.tell(tmp_path / "sound.mp4")


def test_a_film_without_a_light_is_said_plainly(tmp_path: Path) -> None:
    still = replace(_plain(), lights=(), length_s=2.0, shake=0.005)
    with pytest.raises(FilmError, match="nothing in it goes on and off like a light"):
        told(tmp_path, still)
    with pytest.raises(FilmError, match="nothing at 100,100 goes on and off like a light"):
        film.tell(tmp_path / "film.mp4", at=(100, 100))
    with pytest.raises(FilmError, match="lies outside the picture; expected at most 479,359"):
        film.tell(tmp_path / "film.mp4", at=(900, 100))


def test_a_film_that_breaks_off_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    filmed = replace(_plain(), codec="libvpx-vp9")
    render.render(filmed, tmp_path / "film.webm")
    whole = (tmp_path / "film.webm").read_bytes()
    (tmp_path / "film.webm").write_bytes(whole[: len(whole) * 2 // 3])
    found = film.tell(tmp_path / "film.webm", at=(240, 180), rule=VOLTS)
    assert found.rows[0][1:4] == ("4 · 2", "4.2", "yes")
    assert not any(found.sure(one) and one.counts not in ((4, 2), (3, 7)) for one in found.readings)


def test_thumbnails_hold_pixels_and_nothing_else(plain: Told) -> None:
    """PNG (ISO/IEC 15948): a signature, then chunks; none but those that a picture needs."""
    data, kinds, place = film.png(plain.strip(plain.readings[0])), set(), 8
    while place < len(data):
        length = int.from_bytes(data[place : place + 4], "big")
        kinds.add(data[place + 4 : place + 8].decode())
        place += 12 + length
    assert kinds <= {"IHDR", "IDAT", "IEND", "pHYs"}
    # Four blinks and two, each with the dark after it: a row for each group.
    assert plain.strip(plain.readings[0]).shape == (2 * 52 - 3, 8 * 52 - 3)


@pytest.mark.parametrize(
    ("rule", "counts", "shown"),
    [
        ({"groups": ["units", "tenths"]}, (4, 2), "4.2"),
        ({"groups": ["units", "tenths"], "zero": 10}, (4, 10), "4.0"),
        ({"groups": ["units", "tenths"]}, (4, 10), ""),
        ({"groups": ["units", "tenths", "hundredths"]}, (3, 7, 5), "3.75"),
        ({"groups": ["tens", "units"]}, (7, 5), "75"),
        ({"patterns": {"3": "full", "2 - 1": "half"}}, (2, 1), "half"),
        ({}, (2, 1), ""),
    ],
)
def test_a_pattern_becomes_a_value_by_the_rule(rule: Any, counts: tuple[int, ...], shown: str) -> None:
    assert BlinkRule(**rule).shown(counts) == shown


@pytest.mark.parametrize(("seed", "difficulty"), [(3, ""), (5, "shake"), (9, "covered"), (13, "room")])
def test_drawn_films_are_read_right_where_they_are_called_sure(
    tmp_path: Path, seed: int, difficulty: str
) -> None:
    """A part of the study in `benchmarks/films.py`."""
    drawn = draw.draw(seed, difficulty=difficulty, size=(480, 360), count=2)
    path = tmp_path / ("film.mp4" if drawn.scene.codec == "libx264" else "film.webm")
    result = study.outcome(seed, drawn, path)
    assert not result.sure_wrong
    assert not result.late
    assert result.sure == 2 or difficulty == "covered"


def test_real_films_are_read_as_people_counted_them() -> None:
    for real in sorted(HERE.glob("*.toml")):
        truth = tomllib.loads(real.read_text(encoding="utf-8"))
        rule = BlinkRule(groups=("units", "tenths", "hundredths")[: truth["groups"]])
        found = film.tell(real.with_suffix(".mp4"), at=tuple(truth["at"]), rule=rule)
        counted = dict(zip(truth["starts_s"], truth["readings"], strict=True))
        for reading in found.readings:
            near = min(counted, key=lambda start_s: math.fabs(start_s - reading.start_s))
            assert not found.sure(reading) or counted[near] == reading.pattern
