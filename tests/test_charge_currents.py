"""Plateau, droop, cut-off and what flows afterwards, each on rows made by hand, against numpy.polyfit."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from test_charge_limits import a_block, a_profile, rows

from reviewkit.charge import currents
from reviewkit.logs.log import Gap
from reviewkit.metrology import Component, Measured
from reviewkit.metrology.meter import meter

FINE = meter({"accuracy": "±1 %", "resolution": "0.001 mA"}, "A")
SHOWN = 0.001 / math.sqrt(12)
"""What a display of 1 mA scatters by (GUM F.2.2.1) [A]."""


def phases_of(count: int, **more: Any) -> Any:
    """Return a charge of so many rows, all of them at constant current."""
    profile = a_profile(count)
    profile.on_at = lambda time: np.ones(len(time), dtype=bool)
    given = {
        "mask": lambda time, *names: np.ones(len(time), dtype=bool),
        "profile": profile,
        "threshold_A": 0.02,
        "end_s": math.inf,
        "knee": None,
        "regimes": (),
        "unresolved": False,
        "pulsed": False,
        "other_knees": (),
        "terminated": True,
        "end_in_gap": False,
        "top_ups": (),
    }
    return SimpleNamespace(**(given | more))


def change_of(time: np.ndarray, values: np.ndarray) -> float:
    """Return how much a straight line changes over the rows, in per cent of where it begins."""
    slope, start = np.polyfit(time - time[0], values, 1)
    return float(100 * slope * (time[-1] - time[0]) / start)


def parts(found: Measured | None, words: str) -> list[Component]:
    assert found is not None
    return [one for one in found.components if words in one.name]


def part(found: Measured | None, words: str) -> Component:
    (one,) = parts(found, words)
    return one


def wobbly(count: int, size: float = 0.003) -> np.ndarray:
    """Readings that scatter without noise about them: the same from run to run."""
    return size * np.random.default_rng(8).standard_normal(count)


# ------------------------------------------------------------------ a phase's rows


@pytest.mark.parametrize(("count", "kept"), [(3, 3), (4, 4), (5, 3), (9, 7)])
def test_the_first_and_last_row_may_average_over_a_step(count: int, kept: int) -> None:
    """Where there are more than four; and three rows make a level."""
    time, _ = currents._inside(rows(np.ones(count)), phases_of(count), "constant current")
    assert len(time) == kept
    assert currents.level(rows(np.ones(count)), phases_of(count), "constant current", "x") is not None


def test_two_rows_make_no_level_and_rows_too_far_apart_for_pulses_none_either() -> None:
    assert currents.level(rows(np.ones(2)), phases_of(2), "constant current", "x") is None
    assert currents.level(rows(np.ones(9)), phases_of(9, unresolved=True), "constant current", "x") is None
    assert currents.droop(rows(np.ones(50)), phases_of(50, unresolved=True)) is None


@pytest.mark.parametrize(
    ("more", "first", "last"),
    [
        ({}, 1, 98),
        # More than half of the current that counts as one: the first ten rows have 9 mA.
        ({"threshold_A": 0.019}, 11, 98),
        ({"threshold_A": 0.017}, 1, 98),
        ({"end_s": 60.0}, 11, 58),
        # From where the knee may begin.
        ({"knee": SimpleNamespace(low=50.0, expanded=5.0)}, 11, 48),
    ],
)
def test_a_plateau_ends_where_its_knee_may_begin(more: dict[str, Any], first: int, last: int) -> None:
    current = np.where(np.arange(100) < 10, 0.009, 1.0)
    time, _ = currents._inside(
        rows(current), phases_of(100, **({"threshold_A": 0.019} | more)), "constant current"
    )
    if not more:
        first = 11
    assert (time[0], time[-1]) == (first, last)


def test_another_place_of_the_knee_moves_the_plateaus_median() -> None:
    """1.0 A for forty rows, then 0.9 A for sixty: up to the earliest knee the median is 1.0 A, else 0.9 A."""
    current = np.where(np.arange(102) < 40, 1.0, 0.9)
    found = currents.level(
        rows(current), phases_of(102, other_knees=((41.0, 50.0), (60.0, 70.0))), "constant current", "x"
    )
    assert found is not None
    assert found.value == pytest.approx(0.9, abs=1e-3)
    assert part(found, "another reading").size == pytest.approx(0.1, abs=1e-3)
    for knees in (((3.0, 50.0),), ((500.0, 600.0),)):
        # Two rows are no plateau; and a knee behind all rows changes none.
        plain = currents.level(rows(current), phases_of(102, other_knees=knees), "constant current", "x")
        assert not parts(plain, "another reading")
    three = currents.level(rows(current), phases_of(102, other_knees=((4.0, 50.0),)), "constant current", "x")
    assert part(three, "another reading").size == pytest.approx(0.1, abs=1e-3)


def test_a_levels_median_is_open_by_what_a_gap_hides() -> None:
    current = np.concatenate((np.ones(50), np.full(50, 0.9)))
    record = rows(current, gaps=(Gap(49.0, 149.0),))
    record.time_s = np.where(np.arange(100) < 50, np.arange(100.0), np.arange(100.0) + 99)
    found = currents.level(record, phases_of(100), "constant current", "x")
    one = part(found, "what gaps in the log hide")
    assert (one.size, one.distribution) == (pytest.approx(0.05, abs=2e-3), "rectangular")


# ------------------------------------------------------------------ droop


def test_a_droop_is_the_change_of_a_line_over_the_plateau() -> None:
    """Five per cent over 1000 s, of rows 1 s apart without their ends; its parts by hand.

    The display's σ = δ/√12 over a line's n(n² − 1)/12 leaves 100·length·σ/√(…) per cent; three counts of the
    ammeter move −5 % by 5 % an ampere of 1 A; a tenth of its 1 % and 3 mA is the drift.
    """
    current = 1 - 0.05 * np.arange(1001) / 1000
    found = currents.droop(rows(current, noise=1e-9), phases_of(1001))
    assert found is not None
    inner = np.arange(1.0, 1000.0)
    assert found.value == pytest.approx(change_of(inner, current[1:-1]), rel=1e-9)
    count, first = 999, current[1]
    noise = part(found, "scatter")
    assert noise.size == pytest.approx(
        100 * 998 / first * SHOWN / math.sqrt(count * (count**2 - 1) / 12), rel=1e-6
    )
    assert math.isinf(noise.dof)
    counts = part(found, "(counts)")
    assert (counts.size, counts.sensitivity) == (pytest.approx(0.003), pytest.approx(-found.value / first))
    drift = part(found, "drift")
    assert drift.size == pytest.approx(0.1 * 100 * (0.01 * first + 0.003) / first)
    assert len(found.components) == 3


@pytest.mark.parametrize(("fall_A", "stands"), [(0.0019, True), (0.0021, False)])
def test_a_display_that_moves_by_two_steps_or_more_does_not_stand(fall_A: float, stands: bool) -> None:
    """Else each end lies within half a step, of 1 A a twentieth of a per cent."""
    current = np.concatenate((np.ones(1), 1 - fall_A * np.arange(100) / 99, np.ones(1)))
    ends = parts(currents.droop(rows(current, noise=1e-9), phases_of(102)), "display step")
    assert len(ends) == (2 if stands else 0)
    for one, sign in zip(ends, (1, -1), strict=False):
        assert one.size * one.sensitivity == pytest.approx(sign * 0.05, rel=0.01)


@pytest.mark.parametrize(("noise", "shaped"), [(0.0034, False), (0.0032, True)])
def test_a_current_that_steps_is_shaped_where_its_line_misses_it_by_three_times_the_noise(
    noise: float, shaped: bool
) -> None:
    """A step of 40 mA half-way leaves 10 mA about its line: √(σ² − 3/4·σ²) of a step's σ = 20 mA.

    Then the readings' own noise counts, and what the plateau's ends would change: by two rows each.
    """
    current = np.concatenate((np.full(101, 1.0), np.full(101, 0.96)))
    found = currents.droop(rows(current, noise=noise), phases_of(202))
    inner, values = np.arange(1.0, 201.0), current[1:-1]
    value = change_of(inner, values)
    assert found is not None
    assert found.value == pytest.approx(value, rel=1e-9)
    ends = parts(found, "of the plateau")
    assert len(ends) == (2 if shaped else 0)
    if shaped:
        begun, ended = change_of(inner[2:], values[2:]), change_of(inner[:-2], values[:-2])
        assert [one.size for one in ends] == pytest.approx([abs(begun - value), abs(ended - value)], rel=1e-6)
        assert {one.distribution for one in ends} == {"rectangular"}
        scatter = part(found, "scatter")
        slope_sd = noise / math.sqrt(200 * (200**2 - 1) / 12)
        first = np.polyval(np.polyfit(inner, values, 1), 1.0)
        assert scatter.size == pytest.approx(100 * 199 * slope_sd / first, rel=1e-6)
        assert math.isinf(scatter.dof)


def test_a_shaped_plateau_ends_where_twice_the_knees_doubt_begins() -> None:
    current = np.concatenate((np.full(101, 1.0), np.full(101, 0.96)))
    knee = SimpleNamespace(low=9e9, expanded=10.0)
    found = currents.droop(rows(current), phases_of(202, knee=knee))
    inner, values = np.arange(1.0, 201.0), current[1:-1]
    early = change_of(inner[:-20], values[:-20])
    assert part(found, "end of the plateau").size == pytest.approx(
        abs(early - change_of(inner, values)), rel=1e-6
    )


def test_a_plateau_of_many_rows_a_second_is_shaped_alike() -> None:
    """Four rows a second: its ends are two rows, and nothing more, where no knee is doubted."""
    current = np.concatenate((np.full(101, 1.0), np.full(101, 0.96)))
    found = currents.droop(rows(current, every_s=0.25), phases_of(202))
    inner, values = 0.25 * np.arange(1.0, 201.0), current[1:-1]
    early = change_of(inner[:-2], values[:-2])
    assert part(found, "end of the plateau").size == pytest.approx(
        abs(early - change_of(inner, values)), rel=1e-6
    )
    assert currents.droop(rows(current[90:110], every_s=1 / 32), phases_of(20)) is not None


@pytest.mark.parametrize(("count", "by_rows"), [(9, True), (8, False)])
def test_of_fewer_than_five_rows_half_of_the_droop_is_open(count: int, by_rows: bool) -> None:
    """Without its first two of seven rows five are left, of six only four."""
    current = np.where(np.arange(count) < count // 2, 1.0, 0.9)
    found = currents.droop(rows(current), phases_of(count))
    assert found is not None
    inner, values = np.arange(1.0, count - 1), current[1:-1]
    moved = abs(change_of(inner[2:], values[2:]) - found.value) if by_rows else abs(found.value) / 2
    assert part(found, "begin of the plateau").size == pytest.approx(moved, rel=1e-6)


@pytest.mark.parametrize(("count", "some"), [(6, False), (7, True)])
def test_a_droop_needs_five_rows(count: int, some: bool) -> None:
    assert (currents.droop(rows(np.linspace(1.0, 0.9, count)), phases_of(count)) is not None) is some


def test_a_droop_begins_a_quarter_and_two_rows_behind_a_soft_start() -> None:
    """From 60 s to 100 s: 10 s and two rows of 1 s later, at 112 s, the level stands."""
    current = 1 - 0.001 * np.maximum(130 - np.arange(400.0), 0) - 0.0001 * np.arange(400)
    soft = SimpleNamespace(shape="soft start", end_s=100.0, length_s=40.0)
    level = SimpleNamespace(shape="level", end_s=300.0, length_s=200.0)
    found = currents.droop(rows(current), phases_of(400, regimes=(soft, level)))
    assert found is not None
    inner = np.arange(113.0, 399.0)
    assert found.value == pytest.approx(change_of(inner, current[113:-1]), rel=1e-9)


def filled(gap: Gap, time: np.ndarray, current: np.ndarray, every_s: float) -> float:
    """Return half of what it changes whether a gap's rows stand at its first level or at its last."""
    missing = np.arange(gap.start_s + every_s, gap.end_s - every_s / 2, every_s)
    changes = []
    for level in np.interp([gap.start_s, gap.end_s], time, current):
        joined = np.concatenate((time, missing))
        order = np.argsort(joined)
        values = np.concatenate((current, np.full(len(missing), level)))[order]
        changes.append(change_of(joined[order], values))
    return abs(changes[0] - changes[1]) / 2


