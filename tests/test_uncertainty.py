"""The uncertainty core against the GUM's own examples, two metrology libraries and Monte Carlo."""

from __future__ import annotations

import math
from dataclasses import replace

import GTC
import numpy as np
import pytest
import uncertainties
from hypothesis import given
from hypothesis import strategies as st
from published_values import published
from uncertainties import umath

from reviewkit.charge.statistics import line
from reviewkit.metrology import (
    BOUNDED_COVERAGE,
    Component,
    Measured,
    coverage_factor,
    difference,
    effective_dof,
    means,
    merged,
    propagate,
    resolution,
    student_factor,
)

H1 = published("gum_h1_end_gauge")
H2 = published("gum_h2_impedance")
H3 = published("gum_h3_thermometer")
G2 = published("gum_table_g2")


# --- displays ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("step_V", "standard_V"), [(10e-3, 2.887e-3), (1e-3, 0.2887e-3)])
def test_a_display_has_its_step_over_the_root_of_twelve(step_V: float, standard_V: float) -> None:
    """GUM F.2.2.1 (from memory): u = δ/√12 = 0.29 δ."""
    part = resolution("readout", step_V, "V")
    assert part.standard == pytest.approx(standard_V, rel=2e-4)
    assert part.standard == pytest.approx(0.29 * step_V, rel=5e-3)


@pytest.mark.parametrize(
    ("distribution", "divisor"), [("rectangular", 3), ("triangular", 6), ("u-shaped", 2), ("normal", 1)]
)
def test_half_widths_become_standard_uncertainties(distribution: str, divisor: int) -> None:
    """GUM 4.3.7, 4.3.9, H.1.3.4 (clauses from memory); GTC's type-B functions are the oracle."""
    part = Component("limit", 0.3, "V", distribution)  # type: ignore[arg-type]
    assert part.standard == pytest.approx(0.3 / math.sqrt(divisor))
    oracle = {
        "rectangular": GTC.tb.uniform,
        "triangular": GTC.tb.triangular,
        "u-shaped": GTC.tb.arcsine,
        "normal": lambda size: size,
    }[distribution]
    assert part.standard == pytest.approx(oracle(0.3))


# --- H.2: correlated inputs -------------------------------------------------------------------------------


def impedance(V: float, I: float, phi: float) -> tuple[float, float, float]:  # noqa: E741
    return V * umath.cos(phi) / I, V * umath.sin(phi) / I, V / I


def h2_inputs() -> tuple[Measured, ...]:
    readings = [H2["V"], H2["I"], H2["phi"]]
    return means(readings, ("V", "I", "phi"), ("V", "A", "1"))


def h2_results(inputs: tuple[Measured, ...]) -> list[Measured]:
    return [
        propagate(lambda *values, n=number: impedance(*values)[n], *inputs, unit="ohm") for number in range(3)
    ]


def correlation(first: Measured, second: Measured) -> float:
    """Correlation of two results by the variance of their difference."""
    apart = difference(first, second).standard
    product = 2 * first.standard * second.standard
    return (first.standard**2 + second.standard**2 - apart**2) / product


def test_means_of_simultaneous_readings_keep_their_correlation() -> None:
    """GUM H.2, Table H.2."""
    inputs = h2_inputs()
    assert [one.value for one in inputs] == pytest.approx(H2["mean"])
    assert [one.standard for one in inputs] == pytest.approx(H2["u_mean"])
    pairs = {"V,I": (0, 1), "V,phi": (0, 2), "I,phi": (1, 2)}
    for name, (first, second) in pairs.items():
        assert correlation(inputs[first], inputs[second]) == pytest.approx(H2["r_inputs"][name], abs=2e-5)


def test_gum_h2_as_printed_and_in_full() -> None:
    """GUM H.2, Table H.3, approach 1; the full digits are computed with two libraries that agree."""
    found = h2_results(h2_inputs())
    full = H2["computed"]["approach_1"]
    for one, name, standard in zip(found, "RXZ", full["u"], strict=True):
        value, printed = H2["printed"][name]
        assert one.value == pytest.approx(full[name], rel=1e-9)
        assert one.standard == pytest.approx(standard, rel=1e-7)
        assert one.value == pytest.approx(value, abs=6e-4)
        assert one.standard == pytest.approx(printed, abs=6e-4)
    r, x, z = found
    assert correlation(r, x) == pytest.approx(full["r_RX"], abs=1e-6)
    assert correlation(r, z) == pytest.approx(full["r_RZ"], abs=1e-6)
    assert correlation(x, z) == pytest.approx(full["r_XZ"], abs=1e-6)
    printed_r = H2["printed_r_from_memory"]
    assert correlation(r, x) == pytest.approx(printed_r["R,X"], abs=6e-4)
    assert correlation(r, z) == pytest.approx(printed_r["R,Z"], abs=6e-4)
    assert correlation(x, z) == pytest.approx(printed_r["X,Z"], abs=6e-4)


