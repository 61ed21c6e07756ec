"""Logs that are not what the review file says: told before anything is computed from them.

Each rule asks for more than any bench could show, so that an odd charger is still reviewed as it is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from reviewkit import logs
from reviewkit.charge.record import ChargeRecord, FloatArray
from reviewkit.errors import InputError, LogError, ReviewFileError
from reviewkit.logs import Log, column_errors
from reviewkit.logs.clock_sync import clock_difference
from reviewkit.metrology import formatting
from reviewkit.metrology.meter import Meter
from reviewkit.schema.blocks import MEANT, Cell, LogBlock

LOWEST_V, ABOVE_LIMIT_V = 0.5, 0.5
"""Below the first, and by the second above its charging limit, a reading is none of a cell."""

_CELL_V = (1.2, 6.0)
_LIKE_VOLTS = (2.0, 5.0)
_STRONG = 0.1
_RISE_V = 0.3
_LEAST_SHARE, _LEAST_SHARE_AT_REST = 0.002, 0.02
_LEAST_START_V, _LEAST_REST_V = 2.5, 3.2
_MOST_SHARE = 3.0
_SMALLEST_CELL_AH = 0.1
_LARGEST_CELL_AH = 50.0
"""Where the review file states no capacity (chosen: no light holds a cell of more)."""
_MOST_DROPPED_V = 2.0
_TEMPERATURES_C = (-30.0, 100.0)


def of_logs(found: Mapping[str, Log], entries: Mapping[str, LogBlock], *, cell: Cell) -> list[InputError]:
    """Return what shows in a run's logs before their clocks are compared.

    Parameters
    ----------
    found : mapping of str to Log
        By the run's keys: voltage, current, temperature.
    entries : mapping of str to LogBlock
        As the review file names them.
    """
    faults: list[InputError] = []
    voltage, current, warmth = (found.get(key) for key in ("voltage", "current", "temperature"))
    if voltage is not None and current is not None and _exchanged(voltage, current):
        return [_exchanged_fault(voltage, current)]
    if voltage is not None:
        faults += _of_voltage(voltage, cell, entries["voltage"])
    if voltage is not None and current is not None:
        faults += _of_leads(voltage, current, entries["current"])
        if not faults and not entries["current"].is_meant:
            faults += _of_amount(voltage, current, cell, entries["current"])
    if warmth is not None:
        faults += _of_warmth(warmth)
    return faults


def of_burden(current: Log | None, meter: Meter | None) -> Iterator[ReviewFileError]:
    """Give a fault if ammeter and leads would have dropped more than any charger has to spare."""
    if current is None or meter is None:
        return
    largest = float(np.quantile(np.abs(known(current)), 0.95))
    dropped_V = largest * meter.series_ohm
    if dropped_V > _MOST_DROPPED_V:
        yield ReviewFileError(
            f"burden and leads of {meter.series_ohm:g} Ω would have dropped {dropped_V:.0f} V at "
            f"{formatting.quantity(largest, None, 'A')}",
            file="review.yaml",
            place="ammeter.burden_ohm",
            expected="a fraction of a volt",
            remedy="A bare number is in ohm; write any other unit out, such as '30 mohm'.",
        )


def known(log: Log) -> FloatArray:
    """Return a log's readings without the missing ones."""
    values = log.series.to_numpy(dtype=float)
    return np.asarray(values[np.isfinite(values)])


def _share(values: FloatArray, limits: tuple[float, float]) -> float:
    return float(np.mean((np.abs(values) >= limits[0]) & (np.abs(values) <= limits[1])))


def _exchanged(voltage: Log, current: Log) -> bool:
    return _share(known(voltage), _CELL_V) < 0.95 and _share(known(current), _LIKE_VOLTS) >= 0.98


def _exchanged_fault(voltage: Log, current: Log) -> LogError:
    volts, amps = float(np.median(known(voltage))), float(np.median(known(current)))
    same = "columns" if voltage.path == current.path else "logs"
    return LogError(
        f"voltage and current look exchanged: "
        f"most voltages are about {formatting.quantity(volts, None, 'V')}, "
        f"most currents about {formatting.quantity(amps, None, 'A')}",
        file=voltage.path,
        expected="a cell’s voltage under 'voltage'",
        remedy=f"Check the {same}: their headings, and what the review file names.",
    )


def _turned(entry: LogBlock, quantity: str) -> str:
    return f"{quantity}: {column_errors.paste(entry, sign=-entry.sign)}"


def _of_voltage(voltage: Log, cell: Cell, entry: LogBlock) -> Iterator[LogError]:
    middle = float(np.median(known(voltage)))
    told = formatting.quantity(middle, None, "V")
    if -(cell.limit_V + ABOVE_LIMIT_V) <= middle <= -LOWEST_V:
        were = "were swapped" if entry.sign > 0 else "were not swapped"
        yield LogError(
            f"the voltages are negative, most about {told}: the voltmeter’s leads {were}",
            file=voltage.path,
            remedy=f"Say so in the review file: {_turned(entry, 'voltage')}.",
        )
    elif not LOWEST_V <= middle <= cell.limit_V + ABOVE_LIMIT_V:
        yield LogError(
            f"most readings are about {told}, which is no voltage of a lithium-ion cell",
            file=voltage.path,
            expected=f"{LOWEST_V:g} V to {cell.limit_V + ABOVE_LIMIT_V:g} V",
            remedy="Check the unit in its heading, and that it is the log of the cell and not of the port.",
        )