@pytest.mark.parametrize("gaps", [((200.0, 300.0),), ((100.0, 150.0), (600.0, 750.0)), ((3.0, 60.0),)])
def test_gaps_hide_whether_their_rows_were_at_one_end_or_at_the_other(gaps: Any) -> None:
    """Against polyfit over all rows, those missing put in; rows are 1 s apart and more than two hundred."""
    time = np.arange(0.0, 1001.0)
    kept = np.ones(1001, dtype=bool)
    for start, end in gaps:
        kept &= (time <= start) | (time >= end)
    current = (1 - 0.1 * time / 1000)[kept]
    record = rows(current, gaps=tuple(Gap(*one) for one in gaps))
    record.time_s = time[kept]
    found = currents.droop(record, phases_of(len(current)))
    inner, values = record.time_s[1:-1], current[1:-1]
    expected = sum(filled(Gap(*one), inner, values, 1.0) for one in gaps)
    assert part(found, "gaps").size == pytest.approx(expected, rel=0.06)
    record.gaps = (Gap(-50.0, 0.0), Gap(1000.0, 1100.0))
    assert not parts(currents.droop(record, phases_of(len(current))), "gaps")


def test_a_pulsed_plateau_weighs_its_rows_alike_and_another_by_their_time() -> None:
    """Rows of 1 s, then of 4 s: a line through them all is another than one through their time."""
    time = np.concatenate((np.arange(0.0, 100.0), np.arange(100.0, 500.0, 4.0)))
    current = np.where(time < 150, 1.0, 0.97)
    record = rows(current)
    record.time_s = time
    inner, values = time[1:-1], current[1:-1]
    stands = ((np.append(np.diff(time), 4.0) + np.append(1.0, np.diff(time))) / 2)[1:-1]
    for pulsed, weight in ((True, np.ones(198)), (False, stands)):
        slope, start = np.polyfit(inner - inner[0], values, 1, w=np.sqrt(weight))
        found = currents.droop(record, phases_of(200, pulsed=pulsed))
        assert found is not None
        assert found.value == pytest.approx(100 * slope * (inner[-1] - inner[0]) / start, rel=1e-6)


