"""Readings that contradict each other: the fewest that would have to be wrong."""

from __future__ import annotations

from collections.abc import Sequence

from reviewkit.readout import polygon
from reviewkit.readout.model import Model, Reading
from reviewkit.readout.polygon import HalfPlane
from reviewkit.readout.region import conditions, start

MOST_SHARE = 4
"""With more than one reading in this many to doubt, no readout of this kind is said to fit."""


def conflict(readings: Sequence[Reading], model: Model, *, lower_at_tie: bool = False) -> tuple[Reading, ...]:
    """Return a few readings that no readout shows together, none of them needless; empty if all fit.

    Notes
    -----
    Each reading leaves a convex set of (place, gain), so by Helly's theorem three are enough.
    """
    core: list[Reading] = []
    rest = list(readings)
    while True:
        found = _first_impossible(core, rest, model, lower_at_tie)
        if found is None:
            return ()
        if found < 0:
            return tuple(core)
        core.append(rest[found])
        rest = rest[:found]


def _first_impossible(
    core: Sequence[Reading], rest: Sequence[Reading], model: Model, lower_at_tie: bool
) -> int | None:
    """Return which of `rest`, added in order to `core`, leaves nothing; −1 if `core` does so alone."""
    corners = start(model)
    planes: list[HalfPlane] = []
    for place, reading in enumerate([*core, *rest], start=-len(core)):
        pair = conditions(reading, model, lower_at_tie=lower_at_tie)
        planes += pair
        for plane in pair:
            corners = polygon.clip(corners, plane)
        if polygon.is_empty(corners, planes):
            return max(place, -1)
    return None


def fewest(
    readings: Sequence[Reading], model: Model, *, lower_at_tie: bool = False, most: int | None = None
) -> tuple[tuple[int, ...], ...]:
    """Return the smallest sets of rows without which some readout shows all that was read.

    Parameters
    ----------
    readings : sequence of Reading
    model : Model
    lower_at_tie : bool
        See `region.conditions`.
    most : int, optional
        How many rows may be doubted; a quarter of them by default.

    Returns
    -------
    tuple of tuple of int
        Every smallest set, rows in order; one empty set where nothing contradicts; nothing where more
        than `most` rows would have to be wrong.
    """
    allowed = len(readings) // MOST_SHARE if most is None else most
    level: set[frozenset[int]] = {frozenset()}
    for _ in range(allowed + 1):
        solved, deeper = [], set()
        for removed in level:
            left = [reading for reading in readings if reading.row not in removed]
            core = conflict(left, model, lower_at_tie=lower_at_tie)
            if not core:
                solved.append(removed)
            deeper |= {removed | {reading.row} for reading in core}
        if solved:
            return tuple(sorted(tuple(sorted(rows)) for rows in solved))
        level = deeper
    return ()