def _of_leads(voltage: Log, current: Log, entry: LogBlock) -> Iterator[LogError]:
    """Tell swapped leads by the voltage's rise; else by a current that only ever leaves the cell."""
    if logs.leads_swapped(voltage, current):
        were = "were swapped" if entry.sign > 0 else "were not swapped"
        yield LogError(
            f"the current is negative while the cell’s voltage rises: the ammeter’s leads {were}",
            file=current.path,
            expected="charge current into the cell as positive",
            remedy=f"Say so in the review file: {_turned(entry, 'current')}.",
        )
        return
    amps = known(current)
    strong = amps[np.abs(amps) > _STRONG * np.abs(amps).max(initial=0.0)]
    if len(strong) and np.mean(strong < 0) > 0.95 and "sign" not in entry.model_fields_set:
        yield LogError(
            "the current only ever flows out of the cell, which is no charge",
            file=current.path,
            expected="charge current into the cell as positive",
            remedy=f"If the ammeter’s leads were swapped, say so in the review file: "
            f"{_turned(entry, 'current')}; if they were not, write sign: 1.",
        )


def _of_amount(voltage: Log, current: Log, cell: Cell, entry: LogBlock) -> Iterator[LogError]:
    """Hold the charge that the log counts against what the cell can take, and against the voltage's rise."""
    amount_Ah = _amount(current)
    capacity_Ah = cell.rated_capacity_Ah
    told = f"the log counts a charge of {formatting.quantity(amount_Ah, None, 'A.h')}"
    stated = (
        f"the cell’s {formatting.quantity(capacity_Ah, None, 'A.h')}" if capacity_Ah else "what a cell takes"
    )
    problem = ""
    if amount_Ah > _MOST_SHARE * (capacity_Ah or _LARGEST_CELL_AH):
        problem = f"{told}, far more than {stated}"
    elif (rise_V := _rise(voltage, current, amount_Ah / (capacity_Ah or _SMALLEST_CELL_AH))) is not None:
        problem = f"{told}, next to nothing beside {stated}, while the voltage rises by {rise_V:.2f} V"
    if problem:
        yield LogError(
            problem,
            file=current.path,
            expected="a current that fits the cell",
            remedy="Check the units in its heading, of the current and of the time, and that it is the log "
            f"of this charge. If all is right, {column_errors.write_it(entry, plausible=MEANT)}",
        )


def _amount(current: Log) -> float:
    """Return the charge that flows into the cell [A.h]."""
    series = current.series.dropna()
    into = np.maximum(series.to_numpy(dtype=float), 0.0)
    return float(np.trapezoid(into, series.index.to_numpy(dtype=float))) / 3600


def _rise(voltage: Log, current: Log, share: float) -> float | None:
    """Return the rise of the voltage [V] if a cell needs more of its capacity for it than `share`."""
    if share > _LEAST_SHARE_AT_REST:
        return None
    volts = known(voltage)
    edge = max(1, len(volts) // 100)
    first, last = float(np.median(volts[:edge])), float(np.median(volts[-edge:]))
    amps = known(current)
    resting = max(abs(amps[0]), abs(amps[-1])) < _STRONG * float(np.abs(amps).max(initial=0.0))
    if resting and first >= _LEAST_REST_V and last - first >= _RISE_V:
        return last - first
    highest = float(np.quantile(volts, 0.99))
    if share < _LEAST_SHARE and first >= _LEAST_START_V and highest - first >= _RISE_V:
        return highest - first
    return None


def _of_warmth(warmth: Log) -> Iterator[LogError]:
    middle = float(np.median(known(warmth)))
    low, high = _TEMPERATURES_C
    if not low <= middle <= high:
        yield LogError(
            f"most temperatures are about {middle:.0f} °C",
            file=warmth.path,
            expected=f"{low:.0f} °C to {high:.0f} °C",
            remedy="Check the unit in its heading.",
        )


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
    place : str
        The run's key.
    declared_s : float or None [s]
        How far the clocks are apart by the review file, where it says so.
    """
    charging = record.current > _CHARGING * max(float(record.current.max()), record.noise_A)
    seen = np.isfinite(record.voltage[charging])
    offset = record.clock_offset
    days_apart = offset is not None and abs(offset.value) > _APART_S
    if declared_s is not None and not _meet(voltage, current, declared_s):
        yield ReviewFileError(
            f"with this 'clock_offset_s' ({declared_s:.0f} s in all) no reading of {current.path} falls into "
            f"the time of {voltage.path}",
            file="review.yaml",
            place=place,
            expected="what to add to the current log's seconds, so that both logs show the same charge",
            remedy="Correct it, or leave it out: the logs' own steps may tell.",
        )
    elif declared_s is None and voltage.started and current.started and days_apart:
        yield _days_apart(voltage, current, record)
    elif len(seen) and seen.mean() < _LEAST_COVERED:
        yield LogError(
            f"it has readings for only {100 * seen.mean():.0f} % of the time that the current log shows "
            "charging",
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
    if not len(volts):
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
