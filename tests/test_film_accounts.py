"""What a film's gaps leave open is told: each bound has a case on either side."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from reviewkit import film
from tests.films import short
from tests.films.render import Light, readings


def read(
    counts: Sequence[Sequence[int]],
    groups: int | None,
    *,
    inner_s: float = 0.3,
    pause_s: float = 0.8,
    between_s: float = 2.4,
    before_s: float = 3.0,
    after_s: float = 3.0,
) -> tuple[film.Reading, ...]:
    """Read a light of 0.2 s blinks at 50 pictures a second."""
    told, _ = readings(
        counts, lit_s=0.2, dark_s=inner_s, pause_s=pause_s, between_s=between_s, start_s=before_s
    )
    pulses = tuple(pulse for one in told for pulse in one)
    time_s = np.arange(0, pulses[-1].end_s + after_s, 0.02)
    light = Light(0.5, 0.5, 0.01, "white", 1.0, pulses)
    return film.read(film.switching(short.seen(np.random.default_rng(1), light, time_s)), groups)


def patterns(found: Sequence[film.Reading]) -> list[str]:
    return [one.pattern for one in found]


def test_a_plain_reading_is_sure() -> None:
    found = read([(3, 2)], 2)
    assert patterns(found) == ["3 · 2"]
    assert found[0].sure


@pytest.mark.parametrize(("silent_s", "sure"), [(4.7, False), (5.3, True)])
def test_one_blink_is_one_if_no_other_could_follow(silent_s: float, sure: bool) -> None:
    (found,) = read([(1,)], 1, before_s=silent_s, after_s=silent_s)
    assert found.sure is sure
    assert found.why == (() if sure else ("edge",))


@pytest.mark.parametrize(("gap_s", "sure"), [(0.7, True), (0.9, False)])
def test_single_blinks_may_be_a_reading_each_unless_they_follow_too_soon(gap_s: float, sure: bool) -> None:
    (found,) = read([(3,)], 1, inner_s=gap_s)
    assert (found.pattern, found.sure) == ("3", sure)
    assert found.otherwise == (() if sure else (("1", "1", "1"),))


def test_pauses_hardly_longer_than_gaps_leave_two_readings_or_one() -> None:
    """Three pictures longer, by an eighth: it may be chance, or three and two, then four and one."""
    (found,) = read([(3, 2), (4, 1)], 2, inner_s=0.5, pause_s=0.56, between_s=1.6)
    assert found.pattern == "5 · 5"
    assert found.why == ("pauses",)
    assert found.otherwise == (("3 · 2", "4 · 1"),)


def test_gaps_that_differ_by_chance_are_of_one_kind() -> None:
    """By a picture, or by some per cent."""
    (found,) = read([(5, 5)], 2, inner_s=0.49, pause_s=1.6)
    assert found.sure


def test_blinks_before_the_film_are_thought_of() -> None:
    """The film begins in the pause: two blinks are seen of three and two."""
    (found,) = read([(2,)], 2, before_s=0.5)
    assert not found.sure
    assert found.otherwise == (("2",),)


@pytest.mark.parametrize(("counts", "sure"), [([(3, 4), (2, 2)], False), ([(3, 4), (2, 2), (3, 1)], True)])
def test_without_a_rule_three_pauses_alike_show_that_a_reading_has_groups(
    counts: list[tuple[int, ...]], sure: bool
) -> None:
    found = read(counts, None)
    assert patterns(found) == [" · ".join(map(str, one)) for one in counts]
    assert {one.sure for one in found} == {sure}


def test_one_reading_in_five_that_no_account_explains_leaves_the_others_sure() -> None:
    """A blink missed, say: one reading of six has a group too few."""
    found = read([(3, 2), (2, 4), (3,), (1, 3), (4, 2), (2, 3)], 2)
    assert [one.sure for one in found] == [True, True, False, True, True, True]
    assert found[2].why == ("groups",)
    assert not any(one.sure for one in read([(3, 2), (3,), (4,), (2, 1)], 2))
