"""Units: every spelling that a meter or a review file uses, converted once."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.metrology import units


@pytest.mark.parametrize(
    ("unit", "to", "expected"),
    [
        ("mV", "V", 1e-3),
        ("mA", "A", 1e-3),
        ("µA", "A", 1e-6),  # micro sign, U+00B5
        ("μA", "A", 1e-6),  # Greek letter, U+03BC
        ("uA", "A", 1e-6),
        ("nA", "A", 1e-9),
        ("kV", "V", 1e3),
        ("Ω", "ohm", 1.0),  # Greek capital, U+03A9
        ("\u2126", "ohm", 1.0),  # ohm sign
        ("mΩ", "ohm", 1e-3),
        ("mohm", "ohm", 1e-3),
        ("kΩ", "ohm", 1e3),
        ("Ah", "A.h", 1.0),
        ("mAh", "A.h", 1e-3),
        ("A·h", "A.h", 1.0),
        ("Wh", "W.h", 1.0),
        ("mWh", "W.h", 1e-3),
        ("A.h", "A*s", 3600.0),
        ("min", "s", 60.0),
        ("h", "s", 3600.0),
        ("d", "s", 86400.0),
        ("%", "1", 0.01),
        ("V", "V", 1.0),
    ],
)
def test_factors(unit: str, to: str, expected: float) -> None:
    assert units.factor(unit, to) == pytest.approx(expected, rel=1e-12)


def test_what_is_told_without_pint_is_what_pint_tells() -> None:
    usual, products = units._USUAL, units._OHMS_LAW
    assert {unit: (units._pint_factor(unit, to), to) for unit, (_, to) in usual.items()} == usual
    assert {asked: units._pint_product(*asked) for asked in products} == products


@pytest.mark.parametrize(
    ("unit", "to"),
    [("A", "V"), ("mA", "V"), ("Ah", "A"), ("apples", "V"), ("", "V"), ("%%", "1"), ("V V", "V")],
)
def test_units_of_another_kind_are_refused_by_name(unit: str, to: str) -> None:
    with pytest.raises(ValueError, match="no unit of the same kind"):
        units.factor(unit, to)


@pytest.mark.parametrize(
    ("written", "unit", "expected"),
    [
        (0.5, "A", 0.5),
        (3, "V", 3.0),
        ("500 mA", "A", 0.5),
        ("500mA", "A", 0.5),
        ("0,5 A", "A", 0.5),
        ("0.5", "A", 0.5),
        ("−20 mV", "V", -0.02),
        ("-2e-2 V", "V", -0.02),
        ("+4.20 V", "V", 4.2),
        ("20 mΩ", "ohm", 0.02),
        ("3000 mAh", "A.h", 3.0),
        ("90 min", "s", 5400.0),
        ("21 °C", "degC", 21.0),
        ("21 degC", "degC", 21.0),
        ("21", "degC", 21.0),
        ("294.15 K", "degC", 21.0),
        ("70 °F", "degC", 21.1111111),
        ("-10 °C", "degC", -10.0),
        ("12 %", "%", 12.0),
    ],
)
def test_quantities_as_people_write_them(written: float | str, unit: str, expected: float) -> None:
    assert units.to_unit(written, unit) == pytest.approx(expected)


@pytest.mark.parametrize("written", ["half", "1.5.2 A", "A", "", "5 V", "5 °C", "1,000.5 A"])
def test_what_is_no_such_quantity(written: str) -> None:
    with pytest.raises(ValueError, match=r"A'"):
        units.to_unit(written, "A")


def test_yes_and_no_are_no_quantities() -> None:
    with pytest.raises(ValueError, match="yes/no"):
        units.to_unit(True, "A")


@given(value=st.floats(-1e6, 1e6).filter(lambda number: abs(number) > 1e-6))
def test_milli_and_plain_agree(value: float) -> None:
    assert units.to_unit(f"{value * 1000!r} mA", "A") == pytest.approx(value)


@pytest.mark.parametrize(
    ("value", "unit", "sign"),
    [
        (0.8, "A", "A"),
        (0.1, "A", "A"),
        (0.0999, "A", "mA"),
        (0.001, "A", "mA"),
        (45e-6, "A", "µA"),
        (-0.003, "A", "mA"),
        (0.0, "A", "A"),
        (0.05, "ohm", "mΩ"),
        (1.5, "ohm", "Ω"),
        (2.7, "A.h", "Ah"),
        (0.01, "V", "V"),
        (21.0, "degC", "°C"),
        (3.0, "1", ""),
    ],
)
def test_the_sign_that_a_reader_sees(value: float, unit: str, sign: str) -> None:
    scale, shown = units.for_people(value, unit)
    assert shown == sign
    assert value / scale == pytest.approx(value / {"mA": 1e-3, "µA": 1e-6, "mΩ": 1e-3}.get(sign, 1.0))
