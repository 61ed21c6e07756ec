"""Logs with something amiss that are taken: what was amiss must be said beside the findings."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

from reviewkit import charge, drain, readout
from reviewkit.review import strict_yaml

from .entry import Remarked, both, changed, readings, rows, swapped
from .good import charge as pairs
from .good import log
from .log_form import CURRENT, STANDBY, VOLTAGE

_REVIEW = "review.yaml"


def _values(folder: Path, *names: str) -> dict[str, object]:
    values = strict_yaml.load(folder / _REVIEW)
    return {name: values[name] for name in names if name in values}


def charged(folder: Path) -> Iterator[str]:
    """Everything that the section on the charge tells."""
    bench = charge.inputs(**_values(folder, "cell", "voltmeter", "ammeter", "charge_runs"))
    results = charge.analyse(charge.read(bench, folder=folder), cell=bench.cell)
    yield from results.notes().sentences
    yield from (f"{item.key}: {item.note}" for item in results.findings())


def drained(folder: Path) -> Iterator[str]:
    """Everything that the section on the drain tells."""
    bench = drain.inputs(**_values(folder, "cell", "drain_ammeter", "drain_states"))
    found = drain.analyse(bench, folder=folder)
    yield from drain.summary(found).sentences
    yield from (f"{item.key}: {item.note}" for item in drain.findings(found))


def read_out(folder: Path) -> Iterator[str]:
    """Everything that the findings on the readout tell."""
    bench = readout.inputs(**_values(folder, "cell", "voltmeter", "readout_table", "readout_resolution_V"))
    found = readout.analyse(bench, folder=folder)
    yield str(readout.summary(found))
    yield from (f"{item.key}: {item.value} {item.note}" for item in readout.findings(found))


def _an_hour_less(stamp: str) -> str:
    moment = datetime.strptime(stamp, "%Y-%m-%d %H:%M:%S") - timedelta(hours=1)
    return f"{moment:%Y-%m-%d %H:%M:%S}"


def _half_overload(row: int, cells: list[str]) -> list[str]:
    return [cells[0], "OL" if 100 <= row < 110 else cells[1]]


def _short(row: int, cells: list[str]) -> list[str]:
    return cells[:1] if row in (50, 51, 52) else cells


TAKEN = (
    Remarked(
        "log cut within its last row",
        changed(CURRENT, lambda raw: raw[:-3]),
        charged,
        "logs/current.csv: 1 row cut off at the end of the file, left out.",
    ),
    Remarked(
        "log cut within its last time",
        changed(CURRENT, lambda raw: raw[:-12]),
        charged,
        "logs/current.csv: 1 row cut off at the end of the file, left out.",
    ),
    Remarked(
        "drain log cut within its last row",
        changed(STANDBY, lambda raw: raw[:-2]),
        drained,
        "logs/standby.csv: 1 row cut off at the end of the file, left out.",
    ),
    Remarked(
        "some readings OL",
        rows(CURRENT, _half_overload),
        charged,
        "logs/current.csv: 10 rows beyond the meter's range, taken as missing.",
    ),
    Remarked(
        "some drain readings OL",
        rows(STANDBY, lambda row, cells: [cells[0], "OL" if row % 40 == 8 else cells[1]]),
        drained,
        ": 4 overloaded rows in the settled part hide charge; each counts as much as the lowest others",
    ),
    Remarked(
        "some rows without a reading",
        rows(CURRENT, _short),
        charged,
        "logs/current.csv: 3 rows without a reading.",
    ),
    Remarked(
        "some readings that make no sense",
        rows(CURRENT, lambda row, cells: [cells[0], "Err" if row in (60, 61) else cells[1]]),
        charged,
        "logs/current.csv: 2 rows not readable, left out.",
    ),
    Remarked(
        "some drain readings that make no sense",
        rows(STANDBY, lambda row, cells: [cells[0], "Err" if row in (60, 61) else cells[1]]),
        drained,
        "logs/standby.csv: 2 rows not readable, left out.",
    ),
    Remarked(
        "some times that make no sense",
        rows(CURRENT, lambda row, cells: ["?" if row == 70 else cells[0], cells[1]]),
        charged,
        "logs/current.csv: 1 row not readable, left out.",
    ),
    Remarked(
        "a gap of ten minutes",
        rows(CURRENT, lambda row, cells: None if 100 <= row < 120 else cells),
        charged,
        "logs/current.csv: 1 gap without rows, 10 min long.",
    ),
    Remarked(
        "two rows in the wrong order",
        changed(
            CURRENT,
            lambda raw: b"\n".join([*(lines := raw.split(b"\n"))[:90], lines[91], lines[90], *lines[92:]]),
        ),
        charged,
        "logs/current.csv: 1 row out of order, sorted in.",
    ),
    Remarked(
        "rows written twice",
        changed(CURRENT, lambda raw: b"\n".join((lines := raw.split(b"\n"))[:90] + lines[88:])),
        charged,
        "logs/current.csv: 2 rows with a time that another row has already, left out.",
    ),
    Remarked(
        "a clock set back in autumn",
        both(
            *(
                rows(path, lambda row, cells: [cells[0] if row < 100 else _an_hour_less(cells[0]), cells[1]])
                for path in (CURRENT, VOLTAGE)
            )
        ),
        charged,
        "logs/current.csv: The clock was set back by 1 h 00 min; taken out of the times.",
    ),
    Remarked(
        "another alphabet within the log",
        changed(CURRENT, lambda raw: raw.replace(b"Time", b"\xf7\xd2\xc5", 1)),
        charged,
        "The column of time stamps was known by its cells: its heading does not say so.",
    ),
    Remarked(
        "times without a unit",
        rows(CURRENT, lambda row, cells: [str(30 * row), cells[1]]),
        charged,
        "logs/current.csv: Times taken as seconds: their heading names no unit.",
    ),
    Remarked(
        "leads swapped, and said so",
        both(
            readings(CURRENT, lambda amps: -amps, digits=3),
            swapped(_REVIEW, ("current: logs/current.csv", "current: {path: logs/current.csv, sign: -1}")),
        ),
        charged,
        "Sign of the readings reversed, as the review file says.",
    ),
    Remarked(
        "the log ends while the cell charges",
        rows(CURRENT, lambda row, cells: cells if row < 120 else None),
        charged,
        "The charge had not ended by itself: more would have followed.",
    ),
    Remarked(
        "the log begins after the charge did",
        both(*(rows(path, lambda row, cells: cells if row > 40 else None) for path in (CURRENT, VOLTAGE))),
        charged,
        "The log begins with the charge already running: this is the first reading, under current.",
    ),
    Remarked(
        "no current at all",
        both(
            readings(CURRENT, lambda amps: 0.0),
            lambda folder: (folder / VOLTAGE).write_text(
                log("Voltage (V)", [3.45] * len(pairs()), digits=3), encoding="utf-8"
            ),
        ),
        charged,
        "charge.plateau_current: No charge current flows in this log.",
    ),
    Remarked(
        "drain with the ammeter's leads swapped",
        readings(STANDBY, lambda amps: -amps, digits=0),
        drained,
        "The readings are negative: the leads were the other way round, or current flowed into the cell.",
    ),
    Remarked(
        "a negative single drain reading",
        swapped(_REVIEW, ("reading_A: 2.4 uA", "reading_A: -2.4 uA")),
        drained,
        "drain.locked.days_to_empty: the readings don't show a drain out of the cell",
    ),
    Remarked(
        "a drain that the range can't resolve",
        readings(STANDBY, lambda amps: amps % 2, digits=0),
        drained,
        "The reading is 1 count of this range’s last digit (1 µA); below 20 the meter can’t tell.",
    ),
    Remarked(
        "no capacity of the cell",
        swapped(_REVIEW, ("  rated_capacity_Ah: 2.0\n", "")),
        drained,
        "drain.standby.days_to_empty: the cell's rated capacity (cell.rated_capacity_Ah) is missing",
    ),
    Remarked(
        "a reading that no readout of this kind shows",
        swapped("readout.csv", ("3.557,3.6", "3.557,3.9")),
        read_out,
        "at least one has to be wrong. Row 3 (reference 3.557 V, displayed 3.9): every explanation with "
        "about so few doubts it",
    ),
    Remarked(
        "two readings that contradict each other",
        swapped("readout.csv", ("3.557,3.6,", "3.605,3.7,")),
        read_out,
        "at least one has to be wrong. Row 3 (reference 3.605 V, displayed 3.7): every explanation with "
        "about so few doubts it",
    ),
)
