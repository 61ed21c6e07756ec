"""What a display's step leaves in doubt after many readings.

References
----------
GUM F.2.2.1: a digital display of step δ has δ/√12, and readings that are all alike do not make it less. Noise
that shakes the reading over the step does: the rounding error's Fourier series leaves the mean of many off by
at most δ·exp(−2π²σ²/δ²)/π, if all but its first term are neglected.
"""

from __future__ import annotations

import math

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