def test_gum_h2_approach_2_agrees_with_the_results_set_by_set() -> None:
    """GUM H.2.4, Table H.4: the quantities computed for each set of readings, then averaged."""
    sets = np.array([impedance(*values) for values in zip(H2["V"], H2["I"], H2["phi"], strict=True)], float).T
    found = means(sets, "RXZ", ("ohm",) * 3)
    full = H2["computed"]["approach_2"]
    assert [one.value for one in found] == pytest.approx([full[name] for name in "RXZ"], rel=1e-9)
    assert [one.standard for one in found] == pytest.approx(full["u"], rel=1e-7)


def test_gum_h2_in_two_libraries() -> None:
    """The same readings through `uncertainties` and through GTC."""
    readings = np.array([H2["V"], H2["I"], H2["phi"]])
    pair = uncertainties.correlated_values(readings.mean(axis=1), np.cov(readings) / readings.shape[1])
    by_uncertainties = impedance(*pair)
    gtc = GTC.ta.multi_estimate_real(readings.tolist())
    by_gtc = (gtc[0] * GTC.cos(gtc[2]) / gtc[1], gtc[0] * GTC.sin(gtc[2]) / gtc[1], gtc[0] / gtc[1])
    for ours, first, second in zip(h2_results(h2_inputs()), by_uncertainties, by_gtc, strict=True):
        assert ours.value == pytest.approx(first.nominal_value, rel=1e-12)
        assert ours.standard == pytest.approx(first.std_dev, rel=1e-9)
        assert ours.standard == pytest.approx(second.u, rel=1e-9)


def test_one_set_of_readings_has_one_number_of_degrees_of_freedom() -> None:
    """Welch–Satterthwaite does not hold for correlated inputs: five sets give ν = 4, as in GTC."""
    readings = [H2["V"], H2["I"], H2["phi"]]
    gtc = GTC.ta.multi_estimate_real(readings)
    for one in (*h2_inputs(), *h2_results(h2_inputs())):
        assert one.dof == 4
    assert (gtc[0] / gtc[1]).df == pytest.approx(4)


def test_dropping_the_correlation_of_h2_gives_the_known_wrong_answer() -> None:
    """Independent inputs would make u(R) 2.7 times too large and u(X) 1.5 times too small."""
    alone = tuple(
        Measured(one.value, one.unit, (Component("repeat readings", one.standard, one.unit, dof=4),))
        for one in h2_inputs()
    )
    dropped = [one.standard for one in h2_results(alone)]
    assert dropped == pytest.approx(H2["computed_u_if_correlation_is_dropped"], rel=1e-6)
    kept = [one.standard for one in h2_results(h2_inputs())]
    assert dropped[0] / kept[0] > 2.7
    assert kept[1] / dropped[1] > 1.4


# --- H.1 and G.4.1: degrees of freedom --------------------------------------------------------------------


def end_gauge() -> Measured:
    """GUM H.1: l = l_s + d − l_s (δα θ + α_s δθ), in nm and °C."""
    given_ = H1["inputs"]
    standard = Measured(given_["l_s_nm"], "nm", (Component("l_s", given_["u_l_s_nm"], "nm", dof=18),))
    apart = Measured(
        given_["d_nm"],
        "nm",
        tuple(
            Component(f"d, part {number}", size, "nm", dof=dof)
            for number, (size, dof) in enumerate(zip(given_["u_d_nm"], given_["dof_d"], strict=True))
        ),
    )
    expansion = Measured(
        given_["alpha_s_per_C"],
        "1/K",
        (Component("α_s", given_["half_width_alpha_s_per_C"], "1/K", "rectangular"),),
    )
    d_alpha = Measured(
        0.0, "1/K", (Component("δα", given_["half_width_d_alpha_per_C"], "1/K", "rectangular", dof=50),)
    )
    d_theta = Measured(
        0.0, "K", (Component("δθ", given_["half_width_d_theta_C"], "K", "rectangular", dof=2),)
    )
    theta = Measured(
        given_["theta_C"],
        "K",
        (
            Component("θ mean", given_["u_theta_C"], "K"),
            Component("θ cycle", given_["half_width_theta_cycle_C"], "K", "u-shaped"),
        ),
    )
    return propagate(
        lambda l_s, d, alpha, da, dt, t: l_s + d - l_s * (da * t + alpha * dt),
        *(standard, apart, expansion, d_alpha, d_theta, theta),
        unit="nm",
    )


