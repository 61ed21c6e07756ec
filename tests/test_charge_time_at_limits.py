"""The time at a limit of charges by hand: pauses, unseen voltages, what rows and readings leave open."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from reviewkit import charge
from reviewkit.charge import limit_time
from reviewkit.charge.limit_time import Adherence, Stretch
from reviewkit.metrology import meter

VOLTMETER = meter.meter({"accuracy": "±(0.05 % + 2)", "resolution": "1 mV"}, "V")
AMMETER = meter.meter({"accuracy": "±(0.5 % + 3)", "resolution": "1 mA"}, "A")
SHARE = 1 / math.sqrt(12)
"""A display of step δ scatters by δ/√12 (GUM F.2.2.1); two of that and half a step is what it leaves open."""


def a_record(current: Any, volts: Any, *, every_s: float = 1.0, missing: Any = ()) -> Any:
    """Return a record of so many rows; of the voltage log some are missing."""
    time = every_s * np.arange(len(current))
    kept = ~np.isin(np.arange(len(current)), list(missing))
    volts = np.broadcast_to(np.asarray(volts, dtype=float), len(current))
    return charge.on_one_clock(
        pd.Series(volts[kept], time[kept]),
        pd.Series(np.asarray(current, dtype=float), time),
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
    )


def at_limits(record: Any, *, paused: tuple[float, float] | None = None, **more: Any) -> Adherence | None:
    """Return what is found of a charge from 100 s on to the log's end, paused for a while."""

    def mask(time_s: np.ndarray, *names: str) -> np.ndarray:
        flows = np.ones(len(time_s), dtype=bool)
        if paused:
            flows &= (time_s <= paused[0]) | (time_s >= paused[1])
        return flows & (time_s >= 100)

    spans = (SimpleNamespace(end_s=paused[1], length_s=paused[1] - paused[0]),) if paused else ()
    phases: Any = SimpleNamespace(
        unresolved=False,
        unfit=False,
        mask=mask,
        profile=SimpleNamespace(on_at=lambda time_s: np.ones(len(time_s), dtype=bool)),
        start=SimpleNamespace(value=100.0),
        named=lambda name: spans if name == "interrupted" else (),
    )
    given = {"plateau_A": 1.0, "set_V": 4.2, "series_ohm": 0.0} | more
    return limit_time.at_limits(record, phases, **given)


def levels(*pieces: tuple[float, int]) -> np.ndarray:
    return np.concatenate([np.full(count, amps) for amps, count in pieces])


def test_a_pause_is_no_time_of_the_charge_and_stays_in_a_stretchs_times() -> None:
    """Of 400 s without the pause 110 s are at 0.8 A: 50 s before it and 60 s after, by the log's own times.

    Begin and end may lie anywhere between two rows: two of 400 s, half a per cent to either side.
    """
    current = levels((1.0, 251), (0.8, 210), (1.0, 140))
    found = at_limits(a_record(current, 4.0), paused=(300.0, 400.0))
    assert found is not None
    assert found.share == pytest.approx(72.5)
    assert (found.low, found.high) == pytest.approx((72.0, 73.0))
    (one,) = found.stretches
    assert (one.start_s, one.end_s, one.shape) == (151.0, 360.0, "foldback")


@pytest.mark.parametrize(("rows", "some"), [(109, False), (110, True)])
def test_ten_rows_of_both_logs_are_a_share(rows: int, some: bool) -> None:
    assert (at_limits(a_record(np.ones(rows), 4.0)) is not None) is some


@pytest.mark.parametrize("why", ["unresolved", "unfit"])
def test_a_log_that_tells_no_account_tells_no_share(why: str) -> None:
    phases: Any = SimpleNamespace(**({"unresolved": False, "unfit": False} | {why: True}))
    record = a_record(np.ones(300), 4.0)
    assert limit_time.at_limits(record, phases, plateau_A=1.0, set_V=4.2, series_ohm=0.0) is None


