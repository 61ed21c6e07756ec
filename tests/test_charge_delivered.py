"""The charge delivered, row by row and by hand: where it is counted from, what gaps, edges and counts do."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from reviewkit import charge
from reviewkit.charge import delivered
from reviewkit.charge.delivered import Delivered
from reviewkit.charge.profile import Block
from reviewkit.logs.log import Gap
from reviewkit.metrology import Component, Measured, meter

VOLTMETER = meter.meter({"accuracy": "±(0.05 % + 2)", "resolution": "1 mV"}, "V")
AMMETER = meter.meter({"accuracy": "±(0.5 % + 3)", "resolution": "1 mA"}, "A")
COUNTLESS = meter.meter({"accuracy": "±0.5 %", "resolution": "1 mA"}, "A")
SQRT3 = math.sqrt(3)


def a_record(current: Any, volts: Any = 4.0, *, every_s: float = 10.0, **more: Any) -> Any:
    time = every_s * np.arange(len(current))
    shown = np.broadcast_to(np.asarray(volts, dtype=float), len(time))
    meters = {"voltmeter": VOLTMETER, "ammeter": AMMETER} | more
    return charge.on_one_clock(
        pd.Series(shown, time), pd.Series(np.asarray(current, dtype=float), time), **meters
    )


def phases_of(first: int, last: int, *, every_s: float = 10.0, **more: Any) -> Any:
    """Return a charge from one row to another; half-way to the rows without current it begins and ends."""
    start, end = every_s * (first - 0.5), every_s * (last + 0.5)
    block = Block(first, last, every_s * first, every_s * last, every_s * (first - 1), every_s * (last + 1))
    given = {
        "main": (block,),
        "start": Measured(start, "s"),
        "end": Measured(end, "s"),
        "end_s": end,
        "first_sample_s": block.first_s,
        "knee": None,
        "knee_at_start": False,
        "plateau_A": 1.0,
        "threshold_A": 0.02,
        "profile": SimpleNamespace(edges=0, resolved=True, pulsing=np.zeros(10_000, dtype=bool)),
        "named": lambda name: (),
    }
    return SimpleNamespace(**(given | more))


def counted(current: Any, first: int, last: int, volts: Any = 4.0, **more: Any) -> Delivered:
    record = more.pop("record", None) or a_record(current, volts)
    return delivered.integrate(record, phases_of(first, last, **more))


# ------------------------------------------------------------------ the integral


def test_a_charge_is_counted_from_the_row_before_it_to_the_row_after_it() -> None:
    """Trapezoids of 10 s: half of the first and last, three whole ones; energy with each row's V."""
    volts = 3.5 + 0.1 * np.arange(8)
    found = counted([0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 0.5, 0.5], 2, 5, volts)
    assert found.time_s.tolist() == [10, 20, 30, 40, 50, 60]
    # What flows after the cut-off belongs to what comes afterwards.
    assert found.current_A.tolist() == [0, 1, 1, 1, 1, 0]
    assert found.total_Ah == pytest.approx(40 / 3600)
    # Watts at the rows: 0, 3.7, 3.8, 3.9, 4.0, 0.
    # So does a lone last row.
    assert counted([0.0, 0.0, 1.0, 1.0, 0.5], 2, 3).current_A.tolist() == [0, 1, 1, 0]
    assert found.energy_Wh[-1] == pytest.approx(10 * (3.7 / 2 + 3.75 + 3.85 + 3.95 + 4.0 / 2) / 3600)
    assert found.charge_Ah[0] == found.energy_Wh[0] == 0.0


def test_a_log_that_begins_or_ends_within_the_charge_is_counted_whole() -> None:
    found = counted([1.0, 1.0, 2.0, 2.0, 2.0], 0, 4)
    assert found.time_s.tolist() == [0, 10, 20, 30, 40]
    assert found.total_Ah == pytest.approx((10 + 15 + 20 + 20) / 3600)