def test_gum_h1_end_gauge() -> None:
    found = end_gauge()
    assert found.value == pytest.approx(H1["printed"]["l_nm"], abs=0.5)
    assert found.standard == pytest.approx(H1["computed"]["uc_nm"], rel=1e-6)
    assert round(found.standard) == H1["printed"]["uc_nm"]
    sizes = sorted((part.contribution for part in found.components if part.contribution > 0), reverse=True)
    assert sizes == pytest.approx(sorted(H1["components_nm"], reverse=True), rel=1e-5)


def test_gum_h1_degrees_of_freedom_are_cut_before_the_t_table() -> None:
    """GUM G.4.1: 16.75 becomes 16; H.1.6 (from memory): U99 = 93 nm."""
    found = end_gauge()
    assert found.dof == H1["printed"]["dof"] == math.floor(H1["computed"]["nu_eff"])
    t99 = student_factor(found.dof, 0.99)
    assert t99 == pytest.approx(H1["computed"]["t99"], abs=5e-5)
    assert student_factor(found.dof, 0.95) == pytest.approx(H1["computed"]["t95"], abs=5e-5)
    # The GUM multiplies the rounded 32 nm by 2.92 and prints 93.
    assert t99 * found.standard == pytest.approx(H1["printed_from_memory"]["U99_nm"], abs=1.0)
    assert round(t99 * round(found.standard)) == H1["printed_from_memory"]["U99_nm"]


def test_gum_g41_product_of_three_inputs() -> None:
    """GUM G.4.1, example (inputs from memory); the GUM rounds ν = 18.9987 to 19, the kit cuts it to 18."""
    known = published("gum_g4_product")
    factors = [
        Measured(1.0, "1", (Component(f"x{number}", percent / 100, "1", dof=count - 1),))
        for number, (percent, count) in enumerate(zip(known["relative_u_percent"], known["n"], strict=True))
    ]
    found = propagate(lambda a, b, c: a * b * c, *factors, unit="1")
    assert 100 * found.standard == pytest.approx(known["computed"]["uc_percent"], rel=1e-6)
    assert found.dof == math.floor(known["computed"]["nu_eff"])
    expanded = 100 * student_factor(found.dof, 0.95) * found.standard
    assert expanded == pytest.approx(known["computed"]["U95_percent"], rel=0.005)


def test_independent_inputs_with_the_same_degrees_of_freedom_are_not_taken_for_one_set() -> None:
    two = (Component("a", 1.0, "V", dof=4), Component("b", 1.0, "V", dof=4))
    assert effective_dof(merged(two)) == 8


@pytest.mark.parametrize("row", G2["rows"], ids=lambda row: f"nu={row['nu']}")
def test_gum_table_g2(row: dict[str, object]) -> None:
    """GUM Table G.2 to its printed digits; its one slip (ν = 35, 90 %) comes out right, not as printed."""
    nu, factors = float(row["nu"]), row["t"]  # type: ignore[arg-type]
    assert isinstance(factors, list)
    coverages = {68.27: 0.682689492, 95.45: 0.954499736, 99.73: 0.997300204}
    for percent, printed in zip(G2["percent"], factors, strict=True):
        exact = student_factor(nu, coverages.get(percent, percent / 100))
        if (nu, percent) == (G2["slip"]["nu"], G2["slip"]["p"]):
            assert exact == pytest.approx(G2["slip"]["exact"], abs=5e-6)
            assert abs(exact - printed) > 0.01
            continue
        half_digit = {3: 0.05, 2: 0.005}.get(_decimals(printed, nu), 0.0005)
        assert exact == pytest.approx(printed, abs=0.051 if printed > 200 else half_digit + 1e-9)


