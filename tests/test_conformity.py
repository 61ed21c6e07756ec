"""Decisions against JCGM 106, ILAC-G8 and published binomial limits."""

from __future__ import annotations

import math
from itertools import count
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from published_values import published
from scipy import stats
from worked.decisions import risks

from reviewkit.metrology import Component, Measured
from reviewkit.metrology.conformity import (
    Limit,
    clopper_pearson,
    conformance_probability,
    judge,
    upper_bound,
    verdict_of,
)

JCGM_106 = published("jcgm_106")
RESISTORS = JCGM_106["resistors"]
BINOMIAL = published("clopper_pearson")
GUARD = published("ilac_g8_guard_bands")


def test_share_of_good_resistors() -> None:
    """JCGM 106 9.5: 10 % nonconforming as printed (from memory), 0.904419 computed."""
    inside = conformance_probability(RESISTORS["nominal"], RESISTORS["u0"], Limit(*RESISTORS["T"]))
    assert inside == pytest.approx(RESISTORS["p_c"], abs=1e-9)
    assert round(100 * (1 - inside)) == JCGM_106["resistors_printed_from_memory"]["nonconforming_percent"]


def test_risks_of_the_resistor_example() -> None:
    """JCGM 106 9.5: consumer's risk 1 %, producer's 7 % (printed values from memory)."""
    found = risks(
        RESISTORS["nominal"],
        RESISTORS["u0"],
        RESISTORS["um"],
        Limit(*RESISTORS["T"]),
        Limit(*RESISTORS["A"]),
    )
    assert found == pytest.approx((RESISTORS["R_C"], RESISTORS["R_P"]), abs=1e-7)
    printed = JCGM_106["resistors_printed_from_memory"]
    assert [round(100 * risk) for risk in found] == [printed["consumer_percent"], printed["producer_percent"]]


@pytest.mark.parametrize(("half_width", "expected"), RESISTORS["by_half_width_A"].items())
def test_risks_by_acceptance_limit(half_width: str, expected: list[float]) -> None:
    """The resistor example with other acceptance limits: computed, no source."""
    middle, wide = RESISTORS["nominal"], float(half_width)
    acceptance = Limit(middle - wide, middle + wide)
    found = risks(middle, RESISTORS["u0"], RESISTORS["um"], Limit(*RESISTORS["T"]), acceptance)
    assert found == pytest.approx(expected, abs=2e-7)


def test_risks_need_both_ends() -> None:
    with pytest.raises(ValueError, match="both ends"):
        risks(0.0, 1.0, 0.1, Limit(high=1.0), Limit(-1.0, 1.0))


def test_diode_example() -> None:
    """JCGM 106, one upper limit: y = −5.47 V, u = 0.05 V, T_U = −5.40 V (from memory)."""
    diode = JCGM_106["diode"]
    found = conformance_probability(diode["value_V"], diode["u_V"], Limit(high=diode["upper_V"]))
    assert found == pytest.approx(diode["p_c"], abs=0.005)
    assert found == pytest.approx(0.9192, abs=5e-5)
    sample = Measured(diode["value_V"], "V", (Component("meter", diode["u_V"], "V"),))
    assert judge(sample, Limit(high=diode["upper_V"])) == "inconclusive"


@pytest.mark.parametrize(("probability", "z"), JCGM_106["one_sided_z"].items())
def test_one_sided_table(probability: str, z: float) -> None:
    """JCGM 106 Table 1 (from memory): the distance z·u from a single limit for a conformance probability."""
    assert conformance_probability(-z, 1.0, Limit(high=0.0)) == pytest.approx(float(probability), abs=2e-3)
    assert stats.norm.ppf(float(probability)) == pytest.approx(z, abs=0.0051)
    assert conformance_probability(z, 1.0, Limit(low=0.0)) == pytest.approx(float(probability), abs=2e-3)


@pytest.mark.parametrize(("share", "risk"), GUARD["false_acceptance_by_w_over_U"].items())
def test_guard_bands(share: str, risk: float) -> None:
    """ILAC-G8 Table 1 (from memory): false acceptance of a reading at the guarded limit, U = 2 u."""
    reading = 1.0 - float(share) * 2 * 0.01
    assert 1 - conformance_probability(reading, 0.01, Limit(high=1.0)) == pytest.approx(risk, rel=2e-4)


def test_without_doubt_the_answer_is_yes_or_no() -> None:
    limit = Limit(4.15, 4.25)
    assert [conformance_probability(volts, 0.0, limit) for volts in (4.14, 4.15, 4.25, 4.26)] == [0, 1, 1, 0]


@pytest.mark.parametrize(
    ("probability", "verdict"),
    [
        (1.0, "pass"),
        (0.95, "pass"),
        (0.9499, "inconclusive"),
        (0.0501, "inconclusive"),
        (0.05, "fail"),
        (0, "fail"),
    ],
)
def test_the_verdicts_thresholds(probability: float, verdict: str) -> None:
    assert verdict_of(probability) == verdict


