"""Displays, degrees of freedom and coverage.

References
----------
JCGM 100:2008 (GUM): F.2.2.1, G.4.1, Table G.2. JCGM 101:2008, 9.2.
"""

from __future__ import annotations

import math
from pathlib import Path

from reviewkit.metrology import (
    Component,
    Measured,
    coverage_factor,
    propagate,
    resolution,
    student_factor,
)
from worked.check import Check, Row, values

_EXACT = {68.27: 0.682689492, 95.45: 0.954499736, 99.73: 0.997300204}
"""Coverage of one, two and three standard deviations, which the table's headings round."""


def display_step() -> Check:
    """Return the doubt that a digital display's step gives: 0.29 of the step."""
    return Check(
        "GUM (JCGM 100:2008) F.2.2.1: a display of step δ has u = 0.29 δ",
        "from memory",
        (
            Row("u, for a step of 1", 0.29, resolution("display", 1.0, "1").standard, 2),
            Row("u, for a step of 100 mV", 29, 1e3 * resolution("display", 0.1, "V").standard, 0, "mV"),
        ),
    )


def gum_g41(folder: str | Path) -> Check:
    """Return a product of three inputs of few readings each.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values.
    """
    known = values(folder, "gum_g4_product")
    inputs = [
        Measured(1.0, "1", (Component("x", percent / 100, "1", dof=count - 1),))
        for percent, count in zip(known["relative_u_percent"], known["n"], strict=True)
    ]
    product = propagate(lambda a, b, c: a * b * c, *inputs, unit="1")
    t95 = student_factor(product.dof, 0.95)
    kept = "the example rounds 18.9987 to 19; the kit cuts it to 18, as G.4.1 allows"
    return Check(
        known["source"],
        known["seen"],
        (
            Row("combined relative uncertainty", 1.03, 100 * product.standard, 2, "%"),
            Row("degrees of freedom", 19, product.dof, 0, "", kept),
            Row("95 % uncertainty", 2.2, 100 * t95 * product.standard, 1, "%"),
        ),
    )


def gum_table_g2(folder: str | Path, *, percent: float = 95) -> Check:
    """Return a column of the table of t factors.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values.
    percent : float [%]
        The column: 68.27, 90, 95, 95.45, 99 or 99.73.

    Raises
    ------
    ValueError
        If the table has no such column.
    """
    known = values(folder, "gum_table_g2")
    column, slip = known["percent"].index(percent), known["slip"]
    rows = []
    for row in known["rows"]:
        nu, printed = row["nu"], row["t"][column]
        found = student_factor(float(nu), _EXACT.get(percent, percent / 100))
        at_slip = (nu, percent) == (slip["nu"], slip["p"])
        digits = _decimals(nu, printed)
        rows.append(Row(f"ν = {nu}", printed, found, digits, "", "a slip in print" if at_slip else ""))
    return Check(f"{known['source']}, p = {percent:g} %", known["seen"], tuple(rows))


def _decimals(nu: int, printed: float) -> int:
    if printed > 200:
        return 1
    return 3 if nu == 100 else 2


def sums_of_doubts(folder: str | Path) -> Check:
    """Return 95 % of a sum of four doubts, and of one alone.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values.
    """
    known = values(folder, "jcgm_101")
    normal = [Component(f"x{number}", 1.0, "1") for number in range(4)]
    flat = [Component(f"x{number}", math.sqrt(3), "1", "rectangular") for number in range(4)]
    return Check(
        known["source"],
        known["seen"],
        (
            Row("four normal doubts: ±", known["four_normal_95"], 2 * coverage_factor(normal, 0.95), 2),
            Row(
                "four rectangular doubts: ±",
                known["four_rectangular_95_monte_carlo"],
                2 * coverage_factor(flat, 0.95),
                2,
            ),
            Row(
                "one rectangular doubt alone, in half-widths: ±",
                known["computed"]["one_rectangular_95_of_half_width"],
                coverage_factor(flat[:1], 0.95) / math.sqrt(3),
                2,
            ),
        ),
    )
