"""The table of observed transitions: from a file, or written into the review file row by row."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit.errors import Faults, InputError, ReviewFileError, TableError, gathered
from reviewkit.schema.quantities import unknown_key
from reviewkit.tables import csv_table, timecode

COLUMNS = {
    "state": ("from", "in state", "state before"),
    "event": ("input", "what happens"),
    "next": ("next state", "to", "state after"),
    "seen": ("times seen", "count"),
    "tried": ("times tried", "tries", "trials"),
    "remark": ("remarks", "note", "notes", "comment"),
    "video": ("video time", "time in video", "video_s"),
}
_OPTIONAL = ("seen", "tried", "remark", "video")
_MOST_TIMES = 1_000_000
IMPOSSIBLE = ("n/a", "na", "n.a.")


@dataclass(frozen=True)
class Row:
    """One row as it was typed, its counts and its time read.

    Parameters
    ----------
    place : str
        "row 12", or "ui_transitions[3]".
    state, event, next, remark : str
    seen, tried : int or None
    video_s : float or None [s]
    """

    place: str
    state: str
    event: str
    next: str
    seen: int | None
    tried: int | None
    remark: str
    video_s: float | None

    @property
    def impossible(self) -> bool:
        """Whether the row says that the pair cannot occur."""
        return self.next.casefold() in IMPOSSIBLE


def read(source: str | tuple[dict[str, Any], ...], *, folder: Path) -> list[Row]:
    """Return the rows of the table.

    Parameters
    ----------
    source : str or tuple of dict
        A path relative to `folder`, or the rows themselves.
    folder : Path

    Raises
    ------
    Faults
        Every cell that can't be read: row, column, what was expected.
    """
    if isinstance(source, str):
        frame = csv_table.read(source, folder=folder)
        columns = csv_table.pick(frame, COLUMNS, file=source, optional=_OPTIONAL)
        if frame.empty:
            raise TableError(
                "the table has no rows",
                file=source,
                expected="one row for each state, event and outcome",
                remedy="Type in what you tried.",
            )
        typed = [
            (f"row {place}", {name: cells[heading] for name, heading in columns.items()})
            for place, cells in zip(frame.index, frame.to_dict("records"), strict=True)
        ]
        return _rows(typed, source, TableError)
    listed = [(f"ui_transitions[{place}]", row) for place, row in enumerate(source, start=1)]
    return _rows(listed, "review.yaml", ReviewFileError)


def _rows(typed: Sequence[tuple[str, Mapping[str, Any]]], file: str, error: type[InputError]) -> list[Row]:
    faults: list[InputError] = []
    rows = []
    for place, cells in typed:
        with gathered(faults):
            rows.append(_row(place, {name: _text(cell) for name, cell in cells.items()}, file, error))
    if faults:
        raise Faults(faults)
    return rows


def _text(cell: Any) -> str:
    return "" if cell is None else str(cell).strip()


def _row(place: str, cells: Mapping[str, str], file: str, error: type[InputError]) -> Row:
    for name in cells:
        if name not in COLUMNS:
            raise unknown_key(name, COLUMNS, file=file, place=f"{place}.{name}")
    for name in ("state", "event", "next"):
        if not cells.get(name):
            raise error(f"'{name}' is empty", file=file, place=place, remedy=_EMPTY[name])

    def count(name: str) -> int | None:
        try:
            return _count(cells.get(name, ""))
        except ValueError:
            found = f"'{cells[name]}' is no count"
            where = f"{place}, column '{name}'"
            raise error(found, file=file, place=where, expected="a whole number such as 10") from None

    try:
        video_s = moment(cells.get("video", ""))
    except ValueError as failure:
        where = f"{place}, column 'video'"
        raise error(
            str(failure), file=file, place=where, expected="a time such as 12:34 or 1:02:03"
        ) from None
    row = Row(
        place,
        cells["state"],
        cells["event"],
        cells["next"],
        count("seen"),
        count("tried"),
        cells.get("remark", ""),
        video_s,
    )
    _check_counts(row, file, error)
    return row


_EMPTY = {
    "state": "Enter the state in which the event happened, as 'ui_states' names it.",
    "event": "Enter what happened, such as 'power lost'.",
    "next": "Enter the state it led to, or 'n/a' if the event cannot occur there.",
}


def _count(text: str) -> int | None:
    if not text:
        return None
    number = csv_table.number(text)
    if not 0 <= number <= _MOST_TIMES or number != int(number):
        raise ValueError(text)
    return int(number)


def _check_counts(row: Row, file: str, error: type[InputError]) -> None:
    if row.seen is not None and row.tried is not None and row.seen > row.tried:
        raise error(
            f"seen {row.seen} times, but tried only {row.tried}",
            file=file,
            place=row.place,
            remedy="'tried' counts all tries of the event in that state, whatever came of them.",
        )
    if (row.seen is None) != (row.tried is None) and row.tried != 0 and not row.impossible:
        missing, given = ("tried", "seen") if row.tried is None else ("seen", "tried")
        raise error(
            f"'{given}' has a count and '{missing}' has none",
            file=file,
            place=row.place,
            remedy="Give both, or neither if the trials were not counted.",
        )


def moment(text: str) -> float | None:
    """Return a time of the video in seconds from "754", "12:34" or "1:02:03"; None where it is empty.

    Raises
    ------
    ValueError
        If it is no time.
    """
    if not text:
        return None
    return timecode.seconds(text)
