"""Where pulses lie in their rows and which period they bear out: by hand, on both sides of each bound."""

from __future__ import annotations

import numpy as np
import pytest
from drain_rows import rows, upright

from reviewkit.drain import pulse_train
from reviewkit.drain.pulse_train import ALONE_FROM_S, LOOSE, Train, allowed, find, middle, placed, strongest
from reviewkit.drain.samples import Detection, Samples, detection

STEP = 1.0
"""Display step: without noise a row belongs to a pulse from four steps."""


def seen(values: list[float], threshold: float) -> tuple[Samples, Detection]:
    """Return rows over a base of 0, and what stands out of it from a threshold."""
    one, none = rows(values), np.empty(0, dtype=np.intp)
    return one, Detection(0.1, np.zeros(len(one)), one.current_A, threshold, none, none)


def train_of(values: np.ndarray, interval_s: float = 1.0) -> Train | None:
    """Return the train in rows read to one display step."""
    one = rows(values, interval_s)
    return find(one, detection(one, resolution_A=STEP))


def borne_out(values: np.ndarray, period_s: float, first_s: float) -> Train | None:
    """Return the train of a known period, if the rows bear it out."""
    one = rows(values)
    what = detection(one, resolution_A=STEP)
    weight = np.where(what.above_A > what.threshold_A / 2, what.above_A, 0.0)
    return pulse_train._train(one, what, weight, period_s, first_s)


@pytest.mark.parametrize(
    ("values", "threshold", "at", "unknown"),
    [
        # One row: anywhere in it.
        ([0.1, 9], 1.0, 1.5, 0.5),
        # Two: by its shares (3 − 1)/4 of half a row before their border, and half a threshold may be unseen.
        ([3, 1], 0.5, 0.75, 0.25 + 0.25 / 4),
        # More: the full rows say how much of the end rows it fills; the windows' edges cost 0.01 rows.
        ([3, 8, 8, 4], 0.5, (0.625 + 3.5) / 2, 0.25 / 8 + 0.01),
        # No end row holds more than all of itself.
        ([16, 8, 8, 4], 0.5, (0.0 + 3.5) / 2, 0.25 / 8 + 0.01),
        # A full row is at least the threshold.
        ([1.1, 0.4, 1.1], 1.0, (0.0 + 3.0) / 2, 0.5 / 1 + 0.01),
        # An end row below the threshold may be noise: the rest counts, and twice as much may be unseen.
        ([0.4, 3, 1], 0.5, 1.75, 0.25 + 0.5 / 4),
        ([3, 1, 0.4], 0.5, 0.75, 0.25 + 0.5 / 4),
        ([0.4, 9, 0.4], 0.5, 1.5, 0.5),
        ([0.4, 3, 8, 8, 4], 0.5, (1.625 + 4.5) / 2, 0.5 / 8 + 0.01),
    ],
)
def test_a_pulses_middle_is_known_to_what_its_rows_leave_open(
    values: list[float], threshold: float, at: float, unknown: float
) -> None:
    one, what = seen(values, threshold)
    assert middle(one, what, np.arange(len(values))) == pytest.approx((at, unknown))


def test_rows_near_a_cycles_centre_say_where_its_pulse_lies() -> None:
    """Three cycles of 10 s: one in two rows, one below half the threshold, one whose rows lie too far off."""
    values = np.zeros(30)
    values[4:6] = 3.0, 1.0
    values[15] = 0.2
    values[21] = 9.0
    one, what = seen(list(values), 0.5)
    number, centre = np.arange(3.0), np.array([4.75, 15.5, 24.5])
    at, unknown = placed(one, what, number, centre, period_s=10.0, first_s=5.0, extent_s=3.8)
    assert at == pytest.approx([4.75, 15.5, 24.5])
    assert unknown == pytest.approx([0.25 + 0.0625, 0.5, 0.5])
    # 3 s from the centre are within half an extent and a row of it from an extent of 4 s on.
    at, unknown = placed(one, what, number, centre, period_s=10.0, first_s=5.0, extent_s=4.0)
    assert at == pytest.approx([4.75, 15.5, 21.5])
    # Half a threshold counts, in a cycle that has a number only.
    values[15] = 0.26
    one, what = seen(list(values), 0.5)
    at, _ = placed(one, what, number[1:], np.array([14.5, 24.5]), period_s=10.0, first_s=5.0, extent_s=3.8)
    assert at == pytest.approx([15.5, 24.5])


