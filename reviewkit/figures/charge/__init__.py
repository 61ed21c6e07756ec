"""A charge drawn: its curve, its knee and end, the charge delivered; and what of it is the bench's."""

from reviewkit.figures.charge.amount import charge_delivered
from reviewkit.figures.charge.curve import charge_curve, charge_end, charge_knee
from reviewkit.figures.charge.rig import (
    charge_efficiency,
    charge_other_cells,
    charge_regulation,
    charge_without_rig,
)
from reviewkit.figures.charge.timeline import charge_timeline

__all__ = [
    "charge_curve",
    "charge_delivered",
    "charge_efficiency",
    "charge_end",
    "charge_knee",
    "charge_other_cells",
    "charge_regulation",
    "charge_timeline",
    "charge_without_rig",
]