def test_a_line_that_begins_below_nothing_has_no_droop() -> None:
    record = rows(np.concatenate(([0.0], 0.03 * np.arange(1.0, 30.0) ** 4 / 20_000 + 0.011, [0.0])))
    assert currents.droop(record, phases_of(31)) is None


# ------------------------------------------------------------------ the cut-off


def cut_off(current: np.ndarray, *, every_s: float, open_s: float = 0.0, **more: Any) -> Measured | None:
    last = len(current) - 1
    end = Measured(last * every_s + every_s / 2, "s", (Component("x", open_s, "s"),) if open_s else ())
    record = rows(np.append(current, 0.0), every_s=every_s, **more)
    phases = phases_of(last + 2, main=(a_block(0, last, every_s),), end=end)
    return currents.termination(record, phases)


@pytest.mark.parametrize(("every_s", "count"), [(1.0, 31), (4.0, 8), (10.0, 5), (30.0, 5)])
def test_a_current_at_the_cut_off_is_a_line_through_half_a_minute_or_five_rows(
    every_s: float, count: int
) -> None:
    """Carried on by half a row; against polyfit over just those rows, with its covariance."""
    current = 0.1 + 1e-4 * every_s * np.arange(99.0, -1, -1) + wobbly(100)
    found = cut_off(current, every_s=every_s)
    time = every_s * np.arange(100)[-count:]
    fit, covariance = np.polyfit(time, current[-count:], 1, cov=True)
    assert found is not None
    moment = every_s * 99.5
    assert found.value == pytest.approx(np.polyval(fit, moment), rel=1e-9)
    there = np.array([moment, 1.0])
    scatter = part(found, "half minute")
    assert scatter.dof == count - 2 or count > 20
    if count <= 20:
        assert scatter.size == pytest.approx(math.sqrt(there @ covariance @ there), rel=1e-6)