def test_a_period_is_what_every_pair_of_pulses_allows() -> None:
    """Pairs: 9.5 to 10.5, 10 to 11, and over two periods 10 to 10.5."""
    number, centre = np.arange(3.0), np.array([0.0, 10.0, 20.5])
    assert allowed(number, centre, np.full(3, 0.25)) == pytest.approx((10.0, 10.5))


@pytest.mark.parametrize(("count", "counts"), [(800, True), (801, False)])
def test_of_more_than_800_pulses_the_400_at_either_end_tell(count: int, counts: bool) -> None:
    number = np.arange(float(count))
    centre = 10 * number
    centre[400] += 3.0
    low, top = allowed(number, centre, np.full(count, 0.5))
    assert (low > top) == counts


@pytest.mark.parametrize(
    ("off", "slack"), [(0.49, 1.0), (0.51, 1.5), (0.74, 1.5), (0.76, LOOSE), (0.99, LOOSE), (1.01, np.inf)]
)
def test_reach_is_widened_by_half_then_to_half_a_row_and_no_further(off: float, slack: float) -> None:
    """Intervals of 10 + off and 10 − off fit one period if off is at most twice each pulse's reach."""
    number, centre = np.arange(3.0), np.array([0.0, 10.0 + off, 20.0])
    low, top, found = pulse_train._periods(number, centre, np.full(3, 0.25), 1.0)
    assert found == slack
    reach = {1.0: 0.25, 1.5: 0.375, LOOSE: 0.5, np.inf: 0.5}[slack]
    assert (low, top) == pytest.approx((10 + off - 2 * reach, 10 - off + 2 * reach))


@pytest.mark.parametrize("period", [7.31, 2.93, 13.7])
def test_the_strongest_line_of_a_sine_is_its_period(period: float) -> None:
    """A spectrum padded eightfold and a parabola over its peak: to a few parts in 100,000."""
    one = rows(np.sin(2 * np.pi * np.arange(1000) / period))
    assert strongest(one, one.current_A) == pytest.approx(period, rel=max(2e-5, 5e-6 * period))


@pytest.mark.parametrize(("turns", "told"), [(1.2, False), (1.8, True)])
def test_a_line_needs_one_and_a_half_periods_in_the_log(turns: float, told: bool) -> None:
    time = np.arange(400)
    one = rows(0.02 * np.sin(2 * np.pi * time / 10) + np.cos(2 * np.pi * turns * time / 400))
    period = strongest(one, one.current_A)
    assert period is not None
    # What leaks of a slower line into the slowest that counts looks like 1.5 periods.
    assert (period == pytest.approx(400 / turns, rel=0.1)) == told
    assert strongest(rows([0, 1, 0]), np.array([0.0, 1.0, 0.0])) is None
    assert strongest(rows([0, 1, 0, 1]), np.array([0.0, 1.0, 0.0, 1.0])) is not None


def test_a_spectrum_is_taken_of_the_first_131072_rows() -> None:
    time = np.arange(200_000)
    one = rows(np.where(time < 1 << 17, np.sin(2 * np.pi * time / 10), 9 * np.sin(2 * np.pi * time / 7)))
    assert strongest(one, one.current_A) == pytest.approx(10.0, rel=1e-6)


