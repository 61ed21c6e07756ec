"""The last readings before a cut-off, carried on to it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from reviewkit.charge.series import FloatArray
from reviewkit.charge.statistics import line


@dataclass(frozen=True)
class End:
    """Readings carried on to a moment just after them.

    Parameters
    ----------
    value, standard : float
        Value there, and its standard uncertainty from the readings' scatter.
    slope : float
        Per second, there.
    dof : float
    """

    value: float
    standard: float
    slope: float
    dof: float


_CLEAR = 3.0
"""A bend counts from so many of its standard deviations on."""

_BENT = 3
"""Numbers that a parabola has."""


def carried_on(time_s: FloatArray, values: FloatArray, moment_s: float, floor: float) -> End:
    """Return readings carried on to a moment: by a straight line, or a parabola where they clearly bend.

    Parameters
    ----------
    time_s, values : array, shape (n,)
    moment_s : float [s]
    floor : float
        The scatter of one reading is taken to be at least this.
    """
    straight = line(time_s, values)
    plain = End(straight.at(moment_s), straight.standard_at(moment_s, floor), straight.slope, straight.dof)
    rows = len(values)
    if rows < 2 * _BENT:
        return plain
    away, ahead = time_s - straight.centre_s, moment_s - straight.centre_s
    design = np.vander(away, _BENT, increasing=True)
    inverse = np.linalg.inv(design.T @ design)
    fitted = inverse @ design.T @ values
    left = values - design @ fitted
    scatter_of_one = max(floor, math.sqrt(float(left @ left) / (rows - _BENT)))
    if abs(fitted[2]) < _CLEAR * scatter_of_one * math.sqrt(inverse[2, 2]):
        return plain
    there = np.array([1.0, ahead, ahead**2])
    standard = scatter_of_one * math.sqrt(float(there @ inverse @ there))
    return End(float(there @ fitted), standard, float(fitted[1] + 2 * fitted[2] * ahead), rows - _BENT)
