"""Measured series as tables for others to use, and how they travel.

A section notebook displays a `Dataset`; the run takes it out of the executed notebook and publishes it as
a CSV file. Column labels are those of the Battery Data Format 1.0.0: quantity, blank, slash, blank, unit.
Current into the cell is positive.
"""

from __future__ import annotations

import base64
import gzip
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

DATASET_MIME = "application/vnd.reviewkit.findings.dataset+json"
PACKED = "csv_gzip_base64"
"""Key of a dataset's packed table."""

TIME = "Test Time / s"
VOLTAGE = "Voltage / V"
CURRENT = "Current / A"
TEMPERATURE = "Surface Temperature / degC"

_LEVEL = 5
"""Of compression: tables of readings become no smaller beyond it, only slower."""

_ROWS = 100_000
"""Written at a time, so that a long log's table costs little memory."""

NAME = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_MEANING = {
    TIME: "elapsed time",
    VOLTAGE: "voltage at the cell",
    CURRENT: "current, positive into the cell",
    TEMPERATURE: "temperature at the cell's surface",
}


@dataclass(frozen=True)
class Dataset:
    """One table, published as `data/NAME.csv`.

    Parameters
    ----------
    name : str
        Small letters, digits, single hyphens.
    title : str
        What a reader calls it.
    frame : pandas.DataFrame
        Numbers only; headings are labels with units. Missing readings stay empty.
    meaning : mapping of str to str
        What each column holds, for those whose label does not say enough.
    inputs : tuple of str
        Files it was made from, relative to the review folder.

    Raises
    ------
    ValueError
        If the name does not do as a file name.
    """

    name: str
    title: str
    frame: pd.DataFrame
    meaning: Mapping[str, str]
    inputs: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not NAME.fullmatch(self.name):
            raise ValueError(f"'{self.name}' is no name of a table: small letters, digits, single hyphens")

    def csv(self) -> str:
        """Return the table as text: comma, decimal point, nine significant digits."""
        heading: str = self.frame.iloc[:0].to_csv(index=False, lineterminator="\n")
        starts = range(0, len(self.frame), _ROWS)
        return heading + "".join(_rows(self.frame.iloc[start : start + _ROWS]) for start in starts)

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        packed = gzip.compress(self.csv().encode(), _LEVEL, mtime=0)
        columns = [str(label) for label in self.frame.columns]
        return {
            DATASET_MIME: {
                "name": self.name,
                "title": self.title,
                "rows": len(self.frame),
                "fields": [{"name": label, "title": self.meaning.get(label, "")} for label in columns],
                "from": list(self.inputs),
                PACKED: base64.b64encode(packed).decode(),
            },
            "text/plain": f"{self.title}: {len(self.frame)} rows, {', '.join(columns)}",
        }


@dataclass(frozen=True)
class Datasets:
    """Several tables; a notebook displays one after the other."""

    items: tuple[Dataset, ...]

    def _ipython_display_(self) -> None:
        from IPython import display

        show: Any = display.display
        for item in self.items:
            show(item)


def _rows(frame: pd.DataFrame) -> str:
    # A line of nothing at all would be passed over by who reads it.
    missing = "" if frame.shape[1] > 1 else '""'
    columns = [_written(column, missing) for _, column in frame.items()]
    return "\n".join([*map(",".join, zip(*columns, strict=True)), ""])


def _written(column: pd.Series[Any], missing: str) -> list[str]:
    """Return numbers as text. What a meter shows are few different ones, each written once."""
    import numpy as np

    if column.dtype.kind != "f":
        return column.astype(str).tolist()
    given = np.ascontiguousarray(column.to_numpy(dtype=np.float64))
    # Told apart by their bits, for 0 and -0 are written differently.
    bits, where = np.unique(given.view(np.int64), return_inverse=True)
    few = len(bits) < len(given) / 4
    numbers = bits.view(np.float64) if few else given
    texts = [missing if number != number else f"{number:.9g}" for number in numbers.tolist()]
    return np.array(texts, dtype=object)[where].tolist() if few else texts


def unpacked(packed: str) -> str:
    """Return the text of a packed table."""
    return gzip.decompress(base64.b64decode(packed)).decode()


def merged(
    *,
    name: str,
    title: str,
    voltage_V: pd.Series[float] | None = None,
    current_A: pd.Series[float] | None = None,
    temperature_C: pd.Series[float] | None = None,
    inputs: Sequence[str] = (),
) -> Dataset:
    """Return logs that are on one clock as one table.

    Parameters
    ----------
    name, title : str
    voltage_V, current_A, temperature_C : pandas.Series, optional
        float64, index elapsed time [s]. Each keeps its own moments: a row in which only one meter
        read leaves the others' columns empty, nothing is interpolated.
    inputs : sequence of str
        The logs.

    Returns
    -------
    Dataset
        Rows in the order of time, counted from the first of any meter, to the millisecond.
    """
    import pandas as pd

    given = {VOLTAGE: voltage_V, CURRENT: current_A, TEMPERATURE: temperature_C}
    columns = {}
    for label, series in given.items():
        if series is not None:
            times = series.index.to_numpy(dtype=float).round(3)
            column = pd.Series(series.to_numpy(dtype=float), index=times)
            columns[label] = column[~column.index.duplicated()]
    frame = pd.DataFrame(columns).sort_index()
    elapsed = frame.index.to_numpy(dtype=float)
    frame.insert(0, TIME, (elapsed - elapsed[0] if len(elapsed) else elapsed).round(3))
    return Dataset(name, title, frame, _MEANING, tuple(inputs))