def test_what_flows_until_the_end_that_was_found_is_counted() -> None:
    """A charge that faded goes on until the cable is pulled, long after its last clear row."""
    found = counted([0.0, 1.0, 1.0, 0.2, 0.2, 0.2, 0.2, 0.1], 1, 2, end_s=50.0)
    assert found.time_s.tolist() == [0, 10, 20, 30, 40, 50, 60]
    assert found.total_Ah == pytest.approx((5 + 10 + 6 + 2 + 2 + 1) / 3600)


def test_a_voltage_log_that_is_a_little_shorter_is_carried_on() -> None:
    volts = np.array([np.nan, 4.0, 4.2, np.nan, np.nan])
    assert delivered._filled(volts).tolist() == [4.0, 4.0, 4.2, 4.2, 4.2]
    assert np.isnan(delivered._filled(np.full(3, np.nan))).all()
    assert delivered._filled(np.array([np.nan, 4.0, np.nan])).tolist() == [4.0, 4.0, 4.0]


def test_the_voltage_covers_the_rows_of_the_charge() -> None:
    """Three of four rows; what is missing before and after counts for nothing."""
    record = SimpleNamespace(
        time_s=10.0 * np.arange(8), voltage=np.array([np.nan] * 3 + [4.0] * 3 + [np.nan] * 2)
    )
    assert delivered.covered(record, phases_of(2, 5)) == 0.75
    assert delivered.covered(record, SimpleNamespace(first_sample_s=500.0, end_s=600.0)) == 0.0


def test_a_stop_is_the_median_of_five_rows_or_of_few_the_last_whole_one() -> None:
    rows = [0.0, 9.0, 5.0, 4.0, 3.0, 2.0, 1.0, 0.5, 0.0]
    found = counted(rows, 1, 7)
    assert found.stop_A == 3.0
    assert counted(rows[1:], 1, 6).stop_A == 0.5


def test_a_moment_and_an_amount_are_read_off_the_same_curve() -> None:
    found = counted([0.0, 1.0, 1.0, 1.0, 1.0, 0.0], 1, 4)
    assert found.at(25.0) == pytest.approx(20 / 3600)
    assert found.when(20 / 3600) == pytest.approx(25.0)
    spans = (SimpleNamespace(start_s=10.0, end_s=20.0), SimpleNamespace(start_s=30.0, end_s=40.0))
    named = counted([0.0, 1.0, 1.0, 1.0, 1.0, 0.0], 1, 4, named=lambda name: spans)
    assert named.of_phase("constant current") == pytest.approx(20 / 3600)


# ------------------------------------------------------------------ gaps


def test_gaps_of_the_charge_are_those_that_overlap_it() -> None:
    gaps = tuple(Gap(first, first + 40.0) for first in (0.0, 70.0, 200.0, 460.0, 500.0))
    some: Any = SimpleNamespace(gaps=gaps)
    empty = np.zeros(0)
    found = Delivered(some, phases_of(10, 47), empty, empty, empty, empty, empty)
    # From the first row, at 100 s, to half-way behind the last, at 475 s.
    assert [gap.start_s for gap in found.gaps] == [70.0, 200.0, 460.0]


def with_gaps(count: int, *, pulsing: bool = False) -> Delivered:
    """Return 1 A for 1000 s, 2 s a row; both logs lack 100 s, once or more often."""
    time = 2.0 * np.arange(500)
    current = np.ones(500)
    # The first ten rows of 500 s at 3 A: pulses beside a gap, should it be one among pulses.
    current[190:200] = 3.0
    kept = np.ones(500, dtype=bool)
    for first in (400.0, 600.0, 800.0)[:count]:
        kept &= (time <= first) | (time >= first + 100)
    record = charge.on_one_clock(
        pd.Series(np.full(kept.sum(), 4.0), time[kept]),
        pd.Series(current[kept], time[kept]),
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
    )
    switched = np.zeros(500, dtype=bool)
    switched[200] = pulsing
    profile = SimpleNamespace(edges=0, resolved=True, pulsing=switched)
    return delivered.integrate(record, phases_of(1, int(kept.sum()) - 1, end_s=990.0, profile=profile))


