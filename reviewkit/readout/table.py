"""The table of readings as a person typed it, made exact: every fault names its row and the remedy."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import gcd
from pathlib import Path
from typing import Any

import pandas as pd

from reviewkit.errors import Faults, InputError, ReviewFileError, TableError, gathered
from reviewkit.metrology import units
from reviewkit.metrology.meter import Meter
from reviewkit.readout.model import Reading, ReadoutInputs, Reference, exact
from reviewkit.tables import csv_table, headers

ALIASES = {
    "reference": ("reference voltage", "voltmeter", "meter", "cell voltage", "voltage", "multimeter"),
    "shown": (
        *("shown value", "displayed", "readout", "display", "device", "device shows", "shows", "blinks"),
        *("anzeige", "angezeigt", "affichage", "affiché", "lectura", "mostrado", "显示", "显示值"),
    ),
    "uncertainty": ("reference uncertainty", "plus minus", "±"),
    "load": ("load current", "current", "draw"),
    "warning": ("warnings", "flash", "flashes"),
    "remark": ("remarks", "comment", "comments", "note", "notes"),
}


_PATTERN = re.compile(r"^\s*\d+\s*(?:x|×)?\s*[a-z ]*?(?:blinks?|flash(?:es)?|pulses?)\b", re.IGNORECASE)
_DIGITS_APART = re.compile(r"^\s*(\d)\s*(?:-|–|/|;|\s|pause|then)+\s*(\d)\s*$", re.IGNORECASE)
_VOLT_MARK = re.compile(r"\s*V(?:olts?)?\s*$")

LOWEST_V, HIGHEST_V = 0.5, 6.0
"""What a lithium-ion cell's voltage can be [V]. Chosen: wider than any chemistry, narrower than a decimal
point out of place."""
FINEST_STEP_V = Fraction(1, 1000)
"""Finest resolution of a readout [V]. Chosen: finer than the reference meters of a bench can tell."""
_RESISTANCE_SHARE = 10
"""What the cell's resistance is taken for may be one part in so many off [1]: common practice, no source."""
_DECIMALS = 9
"""Of a voltage that was calculated [V]. Chosen: what binary arithmetic leaves behind them would decide at an
edge, where readings are exact fractions; no reference tells a nanovolt."""


@dataclass(frozen=True)
class Table:
    """The readings of one device.

    Parameters
    ----------
    meter : Meter or None
        The range of the reference in use.
    reference_V, noise_V : pandas.Series [V]
        Reference voltage, corrected for the load where the review gives the cell's resistance, and the
        half-width of each reading's own error. Index: the row of the file.
    displayed : pandas.Series of str
        As typed.
    readings : tuple of Reading
        Those of a readout in volts; empty for one in marks.
    noted_warnings : bool
        Whether the table has a column for warnings.
    load : {"not said", "none", "together", "taken off"}
        How the device's own load was dealt with.
    most_drop_V : float [V]
        Largest drop that was taken off for it.
    """

    file: str
    meter: Meter | None
    reference_V: pd.Series
    noise_V: pd.Series
    displayed: pd.Series
    warning: pd.Series
    remark: pd.Series
    readings: tuple[Reading, ...]
    noted_warnings: bool
    load: str
    most_drop_V: float

    @property
    def reference(self) -> Reference:
        """What the readings share."""
        return Reference.of(self.meter) if self.meter else Reference()

    @property
    def shared_V(self) -> pd.Series:
        """Half-width of the error that all readings share, at each [V]."""
        return _shared(self.reference_V, self.reference)


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
    noise = _noise(frame, columns, reference, meter, file)
    reference, noise, load, drop = _without_load(frame, columns, bench, reference, noise)
    texts = frame[columns["shown"]].astype(str)
    return Table(
        file=file,
        meter=meter,
        reference_V=reference,
        noise_V=noise,
        displayed=texts,
        warning=_text(frame, columns.get("warning")),
        remark=_text(frame, columns.get("remark")),
        readings=_readings(texts, reference, noise, bench, file),
        noted_warnings="warning" in columns,
        load=load,
        most_drop_V=drop,
    )


