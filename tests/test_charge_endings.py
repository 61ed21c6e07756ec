"""How a charge begins and stops, on small logs made by hand: each rule on either side of its bound."""

from __future__ import annotations

import math

import numpy as np
import pytest
from test_charge_profile import of, record_of

from reviewkit.charge import ending, profile
from reviewkit.charge.profile import Block, Profile
from reviewkit.charge.record import ChargeRecord
from reviewkit.metrology import Measured


def block_of(current: np.ndarray, every_s: float = 1.0) -> tuple[ChargeRecord, Profile, Block]:
    record = record_of(current, every_s=every_s)
    found = profile.of(record)
    assert found is not None
    return record, found, found.blocks[-1]


def half_width(found: Measured) -> float:
    return math.sqrt(3) * found.standard


@pytest.mark.parametrize(
    ("first_A", "value_s", "half_s"),
    [(1.0, 29.5, 0.5), (0.95, 29.5, 0.5), (0.9, 30.0, 1.0), (0.3, 30.0, 1.0)],
)
def test_a_charge_starts_between_the_last_row_without_and_the_first_with_all_of_it(
    first_A: float, value_s: float, half_s: float
) -> None:
    """A row below 93 % of the next averages over the switching: it may be stamped at its begin or its end."""
    found = ending.start(*block_of(np.concatenate([np.zeros(30), [first_A], np.ones(99), np.zeros(30)])))
    assert found.value == value_s
    assert half_width(found) == pytest.approx(half_s)


@pytest.mark.parametrize(("before_A", "value_s"), [([0.002, 0.004], 31.0), ([0.0, 0.0], 32.0)])
def test_a_soft_start_is_under_way_before_it_counts_as_a_charge(
    before_A: list[float], value_s: float
) -> None:
    """Within twenty rows to 1 A: it began with the 2 mA that the display cannot flicker up to."""
    current = [np.zeros(30), before_A, np.linspace(0.01, 1.0, 20), np.ones(600), np.zeros(30)]
    assert ending.start(*block_of(np.concatenate(current))).value == value_s


@pytest.mark.parametrize(
    ("last_A", "value_s", "half_s"), [(1.0, 129.5, 0.5), (0.95, 129.5, 0.5), (0.9, 129.0, 1.0)]
)
def test_a_charge_stops_between_its_last_whole_row_and_the_first_without(
    last_A: float, value_s: float, half_s: float
) -> None:
    record, found, block = block_of(np.concatenate([np.zeros(30), np.ones(99), [last_A], np.zeros(60)]))
    stop, in_gap = ending.moment(record, found, block)
    assert not in_gap
    assert stop.value == value_s
    assert half_width(stop) == pytest.approx(half_s)


@pytest.mark.parametrize(
    ("stop", "ends", "verdict"),
    [
        (0.111, [0.1], "same"),
        (0.113, [0.2, 0.1], "doubtful"),
        (0.129, [0.1], "doubtful"),
        (0.131, [0.1, 0.3], "other"),
        (0.5, [], "doubtful"),
    ],
)
def test_a_charger_stops_at_the_same_current_each_time(stop: float, ends: list[float], verdict: str) -> None:
    assert ending._same(stop, ends, 0.0) == verdict


def test_what_a_meter_scatters_makes_two_stops_alike() -> None:
    """Lowest 0.1 A, 20 mA of noise: the same up to 0.132 A, another from 0.17 A on."""
    assert [ending._same(one, [0.1], 0.02) for one in (0.131, 0.133, 0.169, 0.171)] == [
        "same",
        "doubtful",
        "doubtful",
        "other",
    ]


@pytest.mark.parametrize(("amps", "charges"), [(0.45, True), (0.35, False)])
def test_a_top_up_takes_most_of_the_current_at_the_stop(amps: float, charges: bool) -> None:
    record, _, block = block_of(np.concatenate([np.zeros(30), np.full(100, amps), np.zeros(60)]))
    assert ending._tops_up(record, block, 0.5) is charges


def test_the_charge_of_a_stretch_is_its_integral() -> None:
    record, _, block = block_of(np.concatenate([np.zeros(30), np.full(101, 0.5), np.zeros(60)]), every_s=2.0)
    assert ending.charge_of(record, block) == pytest.approx(0.5 * 200.0)