def test_several_gaps_hide_the_root_of_the_sum_of_their_squares() -> None:
    """Nothing is known of 100 s at 1 A: anywhere from 0 to 1/36 A·h, of standard deviation that over √3."""
    one = 100 / 3600
    assert with_gaps(1).hidden_Ah == pytest.approx(one / SQRT3)
    assert with_gaps(3).hidden_Ah == pytest.approx(one)
    # Of pulses the largest row within a minute and a half, which is 3 A.
    assert with_gaps(1, pulsing=True).hidden_Ah == pytest.approx(3 * one / SQRT3)


def test_a_gaps_part_of_a_budget_says_how_many_and_how_long() -> None:
    (single,) = delivered._gap_part(with_gaps(1))
    assert (single.name, single.distribution) == ("1 gap in the current log, 100 s together", "rectangular")
    assert single.standard == pytest.approx(with_gaps(1).hidden_Ah)
    (several,) = delivered._gap_part(with_gaps(3))
    assert (several.name, several.distribution) == ("3 gaps in the current log, 300 s together", "normal")
    assert several.standard == pytest.approx(with_gaps(3).hidden_Ah)
    assert delivered._gap_part(with_gaps(0)) == ()


def hidden(voltage_times: Any, volts: Any = None, **more: Any) -> float:
    """Return what 100 s between 1.0 A and 0.6 A may hide [A·s]."""
    time = np.arange(0.0, 600.0)
    kept = (time <= 200) | (time >= 300)
    shown = np.asarray(voltage_times, dtype=float)
    record = charge.on_one_clock(
        pd.Series(np.full(len(shown), 4.0) if volts is None else volts, shown),
        pd.Series(np.where(time < 250, 1.0, 0.6)[kept], time[kept]),
        **({"voltmeter": VOLTMETER, "ammeter": AMMETER} | more),
    )
    (gap,) = record.gaps
    return 3600 * delivered.hidden(record, gap)


BETWEEN, ANYTHING = 20.0, 100.0
"""Half of 0.4 A, and all of 1 A, for 100 s [A·s]."""


@pytest.mark.parametrize(
    ("times", "expected"),
    [
        # Within an interval of the gap: 50, 200 and 350 s.
        (150.0 * np.arange(5) + 50, BETWEEN),
        (300.0 * np.arange(5) + 150, ANYTHING),
        # 2.5 usual intervals are none missing.
        (np.sort(np.append(np.delete(np.arange(0.0, 600.0), [251, 252]), 252.4)), BETWEEN),
        (np.sort(np.append(np.delete(np.arange(0.0, 600.0), [251, 252]), 252.6)), ANYTHING),
        (np.arange(0.0, 290.0), ANYTHING),
    ],
)
def test_a_voltage_log_runs_through_a_gap_with_three_rows_and_no_gap_of_its_own(
    times: Any, expected: float
) -> None:
    assert hidden(times) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("step", "jump_V", "expected"),
    [("1 mV", 0.0039, 20.0), ("1 mV", 0.0041, 100.0), ("2 mV", 0.0059, 20.0), ("2 mV", 0.0061, 100.0)],
)
def test_a_jump_of_4_mV_or_three_steps_of_the_display_shows_an_interruption(
    step: str, jump_V: float, expected: float
) -> None:
    voltmeter = meter.meter({"accuracy": "±0.05 %", "resolution": step}, "V")
    volts = np.where(np.arange(600) == 250, 4.0 - jump_V, 4.0)
    assert hidden(np.arange(0.0, 600.0), volts, voltmeter=voltmeter) == pytest.approx(expected)


# ------------------------------------------------------------------ budgets


def part(found: Measured | None, words: str) -> Component:
    assert found is not None
    (one,) = (one for one in found.components if words in one.name)
    return one


