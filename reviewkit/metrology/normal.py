"""Probability between two bounds of a standard normal quantity, as its logarithm."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

_LEAST = 1e-300
_CERTAIN, _IMPOSSIBLE = 9.0, 37.7
"""Standard deviations beyond which a tail is lost beside one, and beside `_LEAST`."""


def log_between(lower: FloatArray, upper: FloatArray) -> FloatArray:
    """Return log P(lower < z < upper), never less than the logarithm of 1e-300.

    Parameters
    ----------
    lower, upper : array of one shape
        In standard deviations.

    Notes
    -----
    On a grid most places are certain or impossible; the normal distribution is asked only for the rest.
    """
    from scipy.special import ndtr  # only where a likelihood is asked for

    certain = (lower < -_CERTAIN) & (upper > _CERTAIN)
    rest = (lower < _CERTAIN) & (upper > -_IMPOSSIBLE) & ~certain
    found = np.where(certain, 0.0, math.log(_LEAST))
    found[rest] = np.log(np.maximum(ndtr(upper[rest]) - ndtr(lower[rest]), _LEAST))
    return found
