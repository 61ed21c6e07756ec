"""What a drain means on the shelf: how long a full cell lasts, with its own loss and by the drain alone."""

from __future__ import annotations

from dataclasses import dataclass

from reviewkit.drain.mean import Mean
from reviewkit.metrology import Component, Measured, formatting

HOURS_PER_MONTH = 730.5
"""A twelfth of a year of 365.25 days."""
_CLEAR = 0.2
"""Relative uncertainty of the days up to which one ± says it all (chosen: at 0.2 the two ends of 1/x lie 4 %
apart from it)."""


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

    value: Measured | None = None
    low: float | None = None
    high: float | None = None

    @property
    def symmetric(self) -> bool:
        """Whether one uncertainty says it all."""
        value = self.value
        return value is not None and value.expanded <= _CLEAR * abs(value.value)

    @property
    def known(self) -> bool:
        """Whether there is anything to tell."""
        return self.value is not None or self.low is not None or self.high is not None

    @property
    def text(self) -> str:
        """The days as a reader sees them."""
        if self.value is not None and self.symmetric:
            return self.value.text
        if self.value is not None and self.low is not None and self.high is not None:
            return formatting.bounded(self.value.value, self.low, self.high, "d")
        return formatting.interval(self.low, self.high, "d") or "not known"


def days(
    mean: Mean,
    capacity_Ah: float | None,
    *,
    share: float = 1.0,
    own_percent: tuple[float, float] | None = None,
) -> Days:
    """Return how long a full cell lasts until `share` of its rated capacity is gone.

    Parameters
    ----------
    mean : Mean
    capacity_Ah : float or None [A·h]
        Rated, taken as exact.
    share : float
        1 for all of it.
    own_percent : tuple of float or None [% a month]
        The cell's own loss, lower and higher; None: the device's drain alone.

    Returns
    -------
    Days
    """
    if capacity_Ah is None or mean.bounds == (None, None):
        return Days()
    slow, quick = (self_discharge_A(rate, capacity_Ah) for rate in own_percent or (0.0, 0.0))
    hours = capacity_Ah * share
    least, most = mean.bounds
    if most is not None and most <= 0:
        return Days()
    low = None if most is None or most + quick <= 0 else hours / (most + quick) / 24
    # With the cell's own loss a drain below zero is none; by the drain alone it leaves the days open.
    least_A = max(least or 0.0, 0.0) + slow if own_percent else least
    high = None if least_A is None or least_A <= 0 else hours / least_A / 24
    if mean.value is None or least is None or least + slow <= 0:
        return Days(None, low, high)
    loss = Component("the cell's own loss", (quick - slow) / 2, "A", "rectangular")
    total = Measured(mean.value.value + (slow + quick) / 2, "A", mean.value.components)
    total = total.plus(loss) if own_percent else total
    value = hours / total.value / 24
    return Days(Measured(value, "d", total.scaled(-value / total.value).components), low, high)


def self_discharge_A(percent_per_month: float, capacity_Ah: float) -> float:
    """Return the current that would empty the cell as fast as it empties itself [A]."""
    return percent_per_month / 100 * capacity_Ah / HOURS_PER_MONTH


def self_discharge_days(percent_per_month: float, *, share: float = 1.0) -> float:
    """Return how long the cell alone takes to lose `share` of its capacity, at a constant rate [d]."""
    return share * 100 / percent_per_month * HOURS_PER_MONTH / 24