@pytest.mark.parametrize(("resolved", "many"), [(True, 3.0), (False, 9.0)])
def test_switchings_between_rows_scatter_unless_they_keep_step_with_the_rows(
    resolved: bool, many: float
) -> None:
    """Nine of 2 A within half of 10 s: 10 A·s each; their root where they scatter, else all of them."""
    profile = SimpleNamespace(edges=9, resolved=resolved, pulsing=np.zeros(9, dtype=bool))
    found = delivered.charge(counted([0.0, *[2.0] * 20, 0.0], 1, 20, profile=profile, plateau_A=2.0))
    one = part(found, "9 switchings of the current")
    assert (one.size, one.distribution) == (pytest.approx(many * 10 / 3600), "rectangular")


def test_a_current_that_is_never_switched_has_no_part_for_it() -> None:
    names = [one.name for one in delivered.charge(counted([0.0, *[2.0] * 20, 0.0], 1, 20)).components]
    assert names == [
        f"{AMMETER.label}: accuracy",
        "charge start between two rows",
        "end of charge between two rows",
    ]


def test_a_charge_is_open_by_half_an_interval_at_either_end() -> None:
    """5 s at 2 A where it begins, 5 s at 1 A where it stops."""
    begun, stopped = delivered._edges(kneed())
    assert (begun.size, stopped.size) == (pytest.approx(10 / 3600), pytest.approx(5 / 3600))


def test_edges_that_are_known_have_no_part() -> None:
    block = Block(1, 20, 10.0, 200.0, 10.0, 200.0)
    found = counted([0.0, *[2.0] * 20, 0.0], 1, 20, main=(block,))
    assert delivered._edges(found) == ()


def kneed(*, reach_s: float = 0.0, amps: Any = None, meter_A: Any = AMMETER, **more: Any) -> Delivered:
    """Return 2 A for 1000 s, 1 A for 1000 s, rows of 10 s; the knee at the step, as well as it is known."""
    current = np.array([0.0] + [2.0] * 100 + [1.0] * 100 + [0.0]) if amps is None else amps
    parts = (Component("knee", reach_s, "s", "rectangular"),) if reach_s else ()
    given = {"knee": Measured(1005.0, "s", parts)} | more
    return counted(None, 1, 200, record=a_record(current, ammeter=meter_A), **given)


TOTAL_AH = 3000 / 3600


def test_a_share_before_the_knee_is_open_by_the_current_times_what_the_knee_is_open_by() -> None:
    """2 A for 1000 s of 3000 A·s; 2 A, the larger of the two sides, for as long as the knee is known to."""
    found = delivered.before_knee(kneed(reach_s=200.0))
    assert found is not None
    assert found.value == pytest.approx(100 * 2000 / 3000, rel=2e-3)
    knee = part(found, "knee")
    # Within its reach before it 2 A flow throughout, but for half of the step's 10 s.
    assert knee.contribution == pytest.approx(100 * 2 * 200 / 3000 / SQRT3, rel=0.01)
    late = delivered.before_knee(
        kneed(reach_s=200.0, knee=Measured(1040.0, "s", (Component("knee", 200.0, "s", "rectangular"),)))
    )
    reach_s = Measured(0.0, "s", (Component("knee", 200.0, "s", "rectangular"),)).expanded
    mean_A = (2 * (reach_s - 35) + 35) / reach_s
    assert part(late, "knee").contribution == pytest.approx(100 * mean_A * 200 / 3000 / SQRT3, rel=0.01)
    early = delivered.before_knee(
        kneed(knee=Measured(960.0, "s", (Component("knee", 200.0, "s", "rectangular"),)))
    )
    assert part(early, "knee").contribution == pytest.approx(100 * 2 * 200 / 3000 / SQRT3, rel=0.01)


def test_a_zero_error_moves_the_share_by_what_it_adds_before_and_after() -> None:
    """With i more on every row (2000 + 1000·i)/(3000 + 2000·i): the derivative at i = 0."""
    counts = part(delivered.before_knee(kneed()), "(counts)")
    assert (counts.size, counts.unit, counts.shared) == (0.003, "A", AMMETER.label)
    assert counts.sensitivity == pytest.approx(100 * (1000 * 3000 - 2000 * 2000) / 3000**2, rel=0.01)
    bare = delivered.before_knee(kneed(meter_A=COUNTLESS))
    assert bare is not None
    assert bare.components == ()


