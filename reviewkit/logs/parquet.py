"""Logs in Parquet: the columns carry their type, the rest is as in a text."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd
from pyarrow import parquet

from reviewkit.errors import LogError
from reviewkit.logs.layout import Layout
from reviewkit.logs.raw import Columns
from reviewkit.logs.source import Source
from reviewkit.tables.xlsx import cell_text

_MOST_ROWS = 50_000_000


def open_log(place: Path, file: str) -> Source:
    """Open a Parquet file.

    Raises
    ------
    LogError
        If it is damaged or too large.
    """
    try:
        opened: Any = _opened(place)
        names = [str(name) for name in opened.schema_arrow.names]
        rows = int(opened.metadata.num_rows)
        first = next(opened.iter_batches(batch_size=100), None)
        sample = () if first is None else _sample(first.to_pandas(ignore_metadata=True))
    except Exception as failure:  # a damaged file makes the library fail in many ways
        raise _damaged(file) from failure
    if not 0 < rows <= _MOST_ROWS:
        raise LogError(
            "the file holds no rows" if not rows else f"the file holds {rows} rows",
            file=file,
            expected=f"at most {_MOST_ROWS}",
            remedy="Export it again." if not rows else "Log fewer rows a second.",
        )
    units = ("",) * len(names)
    found = Layout("", tuple(names), units, 0, ".", (), sample)
    return Source(file, found, lambda wanted: _load(place, file, names, wanted))


def _damaged(file: str) -> LogError:
    problem = "the Parquet file is damaged and cannot be read"
    return LogError(problem, file=file, remedy="Export it again, or as CSV.")


def _opened(place: Path) -> Any:
    opened: Any = parquet.ParquetFile  # carries no annotations
    return opened(place)


def _sample(frame: pd.DataFrame) -> tuple[tuple[str, ...], ...]:
    return tuple(
        tuple("" if value is pd.NaT else cell_text(value) for value in row)
        for row in frame.to_numpy(dtype=object)
    )


def _load(place: Path, file: str, names: Sequence[str], wanted: Sequence[int]) -> Columns:
    positions = sorted(set(wanted))
    try:
        table: Any = _opened(place).read(columns=[names[at] for at in positions])
        frame = table.to_pandas(ignore_metadata=True)
    except Exception as failure:  # see above
        raise _damaged(file) from failure
    return Columns(pd.DataFrame({at: frame[names[at]] for at in positions}))
