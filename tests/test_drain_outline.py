"""Whether pulses laid over one another are rectangles: both sides of each bound, on rows made for it."""

from __future__ import annotations

import numpy as np
import pytest
from drain_rows import rows, upright

from reviewkit.drain import pattern
from reviewkit.drain.pattern import Pattern
from reviewkit.drain.pulse_train import Train
from reviewkit.drain.samples import Detection

PERIOD = 30


def outline(
    pulse: list[float],
    *,
    count: int = 12,
    noise: float = 0.0,
    touched: tuple[int, int] = (0, 0),
    extra: dict[float, float] | None = None,
    by_turns: dict[float, float] | None = None,
) -> str:
    """Return the outline of equal pulses in the same rows of every cycle.

    Parameters
    ----------
    touched
        Rows before and after the pulse's own that it is said to touch as well.
    extra, by_turns
        What is added so many rows from the middle: in each cycle, or added in one and taken off in the next.
    """
    before = 12
    cycle = np.zeros(PERIOD)
    cycle[before : before + len(pulse)] = pulse
    values = np.tile(cycle, count)
    middle = before + len(pulse) / 2
    for away, more in (extra or {}).items():
        values[int(middle + away - 0.5) :: PERIOD] += more
    signs = np.where(np.arange(count) % 2, 1.0, -1.0)
    for away, more in (by_turns or {}).items():
        values[int(middle + away - 0.5) :: PERIOD] += more * signs
    one = rows(values)
    starts = before + PERIOD * np.arange(count)
    first, last = starts - touched[0], starts + len(pulse) - 1 + touched[1]
    what = Detection(noise, np.zeros(len(one)), one.current_A, 4.0, first, last)
    charge = np.full(count, float(np.sum(pulse)))
    centre = middle + PERIOD * np.arange(count)
    train = Train(float(PERIOD), 0.0, middle, count, charge, centre, float(len(pulse)), False, 1.0)
    quiet = np.zeros(len(one), dtype=bool)
    return pattern._outline(one, what, Pattern("fixed", quiet, True, train, centre, charge))


FLAT = [100.0] * 6
"""Six rows of 100 A: ±0.5, ±1.5 and ±2.5 rows from the middle."""


@pytest.mark.parametrize(("value", "told"), [(82.0, "rectangular"), (78.0, "uneven")])
def test_an_edge_is_a_tenth_of_the_height_off_at_most(value: float, told: str) -> None:
    """The last row holds `value`: by its charge a rectangle about the middle is as much lower at both ends.

    It is 5 + value/100 rows wide: its first and last row hold 50 + value/2.
    """
    assert (abs(100 - (50 + value / 2)) <= 10) == (told == "rectangular")
    assert outline([*FLAT[:5], value]) == told
    assert outline([*FLAT[:5], value], count=1) == told


@pytest.mark.parametrize(
    ("away", "value", "told"),
    [
        (4.5, 1.9, "rectangular"),
        (4.5, 2.1, "uneven"),
        (-4.5, 2.1, "uneven"),
        (-4.5, -2.1, "uneven"),
        # Further than two rows and a half beyond the pulse is another thing's.
        (5.5, 50.0, "rectangular"),
        (-5.5, 50.0, "rectangular"),
    ],
)
def test_a_foot_is_a_fiftieth_of_the_height_off_at_most(away: float, value: float, told: str) -> None:
    assert outline(FLAT, extra={away: value}) == told


@pytest.mark.parametrize(("count", "value", "told"), [(12, 3.4, 1), (12, 3.5, 0), (3, 4.8, 1), (3, 5.0, 0)])
def test_noise_is_allowed_for_five_times_as_it_averages_over_the_cycles(
    count: int, value: float, told: int
) -> None:
    """2 A and 5·1 A/√n."""
    assert (value <= 2 + 5 / np.sqrt(count)) == bool(told)
    assert (outline(FLAT, count=count, noise=1.0, extra={4.5: value}) == "rectangular") == bool(told)


@pytest.mark.parametrize(("foot", "told"), [(1.9, "rectangular"), (2.1, "uneven")])
def test_one_pulse_shows_an_outline_too(foot: float, told: str) -> None:
    assert outline(FLAT, count=1, extra={4.5: foot}) == told