@pytest.mark.parametrize(("beyond", "high"), [(-1e-5, 100.0), (1e-5, 1.0)])
def test_a_display_leaves_open_two_of_its_deviations_and_half_a_step(beyond: float, high: float) -> None:
    """Just inside what may still be a limit all of the time may be at it; just outside none but two rows."""
    reach = (2 * SHARE + 0.5) * 0.001 + beyond
    record = a_record(np.full(301, 0.97 - reach), 4.0)
    found = at_limits(record, set_V=None)
    assert found is not None
    assert (found.share, found.high) == (0.0, pytest.approx(high))
    held = at_limits(a_record(np.full(301, 0.5), 4.19 - reach))
    assert held is not None
    assert (held.share, held.high) == (0.0, pytest.approx(high))


@pytest.mark.parametrize(
    ("before_V", "after_V", "counted_s"),
    [
        # From 4.0 V to the cell's share of 4.2 V, 4.15 V at 0.5 A over 0.1 Ω, within 10 mV.
        (4.0, 4.141, 200),
        (4.0, 4.139, 300),
        (4.139, 4.139, 300),
    ],
)
def test_a_voltage_not_logged_while_the_limit_was_reached_is_left_out(
    before_V: float, after_V: float, counted_s: int
) -> None:
    """100 s at the plateau, 200 s at half of it, of which 100 s have no voltage."""
    current = levels((1.0, 200), (0.5, 201))
    volts = levels((before_V, 300), (after_V, 101))
    found = at_limits(a_record(current, volts, missing=range(201, 300)), series_ohm=0.1)
    assert found is not None
    held_s = 101 if after_V > 4.14 else 0
    # The rows of the gap, 99 of them, are in neither sum.
    left_out = 99 if counted_s == 200 else 0
    assert found.share == pytest.approx(100 * (99 + held_s) / (300 - left_out), abs=0.4)


def test_the_resistance_lifts_the_cells_voltage_to_the_regulation_point() -> None:
    """4.1 V at 0.5 A over 0.2 Ω is the limit of 4.2 V; at the cell itself it is none."""
    record = a_record(np.full(301, 0.5), 4.1)
    shares = []
    for ohm in (0.2, 0.0):
        found = at_limits(record, series_ohm=ohm)
        assert found is not None
        shares.append(found.share)
    assert shares == [100.0, 0.0]


@pytest.mark.parametrize(("first", "shape"), [(1.0, "early taper"), (0.94, "unnamed")])
def test_a_taper_is_early_where_the_plateau_was_reached_before_it(first: float, shape: str) -> None:
    falling = np.concatenate((np.full(5, first), np.linspace(0.94, 0.5, 120)))
    found = limit_time.adherence(np.arange(125.0), np.full(125, 4.0), falling, plateau_A=1.0, set_V=4.2)
    assert [one.shape for one in found.stretches] == [shape]


def test_without_a_doubt_the_bounds_are_the_share() -> None:
    current = levels((1.0, 50), (0.9, 50), (1.0, 1))
    for volts in (4.0, 4.185):
        found = limit_time.adherence(np.arange(101.0), np.full(101, volts), current, plateau_A=1.0, set_V=4.2)
        assert (found.low, found.share, found.high) == (50.0, 50.0, 50.0)


@pytest.mark.parametrize(
    ("odd_A", "odd", "count"), [(-0.04, 4, 1), (-0.04, 7, 0), (0.04, 4, 1), (0.04, 7, 0)]
)
def test_a_level_may_have_a_twentieth_of_its_rows_off_to_either_side(
    odd_A: float, odd: int, count: int
) -> None:
    values = np.full(100, 0.5)
    values[20 : 20 + odd] += odd_A
    assert len(limit_time._levels(np.arange(100.0), values, 1.0)) == count


@pytest.mark.parametrize(("rows", "count"), [(45, 0), (60, 1)])
def test_a_level_stands_for_a_fifth_of_a_long_stretch(rows: int, count: int) -> None:
    """50 s of 250 s."""
    values = np.concatenate((np.full(rows, 0.8), np.linspace(0.7, 0.1, 251 - rows)))
    assert len(limit_time._levels(np.arange(251.0), values, 1.0)) == count


