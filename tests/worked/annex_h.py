"""The worked examples of the GUM's Annex H: an end gauge, an impedance, a thermometer's line.

References
----------
JCGM 100:2008 (GUM), H.1, H.2, H.3.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from reviewkit.charge.statistics import line
from reviewkit.metrology import Component, Measured, difference, means, propagate, student_factor
from worked.check import Check, Row, values


def gum_h1(folder: str | Path) -> Check:
    """Return the end-gauge calibration: many small doubts, few degrees of freedom.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values.
    """
    known = values(folder, "gum_h1_end_gauge")
    length = propagate(
        lambda l_s, d, alpha, d_alpha, d_theta, theta: l_s + d - l_s * (d_alpha * theta + alpha * d_theta),
        *_end_gauge(known["inputs"]),
        unit="nm",
    )
    printed, memory = known["printed"], known["printed_from_memory"]
    t99 = student_factor(length.dof, 0.99)
    return Check(
        known["source"],
        known["seen"],
        (
            Row("length", printed["l_nm"], length.value, 0, "nm"),
            Row("combined standard uncertainty", printed["uc_nm"], length.standard, 0, "nm"),
            Row("degrees of freedom, cut to a whole number", printed["dof"], length.dof, 0),
            Row("99 % uncertainty, from the rounded 32 nm", memory["U99_nm"], t99 * 32, 0, "nm"),
        ),
    )


def _end_gauge(given: Mapping[str, Any]) -> tuple[Measured, ...]:
    apart = zip(given["u_d_nm"], given["dof_d"], strict=True)
    alpha = given["half_width_alpha_s_per_C"]
    d_alpha, d_theta = given["half_width_d_alpha_per_C"], given["half_width_d_theta_C"]
    theta = (
        Component("θ", given["u_theta_C"], "K"),
        Component("θ, cycle", given["half_width_theta_cycle_C"], "K", "u-shaped"),
    )
    return (
        Measured(given["l_s_nm"], "nm", (Component("l_s", given["u_l_s_nm"], "nm", dof=given["dof_l_s"]),)),
        Measured(given["d_nm"], "nm", tuple(Component("d", size, "nm", dof=dof) for size, dof in apart)),
        Measured(given["alpha_s_per_C"], "1/K", (Component("α_s", alpha, "1/K", "rectangular"),)),
        Measured(0, "1/K", (Component("δα", d_alpha, "1/K", "rectangular", dof=given["dof_d_alpha"]),)),
        Measured(0, "K", (Component("δθ", d_theta, "K", "rectangular", dof=given["dof_d_theta"]),)),
        Measured(given["theta_C"], "K", theta),
    )


def gum_h2(folder: str | Path) -> Check:
    """Return resistance, reactance and impedance from readings that move together.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values.
    """
    # Sine and cosine that carry their derivatives; the library makes them when it is loaded.
    from uncertainties.umath import cos, sin  # type: ignore[attr-defined]

    known = values(folder, "gum_h2_impedance")
    inputs = means([known["V"], known["I"], known["phi"]], ("V", "I", "φ"), ("V", "A", "1"))
    found = {
        "R": propagate(lambda volt, ampere, phi: volt * cos(phi) / ampere, *inputs, unit="ohm"),
        "X": propagate(lambda volt, ampere, phi: volt * sin(phi) / ampere, *inputs, unit="ohm"),
        "Z": propagate(lambda volt, ampere, phi: volt / ampere, *inputs, unit="ohm"),
    }
    rows = []
    for name, one in found.items():
        value, standard = known["printed"][name]
        rows += [Row(name, value, one.value, 3, "Ω")]
        cut = "the example prints 0.295 for 0.2956" if name == "X" else ""
        rows += [Row(f"u({name})", standard, one.standard, 3, "Ω", cut)]
    for pair, printed in known["printed_r_from_memory"].items():
        first, second = pair.split(",")
        rows += [Row(f"r({first}, {second})", printed, correlation(found[first], found[second]), 3)]
    return Check(known["source"], known["seen"], tuple(rows))


def correlation(first: Measured, second: Measured) -> float:
    """Return the correlation of two results, from the unknowns that they share."""
    apart = difference(first, second).standard
    return (first.standard**2 + second.standard**2 - apart**2) / (2 * first.standard * second.standard)


def gum_h3(folder: str | Path) -> Check:
    """Return a thermometer's correction: a straight line, and its doubt beyond the readings.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values.
    """
    known = values(folder, "gum_h3_thermometer")
    printed, zero = known["printed_from_memory"], known["t0_C"]
    fitted = line(np.array(known["t_C"]) - zero, np.array(known["b_C"]))
    slope = fitted.residual / math.sqrt(fitted.spread_s2)
    return Check(
        known["source"],
        known["seen"],
        (
            Row("correction at 20 °C", printed["y1"], fitted.at(0.0), 4, "°C"),
            Row("its standard uncertainty", printed["u_y1"], fitted.standard_at(0.0, 0.0), 4, "°C"),
            Row("slope", printed["y2"], fitted.slope, 5),
            Row("its standard uncertainty", printed["u_y2"], slope, 5),
            Row("scatter about the line", printed["s"], fitted.residual, 4, "°C"),
            Row("correction at 30 °C", printed["b30"], fitted.at(30.0 - zero), 4, "°C"),
            Row("its standard uncertainty", printed["u_b30"], fitted.standard_at(30.0 - zero, 0.0), 4, "°C"),
        ),
    )
