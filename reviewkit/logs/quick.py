"""The quick way to read a long, clean log: columns typed beforehand, parsed outside Python."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow
import pyarrow.csv

from reviewkit.logs import cells
from reviewkit.logs.layout import Layout

arrow: Any = pyarrow  # carries no annotations

_CLOCK = re.compile(r"\d{2}:\d{2}:\d{2}(?:\.\d{1,6})?")
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}[ T]\d{2}:\d{2}:\d{2}(?:\.\d{1,6})?")
_MOST_INVALID = 0.01


@dataclass(frozen=True)
class Parsed:
    """Columns read the quick way.

    Parameters
    ----------
    frame : DataFrame
        Numbers, moments, spans since midnight, or categories of text; labels are positions.
    clocks : frozenset of int
        Columns of times of day.
    invalid : int
        Rows of another width, left out.
    """

    frame: pd.DataFrame
    clocks: frozenset[int]
    invalid: int


def read(place: Path, encoding: str, found: Layout, wanted: Sequence[int]) -> Parsed | None:
    """Return the wanted columns, None where the file is not plain enough for that.

    Parameters
    ----------
    place : Path
    encoding : str
    found : Layout
    wanted : sequence of int
        Positions of columns.
    """
    kinds = {at: _kind(found, at) for at in sorted(set(wanted))}
    for numbers in (arrow.float64(), _text()):
        # A second try takes readings as text: few different ones occur, so it costs little more.
        types = {at: numbers if kind == "number" else _TYPES[kind]() for at, kind in kinds.items()}
        try:
            return _parsed(place, encoding, found, types)
        except (arrow.ArrowInvalid, arrow.ArrowKeyError, arrow.ArrowNotImplementedError, OSError):
            continue
    return None


def _text() -> Any:
    return arrow.dictionary(arrow.int32(), arrow.string())


_TYPES = {
    "moment": lambda: arrow.timestamp("us"),
    "clock": lambda: arrow.time64("us"),
    "number": arrow.float64,
    "words": _text,
    "stamp": arrow.string,
}


def _kind(found: Layout, at: int) -> str:
    """Return how a column may be parsed: every cell of the sample must be of that kind."""
    seen = [row[at] for row in found.sample if at < len(row) and row[at]]
    for kind, pattern in (("moment", _ISO), ("clock", _CLOCK)):
        if seen and all(pattern.fullmatch(cell) for cell in seen):
            return kind
    sorts = [cells.sort(cell) for cell in seen]
    if sorts.count("moment") > len(sorts) / 2:
        return "stamp"  # hardly two are the same: no list of different ones
    return "number" if sorts and sorts.count("number") >= len(sorts) / 2 else "words"


def _parsed(place: Path, encoding: str, found: Layout, types: dict[int, Any]) -> Parsed | None:
    invalid = 0

    def skip(row: Any) -> str:
        nonlocal invalid
        invalid += 1
        return "skip"

    names = [str(at) for at in range(found.width)]
    table: Any = arrow.csv.read_csv(
        place,
        read_options=arrow.csv.ReadOptions(column_names=names, skip_rows=found.first_row, encoding=encoding),
        parse_options=arrow.csv.ParseOptions(delimiter=found.delimiter, invalid_row_handler=skip),
        convert_options=arrow.csv.ConvertOptions(
            column_types={str(at): kind for at, kind in types.items()},
            include_columns=[str(at) for at in types],
            null_values=[""],
            strings_can_be_null=True,
            decimal_point=found.decimal,
        ),
    )
    if invalid > max(20, _MOST_INVALID * table.num_rows):
        return None
    clocks = frozenset(at for at, kind in types.items() if arrow.types.is_time(kind))
    return Parsed(pd.DataFrame({at: _column(table[str(at)], at in clocks) for at in types}), clocks, invalid)


def _column(column: Any, is_clock: bool) -> Any:
    """Return an Arrow column as pandas has it, without a Python object per cell."""
    if not is_clock:
        return column.to_pandas()
    return pd.Series(column.cast(arrow.int64()).cast(arrow.duration("us")).to_pandas(), dtype="m8[us]")


def categories(column: pd.Series) -> tuple[np.ndarray[Any, Any], list[str]]:
    """Return codes and different cells of a column of text, "" for a missing one."""
    codes, kinds = pd.factorize(column)
    return np.asarray(codes), [str(kind) for kind in kinds]
