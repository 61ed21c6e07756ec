"""The blocks that several sections read: cell, meters, log entries."""

from __future__ import annotations

from typing import Any

import pytest

from reviewkit.errors import Faults
from reviewkit.schema.blocks import Ammeter, Cell, LogBlock, LogEntry, Voltmeter, inside
from reviewkit.schema.quantities import Block, checked


class Holder(Block):
    log: LogEntry


def test_a_chemistry_brings_its_limit_and_the_data_sheet_wins() -> None:
    """4.20 V and 3.65 V: common practice, no source."""
    assert checked(Cell, {"chemistry": "NMC"}).limit_V == 4.20
    assert checked(Cell, {"chemistry": "LFP"}).limit_V == 3.65
    assert "common practice" in checked(Cell, {"chemistry": "LFP"}).limit_source
    own = checked(Cell, {"chemistry": "LFP", "charge_limit_V": "3600 mV"})
    assert own.limit_V == pytest.approx(3.6)
    assert "data sheet" in own.limit_source
    named = checked(Cell, {"charge_limit_V": 4.2, "charge_limit_source": "sheet B, page 3"})
    assert named.limit_source == "sheet B, page 3"


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"chemistry": "zinc"}, "one of 'NMC'"),
        ({"charge_limit_V": 42}, "at most 5"),
        ({"charge_limit_V": "4.2 A"}, "no unit of the same kind"),
        ({"rated_capacity_Ah": 0}, "more than 0"),
        ({"min_termination_A": 0.3, "max_termination_A": "30 mA"}, "not below the highest"),
        ({"capacity": 3}, "no such key 'capacity'"),
    ],
)
def test_a_cell_that_cannot_be(values: dict[str, Any], words: str) -> None:
    with pytest.raises(Faults, match=words):
        checked(Cell, values, under="cell")


def test_capacities_are_read_with_units() -> None:
    assert checked(Cell, {"rated_capacity_Ah": "3400 mAh"}).rated_capacity_Ah == pytest.approx(3.4)


def test_meters_are_read_as_the_trade_writes_them() -> None:
    ammeter = checked(
        Ammeter, {"accuracy": "±(1.0 % + 3)", "resolution": "1 mA", "burden_ohm": 0.03, "leads_ohm": "20 mΩ"}
    ).meter()
    assert ammeter.half_width(0.8) == pytest.approx(0.011)
    assert ammeter.series_ohm == pytest.approx(0.05)
    voltmeter = checked(Voltmeter, {"accuracy": "±(0.05 % + 2)", "resolution": "1 mV"}).meter(6.0)
    assert voltmeter.half_width(4.2) == pytest.approx(0.0041)
    assert voltmeter.full_scale == 6.0


def test_a_meter_of_several_ranges() -> None:
    block = checked(
        Ammeter,
        {
            "accuracy": "1 % + 3",
            "ranges": [
                {"full_scale": "600 µA", "resolution": "0.1 µA"},
                {"full_scale": 10, "resolution": "1 mA"},
            ],
        },
    )
    assert block.meter(0.0006).resolution == pytest.approx(1e-7)
    assert block.meter().full_scale == 10


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"accuracy": "quite good", "resolution": "1 mV"}, "no accuracy such as"),
        ({"accuracy": "1 %"}, "needs its resolution"),
        ({"resolution": "1 mV"}, "needs its accuracy"),
        ({"accuracy": "1 %", "resolution": "1 mA"}, "no unit of the same kind as 'V'"),
        ({"accuracy": "1 %", "resolution": "1 mV", "burden_ohm": -1}, "at least 0"),
    ],
)
def test_a_meter_that_cannot_be_used_says_why(values: dict[str, Any], words: str) -> None:
    with pytest.raises(Faults, match=words):
        checked(Voltmeter, values, under="voltmeter")


def test_a_log_is_a_path_or_a_block() -> None:
    assert checked(Holder, {"log": "logs/v.csv"}).log == LogBlock(path="logs/v.csv")
    block = checked(
        Holder, {"log": {"path": "logs\\v.csv", "unit": "mV", "sign": -1, "clock_offset_s": "2 min"}}
    ).log
    assert (block.path, block.sign, block.clock_offset_s) == ("logs/v.csv", -1, 120.0)


@pytest.mark.parametrize(
    "path", ["/etc/hosts", "../v.csv", "logs/../../v.csv", "C:/v.csv", "\\\\host\\v.csv", ""]
)
def test_a_path_may_not_leave_the_folder(path: str) -> None:
    with pytest.raises(ValueError, match="inside the review folder"):
        inside(path)
    with pytest.raises(Faults, match="inside the review folder"):
        checked(Holder, {"log": path})


def test_a_sign_is_one_way_or_the_other() -> None:
    with pytest.raises(Faults, match="one of"):
        checked(Holder, {"log": {"path": "v.csv", "sign": 2}})
