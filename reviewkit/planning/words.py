"""How a plan writes what it asks for."""

from __future__ import annotations

from reviewkit.metrology import formatting


def volts(value_V: float) -> str:
    """Return a voltage with millivolts as its last digit, tenths of them where it is small.

    Parameters
    ----------
    value_V : float [V]
        Set by hand or foretold: no uncertainty decides its digits.
    """
    if abs(value_V) >= 1:
        return f"{formatting.number(value_V, 3)}{formatting.NO_BREAK}V"
    millivolts = 1e3 * value_V
    whole = abs(millivolts - round(millivolts)) < 1e-6 or abs(millivolts) >= 100
    return f"{formatting.number(millivolts, 0 if whole else 1)}{formatting.NO_BREAK}mV"


def minutes(ends_s: tuple[float, float]) -> str:
    """Return a span of time between two guesses: "4 to 11 min".

    Parameters
    ----------
    ends_s : tuple of (float, float) [s]
        In either order.
    """
    low, high = sorted(end / 60 for end in ends_s)
    decimals = 1 if abs(high) < 10 else 0
    return (
        f"{formatting.number(low, decimals)} to {formatting.number(high, decimals)}{formatting.NO_BREAK}min"
    )
