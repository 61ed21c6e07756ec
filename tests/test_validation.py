"""Blocks of the review file: what is wrong is said by key, with what was expected and what to do."""

from __future__ import annotations

import pytest
from pydantic import Field

from reviewkit.errors import Faults, InputError
from reviewkit.schema.quantities import Ampere, Block, Celsius, Ohm, Volt, checked, unknown_key


class Lamp(Block):
    kind: str
    lumens: int = 0
    drain_A: Ampere | None = Field(default=None, gt=0)


class Bench(Block):
    limit_V: Volt = 4.2
    leads_ohm: Ohm = 0.0
    ambient_C: Celsius = 20.0
    lamps: tuple[Lamp, ...] = ()
    dry: bool = True


def faults(values: dict[str, object], under: str = "") -> list[InputError]:
    with pytest.raises(Faults) as caught:
        checked(Bench, values, under=under)
    return list(caught.value.faults)


def test_quantities_are_read_with_their_units() -> None:
    found = checked(
        Bench,
        {
            "limit_V": "4200 mV",
            "leads_ohm": "20 mΩ",
            "ambient_C": "70 °F",
            "lamps": [{"kind": "helmet", "drain_A": "45 µA"}],
        },
    )
    assert found.limit_V == pytest.approx(4.2)
    assert found.leads_ohm == pytest.approx(0.02)
    assert found.ambient_C == pytest.approx(21.111, abs=1e-3)
    assert found.lamps[0].drain_A == pytest.approx(45e-6)


def test_every_fault_is_reported_at_once_with_its_place() -> None:
    found = faults(
        {
            "limit_V": "4.2 A",
            "dry": "damp",
            "lamps": [{"kind": "helmet", "lumens": "many"}, {"lumens": 3}],
        }
    )
    assert [fault.place for fault in found] == ["limit_V", "lamps[1].lumens", "lamps[2].kind", "dry"]
    assert "no unit of the same kind as 'V'" in found[0].message
    assert "expected a whole number" in found[1].message
    assert "the key is missing" in found[2].message
    assert "expected true or false" in found[3].message
    assert all(fault.message.startswith("review.yaml, ") for fault in found)


def test_an_unknown_key_names_the_closest_one() -> None:
    (fault,) = faults({"limit_v": 4.2})
    assert fault.message == "review.yaml, limit_v: no such key 'limit_v'. Did you mean 'limit_V'?"


def test_an_unknown_key_in_a_list_is_compared_with_the_keys_there() -> None:
    (fault,) = faults({"lamps": [{"kind": "helmet", "lumen": 5}]}, under="bench")
    assert fault.place == "bench.lamps[1].lumen"
    assert fault.remedy == "Did you mean 'lumens'?"


def test_a_key_like_no_other_is_answered_with_all_there_are() -> None:
    fault = unknown_key("zzz", ["kind", "lumens"], file="review.yaml")
    assert fault.remedy == "Known here: kind, lumens."


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (True, "yes/no is no quantity in V"),
        ([4.2], "a number in V"),
        ("high", "not a number with a unit"),
        (float("nan"), "a finite number"),
        (float("inf"), "a finite number"),
    ],
)
def test_what_is_no_quantity(value: object, words: str) -> None:
    (fault,) = faults({"limit_V": value})
    assert words in fault.message


def test_a_bound_is_named() -> None:
    (fault,) = faults({"lamps": [{"kind": "helmet", "drain_A": "-3 mA"}]})
    assert "more than 0" in fault.message


def test_a_block_that_is_no_block() -> None:
    (fault,) = faults({"lamps": ["helmet"]})
    assert fault.place == "lamps[1]"
    assert "a block of keys and values" in fault.message


def test_a_long_value_is_cut_in_the_message() -> None:
    (fault,) = faults({"lamps": "x" * 500})
    assert len(fault.message) < 200


def test_blocks_do_not_change_later() -> None:
    bench = checked(Bench, {})
    with pytest.raises(Exception, match="frozen"):
        bench.limit_V = 1.0  # type: ignore[misc]