def check(bench: ReadoutInputs, folder: Path) -> list[InputError]:
    """Return everything about the section's inputs that is at fault, without running it.

    Parameters
    ----------
    bench : ReadoutInputs
    folder : Path
        The review folder.

    Examples
    --------
    >>> check(read_out.bench, birch)
    []
    """
    faults: list[InputError] = []
    with gathered(faults):
        table = read(bench, folder)
        if table is not None and table.readings:
            step_of([reading.displayed_V for reading in table.readings], bench)
    return faults


def volts(text: str) -> Fraction | None:
    """Return the voltage that a displayed value stands for, exactly; None for a mark that is no voltage.

    Parameters
    ----------
    text : str
        "3.9", "3,9 V", "3-9", "4 blinks, pause, 2 blinks" (4.2 V); "3 bars", "75 %" and "half" are marks.
    """
    plain = _VOLT_MARK.sub("", text.strip())
    apart = _DIGITS_APART.match(plain)
    if apart:
        return exact(f"{apart[1]}.{apart[2]}")
    if _PATTERN.match(plain):
        counts = [int(found) for found in re.findall(r"\d+", plain)]
        return exact(f"{counts[0]}.{counts[1]}") if len(counts) == 2 and max(counts) < 10 else None
    try:
        return exact(csv_table.number(plain))
    except ValueError:
        return None


def step_of(values: Sequence[Fraction], bench: ReadoutInputs) -> Fraction:
    """Return the step of the displayed values: as declared, else the largest that all are multiples of [V].

    Raises
    ------
    InputError
        If no readout has such a step, or the working range is too short for it.
    """
    declared = bench.readout_resolution_V
    step = exact(declared) if declared is not None else common_step(values) or Fraction(1, 10)
    _coarse_enough(step, bench)
    return step


def decimals(values: Sequence[Fraction]) -> int:
    """Return how many decimals the displayed values have."""
    count = 0
    while any((value * 10**count).denominator != 1 for value in values):
        count += 1
    return count


def common_step(values: Sequence[Fraction]) -> Fraction | None:
    """Return the largest step of which every displayed value is a multiple [V]; None if all are zero."""
    scale = 10 ** decimals(values)
    largest = gcd(*(int(value * scale) for value in values))
    return Fraction(largest, scale) if largest else None