def test_a_cut_off_is_open_by_how_far_the_current_falls_while_it_may_come() -> None:
    """0.1 mA/s for 6 s; the display's scatter where the readings show none."""
    falling = 0.1 + 1e-4 * np.arange(99.0, -1, -1)
    found = cut_off(falling, every_s=1.0, open_s=3.0)
    moment = part(found, "moment")
    assert (moment.size, moment.sensitivity) == (pytest.approx(6.0, rel=1e-4), pytest.approx(1e-4))
    scatter = part(found, "half minute")
    # 31 rows, half a row behind the last: 1/31 + 15.5²/(31·(31² − 1)/12).
    assert scatter.size == pytest.approx(SHOWN * math.sqrt(1 / 31 + 15.5**2 / (31 * 960 / 12)), rel=1e-6)
    assert len(parts(cut_off(falling, every_s=1.0), "moment")) == 0


@pytest.mark.parametrize(("count", "some"), [(5, True), (4, False)])
def test_fewer_than_five_rows_tell_no_current_at_the_cut_off(count: int, some: bool) -> None:
    assert (cut_off(np.linspace(0.3, 0.2, count), every_s=60.0) is not None) is some


def test_a_cut_off_in_a_gap_is_bounded_by_two_minutes_of_rows() -> None:
    """A taper, by polyfit over its last 120 s: at its last row the upper bound, at the next row the lower."""
    time = np.arange(600.0)
    current = np.exp(-time / 300)
    record = rows(current)
    for after_s in (640.0, 9000.0):
        block = SimpleNamespace(first=0, last=599, last_s=599.0, after_s=after_s)
        phases = phases_of(600, end_in_gap=True, main=(block,))
        bounds = currents.termination_bounds(record, phases)
        assert bounds is not None
        fit = np.polyfit(time[-121:], current[-121:], 1)
        doubt = 0.01 * np.polyval(fit, 539.0) + 0.003 + 2 * 0.001
        assert bounds[1] == pytest.approx(np.polyval(fit, 599.0) + doubt, rel=1e-9)
        # No current is less than none.
        assert bounds[0] == pytest.approx(max(0.0, np.polyval(fit, after_s) - doubt), rel=1e-9)
    for last, some in ((1, False), (2, True)):
        block = SimpleNamespace(first=0, last=last, last_s=float(last), after_s=100.0)
        bounds = currents.termination_bounds(record, phases_of(600, end_in_gap=True, main=(block,)))
        assert (bounds is not None) is some


