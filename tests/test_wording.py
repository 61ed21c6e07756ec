"""How quantities are written: digits after the GUM, signs, blanks, time spans."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.metrology import formatting
from reviewkit.metrology.formatting import MINUS, NO_BREAK, THIN


def spaced(text: str) -> str:
    """Return a text with plain blanks, to be read in a test."""
    return text.replace(NO_BREAK, " ").replace(THIN, " ")


@pytest.mark.parametrize(
    ("value", "uncertainty", "unit", "expected"),
    [
        # GUM 7.2.6, from memory: 10.05762 ohm with 27 mohm is reported as 10.058 ohm.
        (10.05762, 0.027, "ohm", "10.058 Ω ± 0.027 Ω"),
        # GUM 7.2.2, from memory: 100.02147 with 0.79 in its last digits.
        (100.02147, 0.00079, "V", "100.02147 V ± 0.00079 V"),
        (0.4971, 0.00612, "A", "0.4971 A ± 0.0061 A"),
        (4.1837, 0.0231, "V", "4.184 V ± 0.023 V"),
        (0.000045123, 0.0000012, "A", "45.1 µA ± 1.2 µA"),
        (0.0034, 0.00012, "A", "3.40 mA ± 0.12 mA"),
        (-0.0031, 0.0004, "A", "−3.10 mA ± 0.40 mA"),
        (2.7229, 0.0083, "A.h", "2.7229 Ah ± 0.0083 Ah"),
        (83.27, 0.42, "%", "83.27 % ± 0.42 %"),
        (4.2, None, "V", "4.200 V"),
        (4.0, None, "V", "4 V"),
        (1234567.0, 23000.0, "V", "1 235 000 V ± 23 000 V"),
        (1.0, 0.0996, "V", "1.00 V ± 0.10 V"),
        (0.0, 0.00012, "A", "0 µA ± 120 µA"),
    ],
)
def test_value_and_uncertainty(value: float, uncertainty: float | None, unit: str, expected: str) -> None:
    assert spaced(formatting.quantity(value, uncertainty, unit)) == expected


def test_a_quantity_never_breaks_across_lines() -> None:
    assert not re.search(r"[ \n\t]", formatting.quantity(0.497, 0.006, "A"))


@given(uncertainty=st.floats(1e-9, 1e6))
def test_an_uncertainty_shows_two_significant_digits(uncertainty: float) -> None:
    """GUM 7.2.6: at most two."""
    decimals = formatting.decimals_for(uncertainty)
    shown = round(uncertainty, decimals)
    digits = f"{shown:.{max(decimals, 0)}f}".replace(".", "").lstrip("0")
    if decimals < 0:
        digits = digits[:decimals]
    assert len(digits) == 2
    assert shown == pytest.approx(uncertainty, rel=0.051)


@given(value=st.floats(-1e5, 1e5), decimals=st.integers(0, 6))
def test_a_number_can_be_read_back(value: float, decimals: int) -> None:
    text = formatting.number(value, decimals).replace(THIN, "").replace(MINUS, "-")
    assert float(text) == pytest.approx(value, abs=0.5000001 * 10**-decimals)
    assert not text.startswith("-0") or float(text) < 0


@pytest.mark.parametrize(
    ("value", "decimals", "expected"),
    [(-0.0, 1, "0.0"), (-0.04, 1, "0.0"), (12345.6, 1, "12 345.6"), (1234.5, 0, "1234"), (-1.5, 1, "−1.5")],
)
def test_numbers(value: float, decimals: int, expected: str) -> None:
    assert spaced(formatting.number(value, decimals)) == expected


def test_what_is_no_number() -> None:
    assert [formatting.number(value, 1) for value in (math.inf, -math.inf, math.nan)] == ["∞", "−∞", "?"]


@pytest.mark.parametrize(("unit", "expected"), [("d", "∞ d"), ("V", "∞ V")])
def test_what_has_no_end_is_still_written(unit: str, expected: str) -> None:
    assert spaced(formatting.quantity(math.inf, None, unit)) == expected


@pytest.mark.parametrize(
    ("seconds", "uncertainty", "expected"),
    [
        (10204.0, 12.3, "2 h 50 min 04 s ± 12 s"),
        (10204.0, 150.0, "2 h 50 min ± 2.5 min"),
        (10204.0, None, "2 h 50 min"),
        (34.61, 0.29, "34.61 s ± 0.29 s"),
        (-42.9, 1.1, "−42.9 s ± 1.1 s"),
        (0.0, 0.5, "0.00 s ± 0.50 s"),
        (5.0, None, "5 s"),
        (3600.0, 900.0, "1 h 00 min ± 15 min"),
        (-7260.0, None, "−2 h 01 min"),
    ],
)
def test_time_spans(seconds: float, uncertainty: float | None, expected: str) -> None:
    assert spaced(formatting.quantity(seconds, uncertainty, "s")) == expected


def test_a_clock_carries_a_minute_that_is_full() -> None:
    assert spaced(formatting.clock(3599.7)) == "1 h 00 min"
    assert spaced(formatting.clock(3599.7, with_seconds=True)) == "1 h 00 min 00 s"


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        (4.15, 4.25, "4.150 V to 4.250 V"),
        (None, 4.25, "at most 4.250 V"),
        (4.15, None, "at least 4.150 V"),
        (None, None, ""),
        (None, 0.0, "at most 0 V"),
    ],
)
def test_intervals(low: float | None, high: float | None, expected: str) -> None:
    assert spaced(formatting.interval(low, high, "V")) == expected


@pytest.mark.parametrize(
    ("words", "expected"),
    [([], ""), (["a"], "a"), (["a", "b"], "a and b"), (["a", "b", "c"], "a, b and c")],
)
def test_lists(words: list[str], expected: str) -> None:
    assert formatting.listed(words) == expected
    assert formatting.listed(words, "or") == expected.replace("and", "or")


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (-2.656245e-3, 2.656245e-3, "−2.66 mA to 2.66 mA"),
        (None, 4.2125, "at most 4.2125 mA"),
        (0.06, 0.3, "0.06 A to 0.3 A"),
    ],
)
def test_a_limit_that_was_worked_out_has_three_digits(low, high, text):
    unit, scale = "A", 1.0 if (high or 0) < 1 else 1e-3
    shown = formatting.declared(None if low is None else low * scale, high * scale, unit)
    assert shown.replace("\u00a0", " ") == text