def test_what_a_gap_hides_moves_a_share_and_a_time() -> None:
    """More behind the knee makes the share less, by its square; the time to 80 % more, by 0.8/I."""
    whole = with_gaps(1)
    one = part(delivered.charge(whole), "gap")
    total = whole.total_Ah
    whole.phases.knee = Measured(300.0, "s")
    share = part(delivered.before_knee(whole), "gap")
    so_far = whole.at(300.0)
    assert share.standard * share.sensitivity == pytest.approx(one.standard * 100 * so_far / total**2)
    late = part(delivered.time_to(whole, 0.8), "gap")
    assert late.standard * late.sensitivity == pytest.approx(one.standard * 3600 * 0.8 / 1.0)


def test_a_knee_at_the_start_has_nothing_before_it_but_the_start_itself() -> None:
    """Half of an interval of 10 s at 2 A: 10 A·s of 3000."""
    found = delivered.before_knee(kneed(knee_at_start=True))
    assert found is not None
    assert found.value == 0.0
    (only,) = found.components
    assert only.contribution == pytest.approx(100 * 10 / 3000 / SQRT3, rel=0.01)
    assert delivered.before_knee(kneed(knee=None)) is None
    assert delivered.before_knee(kneed(amps=np.zeros(202))) is None


def test_a_time_to_a_share_counts_from_the_start_and_is_open_by_it() -> None:
    """80 % of 3000 A·s come 400 s into 1 A; with i more on every row (0.8·2000 − 1400) s/A later."""
    start = Measured(5.0, "s", (Component("start", 4.0, "s", "rectangular"),))
    found = delivered.time_to(kneed(start=start), 0.8)
    assert found.value == pytest.approx(1400, abs=6)
    assert (part(found, "start").size, part(found, "start").sensitivity) == (4.0, -1.0)
    assert part(found, "(counts)").sensitivity == pytest.approx(0.8 * 2000 - 1400, abs=6)


def test_a_time_within_a_pause_is_no_further_open_than_the_least_current_allows() -> None:
    current = np.array([0.0] + [2.0] * 100 + [0.0] * 10 + [2.0] * 91 + [0.0])
    found = delivered.time_to(kneed(amps=current, threshold_A=0.5, start=Measured(5.0, "s")), 1000 / 1900)
    moment = found.value
    assert 995 < moment < 1105
    sensitivity = (1000 / 1900 * 2000 - moment) / 0.5
    assert part(found, "(counts)").sensitivity == pytest.approx(sensitivity, abs=2)


def test_mean_current_and_mean_voltage_of_nothing_are_nothing() -> None:
    """The accuracy at no reading: its counts alone, over no time."""
    none = counted([0.0] * 8, 2, 5, start=Measured(20.0, "s"), end=Measured(20.0, "s"))
    ammeter = part(delivered.charge(none), "accuracy")
    assert (ammeter.size, ammeter.sensitivity) == (0.003, 0.0)
    amps, volts = delivered.energy(none).components[:2]
    assert (amps.size, amps.sensitivity) == (0.003, 0.0)
    assert (volts.size, volts.sensitivity) == (0.002, 0.0)


def test_a_charge_is_as_accurate_as_the_ammeter_at_its_mean_over_its_time() -> None:
    """3000 A·s in 2000 s: 0.5 % of 1.5 A and 3 mA, for so long; its energy at 4 V ± (0.05 % + 2 mV)."""
    found = kneed()
    one = part(delivered.charge(found), "accuracy")
    assert (one.size, one.sensitivity) == (pytest.approx(0.0105), pytest.approx(2000 / 3600))
    amps, volts = delivered.energy(found).components[:2]
    assert (amps.size, amps.sensitivity) == (pytest.approx(0.0105), pytest.approx(4 * 2000 / 3600))
    assert (volts.size, volts.sensitivity) == (pytest.approx(0.004), pytest.approx(TOTAL_AH))
