"""Stops, top-ups and trickles on a handful of rows: which of several ends was the charger's own."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from test_charge_limits import a_block, a_profile, rows

from reviewkit.charge import ending
from reviewkit.charge.ending import Order
from reviewkit.charge.segmentation import HELD, LEVEL
from reviewkit.logs.log import Gap


class Some(SimpleNamespace):
    """Bins, counted by their times."""

    def __len__(self) -> int:
        return len(self.time_s)


# ------------------------------------------------------------------ edges


@pytest.mark.parametrize(
    ("values", "row", "early", "late"),
    [
        # The log ends with the first whole row; it begins with the last empty one.
        ([0.0] * 10 + [0.5, 1.0], 10, 9, 11),
        ([0.0, 0.5, 1.0, 1.0], 2, 0, 2),
        ([0.0, 1.0, 1.0, 1.0], 1, 0, 1),
    ],
)
def test_a_step_at_the_logs_ends_lies_between_its_rows(
    values: list[float], row: int, early: int, late: int
) -> None:
    found = ending.edge(rows(values), row, "step")
    assert (found.value, found.components[0].size) == ((early + late) / 2, (late - early) / 2)


@pytest.mark.parametrize(("soft", "early"), [(3, 0.0), (2, 0.0), (1, 1.0), (0, 2.0)])
def test_a_start_that_is_soft_from_the_logs_first_rows_began_with_them(soft: int, early: float) -> None:
    values = np.array([0.0] * (3 - soft) + [0.1] * soft + [1.0] * 8)
    found = ending.start(rows(values), a_profile(11), a_block(3, 10))
    assert found.value - found.components[0].size == early


def test_a_log_that_begins_with_full_current_began_at_its_first_row() -> None:
    found = ending.start(rows(np.ones(9)), a_profile(9), a_block(0, 8))
    assert (found.value, found.components) == (0.0, ())


@pytest.mark.parametrize(
    ("values", "pause_s"), [([1, 0, 0, 1], 2.0), ([1, 0, 0, 0], 0.0), ([1, 1, 0, 1], 1.0)]
)
def test_a_pause_is_as_long_as_the_rows_without_current(values: list[float], pause_s: float) -> None:
    assert ending.longest_pause(rows(values), a_profile(4), a_block(0, 3)) == pause_s


@pytest.mark.parametrize(("last", "partial"), [(0.8660, False), (0.8650, True)])
def test_a_last_row_counts_as_whole_within_what_a_line_of_six_foretells(last: float, partial: bool) -> None:
    """σ = 20 mA: four standard errors of the line carried on, σ·√(1/6 + 3.5²/17.5), and 3 σ: 134 mA."""
    values = np.append(np.ones(20), [last, 0.0])
    assert ending.whole_rows(rows(values, noise=0.02), a_block(0, 20)) == (19 if partial else 20)


def test_a_stop_among_pulses_is_read_within_thirty_rows() -> None:
    """One row of 0.2 A is on within them, many of 1 A before; the on-rows' median is the last one's alone."""
    values = np.where(np.arange(60) < 25, 1.0, 0.0)
    values[[55, 59]] = [0.2, 0.0]
    profile = a_profile(60, pulsing=np.ones(60, dtype=bool), on=values > 0.1)
    assert ending.stop_A(rows(values), profile, a_block(0, 59)) == pytest.approx(0.2)


# ------------------------------------------------------------------ which stop was the end


def ordered(
    *pieces: tuple[float, float, int], rest: int = 100, gap_after: int | None = None, **more: Any
) -> Order:
    """Return what is made of stretches: so many rows at a current, then twenty at the one they stop at.

    A hundred rows without current lie between two of them; in place of the `gap_after`-th ones is a gap.
    """
    values, blocks, gaps = [np.zeros(10)], [], ()
    for number, (amps, stop, count) in enumerate(pieces):
        first = sum(len(one) for one in values)
        blocks.append(a_block(first, first + count + 19))
        last = rest if number == len(pieces) - 1 else 100
        values += [np.full(count, amps), np.full(20, stop), np.zeros(last)]
        if number == gap_after:
            gaps = (Gap(blocks[-1].last_s, blocks[-1].last_s + 100.0),)
    current = np.concatenate(values)
    bins: Any = Some(
        time_s=np.arange(float(len(current))),
        voltage_V=np.full(len(current), 4.2),
        current_A=np.zeros(len(current)),
    )
    kinds = np.full(len(current), HELD)
    account: Any = SimpleNamespace(kinds=lambda count: kinds, ohm=None, set_V=None)
    profile: Any = a_profile(len(current), blocks=tuple(blocks))
    return ending.order(rows(current, gaps=gaps, **more), profile, bins, account)


def order_of(found: Order) -> tuple[int, int, bool]:
    return found.main, len(found.top_ups), found.doubtful


@pytest.mark.parametrize(("stop", "expected"), [(0.1155, (1, 1, False)), (0.1165, (2, 0, True))])
def test_stops_are_alike_within_an_eighth_and_what_two_readings_may_be_off(
    stop: float, expected: tuple[int, int, bool]
) -> None:
    """1.12 times 0.1 A, and three times the noise of 1 mA and a step of 1 mA."""
    assert order_of(ordered((1.0, stop, 300), (1.0, 0.1, 100))) == expected


@pytest.mark.parametrize(("rows_after", "expected"), [(299, (1, 1, False)), (301, (2, 0, False))])
def test_an_end_comes_after_half_of_the_charge(rows_after: int, expected: tuple[int, int, bool]) -> None:
    assert order_of(ordered((1.0, 0.1, 300), (1.0, 0.1, rows_after))) == expected


@pytest.mark.parametrize(("amps", "expected"), [(0.07, (1, 0, False)), (0.09, (1, 1, False))])
def test_what_flows_on_at_less_than_the_stop_is_neither_charge_nor_top_up(
    amps: float, expected: tuple[int, int, bool]
) -> None:
    """A trickle of seven tenths of the stop's 0.1 A."""
    assert order_of(ordered((1.0, 0.1, 300), (amps, amps, 100))) == expected


