"""From the review file's runs to records: the logs read and put on one clock."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from reviewkit import logs
from reviewkit.blocks import LogBlock
from reviewkit.charge.inputs import QUANTITIES, ChargeInputs, ChargeRun, missing_meters
from reviewkit.charge.record import ChargeRecord, label_of
from reviewkit.charge.series import clean
from reviewkit.clocks import Alignment, align, clock_difference
from reviewkit.errors import Faults, InputError, LogError
from reviewkit.logs import Log

_LEAST_ROWS = 5


def read(inputs: ChargeInputs, *, folder: Path = Path()) -> tuple[ChargeRecord, ...]:
    """Read the logs of every run.

    Parameters
    ----------
    inputs : ChargeInputs
    folder : Path
        The review folder.

    Returns
    -------
    tuple of ChargeRecord
        In the order of the review file; empty if it names no run.

    Raises
    ------
    Faults
        If a meter is not described.
    LogError
        If a log cannot be read.
    """
    faults = missing_meters(inputs)
    if faults:
        raise Faults(faults)
    return tuple(_record(run, place, inputs, folder) for place, run in enumerate(inputs.charge_runs, start=1))


def _record(run: ChargeRun, place: int, inputs: ChargeInputs, folder: Path) -> ChargeRecord:
    assert inputs.voltmeter is not None
    assert inputs.ammeter is not None
    voltage = _log(run, "voltage", folder)
    current = _log(run, "current", folder)
    if logs.leads_swapped(voltage, current):
        raise LogError(
            "the current is negative while the cell’s voltage rises: the ammeter’s leads were swapped",
            file=current.path,
            expected="charge current into the cell as positive",
            remedy="Say so in the review file: current: {path: …, sign: -1}.",
        )
    alignment = align(voltage, current, declared_offset_s=_declared(run))
    one_file = voltage.path == current.path
    return ChargeRecord(
        clean(voltage.series),
        _moved(current.series, alignment),
        inputs.voltmeter.meter(run.voltage_full_scale_V),
        inputs.ammeter.meter(run.current_full_scale_A),
        clock_offset=None if one_file else alignment.offset,
        clock_note=alignment.note,
        stamp_s=current.report.stamp_step_s if current.report.stamp_step_s >= 0.5 else 0.0,
        source=run.source,
        label=label_of(run.source, place),
        temperature_C=_other(run, "temperature", voltage, folder),
        source_voltage_V=_other(run, "source_voltage", voltage, folder),
        source_current_A=_other(run, "source_current", voltage, folder),
        cable_out_s=run.cable_out_s,
        run=run,
        inputs=tuple(dict.fromkeys(entry.path for _, _, entry in run.logs())),
        notes=_notes(voltage, current),
    )


def _log(run: ChargeRun, key: str, folder: Path) -> Log:
    log = logs.read(getattr(run, key), QUANTITIES[key], folder=folder)
    known = int(log.series.notna().sum())
    if known < _LEAST_ROWS:
        raise LogError(
            f"only {known} readings",
            file=log.path,
            expected=f"at least {_LEAST_ROWS}",
            remedy="Check that this is the log of the charge.",
        )
    return log


def _declared(run: ChargeRun) -> float | None:
    """Return the offset that the review file states; 0, the default, states nothing."""
    return (run.current.clock_offset_s - run.voltage.clock_offset_s) or None


def _moved(series: pd.Series, alignment: Alignment) -> pd.Series:
    """Return the current log's readings on the voltage log's clock."""
    known = clean(series)
    return known.set_axis(alignment.on_voltage_clock(known.index.to_numpy(dtype=float))).rename_axis("time_s")


def _other(run: ChargeRun, key: str, base: Log, folder: Path) -> pd.Series | None:
    """Return a further log of the run on the record's clock, by the logs' own times and what is declared."""
    entry: LogBlock | None = getattr(run, key)
    if entry is None:
        return None
    log = logs.read(entry, QUANTITIES[key], folder=folder)
    apart = clock_difference(base, log)
    series = clean(log.series)
    move = entry.clock_offset_s - run.voltage.clock_offset_s - (apart or 0.0)
    return series.set_axis(series.index.to_numpy(dtype=float) + move).rename_axis("time_s")


def _notes(*read_logs: Log) -> tuple[str, ...]:
    return tuple(f"{log.path}: {sentence}" for log in read_logs for sentence in log.report.sentences())


def faults_of(run: ChargeRun, *, place: str, folder: Path) -> list[InputError]:
    """Return what is wrong with a run's logs, as far as the files show.

    Parameters
    ----------
    run : ChargeRun
    place : str
        The run's key, for messages.
    folder : Path
    """
    faults: list[InputError] = []
    found: dict[str, Log] = {}
    for key, quantity, entry in run.logs():
        try:
            found[key] = logs.read(entry, quantity, folder=folder)
        except InputError as fault:
            faults.append(fault)
    if {"voltage", "current"} <= set(found) and logs.leads_swapped(found["voltage"], found["current"]):
        faults.append(
            LogError(
                "the current is negative while the cell’s voltage rises: the ammeter’s leads were swapped",
                file=found["current"].path,
                place=f"{place}.current",
                remedy="Say so in the review file: current: {path: …, sign: -1}.",
            )
        )
    return faults
