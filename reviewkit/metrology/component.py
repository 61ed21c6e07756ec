"""One uncertainty component, as a data sheet, a display or a set of readings states it (GUM 4.2, 4.3).

References
----------
GUM F.2.2.1: a digital display of step δ has δ/√12, and readings that are all alike do not make it less. Noise
that shakes the reading over the step does: the rounding error's Fourier series leaves the mean of many off by
at most δ·exp(−2π²σ²/δ²)/π, if all but its first term are neglected.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt


def left_of_step(variance: float, step: float) -> float:
    """Return the half-width that averaging leaves of a display's step.

    Parameters
    ----------
    variance : float
        Of the readings as shown. The display's rounding is part of it; what goes beyond shakes them.
    step : float

    Examples
    --------
    >>> left_of_step(variance=0.0, step=0.001)
    0.0005
    """
    shaken = max(0.0, variance - step**2 / 12)
    return math.exp(-2 * math.pi**2 * shaken / step**2) * step / 2


def shaken_left(values: npt.NDArray[np.float64], step: float) -> float:
    """Return the same for successive readings, in which a slow change from one to the next is no noise.

    Parameters
    ----------
    values : array, shape (n,)
    step : float

    Examples
    --------
    >>> import numpy as np
    >>> shaken_left(np.full(100, 4.2), step=0.001)
    0.0005
    """
    if len(values) < 2:
        return step / 2
    return left_of_step(float(np.mean(np.diff(values) ** 2)) / 2, step)


Distribution = Literal["rectangular", "normal", "triangular", "u-shaped"]

_DIVISOR = {
    "rectangular": math.sqrt(3),
    "triangular": math.sqrt(6),
    "u-shaped": math.sqrt(2),
    "normal": 1.0,
}


@dataclass(frozen=True)
class Component:
    """One doubt in a number.

    Parameters
    ----------
    name : str
        What it is: "ammeter accuracy, 10 A range".
    size : float [unit]
        As declared: half-width of a rectangular, triangular or u-shaped distribution, or the standard
        deviation of a normal one.
    unit : str
        Unit of `size`.
    distribution : {"rectangular", "normal", "triangular", "u-shaped"}
    sensitivity : float [unit of the number / unit]
        Change of the number per change of this input.
    dof : float
        Degrees of freedom of a Type A evaluation.
    shared : str
        Names the one physical unknown behind it; components with the same name are fully correlated,
        within one number and between numbers. Empty: an unknown of its own. "NAME [2]" is the second of
        several unknowns that one set of repeat readings gave: they share its degrees of freedom.
    rounding : float [unit]
        Half-width of the display's rounding that `size` holds. It is each reading's own, whatever else two
        readings share.
    """

    name: str
    size: float
    unit: str
    distribution: Distribution = "normal"
    sensitivity: float = 1.0
    dof: float = math.inf
    shared: str = ""
    rounding: float = 0.0

    @property
    def standard(self) -> float:
        """Standard uncertainty of the input (GUM 4.3.7, 4.3.9)."""
        return self.size / _DIVISOR[self.distribution]

    @property
    def signed(self) -> float:
        """Sensitivity times standard uncertainty, with its sign."""
        return self.sensitivity * self.standard

    @property
    def contribution(self) -> float:
        """Standard uncertainty that this component gives the number."""
        return abs(self.signed)

    def scaled(self, by: float) -> Component:
        """Return the same doubt as it shows in a number that depends on this one with slope `by`."""
        return replace(self, sensitivity=self.sensitivity * by)


def resolution(name: str, step: float, unit: str, sensitivity: float = 1.0) -> Component:
    """Return the doubt of a digital display with the given step: δ/√12 (GUM F.2.2.1).

    Examples
    --------
    >>> round(resolution("display", 0.01, "V").standard, 6)
    0.002887
    """
    return Component(name, step / 2, unit, "rectangular", sensitivity)
