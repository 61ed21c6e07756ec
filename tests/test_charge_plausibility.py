"""Logs that are not what the review file says: each rule a little inside and a little beyond its bound."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from test_charge_numbers import AMMETER, VOLTMETER

from reviewkit import charge, logs
from reviewkit.charge import plausibility
from reviewkit.logs import Log
from reviewkit.metrology import meter
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
    volts: np.ndarray, amps: np.ndarray, *, volts_until: int = ROWS, out_s: float | None = None
) -> str:
    voltage = pd.Series(volts[:volts_until], TIME[:volts_until])
    current = pd.Series(amps, TIME)
    record = charge.on_one_clock(voltage, current, voltmeter=VOLTMETER, ammeter=AMMETER, cable_out_s=out_s)
    found = plausibility.of_record(
        record,
        voltage=logs.of_series(voltage, "V"),
        current=logs.of_series(current, "A"),
        place="charge_runs[1]",
        declared_s=None,
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
    # A twentieth of the current is no charge.
    assert "more than one charge" not in of_record(volts, np.where(again, 0.05, amps))


@pytest.mark.parametrize(("out_s", "fault"), [(7199.0, False), (7300.0, True)])
def test_a_cable_is_pulled_within_the_logs(out_s: float, fault: bool) -> None:
    assert ("after the end of the logs" in of_record(GOOD, np.ones(ROWS), out_s=out_s)) is fault
