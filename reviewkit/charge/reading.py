"""From the review file's runs to records: the logs read and put on one clock."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from reviewkit import logs
from reviewkit.charge import plausibility
from reviewkit.charge.inputs import ChargeInputs, ChargeRun
from reviewkit.charge.plausibility import of_record
from reviewkit.charge.record import ChargeRecord, clean, label_of
from reviewkit.errors import Faults, InputError, ReviewFileError, gathered
from reviewkit.logs import Log
from reviewkit.logs.clock_sync import Alignment, align, clock_difference
from reviewkit.logs.log import range_check, too_few
from reviewkit.metrology.meter import Meter
from reviewkit.schema.blocks import LogBlock
from reviewkit.tables import keys

_LEAST_ROWS = 5
_WHICH_LOG = "Check that this is the log of the charge."


def read(inputs: ChargeInputs, *, folder: str | Path = "") -> tuple[ChargeRecord, ...]:
    """Read the logs of every run.

    Parameters
    ----------
    inputs : ChargeInputs
    folder : str or Path
        Where logs and tables lie. Default: the current folder, in a notebook its own.

    Returns
    -------
    tuple of ChargeRecord
        In the order of the review file; empty if it names no run.

    Raises
    ------
    InputError
        If a meter is not described, a log cannot be read, or it is not what the review file says; several
        faults together.

    Examples
    --------
    >>> [record.source for record in read(bench, folder=folder)]
    ['wall adapter']
    """
    faults = missing_meters(inputs)
    if faults:
        raise Faults(faults)
    records = []
    for number, run in enumerate(inputs.charge_runs, start=1):
        record, wrong = _examined(run, number, inputs, Path(folder).expanduser())
        faults += wrong
        records += [record] if record else []
    if faults:
        raise faults[0] if len(faults) == 1 else Faults(faults)
    return tuple(records)


def faults_of(run: ChargeRun, number: int, inputs: ChargeInputs, *, folder: Path) -> list[InputError]:
    """Return what is wrong with a run's logs, as far as the files show.

    Parameters
    ----------
    number : int
        The run's, from 1.
    """
    return _examined(run, number, inputs, folder)[1]


def _examined(
    run: ChargeRun, number: int, inputs: ChargeInputs, folder: Path
) -> tuple[ChargeRecord | None, list[InputError]]:
    """Return a run's record, None with what is wrong where there can be none or it makes no sense."""
    faults: list[InputError] = []
    meters = meters_of(run, number, inputs, faults)
    found = _logs(run, inputs, folder, faults)
    for key, log in found.items():
        faults += range_check(log, meters.get(key))
    if not faults:
        entries = {key: entry for key, _, entry in run.logs()}
        fewer = {key: log.thinned() for key, log in found.items()}
        faults += plausibility.of_logs(fewer, entries, cell=inputs.cell)
        faults += plausibility.of_burden(fewer.get("current"), meters.get("current"))
    if faults or not {"voltage", "current"} <= set(meters):
        return None, faults
    voltage, current = found["voltage"], found["current"]
    with gathered(faults):
        record = record_of(run, number, meters, found)
        where, declared_s = f"charge_runs[{number}]", _declared(run)
        faults += of_record(
            record.thinned, voltage=voltage, current=current, place=where, declared_s=declared_s
        )
        return record, faults
    return None, faults


def meters_of(
    run: ChargeRun, number: int, inputs: ChargeInputs, faults: list[InputError]
) -> dict[str, Meter]:
    """Return the meters' ranges that a run was logged on, by the run's keys; one not described is missing."""
    asked = {
        "voltage": (inputs.voltmeter, run.voltage_full_scale_V, "voltage_full_scale_V"),
        "current": (inputs.ammeter, run.current_full_scale_A, "current_full_scale_A"),
        "source_voltage": (inputs.source_voltmeter, None, ""),
        "source_current": (inputs.source_ammeter, None, ""),
    }
    found: dict[str, Meter] = {}
    for key, (meter, full_scale, name) in asked.items():
        try:
            if meter is not None:
                found[key] = meter.meter(full_scale)
        except ValueError as fault:
            where = f"charge_runs[{number}].{name}"
            faults.append(ReviewFileError(str(fault), file="review.yaml", place=where))
    return found


def _logs(run: ChargeRun, inputs: ChargeInputs, folder: Path, faults: list[InputError]) -> dict[str, Log]:
    found: dict[str, Log] = {}
    for key, quantity, entry in run.logs():
        with gathered(faults):
            found[key] = logs.read(entry, quantity, folder=folder, headings=inputs.headings)
            faults.extend(too_few(found[key], _LEAST_ROWS, remedy=_WHICH_LOG))
    return found


_CUT_OFF_S = 1.0
"""Stamps of whole seconds and coarser are usually cut off [s]: common practice, no source; finer ones hide
less than the interval between two rows.
"""

