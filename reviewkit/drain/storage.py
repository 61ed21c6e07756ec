"""What a drain means on the shelf: days to a level, beside the cell's own self-discharge."""

from __future__ import annotations

from dataclasses import dataclass

from reviewkit.drain.mean import Mean
from reviewkit.metrology import Measured, formatting

HOURS_PER_MONTH = 730.5
_CLEAR = 0.2
"""Relative uncertainty of the mean up to which days have a symmetric uncertainty."""

SELF_DISCHARGE = (
    "a cell’s own self-discharge of 1 % to 3 % a month (modern cells at room temperature, from memory; "
    "an older cell maker’s page says 5 % to 9 % at 20 °C)"
)

CAUTIONS = (
    "Store lithium-ion cells cool, dry and about half full, neither full nor empty.",
    "Below its floor a cell ages and may become unsafe to charge: look at its voltage every few months, and "
    "don’t charge a cell that was deeply discharged, is swollen, dented or wet.",
    "A cell taken out keeps its energy: cover its ends, and keep it away from metal and from children.",
    "A lamp that may be called upon belongs on a charge schedule, not in deep storage.",
)


@dataclass(frozen=True)
class Days:
    """How long a full cell lasts.

    Parameters
    ----------
    value : Measured or None [d]
        None where only a bound is known.
    low, high : float or None [d]
        95 % interval, or bounds; None: open.
    """

    value: Measured | None
    low: float | None
    high: float | None

    @property
    def symmetric(self) -> bool:
        """Whether one uncertainty says it all."""
        value = self.value
        return value is not None and value.expanded <= _CLEAR * abs(value.value)

    @property
    def text(self) -> str:
        """The days as a reader sees them."""
        if self.value is not None and self.symmetric:
            return self.value.text
        return formatting.interval(self.low, self.high, "d") or "not known"


def days(mean: Mean, capacity_Ah: float | None, *, share: float = 1.0) -> Days:
    """Return how long a full cell lasts until `share` of its rated capacity is gone.

    Parameters
    ----------
    mean : Mean
    capacity_Ah : float or None [A·h]
        Rated, taken as exact.
    share : float
        1 for all of it.

    Returns
    -------
    Days
        The device's drain alone; the cell's self-discharge comes on top.
    """
    if capacity_Ah is None:
        return Days(None, None, None)
    hours = capacity_Ah * share
    least, most = bounds(mean)
    low = None if most is None or most <= 0 else hours / most / 24
    high = None if least is None or least <= 0 else hours / least / 24
    if mean.value is None or mean.value.low <= 0:
        return Days(None, low, high)
    value = hours / mean.value.value / 24
    slope = -value / mean.value.value
    return Days(Measured(value, "d", mean.value.scaled(slope).components), low, high)


def bounds(mean: Mean) -> tuple[float | None, float | None]:
    """Return the least and the most that the mean may be [A]; None: open."""
    if mean.value is not None:
        return mean.value.low, mean.value.high
    return mean.low, mean.high


def self_discharge_A(percent_per_month: float, capacity_Ah: float) -> float:
    """Return the current that would empty the cell as fast as it empties itself [A]."""
    return percent_per_month / 100 * capacity_Ah / HOURS_PER_MONTH


def self_discharge_days(percent_per_month: float, *, share: float = 1.0) -> float:
    """Return how long the cell alone takes to lose `share` of its capacity, at a constant rate [d]."""
    return share * 100 / percent_per_month * HOURS_PER_MONTH / 24
