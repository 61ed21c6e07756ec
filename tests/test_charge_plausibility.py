"""Logs that are not what the review file says: each rule a little inside and a little beyond its bound."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from test_charge_numbers import AMMETER, VOLTMETER

from reviewkit import charge, logs
from reviewkit.charge import plausibility
from reviewkit.logs import Log
from reviewkit.metrology import Measured, meter
from reviewkit.schema.blocks import Cell, LogBlock

ROWS = 1000
HOURS = 2.0
TIME = np.linspace(0.0, 3600 * HOURS, ROWS)
ENTRIES = {name: LogBlock(path=f"{name}.csv") for name in ("voltage", "current", "temperature")}


def log(values: np.ndarray | float, unit: str) -> Log:
    return logs.of_series(pd.Series(np.broadcast_to(values, ROWS).astype(float), TIME), unit)  # type: ignore[arg-type]


def told(
    volts: np.ndarray | float,
    amps: np.ndarray | float,
    *,
    capacity_Ah: float | None = 2.0,
    warm_C: float = 20.0,
) -> str:
    found = {"voltage": log(volts, "V"), "current": log(amps, "A"), "temperature": log(warm_C, "degC")}
    cell = Cell(rated_capacity_Ah=capacity_Ah)
    return " / ".join(str(one) for one in plausibility.of_logs(found, ENTRIES, cell=cell))


def some(share: float, of: float, rest: float) -> np.ndarray:
    """A share of the rows at one value, the others at another."""
    return np.where(np.arange(ROWS) < share * ROWS, of, rest)


def rising(first_V: float, by_V: float) -> np.ndarray:
    """Rises throughout; the ends, a hundredth of the log each, stand still."""
    return first_V + by_V * np.clip(np.linspace(-0.02, 1.02, ROWS), 0.0, 1.0)


def flowing(amount_Ah: float, *, resting: bool) -> np.ndarray:
    """So much charge at an even current, which a log at rest neither begins nor ends with."""
    inside = (np.arange(ROWS) > 20) & (np.arange(ROWS) < ROWS - 20) if resting else np.ones(ROWS, dtype=bool)
    return np.where(inside, amount_Ah / (HOURS * inside.mean()), 0.0)


GOOD = rising(3.4, 0.7)


def test_a_usual_charge_is_told_nothing_of() -> None:
    assert told(GOOD, 1.0) == ""
    assert told(GOOD, 3.0, capacity_Ah=5.0) == ""


@pytest.mark.parametrize(
    ("volts", "amps", "exchanged"),
    [
        (1.1, 3.7, True),
        (1.3, 3.7, False),
        (6.5, 3.7, True),
        (5.9, 3.7, False),
        (1.0, 4.9, True),
        (1.0, 5.2, False),
        (1.0, 2.1, True),
        (1.0, 1.9, False),
        (some(0.94, 3.7, 1.0), 3.7, True),
        (some(0.96, 3.7, 1.0), 3.7, False),
        (1.0, some(0.985, 3.7, 0.0), True),
        (1.0, some(0.975, 3.7, 0.0), False),
    ],
)
def test_columns_look_exchanged_where_only_the_current_is_like_a_cell(
    volts: np.ndarray | float, amps: np.ndarray | float, exchanged: bool
) -> None:
    """No cell stays below 1.2 V or above 6 V; 2 A to 5 A throughout is a voltage."""
    assert ("look exchanged" in told(volts, amps)) is exchanged


@pytest.mark.parametrize(
    ("volts", "words"),
    [
        (0.55, ""),
        (0.45, "no voltage of a lithium-ion cell"),
        (4.65, ""),
        (4.75, "no voltage of a lithium-ion cell"),
        (-3.7, "leads were swapped"),
        (-0.55, "leads were swapped"),
        (-0.45, "no voltage of a lithium-ion cell"),
        (-4.65, "leads were swapped"),
        (-4.75, "no voltage of a lithium-ion cell"),
    ],
)
def test_a_cells_voltage_lies_between_half_a_volt_and_half_above_its_limit(volts: float, words: str) -> None:
    """The limit of a usual lithium-ion cell: 4.2 V."""
    found = told(volts, 1.0)
    assert words in found
    assert bool(found) is bool(words)


@pytest.mark.parametrize(("share", "fault"), [(0.96, True), (0.94, False)])
def test_a_current_that_only_leaves_the_cell_is_no_charge(share: float, fault: bool) -> None:
    assert ("only ever flows out" in told(3.7, some(share, -1.0, 0.5))) is fault


def test_a_weak_current_says_nothing_of_the_leads() -> None:
    """A charge, and then a draw of 50 mA for most of the time: below a tenth of the largest, it is none."""
    assert told(3.7, some(0.5, -0.05, 1.0)) == ""
    assert told(3.7, some(0.98, -0.05, 1.0)) == ""


@pytest.mark.parametrize(
    ("amount_Ah", "capacity_Ah", "fault"),
    [(6.2, 2.0, True), (5.8, 2.0, False), (155, None, True), (145, None, False)],
)
def test_a_cell_takes_at_most_three_times_what_it_holds(
    amount_Ah: float, capacity_Ah: float | None, fault: bool
) -> None:
    """Where no capacity is stated, three times that of the largest cell of a light, 50 A.h."""
    found = told(GOOD, flowing(amount_Ah, resting=False), capacity_Ah=capacity_Ah)
    assert ("far more than" in found) is fault


@pytest.mark.parametrize(
    ("share", "first_V", "by_V", "fault"),
    [
        (0.018, 3.3, 0.35, True),
        (0.022, 3.3, 0.35, False),
        (0.018, 3.15, 0.35, False),
        (0.018, 3.3, 0.25, False),
    ],
)
def test_a_resting_cell_does_not_rise_for_next_to_nothing(
    share: float, first_V: float, by_V: float, fault: bool
) -> None:
    """From 3.2 V at rest, 0.3 V more take over two per cent of a capacity: from a usual cell's curve."""
    found = told(rising(first_V, by_V), flowing(2.0 * share, resting=True))
    assert ("next to nothing" in found) is fault
    bare = told(rising(first_V, by_V), flowing(0.1 * share, resting=True), capacity_Ah=None)
    assert ("next to nothing" in bare) is fault


