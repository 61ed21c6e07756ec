"""Two logs on one clock that don't make one charge."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.series import FloatArray
from reviewkit.errors import InputError, LogError, ReviewFileError
from reviewkit.logs import Log
from reviewkit.logs.clock_sync import clock_difference
from reviewkit.metrology import formatting

_CHARGING = 0.1
_LEAST_COVERED = 0.5
_FALL_V = 0.3
_AGAIN_S = 600.0
_APART_S = 1.5 * 86_400


def of_record(
    record: ChargeRecord, *, voltage: Log, current: Log, place: str, declared_s: float | None
) -> Iterator[InputError]:
    """Give what shows once a run's logs are on one clock.

    Parameters
    ----------
    record : ChargeRecord
    voltage, current : Log
    place : str
        The run's key.
    declared_s : float or None [s]
        How far the clocks are apart by the review file, where it says so.
    """
    charging = record.current > _CHARGING * max(float(record.current.max()), record.noise_A)
    volts = record.voltage[charging]
    covered = float(np.isfinite(volts).mean()) if len(volts) else 1.0
    apart_s = abs(record.clock_offset.value) if record.clock_offset else 0.0
    if declared_s is not None and not _meet(voltage, current, declared_s):
        yield ReviewFileError(
            f"with this 'clock_offset_s' ({declared_s:.0f} s in all) no reading of {current.path} falls into "
            f"the time of {voltage.path}",
            file="review.yaml",
            place=place,
            expected="what to add to the current log's seconds, so that both logs show the same charge",
            remedy="Correct it, or leave it out: the logs' own steps may tell.",
        )
    elif declared_s is None and voltage.started and current.started and apart_s > _APART_S:
        yield _days_apart(voltage, current, record)
    elif covered < _LEAST_COVERED:
        yield LogError(
            f"it has readings for only {100 * covered:.0f} % of the time that the current log shows charging",
            file=voltage.path,
            expected=f"the same charge as in {current.path}",
            remedy="Check that both logs are of this charge, and their clocks; 'clock_offset_s' moves one.",
        )
    else:
        yield from _charged_again(record, charging, current)
    last_s = float(record.voltage_V.index[-1])
    if record.cable_out_s is not None and record.cable_out_s > max(last_s, float(record.time_s[-1])):
        yield ReviewFileError(
            f"{formatting.quantity(record.cable_out_s, None, 's')} is after the end of the logs",
            file="review.yaml",
            place=f"{place}.cable_out_s",
            expected=f"at most {last_s:.0f} s, counted as the voltage log counts",
            remedy="Correct it, or leave it out if the cable stayed in.",
        )


def _meet(voltage: Log, current: Log, declared_s: float) -> bool:
    """Whether two logs have a moment in common where their clocks are as far apart as declared."""
    move_s = declared_s - (clock_difference(voltage, current) or 0.0)
    own, other = current.series.index + move_s, voltage.series.index
    return bool(own[0] <= other[-1] and other[0] <= own[-1])


def _days_apart(voltage: Log, current: Log, record: ChargeRecord) -> LogError:
    assert record.clock_offset is not None
    return LogError(
        f"it begins on {current.started:%Y-%m-%d}, the voltage log on {voltage.started:%Y-%m-%d}",
        file=current.path,
        expected=f"the same charge as in {voltage.path}",
        remedy="Check that both logs are of this charge. If a meter’s clock was not set, say so: current: "
        f"{{path: {current.path}, clock_offset_s: {record.clock_offset.value:.0f}}}.",
    )


def _charged_again(record: ChargeRecord, charging: np.ndarray, current: Log) -> Iterator[LogError]:
    """Give a fault if the cell charges for minutes far below the voltage that it had reached before."""
    known = charging & np.isfinite(record.voltage)
    volts, moments = record.voltage[known], record.time_s[known]
    if len(volts) < 2:
        return
    fallen = np.maximum.accumulate(_steadied(volts)) - volts > _FALL_V
    usual_s = np.minimum(np.diff(moments, append=moments[-1]), 3 * record.interval_s)
    if float(usual_s[fallen].sum()) < _AGAIN_S:
        return
    again = int(np.argmax(fallen))
    after = formatting.quantity(float(moments[again] - record.time_s[0]), None, "s")
    yield LogError(
        f"it holds more than one charge: {after} after its start the cell charges at "
        f"{volts[again]:.2f} V, after it had reached {volts[:again].max():.2f} V",
        file=current.path,
        expected="one charge in a log",
        remedy="Cut both logs before that charge, and name each pair in a run of its own.",
    )


def _steadied(volts: FloatArray) -> FloatArray:
    """Return readings without lone spikes: the lower of two neighbours."""
    return np.asarray(np.minimum(volts, np.concatenate([volts[:1], volts[:-1]])))
