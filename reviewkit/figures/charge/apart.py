"""Runs with what was told apart in them, as the charts of charger and rig take them."""

from __future__ import annotations

from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.separated import Separations
from reviewkit.charge.separation import Separation
from reviewkit.figures.charge.runs import labelled

NOTHING = "No charge was logged."


def labelled_apart(separations: Separations) -> list[tuple[ChargeResult, Separation, str]]:
    """Return each run with what was told apart in it and the label that its charts bear."""
    both = zip(labelled(separations.results), separations.items, strict=True)
    return [(run, apart, label) for (run, label), apart in both]