# ------------------------------------------------------------------ afterwards


@pytest.mark.parametrize(("every_s", "margin_s"), [(1.0, 60.0), (60.0, 120.0)])
def test_two_rows_or_a_minute_about_a_pulled_cable_belong_to_neither_side(
    every_s: float, margin_s: float
) -> None:
    record = rows(np.zeros(400), every_s=every_s, cable_out_s=100 * every_s)
    phases = phases_of(400, main=(SimpleNamespace(after_s=0.0),))
    found = currents.states_after(record, phases)
    until = max(one.end_s for one in found if one.cable_in)
    again = min(one.start_s for one in found if one.cable_in is False)
    assert until == 100 * every_s - margin_s
    # Half a minute is left out again, as after the charge.
    assert again == pytest.approx(100 * every_s + margin_s + 30, abs=every_s)


def test_a_current_afterwards_is_the_first_level_of_a_quarter_of_an_hour() -> None:
    """Where nobody says when the cable was pulled, it may have been any time after that."""
    current = np.where(np.arange(3000) < 1000, 0.004, 0.001)
    phases = phases_of(3000, main=(SimpleNamespace(after_s=0.0),))
    found = currents.after(rows(current), phases)
    assert found is not None
    assert found.value == pytest.approx(0.004, abs=1e-5)
    # A slope in place of a step: its first quarter of an hour alone, from 30 s on to 930 s.
    sloping = 0.004 - 1e-6 * np.arange(3000)
    late = currents.after(rows(sloping, noise=1.0, ammeter=FINE), phases)
    assert late is not None
    assert late.value == pytest.approx(0.004 - 1e-6 * 480, abs=2e-5)
    known = currents.after(rows(sloping, noise=1.0, ammeter=FINE, cable_out_s=2500.0), phases)
    assert known is not None
    assert known.value == pytest.approx(0.004 - 1e-6 * 1235, abs=2e-5)
    assert currents.after(rows(current, cable_out_s=10.0), phases) is None
    assert currents.after(rows(current), phases_of(3000, terminated=False)) is None


@pytest.mark.parametrize(("count", "levels"), [(2, 0), (3, 1)])
def test_a_level_afterwards_has_three_rows(count: int, levels: int) -> None:
    assert len(currents._levels(rows(np.zeros(count)), 0.0, float(count))) == levels
