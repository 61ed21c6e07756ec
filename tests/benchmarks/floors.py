"""The narrowest intervals that meters and logs allow, from what only a simulation knows.

A floor is half of the interval that holds the truth in 95.45 % of all cases for somebody who knows
everything but the meters' calibration errors, which lie evenly within the accuracy, and what happened
between two rows of a log. `WHY` says of each finding what forces it.
"""

from __future__ import annotations

import floors_charge
import floors_drain
import floors_readout
from simulate.whole import Whole

ACCURACY = "accuracy"
ENDS = "rows at both ends, the clock’s rate"

WHY = {
    "charge.start_voltage": ACCURACY,
    "charge.precharge_current": ACCURACY,
    "charge.precharge_end": ENDS,
    "charge.plateau_current": ACCURACY,
    "charge.plateau_droop": "noise and display step over the plateau",
    "charge.knee_time": "start between two rows, a row’s own interval, bend read through the noise",
    "charge.knee_voltage": ACCURACY,
    "charge.hold_voltage": ACCURACY,
    "charge.set_voltage": "accuracy, noise of the line carried on to no current",
    "charge.series_resistance": "both meters’ percent, noise of the line",
    "charge.device_resistance": "as before, and the rig as declared",
    "charge.peak_voltage": ACCURACY,
    "charge.settled_voltage_10min": ACCURACY,
    "charge.settled_voltage_60min": ACCURACY,
    "charge.termination_current": "accuracy, noise of the last half minute, cut-off between two rows",
    "charge.termination_time": ENDS,
    "charge.current_after": ACCURACY,
    "charge.delivered": "accuracy, rows at both ends, gaps",
    "charge.delivered_energy": "both meters’ accuracy, rows at both ends, gaps",
    "charge.delivered_before_knee": "the knee’s, the ammeter’s counts, gaps",
    "charge.time_to_80": "rows at both ends, the clock’s rate, the ammeter’s counts, gaps",
    "charge.clock_offset": "rows around each step that shows in both logs",
    "charge.time_without_rig": "the rig as declared, rows at both ends",
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
    return {**floors_charge.of(whole), **floors_readout.of(whole), **floors_drain.of(whole)}