def _coarse_enough(step_V: Fraction, bench: ReadoutInputs) -> None:
    """Refuse a resolution that no readout has, or that the working range is too short for.

    Raises
    ------
    TableError
        If it is finer than `FINEST_STEP_V`.
    ReviewFileError
        If the range holds fewer than two steps: no error anywhere in it could be told.
    """
    if step_V < FINEST_STEP_V:
        raise TableError(
            f"the displayed values are multiples of {float(step_V):g} V and of nothing coarser",
            file=bench.readout_table,
            place="column of displayed values",
            expected=f"steps of at least {float(FINEST_STEP_V):g} V",
            remedy="Type the values as the device displays them.",
        )
    low, high = bench.range_V
    if exact(high) - exact(low) < 2 * step_V:
        raise ReviewFileError(
            f"the range from {low:g} V to {high:g} V holds less than two steps of {float(step_V):g} V",
            file="review.yaml",
            place="readout_range_V",
            expected="such as [3.0, 4.2]",
            remedy="Give the range in which the cell is used, or correct readout_resolution_V.",
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
    return (values * factor).round(12)


def _check_reference(reference_V: pd.Series, meter: Meter | None, file: str) -> None:
    faults: list[InputError] = []
    for row, value in reference_V.items():
        if not LOWEST_V <= value <= HIGHEST_V:
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


def _noise(
    frame: pd.DataFrame, columns: dict[str, str], reference: pd.Series, meter: Meter | None, file: str
) -> pd.Series:
    """Return the half-width of what is each reading's own [V].

    Notes
    -----
    A row's stated uncertainty is that of its reference in all: what the meter's accuracy accounts for is
    shared and counted there, the rest is the row's own. Half the meter's step is in it at least.
    """
    stated = pd.Series(0.0, index=frame.index)
    if "uncertainty" in columns:
        stated = _quantity(frame, columns["uncertainty"], "V", file, empty_allowed=True)
        wrong = (stated < 0) | (stated > 1)
        if wrong.any():
            row = stated.index[wrong][0]
            raise TableError(
                "an uncertainty is negative" if stated[row] < 0 else f"an uncertainty of {stated[row]:g} V",
                file=file,
                place=f"row {row}",
                expected="0 V to 1 V",
                remedy="Drop the sign; a column in millivolts needs the unit in its heading.",
            )
    if meter is None:
        if "uncertainty" in columns and not stated.isna().any():
            return stated
        raise ReviewFileError(
            "nothing says how accurate the reference voltages are",
            file="review.yaml",
            place="voltmeter",
            expected="a block such as {accuracy: '±(0.5 % + 2)', resolution: 1 mV}",
            remedy=f"Add it, or give {file} a column 'uncertainty' with a value in every row.",
        )
    shared = _shared(reference, Reference.of(meter))
    return (stated.fillna(0.0) - shared).clip(lower=meter.resolution / 2).round(_DECIMALS)


def _shared(reference_V: pd.Series, reference: Reference) -> pd.Series:
    return reference_V.map(lambda value: float(reference.half_width(exact(value))))


def _without_load(
    frame: pd.DataFrame, columns: dict[str, str], bench: ReadoutInputs, reference: pd.Series, noise: pd.Series
) -> tuple[pd.Series, pd.Series, str, float]:
    """Return the voltages the device saw, their own errors, what was done, and the largest correction."""
    if "load" not in columns:
        return reference, noise, "not said", 0.0
    stated = _quantity(frame, columns["load"], "A", bench.readout_table, empty_allowed=True)
    if stated.isna().any() and not (stated.abs() > 0).any():
        return reference, noise, "not said", 0.0
    load = stated.fillna(0.0).abs()
    if not (load > 0).any():
        return reference, noise, "none", 0.0
    if bench.readout_cell_ohm is None:
        return reference, noise, "together", 0.0
    drop = load * bench.readout_cell_ohm
    if (reference - drop < LOWEST_V).any():
        row = reference.index[reference - drop < LOWEST_V][0]
        raise TableError(
            f"the load of {load[row]:g} A at readout_cell_ohm would leave {reference[row] - drop[row]:g} V",
            file=bench.readout_table,
            place=f"row {row}",
            expected=f"at least {LOWEST_V:g} V",
            remedy="Correct the load, its unit in the heading, or readout_cell_ohm.",
        )
    own = (noise + drop / _RESISTANCE_SHARE).round(_DECIMALS)
    return (reference - drop).round(_DECIMALS), own, "taken off", float(drop.max())


def _row(label: Any) -> int:
    return int(label)


def _readings(
    texts: pd.Series, reference: pd.Series, noise: pd.Series, bench: ReadoutInputs, file: str
) -> tuple[Reading, ...]:
    """Return the readings of a readout in volts; none where the device shows marks."""
    values = {_row(row): volts(str(text)) for row, text in texts.items()}
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
    """Tell columns the wrong way round: references fall on the readout's steps, displayed values don't."""
    if step_V is None:
        return
    step = exact(step_V)
    displayed_V = [volts(str(text)) for text in texts]
    on_steps = all(exact(float(value)) % step == 0 for value in reference)
    if on_steps and all(value is not None and value % step != 0 for value in displayed_V):
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
