"""What was entered at the bench, in order, with its time: `bench-notes.csv` beside the review file."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from io import StringIO
from pathlib import Path

from reviewkit.bench_day import bench_file
from reviewkit.bench_day.bench_file import Change
from reviewkit.errors import TableError
from reviewkit.tables import csv_table

FILE = "bench-notes.csv"
CLAP = "clap"
_COLUMNS = ("when", "film", "what", "entered", "file", "lines", "undone")


@dataclass(frozen=True)
class Entry:
    """One thing entered.

    Parameters
    ----------
    when : datetime
        With its difference to UTC.
    film_s : float or None [s]
        Time in the film: since the last clap.
    what : str
        "reading", "trial", "drain", "cable", "clap".
    entered : str
        In the words in which it was typed.
    file : str
        Where it was written, relative to the review folder.
    lines : tuple of Change
        What that changed in the file.
    undone : bool
    """

    when: datetime
    film_s: float | None
    what: str
    entered: str
    file: str = ""
    lines: tuple[Change, ...] = ()
    undone: bool = False

    @property
    def film(self) -> str:
        """The time in the film as players show it; empty where no film runs."""
        return "" if self.film_s is None else csv_table.stamp(self.film_s)


def entries(folder: Path) -> tuple[Entry, ...]:
    """Return what was entered in a review folder, first things first.

    Raises
    ------
    TableError
        If the journal was changed so that it can't be read.

    Examples
    --------
    >>> bench_day.entries(birch)
    ()
    """
    text = bench_file.read(folder, FILE).text
    rows = list(csv.DictReader(StringIO(text)))
    try:
        return tuple(_entry(row) for row in rows)
    except (KeyError, ValueError, TypeError):
        raise TableError(
            "the journal of entries can't be read",
            file=FILE,
            remedy="Undo what was changed in it by hand, or move it away: a new one is begun.",
        ) from None


def _entry(row: dict[str, str]) -> Entry:
    lines = tuple((tuple(before), tuple(after)) for before, after in json.loads(row["lines"] or "[]"))
    return Entry(
        datetime.fromisoformat(row["when"]),
        csv_table.seconds(row["film"]) if row["film"] else None,
        row["what"],
        row["entered"],
        row["file"],
        lines,
        row["undone"] == "yes",
    )


def add(folder: Path, entry: Entry) -> None:
    """Write one more entry."""
    _write(folder, (*entries(folder), entry))


def mark_undone(folder: Path, entry: Entry) -> None:
    """Write that an entry was taken back; it stays in the journal."""
    _write(folder, tuple(replace(one, undone=True) if one == entry else one for one in entries(folder)))


def _write(folder: Path, listed: tuple[Entry, ...]) -> None:
    stream = StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for one in listed:
        film = "" if one.film_s is None else f"{one.film_s:.1f}"
        lines = json.dumps(one.lines, ensure_ascii=False) if one.lines else ""
        when = one.when.isoformat(timespec="milliseconds")
        undone = "yes" if one.undone else ""
        writer.writerow([when, film, one.what, one.entered, one.file, lines, undone])
    bench_file.read(folder, FILE).written(stream.getvalue())


def film_time_s(listed: tuple[Entry, ...], now: datetime) -> float | None:
    """Return the time in the film at a moment [s]; None where no clap started it within the last day."""
    claps = [one.when for one in listed if one.what == CLAP and not one.undone]
    if not claps or not timedelta(0) <= now - claps[-1] <= timedelta(days=1):
        return None
    return (now - claps[-1]).total_seconds()