@pytest.mark.parametrize(("off", "told"), [(3.9, "rectangular"), (4.1, "uneven")])
def test_tops_scatter_by_twice_the_noise_and_a_fiftieth_of_the_height_at_most(off: float, told: str) -> None:
    """Every second pulse higher, every second lower: their mean is as it should be."""
    assert outline(FLAT, noise=1.0, by_turns={away: off for away in (-1.5, -0.5, 0.5, 1.5)}) == told
    # The two outer rows of a top that are filled for certain are of it: half the rows off by √2 as much.
    outer = {-1.5: off * np.sqrt(2), 1.5: off * np.sqrt(2)}
    assert outline([95.0, *FLAT[:4], 95.0], noise=1.0, by_turns=outer) == told
    # What edges do is not looked at there.
    assert outline(FLAT, noise=1.0, by_turns={-2.5: 9.0, 2.5: 9.0}) == "rectangular"


@pytest.mark.parametrize(
    ("touched", "told"), [((1, 1), "rectangular"), ((2, 1), "uneven"), ((1, 2), "decaying")]
)
def test_what_touches_more_than_two_rows_and_a_fifth_beyond_its_width_has_a_tail(
    touched: tuple[int, int], told: str
) -> None:
    """A rectangle of six rows touches seven on average; eight are no tail yet, nine are."""
    assert outline(FLAT, touched=touched) == told


@pytest.mark.parametrize(
    ("pulse", "count", "told"),
    [
        ([60.0, 100, 100, 60], 12, "rectangular"),  # two rows at one level
        ([70.0, 100, 70], 12, ""),  # one, and always at the same place of the pulse
        ([100.0] * 3, 3, "rectangular"),  # three rows of a top in all
        ([100.0] * 3, 2, ""),
        ([100.0, 100], 12, ""),
    ],
)
def test_an_outline_is_seen_from_two_rows_at_one_level_and_three_in_all(
    pulse: list[float], count: int, told: str
) -> None:
    assert outline(pulse, count=count) == told


@pytest.mark.parametrize(("beside", "told"), [(93.5, "rectangular"), (92.5, "")])
def test_rows_are_at_one_level_within_a_fiftieth_and_five_times_the_noise(beside: float, told: str) -> None:
    """Of 100 A and 1 A: from 98 − 5 A on."""
    assert outline([beside, 100.0, beside], noise=1.0) == told


@pytest.mark.parametrize(("wide", "told"), [(1.8, ""), (2.3, "rectangular"), (3.4, "rectangular")])
def test_pulses_from_two_rows_on_are_seen_where_their_rows_sweep_over_them(wide: float, told: str) -> None:
    """At a period of 20.3 rows, so that they lie elsewhere in each pulse."""
    centre = 10.0 + 20.3 * np.arange(60)
    one = rows(upright(centre, 1220, wide=wide))
    high = one.current_A > 4.0
    first = np.flatnonzero(high & ~np.roll(high, 1))
    last = np.flatnonzero(high & ~np.roll(high, -1))
    what = Detection(0.2, np.zeros(len(one)), one.current_A, 4.0, first, last)
    charge = np.full(60, 100 * wide)
    train = Train(20.3, 0.0, 10.0, 60, charge, centre, 4.0, False, 1.0)
    quiet = np.zeros(len(one), dtype=bool)
    assert pattern._outline(one, what, Pattern("fixed", quiet, True, train, centre, charge)) == told


@pytest.mark.parametrize(
    ("places", "swept"), [([0.05, 0.2, 1.05, 1.2], False), ([0.05, 0.2, 1.4, 1.6], True)]
)
def test_the_same_place_of_two_rows_is_one(places: list[float], swept: bool) -> None:
    assert pattern._swept(np.array(places), 1.0, 2.0) == swept


@pytest.mark.parametrize(("rise", "is_flat"), [(0.0, True), (3.0, False)])
def test_a_base_that_rises_before_each_pulse_is_not_level(rise: float, is_flat: bool) -> None:
    """Pauses of 4 to 40 rows by turns: in the two rows before a pulse, whenever it comes."""
    pauses = np.tile([4, 40, 13, 28, 7, 22], 6)
    begins = np.cumsum(pauses + 1) - 1
    values = np.random.default_rng(3).normal(0, 1.0, int(begins[-1]) + 8)
    for begin in begins:
        values[begin - 2 : begin] += rise
    values[begins] = 100.0
    one = rows(values)
    what = Detection(1.0, np.zeros(len(one)), one.current_A, 8.0, begins, begins)
    quiet = np.asarray(one.current_A < 50)
    since, times = pattern._since(one, what, one.time_s[quiet]), one.current_A[quiet]
    # By the time since the last pulse it does not show.
    assert pattern._level(times, since, 0.1)
    assert pattern._flat(one, what, quiet, 0.1) == is_flat
