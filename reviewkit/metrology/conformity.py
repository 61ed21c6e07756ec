"""Decisions: whether a value is inside its limit, and what repeated trials prove.

References
----------
JCGM 106:2012, clause 7 (conformance probability). Clopper and Pearson (1934), exact
binomial limits; a published worked example is NIST/SEMATECH e-Handbook 7.2.4.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from reviewkit.metrology import Measured

Verdict = Literal["pass", "fail", "inconclusive", "not tested"]

CERTAIN = 0.95
"""Conformance probability from which a verdict is `pass` (and 1 − this: `fail`)."""


@dataclass(frozen=True)
class Limit:
    """What a value is judged against, and who says so.

    Parameters
    ----------
    low, high : float or None [unit of the value]
        Either may be missing.
    source : str
        A standard, the cell's data sheet, the maker's claim, or "common practice".
    """

    low: float | None = None
    high: float | None = None
    source: str = ""


def conformance_probability(value: float, standard: float, limit: Limit) -> float:
    """Return the probability that the measurand lies inside the limit, given a normal distribution.

    Parameters
    ----------
    value, standard : float
        Estimate and its standard uncertainty; with a standard of 0 the answer is 0 or 1.

    Returns
    -------
    float
        p_c = Φ((T_U − y)/u) − Φ((T_L − y)/u) (JCGM 106 clause 7).
    """
    if standard == 0:
        above = limit.low is None or value >= limit.low
        below = limit.high is None or value <= limit.high
        return 1.0 if above and below else 0.0
    below_high = 1.0 if limit.high is None else _normal_cdf(limit.high - value, standard)
    below_low = 0.0 if limit.low is None else _normal_cdf(limit.low - value, standard)
    return below_high - below_low


def _normal_cdf(distance: float, standard: float) -> float:
    return 0.5 * math.erfc(-distance / (standard * math.sqrt(2)))


def judge(measured: Measured, limit: Limit) -> Verdict:
    """Return the verdict on a measured value: certain inside, certain outside, or neither.

    Outside means beyond one of the two ends: where the doubt is much wider than the limit, hardly any of it
    lies inside wherever the value is, and nobody knows on which side the rest is.
    """
    verdict = verdict_of(conformance_probability(measured.value, measured.standard, limit))
    if verdict != "fail":
        return verdict
    ends = [Limit(low=limit.low), Limit(high=limit.high)]
    kept = [conformance_probability(measured.value, measured.standard, end) for end in ends if end != Limit()]
    return "fail" if any(verdict_of(one) == "fail" for one in kept) else "inconclusive"


def verdict_of(probability: float) -> Verdict:
    """Return the verdict that a conformance probability stands for."""
    if probability >= CERTAIN:
        return "pass"
    return "fail" if probability <= 1 - CERTAIN + 1e-12 else "inconclusive"


def clopper_pearson(seen: int, tried: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return the exact two-sided limits of a probability from `seen` of `tried` trials.

    Raises
    ------
    ValueError
        If `tried` is not positive or `seen` is not between 0 and `tried`.
    """
    _check_trials(seen, tried)
    from scipy import special

    tail = (1 - confidence) / 2
    low = 0.0 if seen == 0 else float(special.betaincinv(seen, tried - seen + 1, tail))
    high = 1.0 if seen == tried else float(special.betaincinv(seen + 1, tried - seen, 1 - tail))
    return low, high


def upper_bound(seen: int, tried: int, confidence: float = 0.95) -> float:
    """Return the one-sided upper limit of a probability; for `seen` = 0 about 3 / `tried`.

    Raises
    ------
    ValueError
        If `tried` is not positive or `seen` is not between 0 and `tried`.
    """
    _check_trials(seen, tried)
    if seen == tried:
        return 1.0
    from scipy import special

    return float(special.betaincinv(seen + 1, tried - seen, confidence))


def trials_needed(bound: float, confidence: float = 0.95) -> int:
    """Return how many trials without the event put its upper limit below `bound`: 59 for 5 %.

    Parameters
    ----------
    bound : float
        A probability, over 0 and under 1.

    Raises
    ------
    ValueError
        If `bound` or `confidence` is not between 0 and 1.
    """
    if not (0 < bound < 1 and 0 < confidence < 1):
        raise ValueError(f"a bound of {bound:g} at {confidence:g}: both must lie between 0 and 1")
    # No event in n trials: the limit is 1 − (1 − confidence)^(1/n).
    return math.floor(math.log(1 - confidence) / math.log1p(-bound)) + 1


def _check_trials(seen: int, tried: int) -> None:
    if tried < 1 or not 0 <= seen <= tried:
        raise ValueError(f"{seen} of {tried} trials: tried must be at least 1, seen between 0 and tried")