def test_a_mean_phase_gives_the_first_centre_and_cycles_give_theirs() -> None:
    time = np.arange(40) + 0.5
    weight = np.zeros(40)
    weight[3::10] = 2.0
    weight[4::10] = 2.0
    assert pulse_train._phase(time, weight, 10.0) == pytest.approx(4.0)
    number, centre, charge = pulse_train._centres(time, weight, 10.0, 14.0, 5.0)
    assert list(number) == [-1.0, 0.0, 1.0, 2.0]
    assert centre == pytest.approx([4.0, 14.0, 24.0, 34.0])
    assert charge == pytest.approx([4.0] * 4)
    # Beyond the reach nothing counts: of rows 0.5 and 0.5 s away, none within 0.4 s.
    weight[8] = 7.0
    assert pulse_train._centres(time, weight, 10.0, 14.0, 0.5)[2] == pytest.approx([4.0] * 4)
    assert len(pulse_train._centres(time, weight, 10.0, 14.0, 0.4)[0]) == 0


@pytest.mark.parametrize(("share", "period"), [(0.29, 10.0), (0.31, 10.5)])
def test_a_line_through_centres_leaves_out_what_holds_less_than_0_3_of_the_usual_charge(
    share: float, period: float
) -> None:
    """The weak one of four lies 1.667 s late: a least-squares slope then is 0.3·1.667 more (numpy)."""
    time = np.arange(40) + 0.5
    weight = np.zeros(40)
    weight[[4, 14, 24]] = 1.0
    weight[[35, 36]] = share / 3, share * 2 / 3
    line = pulse_train._line(time, weight, 10.0, 4.5, 5.0)
    assert line is not None
    assert line[0] == pytest.approx(period)
    weight[24] = 0.0
    if share < 0.3:
        assert pulse_train._line(time, weight, 10.0, 4.5, 5.0) is None


def test_three_pulses_are_a_train_and_two_are_none() -> None:
    assert train_of(upright(np.array([10.5, 30.5, 50.5]), 61)) is not None
    assert train_of(upright(np.array([10.5, 30.5]), 41)) is None


def test_a_train_is_what_its_rows_show() -> None:
    """Six pulses of 3 s every 20 s, each in rows of its own: 0.01 rows of reach at either end of them."""
    found = train_of(upright(9.5 + 20 * np.arange(6), 120, wide=3.0))
    assert found is not None
    assert found.period_s == pytest.approx(20.0)
    assert found.first_s % 20.0 == pytest.approx(9.5)
    assert found.cycles == len(found.charge_As) == len(found.centre_s)
    assert found.charge_As == pytest.approx(np.full(found.cycles, 300.0))
    assert found.extent_s == 3.0
    assert found.slack == 1.0
    assert not found.folded
    # What stands out from four display steps may hide half of that: 2 A·s of 100 A.
    assert found.period_half_width_s == pytest.approx(2 * (0.01 + 2.0 / 100) / 5)
    assert found.offset_s(np.array([9.5, 19.4, 19.6, 30.5])) == pytest.approx([0.0, 9.9, -9.9, 1.0])


@pytest.mark.parametrize(("missing", "found"), [(4, True), (5, False)])
def test_four_fifths_of_the_cycles_show_a_pulse(missing: int, found: bool) -> None:
    gone = np.array([3, 6, 9, 12, 15])[:missing]
    values = upright(np.delete(10.0 + 20 * np.arange(20), gone), 400, wide=2.0)
    assert (borne_out(values, 20.0, 10.0) is not None) == found


@pytest.mark.parametrize(("missing", "found"), [(3, True), (4, False)])
def test_cycles_at_the_very_ends_of_the_log_count(missing: int, found: bool) -> None:
    """Sixteen whole cycles from begin to end: four fifths are 12.8."""
    values = upright(np.delete(10.0 + 20 * np.arange(16), np.arange(3, 3 + 3 * missing, 3)), 320, wide=2.0)
    assert (borne_out(values, 20.0, 10.0) is not None) == found