def _decimals(printed: float, nu: float) -> int:
    return 1 if nu == 100 else 2


def test_gum_table_g2_for_infinitely_many_degrees_of_freedom() -> None:
    coverages = {68.27: 0.682689492, 95.45: 0.954499736, 99.73: 0.997300204}
    for percent, printed in zip(G2["percent"], G2["infinite"], strict=True):
        assert student_factor(math.inf, coverages.get(percent, percent / 100)) == pytest.approx(
            printed, abs=5e-4
        )


# --- H.3: a straight line ---------------------------------------------------------------------------------


def test_gum_h3_thermometer_line() -> None:
    """GUM H.3, Table H.6: b(t) = y1 + y2 (t − t0); printed values from memory, full digits computed."""
    t0 = H3["t0_C"]
    fitted = line(np.array(H3["t_C"]) - t0, np.array(H3["b_C"]))
    full = H3["computed"]
    assert fitted.at(0.0) == pytest.approx(full["y1"], rel=1e-6)
    assert fitted.slope == pytest.approx(full["y2"], rel=1e-5)
    assert fitted.residual == pytest.approx(full["s"], rel=1e-6)
    assert fitted.standard_at(0.0, 0.0) == pytest.approx(full["u"][0], rel=1e-4)
    assert fitted.residual / math.sqrt(fitted.spread_s2) == pytest.approx(full["u"][1], rel=1e-4)
    assert fitted.at(30.0 - t0) == pytest.approx(full["b30"], rel=1e-6)
    assert fitted.standard_at(30.0 - t0, 0.0) == pytest.approx(full["u_b30"], rel=1e-4)
    assert fitted.dof == len(H3["t_C"]) - 2
    printed = H3["printed_from_memory"]
    assert fitted.at(0.0) == pytest.approx(printed["y1"], abs=6e-5)
    assert fitted.at(30.0 - t0) == pytest.approx(printed["b30"], abs=6e-5)


# --- coverage ---------------------------------------------------------------------------------------------


def rectangular(*standards: float) -> list[Component]:
    return [
        Component(f"part {number}", standard * math.sqrt(3), "V", "rectangular")
        for number, standard in enumerate(standards)
    ]


def test_a_lone_rectangular_doubt_never_leaves_its_own_limits() -> None:
    """JCGM 101: 95 % of a rectangular distribution lie within 0.95 a, where a normal one would say 1.13 a."""
    (part,) = rectangular(1.0)
    share = published("jcgm_101")["computed"]["one_rectangular_95_of_half_width"]
    assert coverage_factor([part], 0.95) * part.standard == pytest.approx(share * part.size, rel=1e-3)
    found = Measured(4.2, "V", (part,))
    assert found.expanded == pytest.approx(BOUNDED_COVERAGE * part.size, rel=1e-3)
    assert found.expanded < part.size


def test_four_rectangular_doubts_as_jcgm_101_has_them() -> None:
    """JCGM 101 clause 9.2.3: ±3.88 by propagation of distributions; four normal ones ±3.92."""
    known = published("jcgm_101")
    assert 2 * coverage_factor(rectangular(1, 1, 1, 1), 0.95) == pytest.approx(
        known["four_rectangular_95_monte_carlo"], abs=0.005
    )
    normal = [Component(f"part {number}", 1.0, "V") for number in range(4)]
    assert 2 * coverage_factor(normal, 0.95) == pytest.approx(known["four_normal_95"], abs=0.005)


MIXTURES = {
    "rectangular and normal": (("rectangular", 1.0), ("normal", 0.3)),
    "two rectangular": (("rectangular", 1.0), ("rectangular", 0.8)),
    "u-shaped and rectangular": (("u-shaped", 1.0), ("rectangular", 0.5)),
    "triangular alone": (("triangular", 1.0),),
    "u-shaped alone": (("u-shaped", 1.0),),
}


