"""What `import reviewkit` hands out, and how its quantities and findings are used."""

from __future__ import annotations

import math

import pytest

import reviewkit
from reviewkit.findings import Findings, measured
from reviewkit.metrology import Component, Measured, units

NAMES = (
    *("Cell", "Measured", "Meter", "Published", "SideBySide", "Verified", "charge", "check", "compare"),
    *("comparison", "drain", "figures", "findings", "logs", "meter", "readout", "run", "start", "ui_states"),
    "verify",
)


def test_the_names_that_the_kit_hands_out() -> None:
    assert set(NAMES) <= set(reviewkit.__all__)
    assert all(getattr(reviewkit, name) is not None for name in reviewkit.__all__)


def volts(value: float, shared: str = "") -> Measured:
    return Measured(value, "V", (Component("accuracy", 0.01, "V", sensitivity=1.0, shared=shared),))


def test_what_two_quantities_share_cancels_in_their_difference_and_adds_in_their_sum() -> None:
    """GUM 5.2.2: fully correlated inputs add with their signs."""
    a, b = volts(4.2, "voltmeter"), volts(4.1, "voltmeter")
    assert (a - b).standard == pytest.approx(0.0, abs=1e-15)
    assert (a + b).standard == pytest.approx(0.02)
    assert (volts(4.2) - volts(4.1)).standard == pytest.approx(0.01 * math.sqrt(2))


def test_products_and_quotients_have_their_unit_and_the_relative_uncertainties_of_both() -> None:
    """GUM 5.1.6: for products the relative variances of independent factors add."""
    current = Measured(0.5, "A", (Component("accuracy", 0.01, "A"),))
    resistance = volts(4.2) / current
    assert (resistance.value, resistance.unit) == (pytest.approx(8.4), "ohm")
    assert resistance.standard / resistance.value == pytest.approx(math.hypot(0.01 / 4.2, 0.02))
    assert (current * resistance).unit == "V"
    assert (2 * current).value == 1.0


def test_what_a_factor_shares_with_its_divisor_cancels() -> None:
    part, whole = volts(2.1, "voltmeter"), volts(4.2, "voltmeter")
    assert (part / whole).standard == pytest.approx(abs(0.01 / 4.2 - 0.01 * 2.1 / 4.2**2))


def test_unlike_units_do_not_add() -> None:
    with pytest.raises(ValueError, match="V and A do not add"):
        volts(1.0) + Measured(1.0, "A")


@pytest.mark.parametrize(
    ("first", "second", "power", "unit"),
    [("V", "A", -1, "ohm"), ("A", "ohm", 1, "V"), ("W.h", "A.h", -1, "V"), ("V", "V", -1, "1")],
)
def test_the_unit_of_a_product_is_the_one_that_findings_write(
    first: str, second: str, power: int, unit: str
) -> None:
    assert units.product(first, second, power) == unit


def test_a_finding_is_had_by_its_key_and_a_wrong_key_names_the_nearest() -> None:
    found = Findings((measured("charge.hold_voltage", "hold voltage", volts(4.2)),))
    assert found["charge.hold_voltage"] is found[0]
    with pytest.raises(KeyError, match=r"charge\.hold_voltage"):
        found["charge.hold_votlage"]


def test_a_meter_may_be_given_as_text_and_is_refused_at_once_where_that_does_not_do() -> None:
    with pytest.raises(ValueError, match="resolution"):
        reviewkit.meter("±(0.5 % + 2)", "V")
    with pytest.raises(ValueError, match="no accuracy"):
        reviewkit.meter({"accuracy": "quite good", "resolution": 0.001}, "V")


def test_a_quantity_shows_itself_in_a_notebook() -> None:
    assert volts(4.2)._repr_html_() == volts(4.2).text
