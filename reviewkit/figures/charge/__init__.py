"""A charge drawn: its curve, its knee and end, the charge delivered; and what of it is the bench's."""

from reviewkit.figures.charge.amount import charge_delivered
from reviewkit.figures.charge.curve import charge_curve
from reviewkit.figures.charge.efficiency import charge_efficiency
from reviewkit.figures.charge.enlarged import charge_end, charge_knee
from reviewkit.figures.charge.other_cells import charge_other_cells
from reviewkit.figures.charge.regulation import charge_regulation
from reviewkit.figures.charge.timeline import charge_timeline
from reviewkit.figures.charge.without_rig import charge_without_rig

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