@pytest.mark.parametrize("mixture", MIXTURES.values(), ids=MIXTURES.keys())
def test_the_coverage_factor_is_that_of_a_monte_carlo_sum(mixture: tuple[tuple[str, float], ...]) -> None:
    """Propagation of distributions (JCGM 101) by numpy's generators."""
    rng = np.random.default_rng(20)
    count = 400_000
    sources = {
        "rectangular": lambda: rng.uniform(-math.sqrt(3), math.sqrt(3), count),
        "normal": lambda: rng.standard_normal(count),
        "triangular": lambda: rng.triangular(-math.sqrt(6), 0.0, math.sqrt(6), count),
        "u-shaped": lambda: math.sqrt(2) * np.sin(rng.uniform(0, 2 * math.pi, count)),
    }
    total = sum(size * sources[name]() for name, size in mixture)
    widths = {"rectangular": 3, "triangular": 6, "u-shaped": 2, "normal": 1}
    parts = [
        Component(f"part {number}", size * math.sqrt(widths[name]), "V", name)  # type: ignore[arg-type]
        for number, (name, size) in enumerate(mixture)
    ]
    spread = math.sqrt(sum(size**2 for _, size in mixture))
    expected = float(np.quantile(np.abs(total), 0.9545)) / spread
    assert coverage_factor(parts) == pytest.approx(min(expected, 2.0), rel=0.006)


def test_without_any_doubt_the_factor_is_two_and_the_interval_a_point() -> None:
    found = Measured(1.0, "V")
    assert (found.coverage_factor, found.expanded, found.low, found.high) == (2.0, 0.0, 1.0, 1.0)


def test_few_readings_widen_the_interval() -> None:
    """GUM Table G.2: t_95.45 (4) = 2.87."""
    assert Measured(1.0, "V", (Component("scatter", 0.1, "V", dof=4),)).expanded == pytest.approx(
        0.287, abs=5e-4
    )


# --- shared unknowns --------------------------------------------------------------------------------------


def test_one_meters_error_cancels_in_a_difference_and_two_meters_errors_do_not() -> None:
    part = Component("voltmeter accuracy", 0.02, "V", "rectangular", shared="voltmeter")
    first, second = Measured(4.20, "V", (part,)), Measured(4.17, "V", (part,))
    assert difference(first, second).standard == 0.0
    other = replace(second, components=(replace(part, shared="another voltmeter"),))
    assert difference(first, other).standard == pytest.approx(math.sqrt(2) * part.standard)


def test_averaging_does_not_shrink_a_shared_error_but_does_shrink_noise() -> None:
    """METER: one unknown for all readings (GUM 5.2.2); noise: independent (GUM 4.2.3)."""
    gain = Component("accuracy", 0.01, "V", shared="meter")
    readings = [Measured(1.0, "V", (gain, Component("noise", 0.01, "V"))) for _ in range(100)]
    mean = propagate(lambda *values: sum(values) / 100, *readings, unit="V")
    assert mean.standard == pytest.approx(math.hypot(0.01, 0.001), rel=1e-9)


@given(
    slopes=st.lists(st.floats(-5, 5), min_size=2, max_size=2),
    sizes=st.lists(st.floats(0.01, 2), min_size=3, max_size=3),
)
def test_propagation_agrees_with_the_library_for_shared_and_own_unknowns(
    slopes: list[float], sizes: list[float]
) -> None:
    """`uncertainties` as the oracle, for a product of two numbers that share one unknown."""
    common, own_first, own_second = (uncertainties.ufloat(0.0, size) for size in sizes)
    expected = (3.0 + slopes[0] * common + own_first) * (2.0 + slopes[1] * common + own_second)
    shared = Component("common", sizes[0], "1", shared="common")
    first = Measured(3.0, "1", (replace(shared, sensitivity=slopes[0]), Component("own", sizes[1], "1")))
    second = Measured(2.0, "1", (replace(shared, sensitivity=slopes[1]), Component("own", sizes[2], "1")))
    found = propagate(lambda a, b: a * b, first, second, unit="1")
    assert found.value == pytest.approx(6.0)
    assert found.standard == pytest.approx(expected.std_dev, rel=1e-9, abs=1e-12)


def test_a_scaled_number_scales_its_doubt() -> None:
    found = Measured(2.0, "A", (Component("accuracy", 0.1, "A"),)).scaled(-3600, "C")
    assert (found.value, found.unit, found.standard) == (-7200.0, "C", pytest.approx(360.0))


def test_a_mean_of_one_reading_is_refused() -> None:
    with pytest.raises(ValueError, match="at least two readings"):
        means([[1.0]], ["V"], ["V"])
