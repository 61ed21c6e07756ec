"""The table of readings as a person typed it, made exact: every fault names its row and the remedy."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import pandas as pd

from reviewkit.errors import Faults, InputError, ReviewFileError, TableError
from reviewkit.metrology import units
from reviewkit.metrology.meter import Meter
from reviewkit.readout import shown
from reviewkit.readout.inputs import ReadoutInputs
from reviewkit.readout.model import Reading, Reference, exact
from reviewkit.tables import csv_table, headers

ALIASES = {
    "reference": ("reference voltage", "voltmeter", "meter", "cell voltage", "voltage", "multimeter"),
    "shown": ("shown value", "readout", "display", "device", "device shows", "shows", "blinks"),
    "uncertainty": ("reference uncertainty", "plus minus", "±"),
    "load": ("load current", "current", "draw"),
    "warning": ("warnings", "flash", "flashes"),
    "remark": ("remarks", "comment", "comments", "note", "notes"),
}


@dataclass(frozen=True)
class Table:
    """The readings of one device.

    Parameters
    ----------
    file : str
    meter : Meter or None
        The range of the reference in use.
    reference_V, noise_V : pandas.Series [V]
        Reference voltage, corrected for the load where the review gives the cell's resistance, and the
        half-width of each reading's own error. Index: the row of the file.
    shown : pandas.Series of str
        As typed.
    warning, remark : pandas.Series of str
    readings : tuple of Reading
        Those of a readout in volts; empty for one in marks.
    noted_warnings : bool
        Whether the table has a column for warnings.
    load_note : str
        How the load was dealt with, for the reader.
    """

    file: str
    meter: Meter | None
    reference_V: pd.Series
    noise_V: pd.Series
    shown: pd.Series
    warning: pd.Series
    remark: pd.Series
    readings: tuple[Reading, ...]
    noted_warnings: bool
    load_note: str

    @property
    def reference(self) -> Reference:
        """What the readings share."""
        return Reference.of(self.meter) if self.meter else Reference()

    @property
    def shared_V(self) -> pd.Series:
        """Half-width of the error that all readings share, at each [V]."""
        return self.reference_V.map(lambda value: float(self.reference.half_width(exact(value))))


def read(bench: ReadoutInputs, folder: Path = Path()) -> Table | None:
    """Return the table, or None where the review file names none.

    Parameters
    ----------
    bench : ReadoutInputs
    folder : Path
        The review folder.

    Raises
    ------
    InputError
        What is wrong, in which row, and what to do; several faults together.
    """
    file = bench.readout_table
    if not file:
        return None
    frame = csv_table.read(file, folder=folder)
    optional = ("uncertainty", "load", "warning", "remark")
    columns = csv_table.pick(frame, ALIASES, file=file, named=bench.readout_columns, optional=optional)
    if len(frame) < 2:
        raise TableError(
            f"the table has {len(frame)} reading{'s' if len(frame) != 1 else ''}",
            file=file,
            expected="at least two",
            remedy="One reading leaves a whole step open: read at another voltage, half a step away.",
        )
    reference = _quantity(frame, columns["reference"], "V", file)
    meter = bench.meter_for(float(reference.max()))
    _check_reference(reference, meter, file)
    noise = _noise(frame, columns, meter, file)
    reference, noise, load_note = _without_load(frame, columns, bench, reference, noise)
    texts = frame[columns["shown"]].astype(str)
    return Table(
        file=file,
        meter=meter,
        reference_V=reference,
        noise_V=noise,
        shown=texts,
        warning=_text(frame, columns.get("warning")),
        remark=_text(frame, columns.get("remark")),
        readings=_readings(texts, reference, noise, bench, file),
        noted_warnings="warning" in columns,
        load_note=load_note,
    )


def _text(frame: pd.DataFrame, column: str | None) -> pd.Series:
    return frame[column].astype(str) if column else pd.Series("", index=frame.index, dtype=object)


def _quantity(
    frame: pd.DataFrame, column: str, unit: str, file: str, *, empty_allowed: bool = False
) -> pd.Series:
    """Return a column in SI, by the unit in its heading; without one it is in `unit`."""
    values = csv_table.numbers(frame, column, file=file, empty_allowed=empty_allowed)
    written = headers.split_unit(column)[1]
    try:
        factor = units.factor(written, unit) if written else 1.0
    except ValueError as failure:
        raise TableError(
            str(failure),
            file=file,
            place=f"header, column '{column}'",
            remedy="Correct the unit in the heading.",
        ) from failure
    # Twelve digits keep what was typed: 3912 mV is 3.912 V and not its binary neighbour.
    return values if factor == 1.0 else (values * factor).round(12)


def _check_reference(reference_V: pd.Series, meter: Meter | None, file: str) -> None:
    faults: list[InputError] = []
    for row, value in reference_V.items():
        if not 0.5 <= value <= 6:
            faults.append(
                TableError(
                    f"the reference of {value:g} V is no voltage of a lithium-ion cell",
                    file=file,
                    place=f"row {row}",
                    expected="0.5 V to 6 V",
                    remedy="Correct the reading; a column in millivolts needs the unit in its heading.",
                )
            )
        elif meter is not None and not meter.fits(value):
            faults.append(
                TableError(
                    f"the reference of {value:g} V is beyond the meter's range",
                    file=file,
                    place=f"row {row}",
                    expected=f"at most {meter.full_scale:g} V",
                    remedy="Correct the reading, or the voltmeter's full_scale in review.yaml.",
                )
            )
    if faults:
        raise Faults(_told_once(faults, len(reference_V)))


def _told_once(faults: list[InputError], rows: int) -> list[InputError]:
    """Return the first of the faults, said of all rows, where every row has one: it is then the column's."""
    if len(faults) < max(3, rows):
        return faults
    first = faults[0]
    return [
        TableError(
            f"{first.problem}; every row has such a fault",
            file=first.file,
            place=first.place,
            expected=first.expected,
            remedy=first.remedy,
        )
    ]


