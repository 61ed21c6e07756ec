"""Which rows may be wrong, and whether a gain is the simpler explanation: counted without the kit's help."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from reviewkit.readout import posterior
from reviewkit.readout.model import Model, Reading

F = Fraction
Ways = list[tuple[int, ...]]


def device(bound: str = "0") -> Model:
    return Model(F("0.1"), F(3), F("4.2"), F(bound))


def read(*pairs: tuple[float, float]) -> list[Reading]:
    return [Reading(row, F(f"{x:.3f}"), F(f"{shown:.1f}")) for row, (x, shown) in enumerate(pairs, start=2)]


def rounding(gain: float, count: int) -> list[tuple[float, float]]:
    """Return readings, evenly over the range, of a device of that gain that rounds to tenths of a volt."""
    cells = np.round(3.0 + 1.2 * (np.arange(count) + 0.37) / count, 3)
    return [(cell, round((3.6 + gain * (cell - 3.6)) * 10) / 10) for cell in cells]


def wrong_without_a_gain(pairs: list[tuple[float, float]]) -> int:
    """Return how many rows no one level explains: a level lies above x − shown by a step at most."""
    levels = np.arange(-1000, 2000) / 10_000 + 0.00005
    lows = np.array([x - shown for x, shown in pairs])
    held = (levels[:, None] > lows) & (levels[:, None] < lows + 0.1)
    return len(pairs) - int(held.sum(axis=1).max())


@pytest.mark.parametrize(
    ("gain", "count", "without", "allowed", "declared", "beyond", "within"),
    [
        (0.98, 12, 0, [()], [()], False, True),
        # One row and no gain are carried beside a gain and no row; where none was allowed, alone.
        (0.975, 12, 1, [(), (2,)], [(2,)], False, True),
        # Two rows: only the gain; but where none was allowed both.
        (0.97, 12, 2, [()], [(), (2, 3)], True, True),
        (1.03, 12, 2, [()], [(), (12, 13)], True, True),
        # Three rows: only the gain, though none was allowed.
        (0.965, 30, 3, [()], [()], True, False),
        (1.03, 30, 3, [()], [()], True, False),
    ],
)
def test_a_gain_is_the_simpler_one_for_more_than_one_row_and_where_it_was_ruled_out_for_more_than_two(
    gain: float, count: int, without: int, allowed: Ways, declared: Ways, beyond: bool, within: bool
) -> None:
    pairs = rounding(gain, count)
    assert wrong_without_a_gain(pairs) == without
    found = posterior.explain(read(*pairs), device("0.04"))
    assert [one.rows for one in found.carried] == allowed
    assert found.within_bound
    none = posterior.explain(read(*pairs), device())
    assert [one.rows for one in none.carried] == declared
    assert (none.beyond_bound, none.within_bound) == (beyond, within)


def test_levels_that_touch_in_a_point_have_none_in_common() -> None:
    """3.62 V shown as 3.6: the level is above 0.02 V and up to 0.12 V; 3.72 V shown so: above 0.12 V."""
    assert posterior.fewest(read((3.62, 3.6), (3.72, 3.6)), device(), most=1) == ((2,), (3,))
    assert posterior.fewest(read((3.62, 3.6), (3.719, 3.6)), device(), most=1) == ((),)
    assert posterior.fewest(read((3.62, 3.6), (3.72, 3.6)), device(), most=0) == ()