@pytest.mark.parametrize(("share", "found"), [(0.31, True), (0.29, False)])
def test_a_cycle_holds_a_pulse_from_0_3_of_the_usual_charge(share: float, found: bool) -> None:
    heights = np.full(20, 100.0)
    heights[[3, 6, 9, 12, 15]] = 100.0 * share
    values = upright(10.0 + 20 * np.arange(20), 400, heights, wide=2.0)
    assert (borne_out(values, 20.0, 10.0) is not None) == found


@pytest.mark.parametrize(
    ("period", "off", "found"), [(5, 0.55, True), (5, 0.65, False), (20, 1.9, True), (20, 2.1, False)]
)
def test_pulses_lie_within_0_6_rows_or_a_tenth_of_a_period_of_their_places(
    period: int, off: float, found: bool
) -> None:
    """Every second pair of pulses late, every second early: root mean square `off`."""
    cycles = np.arange(24)
    centres = period * (cycles + 0.5) + np.where((cycles // 2) % 2, off, -off)
    assert (borne_out(upright(centres, 24 * period), float(period), period / 2) is not None) == found


@pytest.mark.parametrize(
    ("high_rows", "interval_s", "folded"),
    [(11, 1.0, False), (12, 1.0, True), (12, ALONE_FROM_S, False), (12, 0.26, True)],
)
def test_where_nearly_half_of_sparse_rows_are_high_a_faster_train_would_look_the_same(
    high_rows: int, interval_s: float, folded: bool
) -> None:
    """12 rows of 25 are 0.48, 11 are 0.44: the bound is 0.47. Rows of 0.25 s or less stand for themselves."""
    cycle = np.zeros(25)
    cycle[6 : 6 + high_rows] = 100.0
    train = train_of(np.tile(cycle, 12), interval_s)
    assert train is not None
    assert train.folded == folded


def test_a_pulses_low_shoulders_are_no_part_of_what_is_high() -> None:
    """Of 25 rows 12 stand out, 6 reach half of the height: 0.48 and 0.24 beside the bound of 0.47."""
    cycle = np.zeros(25)
    cycle[6:12], cycle[12:18] = 100.0, 20.0
    train = train_of(np.tile(cycle, 12))
    assert train is not None
    assert not train.folded


def test_a_period_under_two_rows_is_the_image_of_a_faster_one() -> None:
    time = np.arange(300)
    fast = rows(np.where(time % 2 == 0, 100.0, 0.0), 0.1)
    what = detection(fast, resolution_A=STEP)
    weight = np.where(what.above_A > what.threshold_A / 2, what.above_A, 0.0) * 0.1
    train = pulse_train._train(fast, what, weight, 0.2, 0.05)
    assert train is not None
    assert not train.folded


def test_an_extent_is_the_largest_usual_count_of_rows() -> None:
    """Of 20 cycles one is longer: the quantile 0.95 still takes the 19th's; of 21 with two it is theirs."""
    one = rows(np.zeros(400), 0.5)
    number = np.repeat(np.arange(20), 20)
    high = np.tile(np.arange(20) < 3, 20)
    assert pulse_train._extent(one, high, number) == 3 * 0.5
    high[:5] = True
    assert pulse_train._extent(one, high, number) == 5 * 0.5
    assert pulse_train._extent(one, np.zeros(400, dtype=bool), number) == 0.0


def test_pulses_that_the_logs_begin_or_end_cuts_do_not_move_the_period() -> None:
    """Of seven pulses of 4 s the first and the last show 3 s: their middles seem to lie half a second off."""
    train = borne_out(upright(1.0 + 20 * np.arange(7), 122, wide=4.0), 20.0, 1.0)
    assert train is not None
    assert train.slack == 1.0
    assert train.period_s == pytest.approx(20.0)
    assert train.cycles == 5
    assert train.first_s == pytest.approx(1.0)