def _noise(frame: pd.DataFrame, columns: dict[str, str], meter: Meter | None, file: str) -> pd.Series:
    """Return the half-width of what is each reading's own: half the meter's step, the stated scatter."""
    own = pd.Series(0.0, index=frame.index)
    if "uncertainty" in columns:
        own = _quantity(frame, columns["uncertainty"], "V", file, empty_allowed=True)
        if (own < 0).any():
            raise TableError(
                "an uncertainty is negative",
                file=file,
                place=f"row {own.index[own < 0][0]}",
                remedy="Drop the sign.",
            )
    if meter is None and ("uncertainty" not in columns or own.isna().any()):
        raise ReviewFileError(
            "nothing says how accurate the reference voltages are",
            file="review.yaml",
            place="voltmeter",
            expected="a block such as {accuracy: '±(0.5 % + 2)', resolution: 1 mV}",
            remedy=f"Add it, or give {file} a column 'uncertainty' with a value in every row.",
        )
    return own.fillna(0.0) + (meter.resolution / 2 if meter else 0.0)


def _without_load(
    frame: pd.DataFrame, columns: dict[str, str], bench: ReadoutInputs, reference: pd.Series, noise: pd.Series
) -> tuple[pd.Series, pd.Series, str]:
    """Return the voltages the device saw, their own errors, and a sentence on what was done."""
    if "load" not in columns:
        return reference, noise, "The table doesn’t say whether the device drew current while it was read."
    load = _quantity(frame, columns["load"], "A", bench.readout_table, empty_allowed=True).fillna(0.0).abs()
    if not (load > 0).any():
        return reference, noise, "The device drew no current from the cell while it was read."
    if bench.readout_cell_ohm is None:
        return (
            reference,
            noise,
            "Reference and readout were taken together, while the device drew its current.",
        )
    drop = load * bench.readout_cell_ohm
    # What the cell's resistance is taken for may be a tenth off.
    note = (
        f"The reference was read without the device’s load; the cell’s {bench.readout_cell_ohm:g} Ω times "
        f"that current, up to {1000 * drop.max():.0f} mV, was taken off, give or take a tenth of it."
    )
    return (reference - drop).round(9), (noise + drop / 10).round(9), note


def _row(label: Any) -> int:
    return int(label)


def _readings(
    texts: pd.Series, reference: pd.Series, noise: pd.Series, bench: ReadoutInputs, file: str
) -> tuple[Reading, ...]:
    """Return the readings of a readout in volts; none where the device shows marks."""
    values = {_row(row): shown.volts(str(text)) for row, text in texts.items()}
    if bench.readout_shows == "marks" or (not bench.readout_shows and _are_marks(values, reference)):
        return ()
    faults: list[InputError] = []
    readings = []
    for row, value in values.items():
        fault = _fault(str(texts[row]), value, bench.readout_resolution_V, file, row)
        if fault is not None:
            faults.append(fault)
        elif value is not None:
            readings.append(Reading(row, exact(float(reference[row])), value, exact(float(noise[row]))))
    if faults:
        _check_exchanged(texts, reference, bench.readout_resolution_V, file)
        raise Faults(_told_once(faults, len(values)))
    return tuple(readings)


def _check_exchanged(texts: pd.Series, reference: pd.Series, step_V: float | None, file: str) -> None:
    """Tell columns the wrong way round: every reference falls on the readout's steps, no shown value does."""
    if step_V is None:
        return
    step = exact(step_V)
    shown_V = [shown.volts(str(text)) for text in texts]
    on_steps = all(exact(float(value)) % step == 0 for value in reference)
    if on_steps and all(value is not None and value % step != 0 for value in shown_V):
        raise TableError(
            "reference and shown value look exchanged: every reference is a multiple of the readout's "
            f"resolution, {step_V:g} V, and no shown value is",
            file=file,
            place="header",
            remedy="Exchange the two headings.",
        )


def _are_marks(values: dict[int, Fraction | None], reference: pd.Series) -> bool:
    """Whether what is shown is no voltage: mostly no numbers, or numbers far from the cell's voltage."""
    off = [math.inf if value is None else abs(float(value) - reference[row]) for row, value in values.items()]
    return sorted(off)[len(off) // 2] > 1.0


def _fault(text: str, value: Fraction | None, step_V: float | None, file: str, row: int) -> InputError | None:
    place = f"row {row}"
    if value is None:
        return TableError(
            f"'{text}' is no shown voltage",
            file=file,
            place=place,
            expected="such as '3.9' or '3 blinks, pause, 9 blinks'",
            remedy="Correct it; for a readout in bars or percent set readout_shows: marks.",
        )
    if step_V is not None and value % exact(step_V) != 0:
        near = float(round(value / exact(step_V)) * exact(step_V))
        return TableError(
            f"the shown value {text} is no multiple of the readout's resolution, {step_V:g} V",
            file=file,
            place=place,
            expected=f"such as {near:g}",
            remedy="Correct the reading, or readout_resolution_V in review.yaml.",
        )
    return None