_SWAPPED = "its current is below nothing on the whole; its leads were taken as swapped and its sign turned."


def record_of(
    run: ChargeRun, number: int, meters: Mapping[str, Meter], found: Mapping[str, Log]
) -> ChargeRecord:
    """Return a run's logs on one clock.

    Parameters
    ----------
    number : int
        The run's, from 1.
    meters, found : mapping
        Its meters and its logs, by the run's keys.

    Raises
    ------
    LogError
        If nothing puts the two clocks on one line.
    """
    voltage, current = found["voltage"], found["current"]
    drawn = _other(run, "source_current", voltage, found)
    # A port gives and does not take: a sum below nothing is its ammeter's leads swapped.
    swapped = [found["source_current"].path] if drawn is not None and float(drawn.sum()) < 0 else []
    alignment = align(voltage, current, declared_offset_s=_declared(run))
    one_file = voltage.path == current.path
    return ChargeRecord(
        clean(voltage.series),
        _moved(current.series, alignment),
        meters["voltage"],
        meters["current"],
        clock_offset=None if one_file else alignment.offset,
        clock_note=alignment.note,
        stamp_s=current.report.stamp_step_s if current.report.stamp_step_s >= _CUT_OFF_S else 0.0,
        source=run.source,
        label=label_of(run.source, number),
        temperature_C=_other(run, "temperature", voltage, found),
        source_voltage_V=_other(run, "source_voltage", voltage, found),
        source_current_A=-drawn if drawn is not None and swapped else drawn,
        cable_out_s=run.cable_out_s,
        run=run,
        inputs=tuple(dict.fromkeys(entry.path for _, _, entry in run.logs())),
        notes=(*_notes(*found.values()), *(f"{path}: {_SWAPPED}" for path in swapped)),
    )


def _declared(run: ChargeRun) -> float | None:
    """Return the offset that the review file states; 0, the default, states nothing."""
    return (run.current.clock_offset_s - run.voltage.clock_offset_s) or None


def _moved(series: pd.Series, alignment: Alignment) -> pd.Series:
    """Return the current log's readings on the voltage log's clock."""
    known = clean(series)
    return known.set_axis(alignment.on_voltage_clock(known.index.to_numpy(dtype=float))).rename_axis("time_s")


def _other(run: ChargeRun, key: str, base: Log, found: Mapping[str, Log]) -> pd.Series | None:
    """Return a further log of the run on the record's clock, by the logs' own times and what is declared."""
    log = found.get(key)
    if log is None:
        return None
    entry: LogBlock = getattr(run, key)
    apart = clock_difference(base, log)
    series = clean(log.series)
    move = entry.clock_offset_s - run.voltage.clock_offset_s - (apart or 0.0)
    return series.set_axis(series.index.to_numpy(dtype=float) + move).rename_axis("time_s")


def _notes(*read_logs: Log) -> tuple[str, ...]:
    return tuple(f"{log.path}: {sentence}" for log in read_logs for sentence in log.report.sentences())


def check(inputs: ChargeInputs, folder: Path) -> list[InputError]:
    """Return every fault that can be known before the section runs.

    Parameters
    ----------
    inputs : ChargeInputs
    folder : Path
        The review folder; log paths are relative to it.

    Returns
    -------
    list of InputError
        Empty if all is well.

    Examples
    --------
    >>> check(bench, folder)
    []
    """
    faults = missing_meters(inputs)
    for number, run in enumerate(inputs.charge_runs, start=1):
        faults += faults_of(run, number, inputs, folder=folder)
    faults += _same_names(inputs)
    return faults


def missing_meters(inputs: ChargeInputs) -> list[InputError]:
    """Return a fault for each meter that the runs need and the review file does not describe."""
    if not inputs.charge_runs:
        return []
    meters = (("voltmeter", "mV"), ("ammeter", "mA"))
    absent = [(name, unit) for name, unit in meters if getattr(inputs, name) is None]
    return [
        ReviewFileError(
            "the charge runs need this meter's accuracy",
            file="review.yaml",
            place=name,
            expected=f"a line such as {name}: {{accuracy: '±(0.5 % + 2)', resolution: 1 {unit}}}",
            remedy="Add it: without it no number has an uncertainty.",
        )
        for name, unit in absent
    ]


def _same_names(inputs: ChargeInputs) -> list[InputError]:
    return [
        ReviewFileError(
            keys.same(other, name, "sources", shared),
            file="review.yaml",
            place=f"charge_runs[{index + 1}].source",
            remedy="Give each run a name of its own, such as 'laptop port, second try'.",
        )
        for index, name, other, shared in keys.doubles(
            run.source.strip() or f"run {number}" for number, run in enumerate(inputs.charge_runs, start=1)
        )
    ]