@pytest.mark.parametrize(
    ("share", "first_V", "by_V", "fault"),
    [
        (0.0018, 2.6, 0.35, True),
        (0.0022, 2.6, 0.35, False),
        (0.0018, 2.4, 0.35, False),
        (0.0018, 2.6, 0.25, False),
    ],
)
def test_a_cell_under_current_does_not_rise_for_a_five_hundredth(
    share: float, first_V: float, by_V: float, fault: bool
) -> None:
    found = told(rising(first_V, by_V), flowing(2.0 * share, resting=False))
    assert ("next to nothing" in found) is fault


@pytest.mark.parametrize(("warm_C", "fault"), [(95, False), (105, True), (-28, False), (-32, True)])
def test_a_bench_lies_between_thirty_below_and_a_hundred(warm_C: float, fault: bool) -> None:
    assert ("most temperatures" in told(GOOD, 1.0, warm_C=warm_C)) is fault


@pytest.mark.parametrize(("ohm", "share", "fault"), [(1.9, 1.0, False), (2.1, 1.0, True), (2.1, 0.04, False)])
def test_a_burden_that_drops_two_volts_is_in_another_unit(ohm: float, share: float, fault: bool) -> None:
    """1 A over 2.1 Ω; a current that flows for a twenty-fifth of the time is no measure."""
    ammeter = meter.meter({"accuracy": "±0.5 %", "resolution": "1 mA", "burden_ohm": ohm}, "A")
    assert bool(list(plausibility.of_burden(log(some(share, 1.0, 0.0), "A"), ammeter))) is fault


def of_record(
    volts: np.ndarray,
    amps: np.ndarray,
    *,
    volts_until: int = ROWS,
    out_s: float | None = None,
    declared_s: float | None = None,
    apart_s: float | None = None,
    time_s: np.ndarray = TIME,
    started: tuple[datetime | None, datetime | None] = (None, None),
) -> str:
    """What is told of a voltage and a current log, whose clocks are found or declared to be so far apart."""
    voltage = pd.Series(volts[:volts_until], time_s[:volts_until])
    current = pd.Series(amps, time_s)
    offset = None if apart_s is None else Measured(apart_s, "s")
    record = charge.on_one_clock(
        voltage, current, voltmeter=VOLTMETER, ammeter=AMMETER, cable_out_s=out_s, clock_offset=offset
    )
    found = plausibility.of_record(
        record,
        voltage=logs.of_series(voltage, "V", started=started[0]),
        current=logs.of_series(current, "A", started=started[1]),
        place="charge_runs[1]",
        declared_s=declared_s,
    )
    return " / ".join(str(one) for one in found)


@pytest.mark.parametrize(("rows", "fault"), [(480, True), (520, False)])
def test_the_voltage_log_holds_half_of_the_charge_at_least(rows: int, fault: bool) -> None:
    assert ("has readings for only" in of_record(GOOD, np.ones(ROWS), volts_until=rows)) is fault


@pytest.mark.parametrize(
    ("by_V", "length_s", "fault"), [(0.35, 650, True), (0.25, 650, False), (0.35, 550, False)]
)
def test_a_cell_that_charges_ten_minutes_far_below_what_it_reached_is_charged_again(
    by_V: float, length_s: float, fault: bool
) -> None:
    again = np.abs(TIME - 5000 - length_s / 2) < length_s / 2
    volts = np.where(again, 4.1 - by_V, np.minimum(3.5 + TIME / 5000, 4.1))
    amps = np.where((TIME < 4000) | again, 1.0, 0.0)
    assert ("more than one charge" in of_record(volts, amps)) is fault
    # A twentieth of the current is no charge; more than a tenth is.
    assert "more than one charge" not in of_record(volts, np.where(again, 0.05, amps))
    assert ("more than one charge" in of_record(volts, np.where(again, 0.15, amps))) is fault


