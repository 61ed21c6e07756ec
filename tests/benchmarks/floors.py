"""The narrowest intervals that meters and logs allow, from what only a simulation knows.

A floor is half of the interval that holds the truth in 95.45 % of all cases for somebody who knows
everything but the meters' calibration errors, which lie evenly within the accuracy, and what happened
between two rows of a log. `WHY` says of each finding what forces it.
"""

from __future__ import annotations

import floors_drain
import floors_port
import floors_readout
from simulate.whole import Whole

ACCURACY = "accuracy"

WHY = {
    "charge.efficiency": "accuracy of all four meters",
    "charge.drawn_from_source": ACCURACY,
    "readout.switching_place": "every readout that the readings and the reference allow",
    "readout.offset_if_nearest": "the same",
    "readout.offset_if_down": "the same",
    "readout.offset_if_up": "the same",
    "readout.gain": "the same",
    "readout.largest_error": "the same",
    "drain.*.mean": "accuracy, one pulse more or fewer in the log",
    "drain.*.base": ACCURACY,
    "drain.*.pulse_height": "the meter’s percent",
    "drain.*.pulse_width": "noise of the rows that a pulse touches",
    "drain.*.pulse_period": "rows in which the pulses lie, the clock’s rate",
    "drain.*.days_to_empty": "that of the mean",
    "drain.*.days_to_level": "that of the mean",
}
"""What forces each floor."""


def of(whole: Whole) -> dict[str, float]:
    """Return the floors of one simulated review by the findings' keys."""
    return {**floors_port.of(whole), **floors_readout.of(whole), **floors_drain.of(whole)}