@pytest.mark.parametrize(("rest", "expected"), [(0, (2, 0, True)), (1, (1, 1, False)), (5, (1, 1, False))])
def test_a_top_up_that_the_log_ends_in_has_no_stop(rest: int, expected: tuple[int, int, bool]) -> None:
    """One row without current shows that it stopped."""
    assert order_of(ordered((1.0, 0.1, 300), (1.0, 0.1, 100), rest=rest)) == expected


@pytest.mark.parametrize(("gap_after", "main"), [(0, 1), (None, 2)])
def test_of_a_stop_in_a_gap_only_the_current_before_it_is_known(gap_after: int | None, main: int) -> None:
    """0.3 A before a gap may have fallen to the 0.1 A of the next stop; seen to stop at 0.3 A it had not."""
    assert ordered((1.0, 0.3, 300), (1.0, 0.1, 100), gap_after=gap_after).main == main


def test_a_stop_in_a_gap_below_the_next_ones_is_the_same() -> None:
    assert order_of(ordered((1.0, 0.1, 300), (1.0, 0.2, 100), gap_after=0)) == (1, 1, False)


def test_a_single_bin_tells_that_the_limit_was_reached() -> None:
    bins: Any = Some(time_s=np.array([50.0]), voltage_V=np.array([4.1]), current_A=np.array([1.0]))
    account: Any = SimpleNamespace(kinds=lambda count: np.array([LEVEL]), ohm=0.1, set_V=4.2)
    assert ending._at_limit(bins, account, a_block(0, 99))
    assert not ending._at_limit(bins, account, a_block(60, 99))


# ------------------------------------------------------------------ trickles, and who ended it


@pytest.mark.parametrize(("noise", "trickle"), [(0.033, True), (0.036, False)])
def test_a_trickle_has_certainly_not_fallen_by_six_percent_in_its_hour(noise: float, trickle: bool) -> None:
    """Of 0.5 A, 30 mA: 3600 s times two standard errors of the slope, 2·σ/√(61·(61² − 1)/12 · 60²)."""
    record = rows(np.full(61, 0.5), every_s=60.0, noise=noise)
    assert ending.is_trickle(record, a_profile(61), a_block(0, 60, 60.0)) is trickle


@pytest.mark.parametrize(("every_s", "trickle"), [(300.0, True), (340.0, False)])
def test_a_trickle_has_a_dozen_rows_in_its_hour(every_s: float, trickle: bool) -> None:
    record = rows(np.full(31, 0.5), every_s=every_s)
    assert ending.is_trickle(record, a_profile(31), a_block(0, 30, every_s)) is trickle


def ended(
    current: np.ndarray,
    last: int,
    *,
    every_s: float = 5.0,
    cable: float | None = None,
    held_from: int | None = None,
) -> str:
    """Return how a stretch from the first row to this one ended; C/10 is 0.2 A."""
    record = rows(current, every_s=every_s, cable_out_s=cable)
    kinds = np.where(
        np.arange(len(current)) >= (len(current) if held_from is None else held_from), HELD, LEVEL
    )
    account: Any = SimpleNamespace(kinds=lambda count: kinds)
    return ending.how(
        record,
        a_profile(len(current)),
        Some(time_s=record.time_s),  # type: ignore[arg-type]
        account,
        a_block(0, last, every_s),
        in_gap=False,
        most_A=0.2,
    )


FALLING = np.concatenate((np.full(100, 1.0), np.geomspace(1.0, 0.1, 400)))


@pytest.mark.parametrize(("rest", "how"), [(0, "log ended"), (1, "terminated")])
def test_one_row_without_current_is_an_end(rest: int, how: str) -> None:
    assert ended(np.append(FALLING, np.zeros(rest)), 499) == how


@pytest.mark.parametrize(("late_s", "how"), [(119.0, "cable pulled"), (121.0, "terminated")])
def test_a_cable_is_pulled_within_two_rows_of_a_minute(late_s: float, how: str) -> None:
    """After the row without current, 60 s behind the last with some."""
    current = np.append(FALLING, np.zeros(50))
    assert ended(current, 499, every_s=60.0, cable=500 * 60.0 + late_s) == how


@pytest.mark.parametrize(("early_s", "how"), [(119.0, "cable pulled"), (121.0, "log ended")])
def test_so_is_one_where_the_log_ends_with_it(early_s: float, how: str) -> None:
    assert ended(FALLING, 499, every_s=60.0, cable=499 * 60.0 - early_s) == how


@pytest.mark.parametrize(
    ("held_from", "rest", "cable", "how"),
    [
        # Held for nine tenths of its last hour, 54 minutes, when it ends at row 300.
        (245, 0, None, "never"),
        (247, 0, None, "log ended"),
        (245, 30, 300 * 60.0, "never"),
        (247, 30, 300 * 60.0, "cable pulled"),
    ],
)
def test_a_level_is_a_trickle_that_was_held_for_most_of_an_hour(
    held_from: int, rest: int, cable: float | None, how: str
) -> None:
    current = np.append(np.full(301, 0.15), np.zeros(rest))
    assert ended(current, 300, every_s=60.0, cable=cable, held_from=held_from) == how