@pytest.mark.parametrize(
    ("amps", "fall", "rows", "trickles"),
    [
        (0.05, 0.0, 400, True),
        (0.5, 0.05, 400, True),
        (0.5, 0.07, 400, False),
        (0.05, 0.0, 335, True),
        (0.05, 0.0, 315, False),
        (0.006, 0.0, 400, True),
        (0.003, 0.0, 400, False),
    ],
)
def test_a_trickle_stands_for_an_hour_above_what_the_meter_may_show(
    amps: float, fall: float, rows: int, trickles: bool
) -> None:
    """Rows of 10 s; 6 % an hour are no fall; nine tenths of an hour are enough; ±3 counts are none."""
    current = amps * (1 - fall * np.arange(rows) * 10 / 3600)
    record, found, block = block_of(np.concatenate([np.zeros(30), current, np.zeros(30)]), every_s=10.0)
    assert ending.is_trickle(record, found, block) is trickles


@pytest.mark.parametrize(("fall", "steady"), [(0.13, True), (0.18, False)])
def test_a_current_that_falls_by_a_seventh_in_half_an_hour_may_fall_for_hours(
    fall: float, steady: bool
) -> None:
    current = 0.5 * (1 - fall * np.arange(240) * 10 / 1800)
    record, found, block = block_of(np.concatenate([np.zeros(30), current, np.zeros(30)]), every_s=10.0)
    assert ending._steady(record, found, block) is steady


@pytest.mark.parametrize(("shaken_A", "steady"), [(0.008, True), (0.002, False), (0.013, False)])
def test_a_fall_that_noise_hides_is_steady_unless_noise_hides_all(shaken_A: float, steady: bool) -> None:
    """18 % in half an hour, from 190 s: ± 26 % at 8 mA, which is as good as steady; ± 42 % at 13 mA."""
    current = 0.5 * (1 - 0.18 * np.arange(20) * 10 / 1800) + shaken_A * (-1.0) ** np.arange(20)
    record, found, block = block_of(np.concatenate([np.zeros(30), current, np.zeros(30)]), every_s=10.0)
    assert ending._steady(record, found, block) is steady


def test_four_rows_show_no_fall() -> None:
    current = np.concatenate([np.zeros(30), np.full(4, 0.5), np.zeros(30)])
    assert not ending._steady(*block_of(current, every_s=10.0))


def test_the_longest_stop_within_pulses_counts_beyond_a_rows_interval() -> None:
    """Off for 7 rows of 1 s: from one row with current to the next are 8 s, one of them the rows' own."""
    pulses = np.tile(np.repeat([1.0, 0.0], [13, 7]), 12)
    record, found, block = block_of(np.concatenate([np.zeros(30), pulses, np.zeros(60)]))
    assert ending.longest_pause(record, found, block) == pytest.approx(7.0)
    whole = block_of(np.concatenate([np.zeros(30), np.ones(100), np.zeros(60)]))
    assert ending.longest_pause(*whole) == 0.0


def test_what_a_charge_stops_at_is_the_median_of_its_last_five_rows() -> None:
    """Above what the ammeter shows for none; pulses tell by their larger rows."""
    taper = np.linspace(1.0, 0.2, 161)
    record, found, block = block_of(np.concatenate([np.full(30, 0.002), taper, np.full(60, 0.002)]))
    assert ending.stop_A(record, found, block) == pytest.approx(0.2 + 2 * 0.005 - 0.002, abs=1e-3)
    assert ending._last_level(record, found, block) == ending.stop_A(record, found, block)


def test_a_current_that_fades_was_not_cut_off() -> None:
    """A taper of 20 s that sinks into the display, against one that is switched off at a fifth."""
    time = np.arange(200.0)
    faded = np.concatenate([np.zeros(30), np.ones(100), np.exp(-time / 20.0), np.zeros(60)])
    cut = np.concatenate([np.zeros(30), np.ones(100), np.exp(-time[:32] / 20.0), np.zeros(60)])
    for current, fades in ((faded, True), (cut, False)):
        record, _, block = block_of(current)
        assert profile.fades(record, (block.first, block.last)) is fades
    assert of(cut) is not None
