"""Before any reading: the voltages to prepare, and how many, for a switching place of a wanted width."""

from __future__ import annotations

import math
from dataclasses import dataclass

from reviewkit.metrology.meter import Meter
from reviewkit.readout.model import Reference, exact


@dataclass(frozen=True)
class Plan:
    """What to prepare for the readout's part of a bench session.

    Parameters
    ----------
    resolution_V : float [V]
    wanted_width_V, least_width_V : float [V]
        Width asked for, and the width that the reference's accuracy alone leaves.
    first_V : tuple of float [V]
        Where to begin: one voltage, or one near each end of the range where a gain is to be found.
    changes_V : tuple of float [V]
        How far to move the cell after each reading: up while the shown value is the lower one, down
        when it is the upper.
    readings : int or None
        How many readings that takes; None where no number is enough.
    all_at_once_V : tuple of float [V]
        Voltages that reach the width if all cells are prepared before the first reading.
    """

    resolution_V: float
    wanted_width_V: float
    least_width_V: float
    first_V: tuple[float, ...]
    changes_V: tuple[float, ...]
    readings: int | None
    all_at_once_V: tuple[float, ...]

    @property
    def reachable(self) -> bool:
        """Whether this reference can reach the wanted width at all."""
        return self.readings is not None


def plan(
    *,
    resolution_V: float = 0.1,
    range_V: tuple[float, float] = (3.0, 4.2),
    wanted_width_V: float = 0.02,
    meter: Meter | None = None,
    gain: bool = False,
) -> Plan:
    """Return the voltages to prepare.

    Parameters
    ----------
    resolution_V : float [V]
        Step of the shown value.
    range_V : tuple of (float, float) [V]
        The cell's working range.
    wanted_width_V : float [V]
        How wide the interval of the switching place may be.
    meter : Meter, optional
        The reference; without it, one without error.
    gain : bool
        Whether to read at both ends of the range, so that a gain shows.

    Returns
    -------
    Plan

    Raises
    ------
    ValueError
        If step, width or range are not positive.

    Notes
    -----
    The first reading leaves one whole step for the switching place, and each further one at its middle
    halves that: bisection, and no plan does better, because a reading has two outcomes. Prepared all at
    once the voltages must instead differ within the step by no more than the width.
    """
    low, high = range_V
    if resolution_V <= 0 or wanted_width_V <= 0 or high <= low:
        raise ValueError("a plan needs a positive step and width, and a range from low to high")
    reference = Reference.of(meter) if meter else Reference()
    middle = round((low + high) / 2, 3)
    noise = float(reference.noise_V)
    least = 2 * float(reference.half_width(exact(middle))) + 2 * noise
    left = wanted_width_V - least
    halvings = max(0, math.ceil(math.log2(resolution_V / left) - 1e-9)) if left > 0 else None
    first = _ends(low, high, resolution_V) if gain else (middle,)
    at_once = _spread(first, low, high, resolution_V, left) if left > 0 else ()
    return Plan(
        resolution_V=resolution_V,
        wanted_width_V=wanted_width_V,
        least_width_V=least,
        first_V=first,
        changes_V=tuple(resolution_V / 2**number for number in range(1, (halvings or 0) + 1)),
        readings=None if halvings is None else len(first) * (1 + halvings),
        all_at_once_V=at_once,
    )


def _ends(low: float, high: float, step: float) -> tuple[float, float]:
    """Return a voltage near each end with room for a step on either side."""
    room = min(step, (high - low) / 4)
    return round(low + room, 3), round(high - room, 3)


def _spread(first: tuple[float, ...], low: float, high: float, step: float, left: float) -> tuple[float, ...]:
    """Return voltages whose places within the step are evenly spread, each cluster within one step.

    The gap between neighbours is the width they leave, so there are r / width of them.
    """
    count = max(2, math.ceil(step / left - 1e-9))
    voltages = []
    for centre in first:
        start = min(max(centre - step / 2, low), max(low, high - step))
        voltages += [round(start + step * number / count, 4) for number in range(count)]
    return tuple(voltages)