def test_a_wide_doubt_inside_a_narrow_limit_passes_nothing() -> None:
    wide = Measured(4.20, "V", (Component("meter", 0.2, "V"),))
    assert judge(wide, Limit(4.15, 4.25)) == "inconclusive"
    # However wide: a value in the middle of a limit is no evidence that it lies beyond one of its ends.
    assert judge(Measured(4.20, "V", (Component("meter", 2.0, "V"),)), Limit(4.15, 4.25)) == "inconclusive"


@given(value=st.floats(-5, 5), standard=st.floats(0.001, 3), low=st.floats(-3, 0), wide=st.floats(0.01, 4))
def test_conformance_probability_is_the_normal_distributions(
    value: float, standard: float, low: float, wide: float
) -> None:
    """scipy's normal distribution as the oracle."""
    found = conformance_probability(value, standard, Limit(low, low + wide))
    distribution = stats.norm(value, standard)
    assert found == pytest.approx(distribution.cdf(low + wide) - distribution.cdf(low), abs=1e-12)


# --- trials -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("case", BINOMIAL["published"], ids=lambda case: case["source"][:12])
def test_published_binomial_limits(case: dict[str, Any]) -> None:
    low, high = clopper_pearson(case["seen_count"], case["tried"], case["confidence"])
    half_digit = 1.01 * 10.0 ** -case["digits"]
    assert low == pytest.approx(case["low"], abs=half_digit)
    assert high == pytest.approx(case["high"], abs=half_digit)


@pytest.mark.parametrize(("case", "expected"), BINOMIAL["computed_95"].items())
def test_binomial_limits_of_few_trials(case: str, expected: list[float]) -> None:
    """Computed with scipy's exact binomial test."""
    seen, tried = (int(number) for number in case.split("/"))
    assert clopper_pearson(seen, tried) == pytest.approx(expected, abs=6e-7)


@given(tried=st.integers(1, 300), share=st.floats(0, 1), confidence=st.sampled_from([0.8, 0.9, 0.95, 0.99]))
def test_binomial_limits_are_scipys(tried: int, share: float, confidence: float) -> None:
    seen = round(share * tried)
    oracle = stats.binomtest(seen, tried).proportion_ci(confidence, method="exact")
    assert clopper_pearson(seen, tried, confidence) == pytest.approx((oracle.low, oracle.high), abs=1e-9)
    upper = stats.binomtest(seen, tried, alternative="less").proportion_ci(confidence, method="exact").high
    assert upper_bound(seen, tried, confidence) == pytest.approx(upper, abs=1e-9)


@pytest.mark.parametrize(("tried", "expected"), BINOMIAL["zero_events"]["upper_95"].items())
def test_nothing_seen_in_n_tries(tried: str, expected: float) -> None:
    """1 − 0.05^(1/n); the rule of three, 3/n, is its limit for many tries."""
    found = upper_bound(0, int(tried))
    assert found == pytest.approx(expected, abs=1.01e-6)
    assert found == pytest.approx(1 - 0.05 ** (1 / int(tried)), rel=1e-12)
    if int(tried) >= 30:
        assert found == pytest.approx(3 / int(tried), rel=0.06)


@pytest.mark.parametrize(
    ("below", "needed"), [("0.10", 29), ("0.05", 59), ("0.01", 299)], ids=["10 %", "5 %", "1 %"]
)
def test_tries_needed_to_call_an_event_rare(below: str, needed: int) -> None:
    assert BINOMIAL["zero_events"]["tries_needed_for_upper_95_below"][below] == needed
    assert next(tries for tries in count(1) if upper_bound(0, tries) < float(below)) == needed


def test_always_seen_leaves_no_upper_room() -> None:
    assert upper_bound(12, 12) == 1.0
    assert clopper_pearson(12, 12)[1] == 1.0


@pytest.mark.parametrize(("seen", "tried"), [(0, 0), (3, 2), (-1, 5)])
def test_impossible_trials_are_refused(seen: int, tried: int) -> None:
    for bound in (clopper_pearson, upper_bound):
        with pytest.raises(ValueError, match="tried must be at least 1"):
            bound(seen, tried)


def test_a_lone_hard_limit_is_judged_no_bolder_than_the_normal_rule() -> None:
    """A reading 0.95 a inside its limit is a pass either way: 0.95·√3 = 1.645 (JCGM 101 and 106)."""
    hard = Component("meter", 0.02, "V", "rectangular")
    assert judge(Measured(4.25 - 0.951 * 0.02, "V", (hard,)), Limit(high=4.25)) == "pass"
    assert math.isclose(0.95 * math.sqrt(3), stats.norm.ppf(0.95), rel_tol=2e-3)


@pytest.mark.parametrize(
    ("value", "standard", "verdict"),
    [
        (0.0, 1.0, "inconclusive"),
        (0.5, 1.0, "inconclusive"),
        (2.5, 1.0, "fail"),
        (-2.5, 1.0, "fail"),
        (0.1, 0.001, "fail"),
    ],
)
def test_a_doubt_much_wider_than_the_limit_fails_nothing_in_its_middle(
    value: float, standard: float, verdict: str
) -> None:
    """Only 4 in 100 of it lie inside, and as many below as above: the meter can't tell."""
    measured = Measured(value, "A", (Component("accuracy", standard, "A"),))
    assert judge(measured, Limit(-0.05, 0.05, "chosen for this test")) == verdict
