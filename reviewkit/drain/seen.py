"""What stands out of a log's low level at all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reviewkit.drain.rows import Flags, FloatArray, Rows, lower_envelope, scatter

_VISIBLE = 6.0
"""A pulse stands out of the noise by this many standard deviations, and by four display steps."""


@dataclass(frozen=True)
class Seen:
    """What stands out of the low level at all.

    Parameters
    ----------
    noise_A : float [A]
        Standard deviation of one reading at the low level.
    above_A : array, shape (n,) [A]
        Readings above the low level.
    threshold_A : float [A]
        From here on a row belongs to a pulse.
    pulses : int
        Separate stretches of rows above the threshold.
    dips : int
        Separate stretches of rows as far below the low level.
    """

    noise_A: float
    above_A: FloatArray
    threshold_A: float
    pulses: int
    dips: int = 0


def seen(one: Rows, *, resolution_A: float) -> Seen:
    """Return what stands out of the rows' low level."""
    low = lower_envelope(one)
    noise = scatter(one.current_A, resolution_A)
    near = np.abs(one.current_A - low) < 3 * noise
    above = one.current_A - low - (np.median((one.current_A - low)[near]) if near.any() else 0.0)
    threshold = max(_VISIBLE * noise, 4 * resolution_A)
    return Seen(noise, above, threshold, _stretches(above > threshold), _stretches(above < -threshold))


def _stretches(inside: Flags) -> int:
    return int(inside[0]) + int(np.sum(inside[1:] & ~inside[:-1]))
