"""The pieces of the state graph's drawing: boxes and lines, in pixels of a narrow screen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from reviewkit.metrology import formatting

WIDTH = 340.0
"""Width of the drawing [px]."""
ROW = 112.0
"""Distance of the rows [px]."""
HALF_WIDTH, HALF_HEIGHT = 48.0, 24.0
"""Half the size of a state's box [px]."""

Point = tuple[float, float]
FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Node:
    """A state on the drawing: middle of its box [px], y downwards negative."""

    name: str
    x: float
    y: float


@dataclass(frozen=True)
class Line:
    """All events of one kind from one state to another, as one line; by hand, also those back.

    Parameters
    ----------
    state, next : str
    events, back : tuple of str
        What leads there, and what leads back.
    text : str
        Short labels: numbers for events by hand, capital letters for those from outside; with arrows
        where it is a line both ways.
    outside : bool
    hazardous : bool
        Whether it is a step of a hazard's shortest path.
    points : tuple of (x, y) [px]
    label : (x, y) [px]
    """

    state: str
    next: str
    events: tuple[str, ...]
    back: tuple[str, ...]
    text: str
    outside: bool
    hazardous: bool
    points: tuple[Point, ...]
    label: Point

    @property
    def kept_free(self) -> tuple[Point, ...]:
        """Where no other label may lie: on its label and its arrowheads."""
        return (self.label, self.points[-1], *self.points[: 1 if self.back else 0])

    @property
    def words(self) -> str:
        """What it says in full: "press: standby → low"."""
        there = f"{formatting.listed(self.events, last='or')}: {self.state} → {self.next}"
        back = f"{formatting.listed(self.back, last='or')}: {self.next} → {self.state}"
        return f"{there}; {back}" if self.back else there