@pytest.mark.parametrize(("rows", "count"), [(2, 0), (3, 1)])
def test_a_level_has_three_rows(rows: int, count: int) -> None:
    values = np.concatenate((np.full(rows, 0.8), [0.7, 0.6, 0.5]))
    assert len(limit_time._levels(60.0 * np.arange(len(values)), values, 1.0)) == count


@pytest.mark.parametrize(("count", "told", "more"), [(3, 3, 0), (4, 3, 1), (6, 3, 3)])
def test_three_stretches_are_told_and_the_rest_counted(
    count: int, told: int, more: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    given: dict[str, Any] = {}
    monkeypatch.setattr(limit_time, "say", lambda name, **values: given.update(values) or name)
    stretch = Stretch(0.0, 600.0, "droop", 0.9, 0.96)
    limit_time.in_words(Adherence(50.0, (stretch,) * count))
    assert (len(given["parts"]), given["more"]) == (told, more)
    assert given["parts"][0]["length"] == "10\u00a0min"


@pytest.mark.parametrize(
    ("values", "crossings"),
    [
        ([1.0, 0.0, 1.0, 0.0], 3),
        # Back to the middle and no further is no swing, from either side.
        ([0.0, 0.5, 0.0, 0.5, 1.0], 1),
        ([1.0, 0.5, 1.0, 0.5, 0.0], 1),
        ([0.0] * 5, 0),
    ],
)
def test_a_swing_passes_the_middle_by_a_good_part(values: list[float], crossings: int) -> None:
    assert limit_time._crossings(np.array(values)) == crossings


@pytest.mark.parametrize(
    ("amps", "low", "high"), [(0.985, 100, 100), (0.975, 0, 100), (0.965, 0, 100), (0.955, 0, 0)]
)
def test_a_doubt_narrows_and_widens_the_band_by_itself(amps: float, low: float, high: float) -> None:
    """10 mA about the 3 % of 1 A: from 2 % to 4 %."""
    time = np.arange(101.0)
    found = limit_time.adherence(
        time, np.full(101, 4.0), np.full(101, amps), plateau_A=1.0, set_V=4.2, doubt_A=0.01
    )
    assert (found.low, found.high) == (low, high)
    volts = np.full(101, 4.2 - (1 - amps) / 3)
    held = limit_time.adherence(time, volts, np.full(101, 0.5), plateau_A=1.0, set_V=4.2, doubt_V=0.01 / 3)
    assert (held.low, held.high) == (low, high)


@pytest.mark.parametrize(
    ("missing", "share", "high"), [(range(1, 300), 100.0, 100.0), (range(301, 500), 0.0, 50.25)]
)
def test_a_voltage_log_of_a_lone_first_or_last_row_is_unseen_up_to_it(
    missing: range, share: float, high: float
) -> None:
    """The limit was reached at one end of the gap and not at the other, for half of 400 s and two rows."""
    volts = np.where(np.arange(501) < missing.stop, 4.0, 4.2)
    found = at_limits(a_record(np.full(501, 0.5), volts, missing=missing))
    assert found is not None
    # Of what was seen: all at the limit, or none of it.
    assert (found.share, found.high) == (share, high)


def test_a_charge_of_less_than_a_second_has_a_share_too() -> None:
    """Half of 0.5 s; two rows of 10 ms leave 4 % open."""
    current = levels((1.0, 25), (0.5, 26))
    found = limit_time.adherence(np.arange(51.0) / 100, np.full(51, 4.0), current, plateau_A=1.0, set_V=4.2)
    assert found.share == pytest.approx(50.0)
    ends = limit_time._with_ends(found, 0.02, 0.5)
    assert (ends.low, ends.high) == pytest.approx((46.0, 54.0))


def test_a_short_return_to_a_limit_right_after_the_first_row_parts_nothing() -> None:
    """What stands between two stretches for less than half a minute belongs to both, at the start too."""
    current = levels((0.5, 1), (1.0, 10), (0.5, 60))
    found = limit_time.adherence(np.arange(71.0), np.full(71, 4.0), current, plateau_A=1.0, set_V=4.2)
    assert [one.start_s for one in found.stretches] == [0.0]