def test_a_row_stands_for_three_usual_intervals_at_most() -> None:
    """Twelve rows 80 s apart far below what was reached, where rows come every 10 s: no more than 360 s."""
    time = np.concatenate((10.0 * np.arange(200), 2000 + 80.0 * np.arange(12), 3000 + 10.0 * np.arange(50)))
    volts = np.where((time >= 2000) & (time < 3000), 3.6, 4.1)
    assert "more than one charge" not in of_record(volts, np.ones(262), time_s=time)
    # Rows that come every 300 s stand for as long.
    few = np.array([4.1, 4.1, 3.6, 3.6, 3.6, 4.1])
    assert "more than one charge" in of_record(few, np.ones(6), time_s=300.0 * np.arange(6))


@pytest.mark.parametrize(("days", "fault"), [(1.4, False), (1.6, True)])
def test_logs_that_begin_a_day_and_a_half_apart_are_of_two_charges(days: float, fault: bool) -> None:
    """A clock set to another day is usual, to another week's is not; where it is declared, it is meant."""
    begun = datetime(2026, 3, 1, 20, 0)
    started = (begun, begun + timedelta(days=days))
    found = of_record(GOOD, np.ones(ROWS), apart_s=86_400 * days, started=started)
    assert ("the voltage log on 2026-03-01" in found) is fault
    assert "the voltage log on" not in of_record(
        GOOD, np.ones(ROWS), apart_s=86_400 * days, started=(begun, None)
    )


@pytest.mark.parametrize(
    ("declared_s", "fault"),
    [(0.0, False), (7199.5, False), (7200.5, True), (-7199.5, False), (-7200.5, True)],
)
def test_logs_of_two_hours_have_no_moment_in_common_two_hours_apart(declared_s: float, fault: bool) -> None:
    found = of_record(GOOD, np.ones(ROWS), declared_s=declared_s, apart_s=0.0)
    assert ("no reading of" in found) is fault


@pytest.mark.parametrize(("declared_h", "fault"), [(-0.9, True), (-1.1, False), (0.0, True)])
def test_a_declared_offset_counts_from_what_both_clocks_say(declared_h: float, fault: bool) -> None:
    """By its clock the current log of two hours began three hours later: it has to be put back by one."""
    begun = datetime(2026, 3, 1, 20, 0)
    started = (begun, begun + timedelta(hours=3))
    found = of_record(GOOD, np.ones(ROWS), declared_s=3600 * declared_h, apart_s=0.0, started=started)
    assert ("no reading of" in found) is fault


def test_a_record_without_current_is_told_nothing_of() -> None:
    assert of_record(GOOD, np.full(ROWS, -1.0)) == ""
    assert of_record(np.append(GOOD[:5], np.full(ROWS - 5, np.nan)), np.ones(ROWS)) != ""


@pytest.mark.parametrize(("sign", "words"), [(1, "leads were swapped"), (-1, "leads were not swapped")])
def test_a_current_that_is_negative_while_the_voltage_rises_was_measured_the_other_way_round(
    sign: int, words: str
) -> None:
    entries = ENTRIES | {"current": LogBlock(path="current.csv", sign=sign)}
    found = {"voltage": log(GOOD, "V"), "current": log(-1.0, "A")}
    told_of = " / ".join(str(one) for one in plausibility.of_logs(found, entries, cell=Cell()))
    assert words in told_of


@pytest.mark.parametrize(
    ("rows", "ends", "fault"), [(50, 1, True), (50, 2, True), (400, 2, False), (400, 4, True)]
)
def test_a_rise_is_from_the_first_hundredth_of_a_log_to_its_last(rows: int, ends: int, fault: bool) -> None:
    """Of fifty rows one, of four hundred four: 3.3 V in so many of them, then 3.7 V, 3.65 V at the end."""
    volts = np.full(rows, 3.7)
    volts[:ends], volts[-8:] = 3.3, 3.65
    entry = logs.of_series(pd.Series(volts, np.arange(float(rows))), "V")
    current = logs.of_series(
        pd.Series(np.where(np.arange(rows) % (rows - 1), 1.0, 0.0), np.arange(float(rows))), "A"
    )
    assert (plausibility._rise(entry, current, 0.01) is not None) is fault


@pytest.mark.parametrize(("first_A", "rests"), [(0.045, True), (0.055, False)])
def test_a_log_rests_at_less_than_a_tenth_of_its_largest_current(first_A: float, rests: bool) -> None:
    amps = np.full(ROWS, 0.5)
    amps[[0, -1]] = first_A
    assert (plausibility._rise(log(rising(3.3, 0.35), "V"), log(amps, "A"), 0.01) is not None) is rests


@pytest.mark.parametrize(("out_s", "fault"), [(7199.0, False), (7300.0, True)])
def test_a_cable_is_pulled_within_the_logs(out_s: float, fault: bool) -> None:
    assert ("after the end of the logs" in of_record(GOOD, np.ones(ROWS), out_s=out_s)) is fault
