"""Decisions near a limit, and what repeated trials prove.

References
----------
JCGM 106:2012, 7 and 9.5; ILAC-G8:09/2019, Table 1; Clopper and Pearson (1934); NIST/SEMATECH e-Handbook
7.2.4.
"""

from __future__ import annotations

import math
from pathlib import Path

from scipy import integrate

from reviewkit.metrology import conformity
from reviewkit.metrology.conformity import Limit, clopper_pearson, conformance_probability
from worked.check import Check, Row, values


def risks(
    nominal: float, spread: float, measuring: float, tolerance: Limit, acceptance: Limit
) -> tuple[float, float]:
    """Return the global consumer's and producer's risk of a decision rule.

    Parameters
    ----------
    nominal, spread : float
        Mean and standard deviation of the property over the items.
    measuring : float
        Standard uncertainty of the measuring system.
    tolerance, acceptance : Limit
        Both two-sided: where the property must lie, and where the reading must lie to be accepted.

    Returns
    -------
    tuple of (float, float)
        P(accepted and outside), P(rejected and inside): JCGM 106 clause 9.5.
    """

    def density(x: float) -> float:
        return math.exp(-(((x - nominal) / spread) ** 2) / 2) / (spread * math.sqrt(2 * math.pi))

    def accepted(x: float) -> float:
        return conformance_probability(x, measuring, acceptance)

    low, high = _both(tolerance)
    far_low, far_high = min(low, nominal - 9 * spread), max(high, nominal + 9 * spread)
    outside = (
        integrate.quad(lambda x: density(x) * accepted(x), far_low, low)[0]
        + integrate.quad(lambda x: density(x) * accepted(x), high, far_high)[0]
    )
    inside = integrate.quad(lambda x: density(x) * (1 - accepted(x)), low, high)[0]
    return float(outside), float(inside)


def _both(limit: Limit) -> tuple[float, float]:
    if limit.low is None or limit.high is None:
        raise ValueError("risks need a limit with both ends")
    return limit.low, limit.high


def resistors(folder: str | Path) -> Check:
    """Return the risks of accepting resistors by a reading.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values.
    """
    known = values(folder, "jcgm_106")
    given, printed = known["resistors"], known["resistors_printed_from_memory"]
    tolerance, acceptance = Limit(*given["T"]), Limit(*given["A"])
    inside = conformance_probability(given["nominal"], given["u0"], tolerance)
    wrongly_in, wrongly_out = risks(given["nominal"], given["u0"], given["um"], tolerance, acceptance)
    diode = known["diode"]
    held = conformance_probability(diode["value_V"], diode["u_V"], Limit(high=diode["upper_V"]))
    return Check(
        known["source"],
        known["seen"],
        (
            Row(
                "resistors outside the tolerance",
                printed["nonconforming_percent"],
                100 * (1 - inside),
                0,
                "%",
            ),
            Row("accepted though outside", printed["consumer_percent"], 100 * wrongly_in, 0, "%"),
            Row("rejected though inside", printed["producer_percent"], 100 * wrongly_out, 0, "%"),
            Row("probability that the diode is inside", diode["p_c"], held, 2),
        ),
    )


def guard_bands(folder: str | Path) -> Check:
    """Return the risk of false acceptance at the edge of a guard band.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values.
    """
    known = values(folder, "ilac_g8_guard_bands")
    rows = (
        Row(
            f"guard band of {float(share):g} U",
            100 * risk,
            100 * (1 - conformance_probability(-2 * float(share), 1.0, Limit(high=0.0))),
            3,
            "%",
        )
        for share, risk in known["false_acceptance_by_w_over_U"].items()
    )
    return Check(known["source"], known["seen"], tuple(rows))


def binomial(folder: str | Path) -> Check:
    """Return the exact limits of a probability from a few trials.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values.
    """
    known = values(folder, "clopper_pearson")
    rows = []
    for case in known["published"]:
        low, high = clopper_pearson(case["seen_count"], case["tried"], case["confidence"])
        name = f"{case['seen_count']} of {case['tried']}, {100 * case['confidence']:g} %"
        # The handbook's sixth digit is one off: 0.401029 for 0.4010284.
        digits = case["digits"]
        rows += [
            Row(f"{name}: low", case["low"], low, digits),
            Row(f"{name}: high", case["high"], high, digits),
        ]
    sources = "; ".join(case["source"] for case in known["published"])
    return Check(sources, known["seen"], tuple(rows))


def trials_needed(folder: str | Path) -> Check:
    """Return how many trials without the event prove that it is rare.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values.
    """
    known = values(folder, "clopper_pearson")["zero_events"]
    rows = tuple(
        Row(
            f"trials for a bound below {100 * float(bound):g} %",
            tries,
            conformity.trials_needed(float(bound)),
            0,
        )
        for bound, tries in known["tries_needed_for_upper_95_below"].items()
    )
    return Check(known["source"], "the bounds are exact and can be computed by hand", rows)
